"""The frame of a written model: header, units, GlobalIds, site, building, storeys and placements."""

import hashlib
import math
from collections.abc import Sequence
from typing import Any

import ifcopenshell
import ifcopenshell.guid
from ifc_shapes import Entity, Point, Shapes

STAMP = "2024-01-01T00:00:00"
"""Every written file carries this time, so that writing twice gives the same bytes."""

UNITS = {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": 0.3048, "in": 0.0254}
"""Length units in metres."""

_OBLIGATORY = {
    "PredefinedType": "NOTDEFINED",
    "ShapeType": "NOTDEFINED",
    "CompositionType": "ELEMENT",
}


class Frame(Shapes):
    """A model under construction.

    `rotate_deg` and `offset` (metres) turn and move the whole model through the placement of the site; with
    `absolute` every element has a placement of its own instead, to the same effect. GlobalIds follow from
    `name` and order.
    """

    def __init__(
        self,
        schema: str = "IFC4",
        unit: str = "mm",
        rotate_deg: float = 0.0,
        offset: Point = (0.0, 0.0, 0.0),
        *,
        name: str = "model",
        absolute: bool = False,
    ) -> None:
        self.file = ifcopenshell.file(schema=schema)
        self.schema = self.file.schema
        self.unit = UNITS[unit]
        self.name = name
        self._declarations = ifcopenshell.schema_by_name(self.file.schema_identifier)
        self._count = 0
        self._contained: dict[Entity, list[Entity]] = {}
        self._materials: dict[str, Entity] = {}
        self._turn = math.radians(rotate_deg)
        self._offset = tuple(offset)
        self.absolute = absolute
        self._header()
        self.owner = self._owner()
        world = self.file.create_entity(
            "IfcGeometricRepresentationContext", None, "Model", 3, 1e-6, self.position(), None
        )
        self.context = self.file.create_entity(
            "IfcGeometricRepresentationSubContext",
            ContextIdentifier="Body",
            ContextType="Model",
            ParentContext=world,
            TargetView="MODEL_VIEW",
        )
        self.world = world
        self.project = self.root(
            "IfcProject",
            Name=name,
            RepresentationContexts=[world],
            UnitsInContext=self.file.create_entity("IfcUnitAssignment", self._units(unit)),
        )
        self.site = self._spatial("IfcSite", "Site", None, self._offset, rotate_deg)
        self.building = self._spatial("IfcBuilding", "Building", self.site)
        self.aggregate(self.project, [self.site])
        self.aggregate(self.site, [self.building])
        self.storeys: dict[str, Entity] = {}
        self._storey: Entity | None = None

    def _header(self) -> None:
        header = self.file.header
        header.file_name.name = f"{self.name}.ifc"
        header.file_name.time_stamp = STAMP
        header.file_name.author = ("",)
        header.file_name.organization = ("",)
        header.file_name.preprocessor_version = "takeoff"
        header.file_name.originating_system = "takeoff"
        header.file_name.authorization = ""

    def _owner(self) -> Entity:
        make = self.file.create_entity
        person = make("IfcPerson", FamilyName="Sample")
        office = make("IfcOrganization", Name="Sample office")
        both = make("IfcPersonAndOrganization", person, office)
        program = make("IfcApplication", office, "1", "takeoff sample models", "takeoff")
        return make("IfcOwnerHistory", both, program, None, "NOCHANGE", None, None, None, 1704067200)

    def _units(self, unit: str) -> list[Entity]:
        make = self.file.create_entity
        si = [("LENGTHUNIT", "METRE"), ("AREAUNIT", "SQUARE_METRE"), ("VOLUMEUNIT", "CUBIC_METRE")]
        kinds = {kind: make("IfcSIUnit", None, kind, None, name) for kind, name in si}
        plane = [
            make("IfcSIUnit", None, "PLANEANGLEUNIT", None, "RADIAN"),
            make("IfcSIUnit", None, "MASSUNIT", "KILO", "GRAM"),
        ]
        if unit in ("mm", "cm"):
            prefix = {"mm": "MILLI", "cm": "CENTI"}[unit]
            kinds["LENGTHUNIT"] = make("IfcSIUnit", None, "LENGTHUNIT", prefix, "METRE")
        elif unit != "m":
            word = {"ft": "FOOT", "in": "INCH"}[unit]
            names = (("LENGTHUNIT", word), ("AREAUNIT", f"SQUARE {word}"), ("VOLUMEUNIT", f"CUBIC {word}"))
            for power, (kind, name) in enumerate(names, start=1):
                size = make("IfcDimensionalExponents", power, 0, 0, 0, 0, 0, 0)
                measure = {1: "IfcLengthMeasure", 2: "IfcAreaMeasure", 3: "IfcVolumeMeasure"}[power]
                factor = make("IfcMeasureWithUnit", make(measure, self.unit**power), kinds[kind])
                kinds[kind] = make("IfcConversionBasedUnit", size, kind, name, factor)
        return [*kinds.values(), *plane]

    def in_unit(self, value: float, power: int) -> float:
        """A length, area or volume (by `power`) in the unit that the model states for it."""
        factor = self.unit if power == 1 or self.unit in (UNITS["ft"], UNITS["in"]) else 1.0
        return round(value / factor**power, 10) if power else value

    def global_id(self) -> str:
        """The next GlobalId: follows from the model's name and the order of writing."""
        self._count += 1
        digest = hashlib.sha256(f"{self.name} {self._count}".encode()).hexdigest()
        return str(ifcopenshell.guid.compress(digest[:32]))

    def attributes(self, ifc_class: str) -> dict[str, bool]:
        """Attribute names of a class in this schema, and whether each may stay empty."""
        declaration = self._declarations.declaration_by_name(ifc_class)
        return {item.name(): item.optional() for item in declaration.as_entity().all_attributes()}

    def has_class(self, ifc_class: str) -> bool:
        """Whether the schema knows a class."""
        return any(item.name() == ifc_class for item in self._declarations.declarations())

    def root(self, ifc_class: str, **values: Any) -> Entity:
        """Anything with a GlobalId. Attributes that the schema does not have are left out."""
        known = self.attributes(ifc_class)
        given = {key: value for key, value in values.items() if key in known and value is not None}
        for key, value in _OBLIGATORY.items():
            if key in known and not known[key]:
                given.setdefault(key, value)
        return self.file.create_entity(
            ifc_class, **({"GlobalId": self.global_id(), "OwnerHistory": self.owner} | given)
        )

    def placement(self, parent: Entity | None, at: Point, turn: float = 0.0, tilt: float = 0.0) -> Entity:
        """A placement in a parent's: moved, turned `turn` degrees about z, then tilted about its own y."""
        c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        ct, st = math.cos(math.radians(tilt)), math.sin(math.radians(tilt))
        axes = ((c * st, s * st, ct), (c * ct, s * ct, -st))
        if self.absolute and parent is None:
            c, s = math.cos(self._turn), math.sin(self._turn)

            def turned(p: Point) -> tuple[float, float, float]:
                return (c * p[0] - s * p[1], s * p[0] + c * p[1], p[2])

            axes = (turned(axes[0]), turned(axes[1]))
            at = tuple(a + b for a, b in zip(turned(at), self._offset, strict=True))
        return self.file.create_entity("IfcLocalPlacement", parent, self.position(at, axes))

    def _spatial(
        self, ifc_class: str, name: str, parent: Entity | None, at: Point = (0.0, 0.0, 0.0), turn: float = 0.0
    ) -> Entity:
        place = self.file.create_entity(
            "IfcLocalPlacement",
            parent.ObjectPlacement if parent else None,
            self.position(at, ((0, 0, 1), (math.cos(math.radians(turn)), math.sin(math.radians(turn)), 0.0))),
        )
        return self.root(ifc_class, Name=name, ObjectPlacement=place, CompositionType="ELEMENT")

    def storey(self, name: str, elevation: float) -> Entity:
        """A storey at a height above the model's zero; what follows is filed under it."""
        made = self._spatial("IfcBuildingStorey", name, self.building, (0.0, 0.0, elevation))
        made.Elevation = self.length(elevation)
        self.aggregate(self.building, [made])
        self.storeys[name] = self._storey = made
        return made

    def into(self, name: str) -> None:
        """File what follows under this storey."""
        self._storey = self.storeys[name]

    def relate(self, ifc_class: str, **values: Any) -> Entity:
        """A relationship."""
        return self.root(ifc_class, **values)

    def aggregate(self, whole: Entity, parts: Sequence[Entity]) -> Entity:
        """Parts of a whole."""
        return self.relate("IfcRelAggregates", RelatingObject=whole, RelatedObjects=list(parts))
