"""Products of a written model and all that is said of them: materials, sets, types, parts, classes."""

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ifc_frame import Frame
from ifc_shapes import Entity, Point

_QUANTITIES = {
    "length": ("IfcQuantityLength", "LengthValue", 1),
    "area": ("IfcQuantityArea", "AreaValue", 2),
    "volume": ("IfcQuantityVolume", "VolumeValue", 3),
    "weight": ("IfcQuantityWeight", "WeightValue", 0),
    "count": ("IfcQuantityCount", "CountValue", 0),
}
_POWERS = {"IfcLengthMeasure": 1, "IfcPositiveLengthMeasure": 1, "IfcAreaMeasure": 2, "IfcVolumeMeasure": 3}


class Products(Frame):
    """Elements, and what belongs to them."""

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
