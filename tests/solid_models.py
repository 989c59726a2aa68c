"""Models of single bodies for the tests of the solids stage, written entity by entity.

Lengths are given in metres and written in the model's unit.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import ifcopenshell
import ifcopenshell.guid
import numpy as np

from takeoff.geometry.bodies import Bodies
from takeoff.geometry.solids import Slicing, SolidRequest, SolidResult

UNITS = {"m": 1.0, "mm": 0.001, "ft": 0.3048}
Entity = Any


class SolidModel:
    """One IFC file in the making. `unit` is m, mm or ft; `schema` IFC2X3, IFC4 or IFC4X3."""

    def __init__(self, unit: str = "m", schema: str = "IFC4") -> None:
        self.file = ifcopenshell.file(schema=schema)
        self.scale = UNITS[unit]
        make = self.file.create_entity
        if unit == "ft":
            base = make("IfcSIUnit", UnitType="LENGTHUNIT", Name="METRE")
            factor = make("IfcMeasureWithUnit", make("IfcLengthMeasure", 0.3048), base)
            sizes = make("IfcDimensionalExponents", 1, 0, 0, 0, 0, 0, 0)
            length = make("IfcConversionBasedUnit", sizes, "LENGTHUNIT", "FOOT", factor)
        else:
            length = make(
                "IfcSIUnit", UnitType="LENGTHUNIT", Prefix="MILLI" if unit == "mm" else None, Name="METRE"
            )
        angle = make("IfcSIUnit", UnitType="PLANEANGLEUNIT", Name="RADIAN")
        world = make("IfcGeometricRepresentationContext", None, "Model", 3, 1e-5, self.axes())
        guid = ifcopenshell.guid.new
        make(
            "IfcProject",
            guid(),
            Name="P",
            RepresentationContexts=[world],
            UnitsInContext=make("IfcUnitAssignment", [length, angle]),
        )
        self.context = world

    def n(self, values: Sequence[float]) -> list[float]:
        """Lengths in the file's unit."""
        return [float(value) / self.scale for value in values]

    def point(self, *values: float) -> Entity:
        return self.file.create_entity("IfcCartesianPoint", self.n(values))

    def direction(self, *values: float) -> Entity:
        return self.file.create_entity("IfcDirection", [float(value) for value in values])

    def axes(
        self, at: Sequence[float] = (0, 0, 0), z: Sequence[float] = (0, 0, 1), x: Sequence[float] = (1, 0, 0)
    ) -> Entity:
        return self.file.create_entity(
            "IfcAxis2Placement3D", self.point(*at), self.direction(*z), self.direction(*x)
        )

    def place(
        self,
        at: Sequence[float] = (0, 0, 0),
        z: Sequence[float] = (0, 0, 1),
        x: Sequence[float] = (1, 0, 0),
        inside: Entity = None,
    ) -> Entity:
        return self.file.create_entity("IfcLocalPlacement", inside, self.axes(at, z, x))

    def polyline(self, points: Sequence[Sequence[float]], closed: bool = True) -> Entity:
        corners = [self.point(*point) for point in points]
        return self.file.create_entity("IfcPolyline", [*corners, corners[0]] if closed else corners)

    def profile(
        self, points: Sequence[Sequence[float]], holes: Sequence[Sequence[Sequence[float]]] = ()
    ) -> Entity:
        outer = self.polyline(points)
        if holes:
            return self.file.create_entity(
                "IfcArbitraryProfileDefWithVoids",
                "AREA",
                None,
                outer,
                [self.polyline(hole) for hole in holes],
            )
        return self.file.create_entity("IfcArbitraryClosedProfileDef", "AREA", None, outer)

    def extrusion(
        self,
        profile: Entity,
        depth: float,
        at: Sequence[float] = (0, 0, 0),
        z: Sequence[float] = (0, 0, 1),
        x: Sequence[float] = (1, 0, 0),
        along: Sequence[float] = (0, 0, 1),
    ) -> Entity:
        return self.file.create_entity(
            "IfcExtrudedAreaSolid", profile, self.axes(at, z, x), self.direction(*along), depth / self.scale
        )

    def box(self, low: Sequence[float], high: Sequence[float]) -> Entity:
        outline = [(low[0], low[1]), (high[0], low[1]), (high[0], high[1]), (low[0], high[1])]
        return self.extrusion(self.profile(outline), high[2] - low[2], (0, 0, low[2]))

    def shell(self, points: Sequence[Sequence[float]], polygons: Sequence[Sequence[int]]) -> Entity:
        corners = [self.point(*point) for point in points]
        faces = []
        for polygon in polygons:
            loop = self.file.create_entity("IfcPolyLoop", [corners[index] for index in polygon])
            faces.append(
                self.file.create_entity("IfcFace", [self.file.create_entity("IfcFaceOuterBound", loop, True)])
            )
        return self.file.create_entity("IfcClosedShell", faces)

    def brep(self, points: Sequence[Sequence[float]], polygons: Sequence[Sequence[int]]) -> Entity:
        return self.file.create_entity("IfcFacetedBrep", self.shell(points, polygons))

    def half_space(
        self,
        at: Sequence[float],
        normal: Sequence[float],
        agreement: bool,
        outline: Sequence[Sequence[float]] = (),
        frame: Entity = None,
    ) -> Entity:
        x = (0, 1, 0) if abs(normal[0]) > 0.9 else (1, 0, 0)
        plane = self.file.create_entity("IfcPlane", self.axes(at, normal, x))
        if outline:
            return self.file.create_entity(
                "IfcPolygonalBoundedHalfSpace", plane, agreement, frame or self.axes(), self.polyline(outline)
            )
        return self.file.create_entity("IfcHalfSpaceSolid", plane, agreement)

    def clipped(self, first: Entity, second: Entity) -> Entity:
        return self.file.create_entity("IfcBooleanClippingResult", "DIFFERENCE", first, second)

    def boolean(self, operator: str, first: Entity, second: Entity) -> Entity:
        return self.file.create_entity("IfcBooleanResult", operator, first, second)

    def representation(self, items: Sequence[Entity], kind: str = "SweptSolid") -> Entity:
        return self.file.create_entity("IfcShapeRepresentation", self.context, "Body", kind, list(items))

    def mapped(self, source: Entity, **operator: Any) -> Entity:
        kind = "IfcCartesianTransformationOperator3D"
        if "Scale2" in operator:
            kind += "nonUniform"
        target = self.file.create_entity(kind, **{"LocalOrigin": self.point(0, 0, 0), **operator})
        return self.file.create_entity("IfcMappedItem", source, target)

    def source(self, items: Sequence[Entity]) -> Entity:
        return self.file.create_entity("IfcRepresentationMap", self.axes(), self.representation(items))

    def product(self, *items: Entity, placement: Entity = None, kind: str = "IfcWall") -> int:
        """Step id of a product whose body has these items."""
        shape = (
            self.file.create_entity("IfcProductDefinitionShape", None, None, [self.representation(items)])
            if items
            else None
        )
        made = self.file.create_entity(
            kind, ifcopenshell.guid.new(), ObjectPlacement=placement or self.place(), Representation=shape
        )
        return int(made.id())

    def opening(self, *items: Entity, placement: Entity = None) -> int:
        return self.product(*items, placement=placement, kind="IfcOpeningElement")

    def solve(
        self,
        body: int | Sequence[int],
        openings: Sequence[int] = (),
        slicing: Slicing | None = None,
        hint: float | None = None,
        origin: Sequence[float] = (0, 0, 0),
        transform: np.ndarray | None = None,
    ) -> SolidResult:
        """Measure in this process, without workers."""
        bodies = (body,) if isinstance(body, int) else tuple(body)
        request = SolidRequest(1, bodies, tuple(openings), slicing, hint)
        return Bodies(self.file).result(request, np.array(origin, dtype=float), transform)

    def save(self, path: Path) -> str:
        self.file.write(str(path))
        return str(path)
