"""What the basis of a bill says of the convention: each value that changed a number, with it and without it."""

from collections.abc import Iterable

from takeoff.measuring.records import ConventionRow
from takeoff.pricing.unit_systems import UnitSystem
from takeoff.told import Quantity, counted


def convention_lines(rows: Iterable[ConventionRow], system: UnitSystem) -> list[tuple[str, str, str]]:
    """(topic, text, source) for each value; the source is its key and value in the convention's file."""
    return [("Convention", _said(row, system), f"{row.key} = {row.value}") for row in rows]


def _said(row: ConventionRow, system: UnitSystem) -> str:
    touched = counted(row.elements, "element")
    amount = _amount(row.with_value, row.unit, system)
    if row.with_value == row.without_value:
        return f"{row.quantity}: {amount} of {touched}"
    if row.without_value == 0.0:
        return f"{row.quantity}: {amount}, of {touched}"
    return f"{row.quantity}: {amount}, without it {_amount(row.without_value, row.unit, system)}; {touched} touched"


def _amount(value: float, unit: str, system: UnitSystem) -> str:
    return f"{value:.0f}" if unit == "nr" else system.quantity(Quantity(value, unit, ".2f"))
