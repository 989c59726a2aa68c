"""Units of a model: factors from what is written in the file to metres, m2, m3 and kg."""

import math
from collections.abc import Sequence
from typing import Any

from msgspec import Struct

from takeoff.reading.attributes import attribute, clean
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


_SI_NAMES = {
    "LENGTHUNIT": "METRE",
    "AREAUNIT": "SQUARE_METRE",
    "VOLUMEUNIT": "CUBIC_METRE",
    "MASSUNIT": "GRAM",
    "PLANEANGLEUNIT": "RADIAN",
}
"""The SI unit that a unit of each type has to be, or be converted to."""

_NAMED = {"FOOT": 0.3048, "INCH": 0.0254, "YARD": 0.9144, "MILE": 1609.344, "DEGREE": math.pi / 180.0}
"""Factors of units that go by these names in ISO 16739-1 (foot and inch of 1959), to tell a wrong factor."""

_NAMED_TOLERANCE = 1e-3
"""Survey feet differ by two millionths; a factor further off its name than this is a mistake."""


_DRAWN_IN = (5e-4, 2.0)
"""Metres in the units that buildings are drawn in: from the millimetre to the fathom."""

_LARGEST = 1e9
"""Factors beyond this, or below its inverse, are no units."""


class Units(Struct, frozen=True):
    """Factors by kind from the file's project units to SI (`angle` to radians), and the kinds that it names
    none for. `doubts` say what contradicts itself."""

    length: float
    area: float
    volume: float
    weight: float
    mass_density: float = 1.0
    area_density: float = 1.0
    missing: frozenset[QuantityKind] = frozenset()
    angle: float = 1.0
    doubts: tuple[str, ...] = ()

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
    named: dict[str, list[Any]] = {}
    for project in model.by_type("IfcContext" if model.schema != "IFC2X3" else "IfcProject"):
        assignment = project.UnitsInContext
        if assignment is None:
            continue
        for unit in assignment.Units or ():
            kind = attribute(unit, "UnitType")
            if kind:
                named.setdefault(kind, []).append(unit)
    found = {kind: next((u for u in units if unit_factor(u)), units[0]) for kind, units in named.items()}
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
        doubts=tuple(
            doubt for kind in ("LENGTHUNIT", "PLANEANGLEUNIT") for doubt in _doubts(kind, named.get(kind, ()))
        ),
    )


def _doubts(kind: str, units: Sequence[Any]) -> list[str]:
    """What contradicts itself among all units of one type that a file names for its project."""
    what = "length" if kind == "LENGTHUNIT" else "angle"
    factors = list(dict.fromkeys(factor for unit in units if (factor := unit_factor(unit))))
    doubts = []
    if len(factors) > 1:
        listed = ", ".join(f"{factor:g}" for factor in factors)
        doubts.append(f"names several units of {what} ({listed} of the SI unit); read in the first")
    if kind == "LENGTHUNIT" and factors and not _DRAWN_IN[0] <= factors[0] <= _DRAWN_IN[1]:
        doubts.append(f"names a unit of length of {factors[0]:g} m, in which no building is drawn")
    for unit in units:
        name = clean(attribute(unit, "Name")).upper()
        factor = unit_factor(unit)
        if factor and name in _NAMED and abs(factor / _NAMED[name] - 1.0) > _NAMED_TOLERANCE:
            doubts.append(
                f"names {name} as its unit of {what} and gives it as {factor:g}, not {_NAMED[name]:g}"
            )
    return doubts


def unit_factor(unit: Any) -> float | None:
    """Factor from a unit entity to SI (metre, m2, m3, kg and their derivatives), None if it cannot be
    told."""
    from ifcopenshell.util.unit import get_unit_scale

    try:
        if not _is_sound(unit):
            return None
        factor = float(get_unit_scale(unit)) / GRAMS_PER_KILOGRAM ** _mass_exponent(unit)
    except Exception:
        return None
    return factor if 1.0 / _LARGEST <= factor <= _LARGEST else None


def _is_sound(unit: Any) -> bool:
    """Whether a unit is, or is converted to, the SI unit of its type; one that is converted to itself is not."""
    kind = attribute(unit, "UnitType")
    for _ in range(8):
        if unit.is_a("IfcSIUnit"):
            return unit.Name == _SI_NAMES.get(kind, unit.Name)
        if unit.is_a("IfcDerivedUnit"):
            return True
        if not unit.is_a("IfcConversionBasedUnit") or unit.ConversionFactor is None:
            return False
        unit = unit.ConversionFactor.UnitComponent
    return False


def _mass_exponent(unit: Any) -> int:
    """How often mass enters a unit: 1 for kilogram and kg/m3, 0 for metre."""
    if unit.is_a("IfcDerivedUnit"):
        return sum(e.Exponent for e in unit.Elements if e.Unit.UnitType == "MASSUNIT")
    return 1 if unit.UnitType == "MASSUNIT" else 0
