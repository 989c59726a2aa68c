"""The Dimensions sheet: one row a measured quantity, as a surveyor's dimension paper."""

import math
from collections.abc import Mapping

from takeoff.outputs.workbook.sheet import FIRST_ROW, Column, Figure, Formula, Page, Sheet, write_table
from takeoff.outputs.workbook.styles import UNIT_KINDS
from takeoff.pricing.money import QUANTITY_DIGITS
from takeoff.pricing.records import Bill, Dimension, Item

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
    Column("Element (GlobalId)", widest=24, narrowest=24),
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
        "Every quantity behind the bill. The bill sums the column Quantity by the column Item key; a row "
        "that you add below counts too.",
        COLUMNS,
        [_row(row, dimension, items) for row, dimension in enumerate(dimensions, start=FIRST_ROW + 1)],
        "Nothing was measured for the bill.",
    )
    return first_rows


def _row(row: int, dimension: Dimension, items: Mapping[str, Item]) -> tuple[object, ...]:
    """The cells of a dimension that stands in `row` (from 1)."""
    item = items.get(dimension.item)
    return (
        item.number if item else "",
        dimension.location,
        dimension.storey,
        dimension.times,
        dimension.length,
        dimension.width,
        dimension.height,
        Figure(_quantity(row, dimension), UNIT_KINDS.get(item.unit, "length") if item else "length"),
        item.unit if item else "",
        dimension.note,
        dimension.global_id,
        dimension.part,
        dimension.model,
        dimension.item,
    )


def _quantity(row: int, dimension: Dimension) -> Formula | float:
    """The product of the sizes beside it where it is just that, else the measured value."""
    sizes = [dimension.times, dimension.length, dimension.width, dimension.height]
    given = [size for size in sizes if size is not None]
    # Near the middle between two roundings a spreadsheet's binary product may go the other way: stated then.
    if given and abs(math.prod(given) - dimension.quantity) < 0.499 * 10**-QUANTITY_DIGITS:
        return Formula(f"=ROUND(PRODUCT(D{row}:G{row}),{QUANTITY_DIGITS})", dimension.quantity)
    return dimension.quantity
