"""Materials of elements: names, build-ups in layers, on the element itself or on its type."""

from typing import Any

from msgspec import Struct, field

from takeoff.reading.attributes import attribute, clean, name_of
from takeoff.reading.facts import BuildUp, Layer
from takeoff.reading.relations import Relations

_AXES = {"AXIS1": 0, "AXIS2": 1, "AXIS3": 2}


class Material(Struct, frozen=True):
    """What an element is made of: names in order without repetition, their categories (or descriptions)
    beside them, the layers if there are any."""

    names: tuple[str, ...] = ()
    categories: tuple[str, ...] = ()
    build_up: BuildUp | None = None

    @property
    def text(self) -> str:
        """Names and categories as one text, to look for words in."""
        return " ; ".join(dict.fromkeys(t for t in (*self.names, *self.categories) if t))


NO_MATERIAL = Material()


class Materials(Struct):
    """Reads and remembers materials; `length` is the file's length unit in metres."""

    relations: Relations
    length: float
    _known: dict[int, Material] = field(default_factory=dict)

    def of(self, product: Any) -> Material:
        """The material of an element, else of its type, else none."""
        own = self._associated(product.id())
        if own.names or own.build_up:
            return own
        kind = self.relations.type_of.get(product.id())
        return self._associated(kind.id()) if kind is not None else NO_MATERIAL

    def _associated(self, step_id: int) -> Material:
        associated = self.relations.materials.get(step_id, ())
        if len(associated) == 1:
            return self._read(associated[0])
        if not associated:
            return NO_MATERIAL
        every = [self._read(a) for a in associated]
        pairs = dict.fromkeys(pair for m in every for pair in zip(m.names, m.categories, strict=True))
        return Material(
            tuple(name for name, _ in pairs),
            tuple(category for _, category in pairs),
            next((m.build_up for m in every if m.build_up), None),
        )

    def _read(self, definition: Any) -> Material:
        known = self._known.get(definition.id())
        if known is None:
            known = self._known[definition.id()] = self._parsed(definition)
        return known

    def _parsed(self, definition: Any) -> Material:
        kind = definition.is_a()
        if kind == "IfcMaterial":
            return _named([definition])
        if kind == "IfcMaterialList":
            return _named(definition.Materials or ())
        if kind == "IfcMaterialLayerSetUsage":
            return self._layered(
                definition.ForLayerSet.MaterialLayers or (),
                _AXES.get(definition.LayerSetDirection),
                -1 if definition.DirectionSense == "NEGATIVE" else 1,
                float(definition.OffsetFromReferenceLine) * self.length,
            )
        if kind == "IfcMaterialLayerSet":
            return self._layered(definition.MaterialLayers or (), None, 1, None)
        if kind in ("IfcMaterialLayer", "IfcMaterialLayerWithOffsets"):
            return self._layered([definition], None, 1, None)
        if kind == "IfcMaterialConstituentSet":
            return _named([c.Material for c in definition.MaterialConstituents or ()])
        if kind == "IfcMaterialProfileSet":
            return _named([p.Material for p in definition.MaterialProfiles or ()])
        if kind.startswith("IfcMaterialProfileSetUsage"):
            return _named([p.Material for p in definition.ForProfileSet.MaterialProfiles or ()])
        if kind in ("IfcMaterialConstituent", "IfcMaterialProfile", "IfcMaterialProfileWithOffsets"):
            return _named([definition.Material])
        return NO_MATERIAL

    def _layered(self, layers: Any, axis: int | None, sense: int, offset: float | None) -> Material:
        names = _named([layer.Material for layer in layers])
        read = tuple(
            Layer(
                material=name_of(layer.Material),
                thickness=float(layer.LayerThickness or 0.0) * self.length,
                name=name_of(layer) or clean(attribute(layer, "Category")),
            )
            for layer in layers
        )
        return Material(names.names, names.categories, BuildUp(read, axis, sense, offset) if read else None)


def _named(materials: Any) -> Material:
    """Names of plain materials, each once, with their categories (IFC4 and later)."""
    pairs: dict[str, str] = {}
    for material in materials:
        name = name_of(material)
        if name:
            pairs.setdefault(name, clean(attribute(material, "Category")))
    return Material(tuple(pairs), tuple(pairs.values()))
