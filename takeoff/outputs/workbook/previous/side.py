"""A bill read back as one side of a comparison: its items, dimensions and elements as they stand in it."""

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any, get_type_hints

from takeoff.collector import collector_off
from takeoff.findings import InputError
from takeoff.measuring.records import MeasuredPart
from takeoff.outputs.workbook.package import Package
from takeoff.outputs.workbook.previous.book import opened, read_previous
from takeoff.outputs.workbook.previous.dimensions import dimension_quantity
from takeoff.outputs.workbook.records import ELEMENTS, all_fields
from takeoff.outputs.workbook.sealed_rows import SheetRow, sealed_rows
from takeoff.pricing.change_records import Side
from takeoff.pricing.markups import MarkupPlan, apply_markups
from takeoff.pricing.money import amount, exact_sum, round_quantity
from takeoff.pricing.records import BilledItem, Dimension
from takeoff.pricing.unit_systems import METRIC, SIXTEENTH, SYSTEMS, UnitSystem, metres_of


def read_bill(path: Path) -> Side:
    """The bill at `path` with everything that people typed into it. Raises InputError as `read_previous` does."""
    typed = read_previous(path)
    system = SYSTEMS.get(typed.units, METRIC)
    with collector_off(), opened(path) as package:

        def rows(name: str) -> Iterator[SheetRow]:
            if name not in package.sheets:
                raise InputError(f"{path}: the sheet {name} is missing; name a bill as takeoff wrote it")
            found = sealed_rows(package, name)
            return (row for row in found if row.seal is not None and row.seal.kind == "row")

        parts = tuple(_part(row, system) for row in rows("Elements"))
        dimensions = tuple(_dimension(row) for row in rows("Dimensions"))
        convention = _convention(path, package)
    items: dict[str, BilledItem] = {item.key: item for item in typed.items.values()}
    for number, hand in enumerate(typed.hand_items, 1):
        if hand.quantity is not None:
            key = hand.key or f"by hand: {hand.description or number}"
            money = None if hand.rate is None else amount(hand.quantity, hand.rate)
            items[key] = BilledItem(
                key, hand.number, hand.section, hand.description, hand.unit, hand.quantity, hand.rate, money
            )
    net = exact_sum(item.amount or 0.0 for item in items.values())
    plan = MarkupPlan(currency=typed.currency or "-", markup=typed.markups)
    return Side(
        path.name,
        parts,
        {},
        items,
        (*dimensions, *typed.hand_dimensions),
        convention,
        typed.currency,
        typed.units or METRIC.name,
        apply_markups(net, plan)[1],
        0.0 if system is METRIC else SIXTEENTH,
    )


def _part(row: SheetRow, system: UnitSystem) -> MeasuredPart:
    headings, hints = _part_columns()
    made: dict[str, Any] = {}
    for name in MeasuredPart.__struct_fields__:
        cell = row.cell(headings[name])
        if hints[name] is str:
            made[name] = cell.text
            continue
        value = cell.number
        if value is None and (metres := metres_of(cell.text)) is not None:
            made[name] = metres
            continue
        if hints[name] is int:
            made[name] = int(value) if value is not None else 1
        elif value is None:
            made[name] = None if hints[name] is not float else 0.0
        else:
            made[name] = value / system.factor(name.rpartition("_")[2])
    return MeasuredPart(**made)


@cache
def _part_columns() -> tuple[dict[str, str], dict[str, Any]]:
    """Headings and types of the fields of a part."""
    return {name: column.heading for name, column in all_fields(MeasuredPart, ELEMENTS)}, get_type_hints(
        MeasuredPart
    )


def _dimension(row: SheetRow) -> Dimension:
    part = row.cell("Part").number
    return Dimension(
        row.cell("Item key").text,
        row.cell("Model").text,
        row.cell("Element (GlobalId)").text,
        int(part) if part else 1,
        row.cell("Storey").text,
        row.cell("Location").text,
        round_quantity(dimension_quantity(row) or 0.0),
    )


def _convention(path: Path, package: Package) -> str:
    """Name and content of the convention, as Basis states them."""
    told: list[str] = []
    if "Basis" not in package.sheets:
        raise InputError(f"{path}: the sheet Basis is missing; name a bill as takeoff wrote it")
    for row in sealed_rows(package, "Basis"):
        cells = [cell.text for cell in row.cells.values()]
        if cells[:1] == ["Measuring convention"]:
            told.insert(0, cells[1])
        elif cells[:1] == ["convention"] and len(cells) > 2:
            told.append(cells[2].split()[-1] if cells[2] else "")
    return " ".join(filter(None, told))
