"""The Bill sheet: items with live quantities and amounts, section totals, the net total."""

import re
from collections.abc import Iterable, Mapping
from typing import Any

from msgspec import Struct
from msgspec.structs import replace
from xlsxwriter.utility import xl_col_to_name

from takeoff.outputs.workbook.cells import Formula
from takeoff.outputs.workbook.columns import Column, shown_width
from takeoff.outputs.workbook.dimensions import ITEM_KEY_COLUMN, QUANTITY_COLUMN
from takeoff.outputs.workbook.look import BillColumn
from takeoff.outputs.workbook.sheet import FIRST_ROW, HEADING_ROW, ROW_LIMIT, Page, Sheet
from takeoff.outputs.workbook.styles import UNIT_KINDS, digits_format
from takeoff.pricing.money import MONEY_DIGITS, QUANTITY_DIGITS
from takeoff.pricing.records import Bill, Item, Section

NO_RATE = "no rate"
"""Shown in place of the amount of an item that has none; totals count these cells."""

COLUMNS: Mapping[str, Column] = {
    "number": Column("No.", narrowest=7, widest=10),
    "description": Column("Description", "wrapped", widest=66, narrowest=66),
    "unit": Column("Unit", narrowest=5),
    "quantity": Column("Quantity", "volume", narrowest=11),
    "rate": Column("Rate", "rate", narrowest=10),
    "amount": Column("Amount", "money", narrowest=14),
    "rows": Column("Dimension rows", "count", narrowest=10),
    "source": Column("Source of the rate", "wrapped", widest=34, narrowest=34),
    "note": Column("Notes", "wrapped", widest=26, narrowest=26),
    "since": Column("Since the earlier bill", "wrapped", widest=22, narrowest=14),
    "low": Column("Low rate", "rate", narrowest=9),
    "high": Column("High rate", "rate", narrowest=9),
    "key": Column("Item key", widest=70, narrowest=30),
}


class SectionLine(Struct, frozen=True):
    """Where a section's total stands: `title` and `amount` are cells as Summary names them."""

    code: str
    title: str
    amount_cell: str
    total: float
    unpriced: int


class BillLayout(Struct, frozen=True):
    """Cells of the Bill sheet that Summary carries on."""

    sections: tuple[SectionLine, ...]
    net_cell: str
    amounts: str
    unpriced: int


class BillColumns:
    """The columns as the look orders them: their places, letters and widths."""

    def __init__(self, listed: Iterable[BillColumn]) -> None:
        self.names: list[str] = []
        self.columns: list[Column] = []
        for entry in listed:
            column = COLUMNS.get(entry.name, Column(entry.name, "wrapped", widest=20, narrowest=14))
            if entry.width is not None:
                column = replace(column, narrowest=entry.width, widest=max(entry.width, column.widest))
                column = replace(column, widest=entry.width) if column.kind == "wrapped" else column
            self.names.append(entry.name)
            self.columns.append(
                replace(column, heading=entry.heading or column.heading, printed=entry.printed)
            )
        self._places = {name: place for place, name in enumerate(self.names)}

    def __len__(self) -> int:
        return len(self.names)

    def place(self, name: str) -> int:
        """The column's place from 0."""
        return self._places[name]

    def letter(self, name: str) -> str:
        """The column's letter."""
        return str(xl_col_to_name(self._places[name]))

    def whole(self, name: str) -> str:
        """The whole column as formulas on other sheets name it."""
        return f"Bill!${self.letter(name)}:${self.letter(name)}"

    @property
    def last_printed(self) -> int:
        """Place of the last column on paper."""
        return sum(column.printed for column in self.columns) - 1


def write_bill(
    sheet: Sheet,
    page: Page,
    bill: Bill,
    first_rows: Mapping[str, int],
    rate_cells: Mapping[str, str] | None = None,
) -> BillLayout:
    """Write the items by section.

    `first_rows`: the Dimensions row (from 1) where an item's lines begin. `rate_cells`: cells of other sheets
    from which items take their rates, by item key.
    """
    return _BillWriter(sheet, page, bill, first_rows, rate_cells or {}).write()


