"""The sheet Differences: items that are not the same in all variants, with rates to be changed."""

from collections.abc import Iterator

from msgspec import Struct
from xlsxwriter.utility import xl_col_to_name

from takeoff.outputs.workbook.cells import Formula
from takeoff.outputs.workbook.columns import Column, shown_width
from takeoff.outputs.workbook.sheet import FIRST_ROW, HEADING_ROW, Page, Sheet
from takeoff.outputs.workbook.styles import UNIT_KINDS
from takeoff.pricing.comparison import Cell, Comparison, ItemLine
from takeoff.pricing.money import MONEY_DIGITS, exact_sum

NO_RATE = "no rate"
LEADING = (
    Column("Section", "wrapped", widest=18, narrowest=18),
    Column("Description", "wrapped", widest=48, narrowest=48),
    Column("Unit", narrowest=5),
)
NAME_ROW = HEADING_ROW - 1
SECTION = 0


class DifferencesLayout(Struct, frozen=True):
    """Cells that Summary carries on, by variant: sums of amounts and of carbon (kg), and where items stand."""

    amounts: tuple[str, ...]
    sums: tuple[str, ...]
    carbon: tuple[str, ...]
    sections: str
    titles: tuple[str, ...]


class _Block(Struct, frozen=True):
    """Columns of one variant; `difference` None for the first, `carbon` (factor, kg) None without factors."""

    quantity: int
    rate: int
    amount: int
    difference: int | None
    carbon: tuple[int, int] | None


def write_differences(sheet: Sheet, page: Page, comparison: Comparison) -> DifferencesLayout:
    """Write the items that differ, sums below them; returns where the sums stand."""
    blocks = _blocks(comparison)
    sheet.head(
        "Differences by item",
        f"Items that differ between the alternatives; {comparison.common_items} further items are the same in all. "
        "Type a rate and every total follows; a rate that is the same elsewhere is taken from the left.",
    )
    last = max(max(block.amount, block.difference or 0, *(block.carbon or (0,))) for block in blocks)
    key_column = last + 1
    for variant, block in zip(comparison.variants, blocks, strict=True):
        for column in (block.quantity, *(block.carbon or ())[:1]):
            sheet.put_as(NAME_ROW, column, variant.name, sheet.styles.of(bold=True))
    sheet.headings(
        HEADING_ROW, [*LEADING, *_headings(comparison, blocks), Column("Item key"), *_sources(comparison)]
    )
    row = FIRST_ROW
    for line in comparison.lines:
        _write_line(sheet, row, line, blocks, key_column)
        row += 1
    if not comparison.lines:
        sheet.put_as(row, 1, "All items are the same in all alternatives.", sheet.styles.note)
        row += 1
    end = row - 1
    _write_sums(sheet, row, comparison, blocks, end)
    for index, column in enumerate((*LEADING, *_headings(comparison, blocks))):
        sheet.widen(index, column.narrowest)
    sheet.widen(key_column, 44)
    for index in range(len(comparison.variants)):
        sheet.widen(key_column + 1 + index, 30)
    sheet.fit()
    sheet.raw.autofilter(HEADING_ROW, 0, end, key_column + len(comparison.variants))
    sheet.set_up(page, last, row, HEADING_ROW)
    sheet.raw.repeat_rows(NAME_ROW, HEADING_ROW)
    # two alternatives on the first page, each further one on its own, then the carbon
    starts = [block.quantity for block in blocks[2:]] + [
        block.carbon[0] for block in blocks[:1] if block.carbon
    ]
    sheet.across(page, starts, len(LEADING), last)
    span = f"Differences!${{0}}${FIRST_ROW + 1}:${{0}}${end + 1}"
    return DifferencesLayout(
        tuple(span.format(xl_col_to_name(block.amount)) for block in blocks),
        tuple(f"Differences!${xl_col_to_name(block.amount)}${row + 1}" for block in blocks),
        tuple(
            f"Differences!${xl_col_to_name(block.carbon[1])}${row + 1}" for block in blocks if block.carbon
        ),
        span.format(xl_col_to_name(SECTION)),
        tuple(dict.fromkeys(line.section for line in comparison.lines)),
    )


def _blocks(comparison: Comparison) -> list[_Block]:
    blocks, column = [], len(LEADING)
    count = len(comparison.variants)
    first_carbon = column + 4 * count - 1  # behind the money of all: pages of their own
    for place in range(count):
        at = first_carbon + 2 * place
        carbon = (at, at + 1) if comparison.with_carbon else None
        blocks.append(_Block(column, column + 1, column + 2, column + 3 if place else None, carbon))
        column += 4 if place else 3
    return blocks


