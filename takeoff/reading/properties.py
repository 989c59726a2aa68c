"""Property sets and declared quantities of elements, each set read once however many elements share it."""

import math
from collections.abc import Iterable, Mapping
from typing import Any

from msgspec import Struct, field

from takeoff.reading.attributes import attribute, clean, first_line
from takeoff.reading.facts import Declared, PropertyValue, QuantityKind
from takeoff.reading.relations import Relations
from takeoff.reading.units import KIND_OF_MEASURE, Units
from takeoff.reading.words import key

PropertySets = dict[str, Mapping[str, PropertyValue]]

COMPLEX_LIMIT = 8
"""Deepest nesting of complex properties that is followed."""

_QUANTITY_KINDS: dict[str, QuantityKind] = {
    "IfcQuantityLength": "length",
    "IfcQuantityArea": "area",
    "IfcQuantityVolume": "volume",
    "IfcQuantityWeight": "weight",
    "IfcQuantityCount": "count",
}

_DENSITIES = {"IfcMassDensityMeasure": "mass_density", "IfcAreaDensityMeasure": "area_density"}

_NAMES: dict[QuantityKind, str] = {
    "volume": (
        "volume netvolume grossvolume volumenet volumebrut concretevolume volumen nettovolumen "
        "bruttovolumen betonvolumen volumenneto volumenbruto volumenetto volumelordo volumeliquido "
        "volumebruto nettovolume brutovolume betonvolume inhoud nettoinhoud brutoinhoud volym nettovolym "
        "bruttovolym volum nettovolum bruttovolum rumfang tilavuus nettotilavuus bruttotilavuus "
        "volumebeton volumedebeton"
    ),
    "weight": (
        "weight netweight grossweight totalweight mass gewicht nettogewicht bruttogewicht brutogewicht "
        "gesamtgewicht totaalgewicht masse massa poids peso pesototale pesototal vikt vekt vaegt paino"
    ),
    "area": (
        "area netarea grossarea netsidearea grosssidearea surfacearea netsurfacearea oppervlakte flache "
        "flaeche nettoflache bruttoflache superficie areal pintaala"
    ),
    "length": (
        "length lengte lange laenge longueur lunghezza longitud comprimento langd lengde laengde pituus"
    ),
}
"""Names of properties that plainly are a quantity of the whole element, in eleven languages."""

KIND_OF_NAME: dict[str, QuantityKind] = {
    name: kind for kind, names in _NAMES.items() for name in names.split()
}


class PropertySet(Struct, frozen=True):
    """One set as read: `values` where it is a property set, `declared` the quantities that it names."""

    name: str
    values: Mapping[str, PropertyValue] = field(default_factory=dict)
    declared: tuple[Declared, ...] = ()


