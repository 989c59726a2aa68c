"""The Dimensions sheet: one row a measured quantity, as a surveyor's dimension paper."""

import math
from collections.abc import Mapping, Sequence

from takeoff.outputs.workbook.cells import Figure, Formula
from takeoff.outputs.workbook.columns import Column, identity_column
from takeoff.outputs.workbook.sheet import FIRST_ROW, Page, Sheet
from takeoff.outputs.workbook.styles import UNIT_KINDS
from takeoff.outputs.workbook.table import HandRow, write_table
from takeoff.pricing.money import QUANTITY_DIGITS
from takeoff.pricing.records import Bill, Dimension, Item
from takeoff.pricing.unit_systems import FOOT, feet_and_inches

COLUMNS = (
    Column("Bill no.", narrowest=8, widest=12),
    Column("Location", "wrapped", widest=40, narrowest=16),
    Column("Storey", widest=18),
    Column("Times", "count"),
    Column("Length m", "length"),
    Column("Width m", "length"),
    Column("Height m", "length"),
    Column("Quantity", "length"),
    Column("Unit"),
    Column("Note", "wrapped", widest=40, narrowest=16),
    identity_column("Element (GlobalId)"),
    Column("Part", "count"),
    Column("Model", widest=24, printed=False),
    Column("Item key", widest=60, narrowest=24, printed=False),
)

# Whole columns, so that a row which somebody adds below counts as well.
QUANTITY_COLUMN = "Dimensions!$H:$H"
ITEM_KEY_COLUMN = "Dimensions!$N:$N"


def write_dimensions(sheet: Sheet, page: Page, bill: Bill) -> dict[str, int]:
    """Write the dimensions in the order of the bill's items; returns each item's first row (from 1)."""
    items = {item.key: item for section in bill.sections for item in section.items}
    order = {key: index for index, key in enumerate(items)}
    dimensions = sorted(bill.dimensions, key=lambda dimension: order.get(dimension.item, len(order)))
    first_rows: dict[str, int] = {}
    for row, dimension in enumerate(dimensions, start=FIRST_ROW + 1):
        first_rows.setdefault(dimension.item, row)
    write_table(
        sheet,
        page,
        "Dimensions",
        sheet.words(
            "Every quantity behind the bill. The bill sums the column Quantity by the column Item key; a row "
            "that you add below counts too."
        ),
        COLUMNS,
        [_row_of(row, dimension, items) for row, dimension in enumerate(dimensions, start=FIRST_ROW + 1)],
        "Nothing was measured for the bill.",
    )
    return first_rows


def _row(row: int, dimension: Dimension, items: Mapping[str, Item]) -> tuple[object, ...]:
    """The cells of a dimension that stands in `row` (from 1)."""
    item = items.get(dimension.item)
    unit = item.unit if item else ""
    return (
        item.number if item else "",
        dimension.location,
        dimension.storey,
        dimension.times,
        dimension.length,
        dimension.width,
        dimension.height,
        Figure(_quantity(row, dimension, unit), UNIT_KINDS.get(unit, "length")),
        unit,
        _note(dimension, item),
        dimension.global_id,
        dimension.part,
        dimension.model,
        dimension.item,
    )


def _row_of(row: int, dimension: Dimension, items: Mapping[str, Item]) -> Sequence[object]:
    cells = _row(row, dimension, items)
    return HandRow(cells) if dimension.by_hand else cells


def _note(dimension: Dimension, item: Item | None) -> str:
    """The note, with the sides in feet and inches where the bill is imperial."""
    sides = [side for side in (dimension.length, dimension.width, dimension.height) if side is not None]
    if not sides or item is None or item.unit not in ("yd3", "ft2", "ft") or dimension.by_hand:
        return dimension.note
    shown = " x ".join(feet_and_inches(side * FOOT) for side in sides)
    return "; ".join(filter(None, (shown, dimension.note)))


def _quantity(row: int, dimension: Dimension, unit: str) -> Formula | float:
    """The product of the sizes beside it where it is just that, else the measured value."""
    sizes = [dimension.times, dimension.length, dimension.width, dimension.height]
    given = [size for size in sizes if size is not None]
    # Sides in feet make cubic feet; the bill counts cubic yards.
    yards = 27 if unit == "yd3" and sum(size is not None for size in sizes[1:]) == 3 else 1
    # Near the middle between two roundings a spreadsheet's binary product may go the other way: stated then.
    if given and abs(math.prod(given) / yards - dimension.quantity) < 0.499 * 10**-QUANTITY_DIGITS:
        product = f"PRODUCT(D{row}:G{row})" + (f"/{yards}" if yards > 1 else "")
        return Formula(f"=ROUND({product},{QUANTITY_DIGITS})", dimension.quantity)
    return dimension.quantity