class _BillWriter:
    """The sheet while it is written."""

    def __init__(
        self,
        sheet: Sheet,
        page: Page,
        bill: Bill,
        first_rows: Mapping[str, int],
        rate_cells: Mapping[str, str],
    ) -> None:
        self.sheet, self.page, self.bill = sheet, page, bill
        self.columns = BillColumns(sheet.styles.look.bill)
        self.first_rows, self.rate_cells = first_rows, rate_cells
        self.counts: dict[str, int] = {}
        for dimension in bill.dimensions:
            self.counts[dimension.item] = self.counts.get(dimension.item, 0) + 1

    def write(self) -> BillLayout:
        """Write it all; returns where the totals stand."""
        sheet, columns = self.sheet, self.columns
        sections = [section for section in self.bill.sections if section.items]
        unpriced = sum(item.amount is None for section in sections for item in section.items)
        sheet.seal_column = len(columns)
        sheet.head(sheet.words("Bill of quantities"), self._note(unpriced))
        sheet.headings(HEADING_ROW, columns.columns)
        sheet.tell(HEADING_ROW, "head", *columns.names)
        row = FIRST_ROW
        lines = []
        for section in sections:
            row, line = self._section(row, section)
            lines.append(line)
        net_cell = self._net(row, lines, unpriced)
        sheet.widen_to(columns.columns)
        sheet.fit()
        sheet.raw.autofilter(HEADING_ROW, 0, max(row - 1, FIRST_ROW), len(columns))
        amount = columns.letter("amount")
        look = sheet.styles.look.colours
        sheet.raw.conditional_format(
            FIRST_ROW,
            0,
            max(row - 1, FIRST_ROW),
            columns.place("amount"),
            {
                "type": "formula",
                "criteria": f'=${amount}{FIRST_ROW + 1}="{sheet.words(NO_RATE)}"',
                "format": sheet.styles.highlight(look.attention_fill, look.attention_ink),
            },
        )
        sheet.set_up(self.page, columns.last_printed, row, HEADING_ROW)
        amounts = f"Bill!${amount}${FIRST_ROW + 1}:${amount}${max(row, FIRST_ROW + 1)}"
        return BillLayout(tuple(lines), f"Bill!${amount}${net_cell}", amounts, unpriced)

    def _note(self, unpriced: int) -> str:
        words = self.sheet.words
        parts = [words("Amounts in {currency}.", currency=self.bill.currency)] if self.bill.currency else []
        parts.append(
            words(
                "Quantities are sums over the sheet Dimensions, amounts are quantity times rate; type a rate and "
                "the totals follow."
            )
        )
        parts += [words("Items marked as without a rate are not in the totals.")] if unpriced else []
        return " ".join(parts)

    def _section(self, row: int, section: Section) -> tuple[int, SectionLine]:
        """Write a section from `row` on; returns the next free row and where the total stands."""
        sheet, columns = self.sheet, self.columns
        look = sheet.styles.look
        band = sheet.styles.of(
            bold=True,
            font_size=look.font.size + 1,
            align="left",
            indent=1,
            bg_color=look.colours.section_fill,
            bottom=1,
            bottom_color=look.colours.rule,
        )
        sheet.raw.set_row(row, 17)
        shown = {"number": section.code, "description": section.title}
        for place, name in enumerate(columns.names):
            sheet.put_as(row, place, shown.get(name), band)
        sheet.tell(row, "section", section.title)
        first = row + 1
        for index, item in enumerate(section.items, start=first):
            self._item(index, item)
        last = first + len(section.items) - 1
        total = last + 1
        sheet.keep(row, first)
        sheet.keep(last, total)
        unpriced = sum(item.amount is None for item in section.items)
        amount = columns.letter("amount")
        span = f"{amount}{first + 1}:{amount}{last + 1}"
        code = f"{columns.letter('number')}{row + 1}"
        words = total_words(sheet, "Total of section {code}", f'"&{code}&"', section.code, span, unpriced)
        self._total_row(total, words, Formula(f"=SUM({span})", section.total))
        sheet.tell(total, "total", section.title)
        line = SectionLine(
            section.code, section.title, f"Bill!${amount}${total + 1}", section.total, unpriced
        )
        return total + 2, line

    def _total_row(self, row: int, words: Formula, total: Formula, **look: Any) -> None:
        sheet, columns = self.sheet, self.columns
        for place, name in enumerate(columns.names):
            if name == "description":
                sheet.put_as(row, place, words, sheet.styles.total(align="right", indent=0, **look))
            elif name == "amount":
                sheet.put_as(row, place, total, sheet.styles.total("money", **look), "money")
            else:
                sheet.put_as(row, place, None, sheet.styles.total(**look))
        sheet.widen(columns.place("amount"), shown_width(total.value, "money"))

    def _item(self, row: int, item: Item) -> None:
        sheet, columns = self.sheet, self.columns
        kind = UNIT_KINDS.get(item.unit, "volume")
        cells = self._cells(row + 1, item)
        own = dict(item.own)
        wrapped = [
            (cells.get(name, own.get(name)), column.widest)
            for name, column in zip(columns.names, columns.columns, strict=True)
            if column.kind == "wrapped"
        ]
        sheet.heighten(row, wrapped)
        for place, (name, column) in enumerate(zip(columns.names, columns.columns, strict=True)):
            value = cells.get(name, own.get(name))
            if name == "number":
                first_row = self.first_rows.get(item.key) if item.key else None
                if first_row is not None and first_row <= ROW_LIMIT:
                    sheet.link(row, place, f"internal:'Dimensions'!A{first_row}", item.number)
                else:
                    sheet.put(row, place, item.number)
            elif name == "quantity":
                form = digits_format(item.digits) if item.digits < QUANTITY_DIGITS else {}
                sheet.put(row, place, value, kind, **form)
                sheet.widen(place, min(shown_width(value, kind), column.widest))
            elif name == "amount":
                sheet.put(row, place, value, "money", align="right")
            else:
                sheet.put(row, place, value, column.kind)
                if name in ("rate", "key"):
                    sheet.widen(place, min(shown_width(value, column.kind), column.widest))
        if not item.by_hand:
            # Own columns are typed ones from the start: what stands in them is a person's.
            typed = [columns.place(name) for name in item.typed]
            typed += [columns.place(name) for name, text in own.items() if name in columns.names and text]
            sheet.tell(row, "item", item.key, typed=typed)
        else:
            sheet.tell_nothing(row)

    def _cells(self, number: int, item: Item) -> dict[str, object]:
        """Values by column of an item that stands in row `number` (from 1)."""
        columns = self.columns
        quantity, rate, key = (f"{columns.letter(name)}{number}" for name in ("quantity", "rate", "key"))
        product = f"ROUND({quantity}*{rate},{MONEY_DIGITS})"
        cells: dict[str, object] = {
            "description": item.description,
            "unit": item.unit,
            "rate": item.rate,
            "source": item.rate_source,
            "note": item.note,
            "since": item.mark,
            "low": item.low,
            "high": item.high,
            "key": item.key,
        }
        if item.by_hand == "text":
            return cells
        no_rate = self.sheet.words(NO_RATE)
        amount = f'=IF(ISNUMBER({rate}),{product},"{no_rate}")'
        cells["amount"] = Formula(amount, no_rate if item.amount is None else item.amount)
        lines = self.counts.get(item.key, 0) if item.key else 0
        if item.by_hand and not lines:
            return cells | {"quantity": item.quantity}
        chosen = f"{ITEM_KEY_COLUMN},{_criterion(f'${key}', item.key)}"
        cells["quantity"] = Formula(
            f"=ROUND(SUMIFS({QUANTITY_COLUMN},{chosen}),{item.digits})", item.quantity
        )
        cells["rows"] = Formula(f"=COUNTIF({chosen})", lines)
        linked = self.rate_cells.get(item.key)
        if linked is not None and item.rate is not None and "rate" not in item.typed:
            cells["rate"] = Formula(f"={linked}", item.rate)
        return cells

    def _net(self, row: int, lines: list[SectionLine], unpriced: int) -> int:
        """Write the sum of the section totals at `row`; returns its row from 1."""
        cells = [line.amount_cell.removeprefix("Bill!") for line in lines]
        text = "=" + "+".join(cells) if cells else "=0"
        amount = self.columns.letter("amount")
        span = f"{amount}{FIRST_ROW + 1}:{amount}{max(row, FIRST_ROW + 1)}"
        words = total_words(self.sheet, "Net total, carried to Summary", "", "", span, unpriced)
        self._total_row(row, words, Formula(text, self.bill.net_total), top=6)
        if lines:
            self.sheet.keep(row - 2, row)  # with the last section's total
        self.sheet.tell(row, "net")
        return row + 1