def _headings(comparison: Comparison, blocks: list[_Block]) -> Iterator[Column]:
    for block in blocks:
        yield Column("Quantity", "volume", narrowest=11)
        yield Column("Rate", "rate", narrowest=9)
        yield Column("Amount", "money", narrowest=13)
        if block.difference is not None:
            yield Column("Difference", "money", narrowest=13)
    for block in blocks:
        if block.carbon is not None:
            yield Column("kg CO2e each", "ratio", narrowest=9)
            yield Column("kg CO2e", "mass", narrowest=11)


def _sources(comparison: Comparison) -> Iterator[Column]:
    for variant in comparison.variants:
        yield Column(f"Rate from: {variant.name}", "wrapped", widest=30, narrowest=30)


def _write_line(sheet: Sheet, row: int, line: ItemLine, blocks: list[_Block], key_column: int) -> None:
    kind = UNIT_KINDS.get(line.unit, "volume")
    sheet.heighten(row, ((line.section, 18), (line.description, 48)))
    sheet.put(row, SECTION, line.section, "wrapped")
    sheet.put(row, 1, line.description, "wrapped")
    sheet.put(row, 2, line.unit)
    seen: list[tuple[float, str]] = []
    for place, (block, cell) in enumerate(zip(blocks, line.cells, strict=True)):
        rate_cell = f"{xl_col_to_name(block.rate)}{row + 1}"
        sheet.put(row, block.quantity, 0.0 if cell is None else cell.quantity, kind)
        rate = None if cell is None else cell.rate
        known = next((where for value, where in seen if value == rate), None)
        if rate is not None and known is not None:
            sheet.put(row, block.rate, Formula(f"={known}", rate), "rate")
        else:
            sheet.put(row, block.rate, rate, "rate")
            if rate is not None:
                seen.append((rate, rate_cell))
        sheet.put(row, block.amount, _amount(row, block, cell), "money", align="right")
        if block.difference is not None:
            amounts = [f"N({xl_col_to_name(one.amount)}{row + 1})" for one in (block, blocks[0])]
            value = line.difference(place)
            sheet.put(
                row, block.difference, Formula(f"=ROUND({'-'.join(amounts)},{MONEY_DIGITS})", value), "money"
            )
        if block.carbon is not None:
            _write_carbon(sheet, row, block, cell)
        sheet.put(row, key_column + 1 + place, "" if cell is None else cell.rate_source, "wrapped")
    sheet.put(row, key_column, line.key)


def _amount(row: int, block: _Block, cell: Cell | None) -> Formula:
    quantity, rate = (f"{xl_col_to_name(column)}{row + 1}" for column in (block.quantity, block.rate))
    text = f'=IF(ISNUMBER({rate}),ROUND({quantity}*{rate},{MONEY_DIGITS}),IF({quantity}=0,0,"{NO_RATE}"))'
    if cell is None:
        return Formula(text, 0)
    return Formula(text, NO_RATE if cell.amount is None else cell.amount)


def _write_carbon(sheet: Sheet, row: int, block: _Block, cell: Cell | None) -> None:
    assert block.carbon is not None
    factor, kilograms = block.carbon
    sheet.put(row, factor, None if cell is None else cell.carbon_factor, "ratio")
    text = f"=N({xl_col_to_name(block.quantity)}{row + 1})*N({xl_col_to_name(factor)}{row + 1})"
    sheet.put(row, kilograms, Formula(text, (cell.carbon_kg if cell else None) or 0.0), "mass")


def _write_sums(sheet: Sheet, row: int, comparison: Comparison, blocks: list[_Block], end: int) -> None:
    """Sums of amounts, differences and carbon under the items."""
    columns = max(max(block.amount, block.difference or 0, *(block.carbon or (0,))) for block in blocks) + 1
    for column in range(columns):
        sheet.put_as(row, column, None, sheet.styles.total())
    sheet.put_as(row, 1, "Total of the items that differ", sheet.styles.total())

    def total(column: int, value: float, kind: str) -> None:
        letter = xl_col_to_name(column)
        text = f"=SUM({letter}{FIRST_ROW + 1}:{letter}{end + 1})"
        if kind == "money":
            text = f"=ROUND({text[1:]},{MONEY_DIGITS})"
        sheet.put_as(row, column, Formula(text, value), sheet.styles.total(kind), kind)
        sheet.widen(column, shown_width(value, kind))

    for place, block in enumerate(blocks):
        total(block.amount, exact_sum(line.amount(place) for line in comparison.lines), "money")
        if block.difference is not None:
            total(block.difference, exact_sum(line.difference(place) for line in comparison.lines), "money")
        if block.carbon is not None:
            cells = [line.cells[place] for line in comparison.lines]
            total(block.carbon[1], sum((cell.carbon_kg or 0.0) for cell in cells if cell is not None), "mass")