class Properties(Struct):
    """Reads and remembers sets. `assumed_kinds` gathers the kinds of declared values whose unit the file
    lacks."""

    relations: Relations
    units: Units
    assumed_kinds: set[QuantityKind] = field(default_factory=set)
    broken: list[tuple[int, str]] = field(default_factory=list)
    _sets: dict[int, tuple[PropertySet, ...]] = field(default_factory=dict)
    _types: dict[int, tuple[PropertySet, ...]] = field(default_factory=dict)

    def own(self, product: Any) -> list[PropertySet]:
        """The sets attached to the element itself."""
        found: list[PropertySet] = []
        for definition in self.relations.definitions.get(product.id(), ()):
            found.extend(self._read(definition))
        return found

    def of_type(self, product: Any) -> tuple[PropertySet, ...]:
        """The sets attached to the element's type."""
        kind = self.relations.type_of.get(product.id())
        if kind is None:
            return ()
        known = self._types.get(kind.id())
        if known is None:
            known = tuple(s for d in attribute(kind, "HasPropertySets") or () for s in self._read(d))
            self._types[kind.id()] = known
        return known

    def sets(self, product: Any) -> PropertySets:
        """Property sets by name, what the instance says over what its type says, property by property."""
        return self.read(product)[0]

    def read(self, product: Any) -> tuple[PropertySets, tuple[Declared, ...]]:
        """Property sets by name and the declared quantities of the instance."""
        own = self.own(product)
        with_values = [s for s in own if s.values]
        sets = merged(
            [s.values for s in with_values],
            [s.name for s in with_values],
            [(s.name, s.values) for s in self.of_type(product) if s.values],
        )
        return sets, tuple(d for s in own for d in s.declared)

    def _read(self, definition: Any) -> tuple[PropertySet, ...]:
        """A definition as sets: one, or several where the file bundles them."""
        known = self._sets.get(definition.id()) if definition.id() else None
        if known is not None:
            return known
        try:
            found = self._parsed(definition)
        except Exception as fault:
            self.broken.append((definition.id(), f"{definition.is_a()} cannot be read ({first_line(fault)})"))
            found = ()
        if definition.id():
            self._sets[definition.id()] = found
        return found

    def _parsed(self, definition: Any) -> tuple[PropertySet, ...]:
        name = definition.is_a()
        if name == "IfcPropertySet":
            return (self._property_set(definition),)
        if name == "IfcElementQuantity":
            return (self._quantity_set(definition),)
        if name == "IfcPropertySetDefinitionSet":
            return tuple(s for d in definition[0] for s in self._read(d))
        return ()

    def _property_set(self, definition: Any) -> PropertySet:
        set_name = clean(definition[2])
        values: dict[str, PropertyValue] = {}
        declared: list[Declared] = []
        self._properties(set_name, definition[4] or (), "", values, declared, 0)
        return PropertySet(set_name, values, tuple(declared))

    def _properties(
        self,
        set_name: str,
        items: Iterable[Any],
        prefix: str,
        values: dict[str, PropertyValue],
        declared: list[Declared],
        depth: int,
    ) -> None:
        # Attributes are fetched by `get_argument`, which takes half the time of indexing: this loop runs
        # over every property of every element.
        for item in items:
            get = item.get_argument
            name = prefix + clean(get(0))
            kind = item.is_a()
            if kind == "IfcPropertySingleValue":
                typed = get(2)
                if typed is None:
                    continue
                written = typed.get_argument(0)
                if isinstance(written, str):
                    text = clean(written)
                    if text and not (text == "UNKNOWN" and typed.is_a() == "IfcLogical"):
                        values[name] = text
                    continue
                value = self._scalar(typed, get(3))
                if value is None:
                    continue
                values[name] = value
                if not prefix and not isinstance(value, bool):
                    quantity = self._declared(set_name, name, typed, get(3))
                    if quantity is not None:
                        declared.append(quantity)
            elif kind == "IfcPropertyEnumeratedValue" or kind == "IfcPropertyListValue":
                _keep(values, name, [self._scalar(v, None) for v in item[2] or ()])
            elif kind == "IfcPropertyBoundedValue":
                bounded = self._bounded(item)
                if bounded is not None:
                    values[name] = bounded
            elif kind == "IfcComplexProperty" and depth < COMPLEX_LIMIT:
                self._properties(set_name, item[3] or (), f"{name}.", values, declared, depth + 1)

    def _scalar(self, typed: Any, unit: Any) -> PropertyValue | None:
        """A typed value as text, number or truth value; densities in kg/m3 and kg/m2, all else as written."""
        value = typed[0]
        if isinstance(value, str):
            text = clean(value)
            return None if not text or (text == "UNKNOWN" and typed.is_a() == "IfcLogical") else text
        if isinstance(value, bool):
            return value
        if isinstance(value, (int, float)):
            if not math.isfinite(value):
                return None
            density = _DENSITIES.get(typed.is_a())
            return value * self._density(density, unit) if density else value
        return None

    def _density(self, name: str, unit: Any) -> float:
        from takeoff.reading.units import unit_factor

        own = unit_factor(unit) if unit is not None else None
        return own if own is not None else float(getattr(self.units, name))

    def _bounded(self, item: Any) -> PropertyValue | None:
        """The set point, else the bounds: one number where they agree, else `low to high` in words."""
        set_point = attribute(item, "SetPointValue")
        if set_point is not None:
            return self._scalar(set_point, item[4])
        upper, lower = (None if v is None else self._scalar(v, item[4]) for v in (item[2], item[3]))
        if upper is None or lower is None:
            known = upper if lower is None else lower
            return None if known is None else (f"to {known}" if lower is None else f"from {known}")
        return upper if upper == lower else f"{lower} to {upper}"

    def _declared(self, set_name: str, name: str, typed: Any, unit: Any) -> Declared | None:
        """A property that plainly is a quantity. A plain number has no unit: it is taken as metres, m2, m3,
        kg."""
        kind = KIND_OF_NAME.get(key(name))
        if kind is None:
            return None
        measure = KIND_OF_MEASURE.get(typed.is_a())
        if measure is None:
            if typed.is_a() not in ("IfcReal", "IfcInteger", "IfcNumericMeasure"):
                return None
            return Declared(set_name, name, kind, float(typed[0]))
        if measure != kind:
            return None
        return Declared(set_name, name, kind, float(typed[0]) * self._factor(kind, unit))

    def _quantity_set(self, definition: Any) -> PropertySet:
        set_name = clean(definition[2])
        declared = []
        for item in definition[5] or ():
            kind = _QUANTITY_KINDS.get(item.is_a())
            if kind is None:
                continue
            get = item.get_argument
            value = get(3)
            if isinstance(value, (int, float)) and math.isfinite(value):
                name, unit = clean(get(0)), get(2)
                declared.append(Declared(set_name, name, kind, value * self._factor(kind, unit)))
        return PropertySet(set_name, {}, tuple(declared))

    def _factor(self, kind: QuantityKind, unit: Any) -> float:
        if unit is None and kind in self.units.missing:
            self.assumed_kinds.add(kind)
        return self.units.factor(kind, unit)


def _keep(values: dict[str, PropertyValue], name: str, found: list[PropertyValue | None]) -> None:
    """Several values as one: itself where there is one, else a text with commas."""
    filled = [v for v in found if v is not None]
    if len(filled) == 1:
        values[name] = filled[0]
    elif filled:
        values[name] = ", ".join(str(v) for v in filled)


def merged(
    own: list[Mapping[str, PropertyValue]],
    names: list[str],
    under: list[tuple[str, Mapping[str, PropertyValue]]],
) -> PropertySets:
    """Sets by name; a set of the same name further down the ranking fills in only what is missing."""
    result: PropertySets = {}
    for name, values in [*zip(names, own, strict=True), *under]:
        known = result.get(name)
        if known is None:
            result[name] = values
        elif not values.keys() <= known.keys():
            result[name] = {**values, **known}
    return result


def fill_in(sets: PropertySets, under: PropertySets) -> PropertySets:
    """`sets` with what is missing in them taken from `under`, property by property."""
    return merged(list(sets.values()), list(sets), list(under.items())) if under else sets