def count_unpriced(sheet: Sheet, amounts: str) -> str:
    """The formula (without its `=`) that counts the items without a rate in a range of amounts."""
    return f'COUNTIF({amounts},"{sheet.words(NO_RATE)}")'


def total_words(sheet: Sheet, text: str, live: str, code: str, span: str, unpriced: int) -> Formula:
    """Words of a total that say how many items it lacks: `{code}` in `text` is `live` in the formula."""
    count = count_unpriced(sheet, span)
    words = sheet.words(text)
    shown = words.replace('"', '""').replace("{code}", live)
    one, many = (
        sheet.words(f" (incomplete: {{count}} {noun} without a rate)").replace('"', '""')
        for noun in ("item", "items")
    )
    missing = f'IF({count}=1,"{one}","{many}")'.replace("{count}", f'"&{count}&"')
    return Formula(
        f'="{shown}"&IF({count}=0,"",{missing})',
        words.replace("{code}", code) + unpriced_words(sheet, unpriced),
    )


def unpriced_words(sheet: Sheet, unpriced: int) -> str:
    """What stands behind a total that lacks items, empty when it lacks none."""
    noun = "item" if unpriced == 1 else "items"
    text = f" (incomplete: {{count}} {noun} without a rate)"
    return sheet.words(text).replace("{count}", str(unpriced)) if unpriced else ""


def _criterion(cell: str, key: str) -> str:
    """The cell as a criterion that matches just itself: `*`, `?` and `~` are patterns there."""
    if not re.search(r"[*?~]", key):
        return cell
    for mark in "~*?":
        cell = f'SUBSTITUTE({cell},"{mark}","~{mark}")'
    return cell
