"""The Bill sheet: items with live quantities and amounts, section totals, the net total."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from takeoff.outputs.workbook.dimensions import ITEM_KEY_COLUMN, QUANTITY_COLUMN
from takeoff.outputs.workbook.sheet import FIRST_ROW, HEADING_ROW, Column, Formula, Page, Sheet, shown_width
from takeoff.outputs.workbook.styles import ATTENTION_FILL, ATTENTION_INK, RULE, SECTION_FILL, UNIT_KINDS
from takeoff.pricing.money import MONEY_DIGITS, QUANTITY_DIGITS
from takeoff.pricing.records import Bill, Item, Section

NO_RATE = "no rate"
"""Shown in place of the amount of an item that has none; totals count these cells."""

COLUMNS = (
    Column("No.", narrowest=7, widest=10),
    Column("Description", "wrapped", widest=66, narrowest=66),
    Column("Unit", narrowest=5),
    Column("Quantity", "volume", narrowest=11),
    Column("Rate", "rate", narrowest=10),
    Column("Amount", "money", narrowest=14),
    Column("Dimension rows", "count", narrowest=10),
    Column("Source of the rate", "wrapped", widest=34, narrowest=34),
    Column("Low rate", "rate", narrowest=9, printed=False),
    Column("High rate", "rate", narrowest=9, printed=False),
    Column("Item key", widest=70, narrowest=30, printed=False),
)
DESCRIPTION, UNIT, QUANTITY, RATE, AMOUNT, ROWS, SOURCE, LOW, HIGH, KEY = range(1, 11)

# The letters of the columns that formulas name.
_QUANTITY, _RATE, _AMOUNT, _KEY = "D", "E", "F", "K"


@dataclass(frozen=True, slots=True)
class SectionLine:
    """Where a section's total stands: `title` and `amount` are cells as Summary names them."""

    code: str
    title: str
    amount_cell: str
    total: float
    unpriced: int


@dataclass(frozen=True, slots=True)
class BillLayout:
    """Cells of the Bill sheet that Summary carries on."""

    sections: tuple[SectionLine, ...]
    net_cell: str
    amounts: str
    unpriced: int


def write_bill(sheet: Sheet, page: Page, bill: Bill, first_rows: Mapping[str, int]) -> BillLayout:
    """Write the items by section. `first_rows`: the Dimensions row (from 1) where an item's lines begin."""
    sections = [section for section in bill.sections if section.items]
    unpriced = sum(item.amount is None for section in sections for item in section.items)
    sheet.head("Bill of quantities", _note(bill, unpriced))
    sheet.headings(HEADING_ROW, COLUMNS)
    counts = _dimension_counts(bill)
    row = FIRST_ROW
    lines = []
    for section in sections:
        row, line = _write_section(sheet, row, section, counts, first_rows)
        lines.append(line)
    net_cell = _write_net(sheet, row, bill, lines, unpriced)
    sheet.widen_to(COLUMNS)
    sheet.fit()
    sheet.raw.autofilter(HEADING_ROW, 0, max(row - 1, FIRST_ROW), KEY)
    sheet.raw.conditional_format(
        FIRST_ROW,
        0,
        max(row - 1, FIRST_ROW),
        AMOUNT,
        {
            "type": "formula",
            "criteria": f'=${_AMOUNT}{FIRST_ROW + 1}="{NO_RATE}"',
            "format": sheet.styles.highlight(ATTENTION_FILL, ATTENTION_INK),
        },
    )
    sheet.set_up(page, SOURCE, row, HEADING_ROW)
    amounts = f"Bill!${_AMOUNT}${FIRST_ROW + 1}:${_AMOUNT}${max(row, FIRST_ROW + 1)}"
    return BillLayout(tuple(lines), f"Bill!${_AMOUNT}${net_cell}", amounts, unpriced)


def count_unpriced(amounts: str) -> str:
    """The formula (without its `=`) that counts the items without a rate in a range of amounts."""
    return f'COUNTIF({amounts},"{NO_RATE}")'


def _note(bill: Bill, unpriced: int) -> str:
    currency = f"Amounts in {bill.currency}. " if bill.currency else ""
    missing = " Items marked as without a rate are not in the totals." if unpriced else ""
    return (
        f"{currency}Quantities are sums over the sheet Dimensions, amounts are quantity times rate; "
        f"type a rate and the totals follow.{missing}"
    )


def _dimension_counts(bill: Bill) -> Mapping[str, int]:
    counts: dict[str, int] = {}
    for dimension in bill.dimensions:
        counts[dimension.item] = counts.get(dimension.item, 0) + 1
    return counts


