"""Choices of convention and job that decide how measured rows stand in the bill."""

from collections.abc import Mapping
from typing import Literal

from msgspec import Struct, field

from takeoff.findings import InputError
from takeoff.measuring.convention import Convention
from takeoff.pricing.money import QUANTITY_DIGITS
from takeoff.pricing.unit_systems import METRIC, UnitSystem

ARRANGEMENTS = ("trade", "element", "storey")
"""By the sections of the plan, by role of the elements, or by storey."""


class Choices(Struct, frozen=True):
    """How edges are measured, whether reveals stand apart, decimals by metric unit, units, arrangement.

    `storeys` is the order of the storeys from below, for the arrangement by storey.
    """

    edges: Literal["area", "length"] = "area"
    reveals_apart: bool = True
    digits: Mapping[str, int] = field(default_factory=dict)
    system: UnitSystem = METRIC
    arrange: str = "trade"
    storeys: tuple[str, ...] = ()

    def digits_for(self, metric: str) -> int:
        """Decimals of a bill quantity by its metric unit; kilograms as fine as tonnes."""
        if metric == "kg" and "t" in self.digits:
            return max(self.digits["t"] - 3, 0)
        return self.digits.get(metric, QUANTITY_DIGITS)


def choices_of(
    convention: Convention,
    system: UnitSystem = METRIC,
    arrange: str = "trade",
    storeys: tuple[str, ...] = (),
) -> Choices:
    """The choices of a convention. Raises InputError where its units are not those of the bill."""
    if convention.units != system.name:
        raise InputError(
            f"convention {convention.name}: its bands are {convention.units} and the bill is {system.name}; "
            f'give a convention with units = "{system.name}"'
        )
    if arrange not in ARRANGEMENTS:
        raise InputError(f"arrangement `{arrange}`: not known; choose {', '.join(ARRANGEMENTS)}")
    digits = convention.rounding.model_dump()
    return Choices(
        convention.edges.measure, convention.reveals.apart, digits, system, arrange, tuple(storeys)
    )
