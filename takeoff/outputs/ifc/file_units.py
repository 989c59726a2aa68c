"""Quantities in the units of a file."""

from typing import Any

from takeoff.reading.facts import QuantityKind
from takeoff.reading.units import read_units

_ENTITIES: dict[QuantityKind, tuple[str, str]] = {
    "length": ("IfcQuantityLength", "LengthValue"),
    "area": ("IfcQuantityArea", "AreaValue"),
    "volume": ("IfcQuantityVolume", "VolumeValue"),
    "weight": ("IfcQuantityWeight", "WeightValue"),
    "count": ("IfcQuantityCount", "CountValue"),
}
_SI: dict[QuantityKind, tuple[str, str, str | None]] = {
    "length": ("LENGTHUNIT", "METRE", None),
    "area": ("AREAUNIT", "SQUARE_METRE", None),
    "volume": ("VOLUMEUNIT", "CUBIC_METRE", None),
    "weight": ("MASSUNIT", "GRAM", "KILO"),
}


class FileUnits:
    """Turns m, m2, m3 and kg into what the file counts in.

    Where the project names no unit for a kind, the quantity carries its own (an SI unit), since the standard
    leaves open what a number without a unit means.
    """

    def __init__(self, model: Any) -> None:
        self._model = model
        self._units = read_units(model)
        self._made: dict[QuantityKind, Any] = {}

    def value(self, kind: QuantityKind, value: float) -> float:
        """A figure in the file's unit of `kind`."""
        if kind == "count" or kind in self._units.missing:
            return value
        return value / self._units.factor(kind)

    def unit(self, kind: QuantityKind) -> Any:
        """The unit that a quantity must carry itself, None where the project's holds."""
        return None if kind == "count" or kind not in self._units.missing else self.si_unit(kind)

    def si_unit(self, kind: QuantityKind) -> Any:
        """The entity of the SI unit of a kind: metre, m2, m3 or kilogram."""
        if kind not in self._made:
            unit_type, name, prefix = _SI[kind]
            known = (
                unit
                for unit in self._model.by_type("IfcSIUnit")
                if (unit.UnitType, unit.Name, unit.Prefix) == (unit_type, name, prefix)
            )
            self._made[kind] = next(known, None) or self._model.create_entity(
                "IfcSIUnit", UnitType=unit_type, Name=name, Prefix=prefix
            )
        return self._made[kind]

    def quantity(self, name: str, kind: QuantityKind, value: float, description: str | None = None) -> Any:
        """A new quantity entity of `value` in SI."""
        entity, attribute = _ENTITIES[kind]
        written: float | int = self.value(kind, value)
        if kind == "count" and self._model.schema == "IFC4X3":
            written = round(written)
        attributes: dict[str, Any] = {"Name": name, attribute: written}
        if description is not None:
            attributes["Description"] = description
        if (unit := self.unit(kind)) is not None:
            attributes["Unit"] = unit
        return self._model.create_entity(entity, **attributes)

    def read(self, quantity: Any, kind: QuantityKind) -> float:
        """The value of a quantity entity in SI."""
        return float(quantity[3]) * self._units.factor(kind, quantity.Unit)

    def kind_of(self, quantity: Any) -> QuantityKind | None:
        """What a quantity entity measures."""
        return next((kind for kind, (entity, _) in _ENTITIES.items() if quantity.is_a() == entity), None)
