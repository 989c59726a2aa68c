"""The frame of a written model, its products, and all that is said of them: materials, sets, types, parts."""

import hashlib
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
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
_QUANTITIES = {
    "length": ("IfcQuantityLength", "LengthValue", 1),
    "area": ("IfcQuantityArea", "AreaValue", 2),
    "volume": ("IfcQuantityVolume", "VolumeValue", 3),
    "weight": ("IfcQuantityWeight", "WeightValue", 0),
    "count": ("IfcQuantityCount", "CountValue", 0),
}
_POWERS = {"IfcLengthMeasure": 1, "IfcPositiveLengthMeasure": 1, "IfcAreaMeasure": 2, "IfcVolumeMeasure": 3}


class Products(Shapes):
    """A model under construction.

    `rotate_deg` and `offset` (metres) turn and move the whole model: through the placement of the site, or,
    with `absolute`, through every element's own placement. GlobalIds follow from `name` and order.
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
        site_at = ((0.0, 0.0, 0.0), 0.0) if absolute else (self._offset, rotate_deg)
        self.site = self._spatial("IfcSite", "Site", None, *site_at)
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

    def product(
        self,
        ifc_class: str,
        *items: Entity,
        name: str = "",
        at: Point = (0.0, 0.0, 0.0),
        turn: float = 0.0,
        tilt: float = 0.0,
        filed: bool = True,
        material: str | Sequence[str] | None = None,
        made: str | None = None,
        properties: Mapping[str, Mapping[str, Any]] | None = None,
        **attributes: Any,
    ) -> Entity:
        """An element with a body of `items` in its own frame, whose origin is `at` above the model's zero.

        `made` is the construction method ("In-Situ", "Precast") as the standard set gives it. `filed` False
        keeps the element out of the storeys, for parts that belong to another element.
        """
        if self._storey is None:
            self.storey("Level 0", 0.0)
        level = self._storey
        if self.absolute:
            place = self.placement(None, at, turn, tilt)
        else:
            height = level.ObjectPlacement.RelativePlacement.Location.Coordinates[2] * self.unit
            local = (at[0], at[1], at[2] - height)
            place = self.placement(level.ObjectPlacement, local, turn, tilt)
        element = self.root(
            ifc_class,
            Name=name or ifc_class.removeprefix("Ifc"),
            ObjectPlacement=place,
            Representation=self.shape(items),
            **attributes,
        )
        if filed:
            self._contained.setdefault(level, []).append(element)
        if isinstance(material, str):
            self.associate([element], self.material(material))
        elif material is not None:
            self.associate(
                [element], self.file.create_entity("IfcMaterialList", list(map(self.material, material)))
            )
        if made:
            self.properties(element, "Pset_ConcreteElementGeneral", {"ConstructionMethod": made})
        for set_name, values in (properties or {}).items():
            self.properties(element, set_name, values)
        return element

    def relate(self, ifc_class: str, **values: Any) -> Entity:
        """A relationship."""
        return self.root(ifc_class, **values)

    def void(
        self, element: Entity, *items: Entity, name: str = "Opening", at: Point = (0.0, 0.0, 0.0)
    ) -> Entity:
        """An opening in an element; items and `at` are in the element's own frame."""
        opening = self.root(
            "IfcOpeningElement",
            Name=name,
            ObjectPlacement=self.placement(element.ObjectPlacement, at),
            Representation=self.shape(items),
        )
        self.relate("IfcRelVoidsElement", RelatingBuildingElement=element, RelatedOpeningElement=opening)
        return opening

    def material(self, name: str) -> Entity:
        """A material, written once."""
        if name not in self._materials:
            self._materials[name] = self.file.create_entity("IfcMaterial", name)
        return self._materials[name]

    def associate(self, elements: Sequence[Entity], material: Entity) -> None:
        """Say of what elements or types are made."""
        self.relate("IfcRelAssociatesMaterial", RelatedObjects=list(elements), RelatingMaterial=material)

    def layer_set(self, layers: Sequence[tuple[str, float]], name: str = "Build-up") -> Entity:
        """A layer set of (material, thickness in metres)."""
        made = [
            self.file.create_entity("IfcMaterialLayer", self.material(text), self.length(thickness))
            for text, thickness in layers
        ]
        return self.file.create_entity("IfcMaterialLayerSet", made, name)

    def layers(
        self,
        element: Entity,
        layers: Sequence[tuple[str, float]],
        *,
        axis: int | None = None,
        sense: int = 1,
        offset: float = 0.0,
    ) -> None:
        """Layers on an element: across local `axis` (0 x, 1 y, 2 z) from `offset`; None: a bare set."""
        made = self.layer_set(layers)
        if axis is not None:
            direction = "POSITIVE" if sense > 0 else "NEGATIVE"
            made = self.file.create_entity(
                "IfcMaterialLayerSetUsage", made, f"AXIS{axis + 1}", direction, self.length(offset)
            )
        self.associate([element], made)

    def value(self, value: Any) -> Entity:
        """A property value: text, number, truth, or (IFC measure, value in SI)."""
        make = self.file.create_entity
        if isinstance(value, tuple):
            measure, number = value
            return make(measure, self.in_unit(number, _POWERS.get(measure, 0)))
        if isinstance(value, bool):
            return make("IfcBoolean", value)
        if isinstance(value, int):
            return make("IfcInteger", value)
        return make("IfcReal", value) if isinstance(value, float) else make("IfcLabel", value)

    def property_set(self, set_name: str, values: Mapping[str, Any]) -> Entity:
        """A property set; a list becomes an enumerated value."""
        made = []
        for key, value in values.items():
            if isinstance(value, list):
                chosen = [self.value(item) for item in value]
                made.append(self.file.create_entity("IfcPropertyEnumeratedValue", key, None, chosen))
            else:
                made.append(self.file.create_entity("IfcPropertySingleValue", key, None, self.value(value)))
        return self.root("IfcPropertySet", Name=set_name, HasProperties=made)

    def properties(self, element: Entity, set_name: str, values: Mapping[str, Any]) -> Entity:
        """A property set on one element."""
        made = self.property_set(set_name, values)
        self.relate("IfcRelDefinesByProperties", RelatedObjects=[element], RelatingPropertyDefinition=made)
        return made

    def quantities(self, element: Entity, set_name: str, values: Mapping[str, tuple[str, float]]) -> Entity:
        """Declared quantities of an element: {name: (length, area, volume, weight or count, value in SI)}."""
        made = []
        for key, (kind, value) in values.items():
            ifc_class, attribute, power = _QUANTITIES[kind]
            number = self.in_unit(value, power)
            made.append(self.file.create_entity(ifc_class, Name=key, **{attribute: number}))
        found = self.root("IfcElementQuantity", Name=set_name, Quantities=made)
        self.relate("IfcRelDefinesByProperties", RelatedObjects=[element], RelatingPropertyDefinition=found)
        return found

    def type(
        self,
        elements: Sequence[Entity],
        name: str,
        ifc_class: str = "",
        *,
        material: str | None = None,
        properties: Mapping[str, Mapping[str, Any]] | None = None,
        predefined_type: str = "NOTDEFINED",
    ) -> Entity | None:
        """A type over elements, None where the schema has no type class for them."""
        ifc_class = ifc_class or elements[0].is_a() + "Type"
        if not self.has_class(ifc_class):
            return None
        sets = [self.property_set(key, values) for key, values in (properties or {}).items()]
        made = self.root(ifc_class, Name=name, PredefinedType=predefined_type, HasPropertySets=sets or None)
        self.relate("IfcRelDefinesByType", RelatedObjects=list(elements), RelatingType=made)
        if material:
            self.associate([made], self.material(material))
        return made

    def aggregate(self, whole: Entity, parts: Sequence[Entity]) -> Entity:
        """Parts of a whole."""
        return self.relate("IfcRelAggregates", RelatingObject=whole, RelatedObjects=list(parts))

    def assembly(self, name: str, parts: Sequence[Entity], **attributes: Any) -> Entity:
        """An element assembly of parts (which should be written with `filed=False`)."""
        made = self.product("IfcElementAssembly", name=name, **attributes)
        self.aggregate(made, parts)
        return made

    def classify(
        self, element: Entity, identification: str, name: str, system: str = "Sample classes"
    ) -> None:
        """A classification reference on an element."""
        key = "ItemReference" if self.schema == "IFC2X3" else "Identification"
        values: dict[str, Any] = {key: identification, "Name": name}
        if self.schema == "IFC2X3":
            source = self.file.create_entity("IfcClassification", Source="Sample", Edition="1", Name=system)
        else:
            source = self.file.create_entity("IfcClassification", Name=system)
        reference = self.file.create_entity("IfcClassificationReference", ReferencedSource=source, **values)
        self.relate(
            "IfcRelAssociatesClassification", RelatedObjects=[element], RelatingClassification=reference
        )

    def presentation_layer(self, name: str, elements: Sequence[Entity]) -> None:
        """Put the bodies of elements on a named layer."""
        shapes = [shape for one in elements for shape in one.Representation.Representations]
        self.file.create_entity("IfcPresentationLayerAssignment", Name=name, AssignedItems=shapes)

    def map_conversion(self, eastings: float, northings: float, height: float, turn: float = 0.0) -> None:
        """Where the model stands on the map (metres), its x axis turned `turn` degrees. Not in IFC2X3."""
        grid = self.file.create_entity("IfcProjectedCRS", Name="EPSG:0000")
        self.file.create_entity(
            "IfcMapConversion",
            SourceCRS=self.world,
            TargetCRS=grid,
            Eastings=eastings,
            Northings=northings,
            OrthogonalHeight=height,
            XAxisAbscissa=math.cos(math.radians(turn)),
            XAxisOrdinate=math.sin(math.radians(turn)),
            Scale=self.unit,
        )

    def save(self, path: Path) -> Path:
        """Write the file, with every element filed under its storey."""
        for level, elements in self._contained.items():
            self.relate(
                "IfcRelContainedInSpatialStructure", RelatedElements=elements, RelatingStructure=level
            )
        self._contained = {}
        self.file.write(str(path))
        return Path(path)