def _write_section(
    sheet: Sheet, row: int, section: Section, counts: Mapping[str, int], first_rows: Mapping[str, int]
) -> tuple[int, SectionLine]:
    """Write a section from `row` on; returns the next free row and where the total stands."""
    band = sheet.styles.of(
        bold=True, font_size=10, align="left", indent=1, bg_color=SECTION_FILL, bottom=1, bottom_color=RULE
    )
    sheet.raw.set_row(row, 17)
    for column in range(KEY + 1):
        sheet.put_as(row, column, {0: section.code, DESCRIPTION: section.title}.get(column), band)
    first = row + 1
    for index, item in enumerate(section.items, start=first):
        _write_item(sheet, index, item, counts.get(item.key, 0), first_rows.get(item.key))
    last = first + len(section.items) - 1
    total = last + 1
    unpriced = sum(item.amount is None for item in section.items)
    span = f"{_AMOUNT}{first + 1}:{_AMOUNT}{last + 1}"
    for column in range(KEY + 1):
        sheet.put_as(total, column, None, sheet.styles.total())
    words = _total_words(
        f'"Total of section "&A{row + 1}', f"Total of section {section.code}", span, unpriced
    )
    sheet.put_as(total, DESCRIPTION, words, sheet.styles.total(align="right", indent=0))
    sheet.put_as(total, AMOUNT, Formula(f"=SUM({span})", section.total), sheet.styles.total("money"))
    sheet.widen(AMOUNT, shown_width(section.total, "money"))
    line = SectionLine(section.code, section.title, f"Bill!${_AMOUNT}${total + 1}", section.total, unpriced)
    return total + 2, line


def _write_item(sheet: Sheet, row: int, item: Item, lines: int, first_row: int | None) -> None:
    number = row + 1
    chosen = f"{ITEM_KEY_COLUMN},{_criterion(f'${_KEY}{number}', item.key)}"
    quantity = f"=ROUND(SUMIFS({QUANTITY_COLUMN},{chosen}),{QUANTITY_DIGITS})"
    product = f"ROUND({_QUANTITY}{number}*{_RATE}{number},{MONEY_DIGITS})"
    amount = f'=IF(ISNUMBER({_RATE}{number}),{product},"{NO_RATE}")'
    kind = UNIT_KINDS.get(item.unit, "volume")
    wrapped = ((item.description, DESCRIPTION), (item.rate_source, SOURCE))
    sheet.heighten(row, [(text, COLUMNS[column].widest) for text, column in wrapped])
    if first_row is not None and first_row <= 1_048_576:
        sheet.link(row, 0, f"internal:'Dimensions'!A{first_row}", item.number)
    else:
        sheet.put(row, 0, item.number)
    sheet.put(row, DESCRIPTION, item.description, "wrapped")
    sheet.put(row, UNIT, item.unit)
    sheet.put(row, QUANTITY, Formula(quantity, item.quantity), kind)
    sheet.put(row, RATE, item.rate, "rate")
    sheet.put(
        row, AMOUNT, Formula(amount, NO_RATE if item.amount is None else item.amount), "money", align="right"
    )
    sheet.put(row, ROWS, Formula(f"=COUNTIF({chosen})", lines), "count")
    sheet.put(row, SOURCE, item.rate_source, "wrapped")
    sheet.put(row, LOW, item.low, "rate")
    sheet.put(row, HIGH, item.high, "rate")
    sheet.put(row, KEY, item.key)
    for column, value, form in (
        (QUANTITY, item.quantity, kind),
        (RATE, item.rate, "rate"),
        (KEY, item.key, "text"),
    ):
        sheet.widen(column, min(shown_width(value, form), COLUMNS[column].widest))


def _write_net(sheet: Sheet, row: int, bill: Bill, lines: list[SectionLine], unpriced: int) -> int:
    """Write the sum of the section totals at `row`; returns its row from 1."""
    cells = [line.amount_cell.removeprefix("Bill!") for line in lines]
    text = "=" + "+".join(cells) if cells else "=0"
    for column in range(KEY + 1):
        sheet.put_as(row, column, None, sheet.styles.total(top=6))
    span = f"{_AMOUNT}{FIRST_ROW + 1}:{_AMOUNT}{max(row, FIRST_ROW + 1)}"
    words = _total_words('"Net total, carried to Summary"', "Net total, carried to Summary", span, unpriced)
    sheet.put_as(row, DESCRIPTION, words, sheet.styles.total(top=6, align="right", indent=0))
    sheet.put_as(row, AMOUNT, Formula(text, bill.net_total), sheet.styles.total("money", top=6))
    sheet.widen(AMOUNT, shown_width(bill.net_total, "money"))
    return row + 1


def _total_words(live: str, plain: str, span: str, unpriced: int) -> Formula:
    """Words of a total that say how many items it lacks: `live` is a formula for the text `plain`."""
    count = count_unpriced(span)
    many = f'" (incomplete: "&{count}&IF({count}=1," item"," items")&" without a rate)"'
    return Formula(f'={live}&IF({count}=0,"",{many})', plain + unpriced_words(unpriced))


def unpriced_words(unpriced: int) -> str:
    """What stands behind a total that lacks items, empty when it lacks none."""
    noun = "item" if unpriced == 1 else "items"
    return f" (incomplete: {unpriced} {noun} without a rate)" if unpriced else ""


def _criterion(cell: str, key: str) -> str:
    """The cell as a criterion that matches just itself: `*`, `?` and `~` are patterns there."""
    if not re.search(r"[*?~]", key):
        return cell
    for mark in "~*?":
        cell = f'SUBSTITUTE({cell},"{mark}","~{mark}")'
    return cell
