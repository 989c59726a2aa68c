"""Geometry of the models that the project writes: profiles, solids, clippings, meshes, mapped items.

Everything is given in metres and written in the model's length unit.
"""

import math
from collections.abc import Sequence
from typing import Any

import ifcopenshell

Entity = ifcopenshell.entity_instance
Point = Sequence[float]
Axes = tuple[Point, Point]
"""The local z and x directions of a placement."""

UPRIGHT: Axes = ((0.0, 0.0, 1.0), (1.0, 0.0, 0.0))
_KINDS = (
    ("IfcMappedItem", "MappedRepresentation"),
    ("IfcBooleanClippingResult", "Clipping"),
    ("IfcBooleanResult", "CSG"),
    ("IfcSweptAreaSolid", "SweptSolid"),
    ("IfcManifoldSolidBrep", "Brep"),
    ("IfcFaceBasedSurfaceModel", "SurfaceModel"),
    ("IfcTessellatedFaceSet", "Tessellation"),
    ("IfcSweptDiskSolid", "AdvancedSweptSolid"),
)


class Shapes:
    """Writes geometry into `file`; `unit` is the model's length unit in metres."""

    file: ifcopenshell.file
    unit: float
    context: Entity

    def length(self, metres: float) -> float:
        """A length in the model's unit, free of binary dust."""
        return round(metres / self.unit, 10)

    def point(self, at: Point) -> Entity:
        """A point of two or three coordinates."""
        return self.file.create_entity("IfcCartesianPoint", tuple(self.length(value) for value in at))

    def direction(self, to: Point) -> Entity:
        """A direction of two or three ratios, written at unit length."""
        size = math.sqrt(sum(value * value for value in to))
        return self.file.create_entity("IfcDirection", tuple(round(value / size, 15) for value in to))

    def position(self, at: Point = (0.0, 0.0, 0.0), axes: Axes = UPRIGHT) -> Entity:
        """A right-handed frame in space."""
        return self.file.create_entity(
            "IfcAxis2Placement3D", self.point(at), self.direction(axes[0]), self.direction(axes[1])
        )

    def flat_position(self, at: Point = (0.0, 0.0)) -> Entity:
        """A frame in the plane."""
        return self.file.create_entity("IfcAxis2Placement2D", self.point(at), self.direction((1.0, 0.0)))

    def closed_line(self, points: Sequence[Point]) -> Entity:
        """A closed polyline; the first point is not to be repeated."""
        corners = [self.point(at) for at in points]
        return self.file.create_entity("IfcPolyline", [*corners, corners[0]])

    def outline(self, points: Sequence[Point], holes: Sequence[Sequence[Point]] = ()) -> Entity:
        """A profile of straight edges, with holes where given."""
        outer = self.closed_line(points)
        if not holes:
            return self.file.create_entity("IfcArbitraryClosedProfileDef", "AREA", None, outer)
        return self.file.create_entity(
            "IfcArbitraryProfileDefWithVoids", "AREA", None, outer, [self.closed_line(hole) for hole in holes]
        )

    def rectangle(self, width: float, depth: float, at: Point = (0.0, 0.0)) -> Entity:
        """A rectangle profile about its centre `at`: `width` along x, `depth` along y."""
        return self.file.create_entity(
            "IfcRectangleProfileDef",
            "AREA",
            None,
            self.flat_position(at),
            self.length(width),
            self.length(depth),
        )

    def circle(self, radius: float, at: Point = (0.0, 0.0)) -> Entity:
        """A circle profile about its centre `at`."""
        return self.file.create_entity(
            "IfcCircleProfileDef", "AREA", None, self.flat_position(at), self.length(radius)
        )

    def tube(self, radius: float, thickness: float, at: Point = (0.0, 0.0)) -> Entity:
        """A ring profile: outer radius and wall thickness."""
        return self.file.create_entity(
            "IfcCircleHollowProfileDef",
            "AREA",
            None,
            self.flat_position(at),
            self.length(radius),
            self.length(thickness),
        )

    def i_shape(self, width: float, depth: float, web: float, flange: float) -> Entity:
        """An I profile about its centre, without fillets."""
        sizes = {
            "OverallWidth": self.length(width),
            "OverallDepth": self.length(depth),
            "WebThickness": self.length(web),
            "FlangeThickness": self.length(flange),
        }
        return self.file.create_entity(
            "IfcIShapeProfileDef", ProfileType="AREA", Position=self.flat_position(), **sizes
        )

    def ring_sector(self, inner: float, outer: float, angle: float) -> Entity:
        """A sector of a ring about the origin, from the x axis anticlockwise through `angle` degrees."""
        turn = math.radians(angle)
        ends = (math.cos(turn), math.sin(turn))
        centre = self.flat_position()
        segments = [
            self._segment(self._arc(centre, outer, turn), True),
            self._segment(
                self._line([(outer * ends[0], outer * ends[1]), (inner * ends[0], inner * ends[1])])
            ),
            self._segment(self._arc(centre, inner, turn), False),
            self._segment(self._line([(inner, 0.0), (outer, 0.0)])),
        ]
        curve = self.file.create_entity("IfcCompositeCurve", segments, False)
        return self.file.create_entity("IfcArbitraryClosedProfileDef", "AREA", None, curve)

    def _line(self, points: Sequence[Point]) -> Entity:
        return self.file.create_entity("IfcPolyline", [self.point(at) for at in points])

    def _arc(self, centre: Entity, radius: float, turn: float) -> Entity:
        circle = self.file.create_entity("IfcCircle", centre, self.length(radius))
        ends = [[self.file.create_entity("IfcParameterValue", value)] for value in (0.0, turn)]
        return self.file.create_entity("IfcTrimmedCurve", circle, ends[0], ends[1], True, "PARAMETER")

    def _segment(self, curve: Entity, same_sense: bool = True) -> Entity:
        return self.file.create_entity("IfcCompositeCurveSegment", "CONTINUOUS", same_sense, curve)

    def extrusion(
        self,
        profile: Entity | Sequence[Point],
        height: float,
        at: Point = (0.0, 0.0, 0.0),
        *,
        direction: Point = (0.0, 0.0, 1.0),
        axes: Axes = UPRIGHT,
        holes: Sequence[Sequence[Point]] = (),
    ) -> Entity:
        """A profile (or polygon in its own plane) placed at `at` and pushed `height` along `direction`.

        `direction` is in the frame of the profile; (0, 0, -1) extrudes downward.
        """
        if not isinstance(profile, ifcopenshell.entity_instance):
            profile = self.outline(profile, holes)
        return self.file.create_entity(
            "IfcExtrudedAreaSolid",
            profile,
            self.position(at, axes),
            self.direction(direction),
            self.length(height),
        )

    def _faces(self, vertices: Sequence[Point], faces: Sequence[Sequence[int]]) -> list[Entity]:
        points = [self.point(at) for at in vertices]
        made = []
        for face in faces:
            loop = self.file.create_entity("IfcPolyLoop", [points[index] for index in face])
            bound = self.file.create_entity("IfcFaceOuterBound", loop, True)
            made.append(self.file.create_entity("IfcFace", [bound]))
        return made

    def brep(self, vertices: Sequence[Point], faces: Sequence[Sequence[int]]) -> Entity:
        """A faceted solid: polygons of vertex indices, anticlockwise seen from outside."""
        shell = self.file.create_entity("IfcClosedShell", self._faces(vertices, faces))
        return self.file.create_entity("IfcFacetedBrep", shell)

    def surface_model(self, vertices: Sequence[Point], faces: Sequence[Sequence[int]]) -> Entity:
        """The same faces as a surface model, which does not promise to be a solid."""
        shell = self.file.create_entity("IfcConnectedFaceSet", self._faces(vertices, faces))
        return self.file.create_entity("IfcFaceBasedSurfaceModel", [shell])

    def triangles(self, vertices: Sequence[Point], faces: Sequence[Sequence[int]]) -> Entity:
        """A triangulated face set (not in IFC2X3)."""
        points = self.file.create_entity(
            "IfcCartesianPointList3D", [[self.length(value) for value in at] for at in vertices]
        )
        return self.file.create_entity(
            "IfcTriangulatedFaceSet",
            Coordinates=points,
            Closed=True,
            CoordIndex=[[index + 1 for index in face] for face in faces],
        )

    def half_space(self, at: Point, normal: Point) -> Entity:
        """All that lies beyond a plane, on the side to which `normal` points."""
        side = (1.0, 0.0, 0.0) if abs(normal[0]) < 0.9 * math.hypot(*normal) else (0.0, 1.0, 0.0)
        plane = self.file.create_entity("IfcPlane", self.position(at, (normal, side)))
        return self.file.create_entity("IfcHalfSpaceSolid", plane, False)

    def cut(self, solid: Entity, tool: Entity) -> Entity:
        """`solid` without what lies in `tool`."""
        kind = "IfcBooleanClippingResult" if tool.is_a("IfcHalfSpaceSolid") else "IfcBooleanResult"
        return self.file.create_entity(kind, "DIFFERENCE", solid, tool)

    def rod(self, points: Sequence[Point], radius: float) -> Entity:
        """A round bar along a line through `points`."""
        rod = self.file.create_entity("IfcSweptDiskSolid", self._line(points), self.length(radius))
        if self.file.schema == "IFC2X3":  # where the range of the line's parameter must be given
            rod.StartParam, rod.EndParam = 0.0, float(len(points) - 1)
        return rod

    def source(self, *items: Entity) -> Entity:
        """A shape to be repeated by `mapped`."""
        return self.file.create_entity("IfcRepresentationMap", self.position(), self.representation(items))

    def mapped(self, source: Entity, at: Point = (0.0, 0.0, 0.0), axes: Axes = UPRIGHT) -> Entity:
        """One repetition of a shape, moved and turned; `axes` may be left-handed only by `mirrored`."""
        (zx, zy, zz), (xx, xy, xz) = axes
        y = (zy * xz - zz * xy, zz * xx - zx * xz, zx * xy - zy * xx)
        return self._mapped(source, at, axes[1], y, axes[0])

    def mirrored(self, source: Entity, at: Point = (0.0, 0.0, 0.0)) -> Entity:
        """One repetition of a shape with its y axis turned round."""
        return self._mapped(source, at, (1.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, 1.0))

    def _mapped(self, source: Entity, at: Point, x: Point, y: Point, z: Point) -> Entity:
        target = self.file.create_entity(
            "IfcCartesianTransformationOperator3D",
            self.direction(x),
            self.direction(y),
            self.point(at),
            1.0,
            self.direction(z),
        )
        return self.file.create_entity("IfcMappedItem", source, target)

    def representation(self, items: Sequence[Entity]) -> Entity:
        """The Body representation of some items, named by what they are."""
        kinds = {next((name for base, name in _KINDS if item.is_a(base)), "SolidModel") for item in items}
        kind = kinds.pop() if len(kinds) == 1 else "SolidModel"
        return self.file.create_entity("IfcShapeRepresentation", self.context, "Body", kind, list(items))

    def shape(self, items: Sequence[Entity]) -> Any:
        """The shape of a product, None where there are no items."""
        if not items:
            return None
        return self.file.create_entity(
            "IfcProductDefinitionShape", Representations=[self.representation(items)]
        )
