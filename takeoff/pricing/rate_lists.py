"""The rates that a bill asks for: each key once, filled with what is known, marked where it is missing."""

from collections.abc import Iterator

from msgspec import Struct

from takeoff.pricing.rates import COLUMNS, Rate
from takeoff.pricing.records import Bill, Item

MISSING = "MISSING: no rate yet"

LIST_COLUMNS = (*COLUMNS, "description", "resource", "per_unit", "waste_percent", "meaning", "measured")
"""Columns of a list of rates: all of them are read back, but for the last two, which are for people."""


class RateRow(Struct, frozen=True):
    """A row of the list by column; `missing` where a rate must still be found."""

    cells: dict[str, str | float]
    missing: bool = False


class RateList(Struct, frozen=True):
    """All rows, how many items they are for, and how many of these lack a rate."""

    rows: tuple[RateRow, ...]
    items: int
    missing: int


def list_rates(bill: Bill) -> RateList:
    """The rates that the items of a bill ask for, in the order of the bill."""
    built = {key: priced.rate for priced in bill.build_ups for key in priced.items}
    asked: dict[str, list[Item]] = {}
    for section in bill.sections:
        for item in section.items:
            if item.by_hand:
                continue
            asked.setdefault(item.rate_key, []).append(item)
    rows: list[RateRow] = []
    missing = 0
    for key, items in asked.items():
        first = items[0]
        missing += first.rate is None
        build_up = built.get(first.key)
        rows.append(RateRow(_item_cells(key, items, build_up), first.rate is None))
        if build_up is not None and build_up.build_up is not None:
            rows += [RateRow(cells) for cells in _component_cells(build_up)]
    return RateList(tuple(rows), len(asked), missing)


def _item_cells(key: str, items: list[Item], built: Rate | None) -> dict[str, str | float]:
    item = items[0]
    cells: dict[str, str | float] = {
        "item": key,
        "unit": item.unit,
        "source": item.rate_origin,
        "date": item.rate_date,
        "note": MISSING if item.rate is None else item.rate_note.replace(MISSING, ""),
        "description": item.description if item.own_description else "",
        "meaning": item.description,
        "measured": round(sum(other.quantity for other in items), item.digits),
    }
    if built is None:
        figures = {"rate": item.rate, "low": item.low, "high": item.high}
        cells |= {name: value for name, value in figures.items() if value is not None}
    return cells


def _component_cells(rate: Rate) -> Iterator[dict[str, str | float]]:
    assert rate.build_up is not None
    for line in rate.build_up.components:
        cells: dict[str, str | float] = {
            "unit": line.resource.unit,
            "note": line.note,
            "resource": line.resource.name,
            "per_unit": line.per_unit,
        }
        yield cells | ({"waste_percent": line.waste_percent} if line.waste_percent else {})
