"""Units of a model: factors from what is written in the file to metres, m2, m3 and kg."""

from dataclasses import dataclass
from typing import Any

from takeoff.reading.attributes import attribute
from takeoff.reading.facts import QuantityKind

GRAMS_PER_KILOGRAM = 1000.0
"""The IFC library counts mass in grams, the base name of the standard's SI unit."""

KIND_OF_MEASURE: dict[str, QuantityKind] = {
    "IfcLengthMeasure": "length",
    "IfcPositiveLengthMeasure": "length",
    "IfcNonNegativeLengthMeasure": "length",
    "IfcAreaMeasure": "area",
    "IfcVolumeMeasure": "volume",
    "IfcMassMeasure": "weight",
    "IfcCountMeasure": "count",
}
"""What a typed value measures."""

_UNIT_OF_KIND: dict[QuantityKind, str] = {
    "length": "LENGTHUNIT",
    "area": "AREAUNIT",
    "volume": "VOLUMEUNIT",
    "weight": "MASSUNIT",
}


@dataclass(frozen=True, slots=True)
class Units:
    """Factors by kind from the file's project units to SI (`angle` to radians), and the kinds that it names
    none for."""

    length: float
    area: float
    volume: float
    weight: float
    mass_density: float = 1.0
    area_density: float = 1.0
    missing: frozenset[QuantityKind] = frozenset()
    angle: float = 1.0

    def factor(self, kind: QuantityKind, unit: Any = None) -> float:
        """The factor for a value of `kind`; `unit` is the value's own unit entity, which wins if it is
        usable."""
        if kind == "count":
            return 1.0
        if unit is not None:
            own = unit_factor(unit)
            if own is not None:
                return own
        return float(getattr(self, kind))


def read_units(model: Any) -> Units:
    """The project's units. A missing length unit is taken as metre; a missing area or volume unit follows it
    where it is no SI unit (feet: square feet), else it is m2 and m3; a missing mass unit is kilogram."""
    found: dict[str, Any] = {}
    for project in model.by_type("IfcContext" if model.schema != "IFC2X3" else "IfcProject"):
        assignment = project.UnitsInContext
        if assignment is None:
            continue
        for unit in assignment.Units or ():
            kind = attribute(unit, "UnitType")
            if kind:
                found.setdefault(kind, unit)
    factors = {kind: unit_factor(found[name]) for kind, name in _UNIT_OF_KIND.items() if name in found}
    known = {kind: value for kind, value in factors.items() if value}
    length = known.get("length", 1.0)
    imperial = "LENGTHUNIT" in found and not found["LENGTHUNIT"].is_a("IfcSIUnit")
    densities = {
        name: unit_factor(found[name]) if name in found else None
        for name in ("MASSDENSITYUNIT", "AREADENSITYUNIT")
    }
    return Units(
        length=length,
        area=known.get("area", length**2 if imperial else 1.0),
        volume=known.get("volume", length**3 if imperial else 1.0),
        weight=known.get("weight", 1.0),
        mass_density=densities["MASSDENSITYUNIT"] or 1.0,
        area_density=densities["AREADENSITYUNIT"] or 1.0,
        missing=frozenset(kind for kind in _UNIT_OF_KIND if kind not in known),
        angle=(unit_factor(found["PLANEANGLEUNIT"]) if "PLANEANGLEUNIT" in found else None) or 1.0,
    )


def unit_factor(unit: Any) -> float | None:
    """Factor from a unit entity to SI (metre, m2, m3, kg and their derivatives), None if it cannot be
    told."""
    import math

    from ifcopenshell.util.unit import get_unit_scale

    try:
        factor = float(get_unit_scale(unit)) / GRAMS_PER_KILOGRAM ** _mass_exponent(unit)
    except Exception:
        return None
    return factor if math.isfinite(factor) and factor > 0.0 else None


def _mass_exponent(unit: Any) -> int:
    """How often mass enters a unit: 1 for kilogram and kg/m3, 0 for metre."""
    if unit.is_a("IfcDerivedUnit"):
        return sum(e.Exponent for e in unit.Elements if e.Unit.UnitType == "MASSUNIT")
    return 1 if unit.UnitType == "MASSUNIT" else 0
