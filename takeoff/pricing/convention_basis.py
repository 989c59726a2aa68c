"""What the basis of a bill says of the convention: each value that changed a number, with it and without it."""

from collections import defaultdict
from collections.abc import Iterable, Sequence

from takeoff.measuring.records import ConventionRow
from takeoff.pricing.money import exact_sum
from takeoff.pricing.records import Dimension, Item
from takeoff.pricing.unit_systems import UnitSystem
from takeoff.told import Quantity, counted

WEIGHED_AS = {"kg": "t", "lb": "ton"}
"""Units of items whose decimals follow from those of another."""


def rounding_lines(items: Iterable[Item], dimensions: Sequence[Dimension]) -> list[tuple[str, str, str]]:
    """(topic, text, source) for each unit in which rounding changed a quantity of the bill.

    Dimensions are not rounded (but to six decimals), items are.
    """
    measured: dict[str, list[float]] = defaultdict(list)
    for dimension in dimensions:
        measured[dimension.item].append(dimension.quantity)
    changed: dict[str, list[tuple[float, float, int]]] = defaultdict(list)
    for item in items:
        if not item.by_hand and item.key in measured:
            before = exact_sum(measured[item.key])
            if before != item.quantity:
                changed[item.unit].append((before, item.quantity, item.digits))
    rows = []
    for unit, figures in sorted(changed.items()):
        before, after = exact_sum(one for one, _, _ in figures), exact_sum(one for _, one, _ in figures)
        text = (
            f"quantities of {counted(len(figures), 'item')} rounded to {counted(figures[0][2], 'decimal')}: "
            f"{after:.9g} {unit} in all, unrounded {before:.9g} {unit}"
        )
        key = f"rounding.{WEIGHED_AS[unit]}" if unit in WEIGHED_AS else f"rounding.{unit} = {figures[0][2]}"
        rows.append(("Convention", text, key))
    return rows


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
