"""The sheet of what was kept of earlier bills: texts without a cell, and items that were gone by then."""

from collections.abc import Iterator

from takeoff.outputs.workbook.arithmetic import plain_value
from takeoff.outputs.workbook.book import KEPT
from takeoff.outputs.workbook.kept import COLUMNS as KEPT_COLUMNS
from takeoff.outputs.workbook.kept import VANISHED
from takeoff.outputs.workbook.previous.kept_texts import KeptTexts
from takeoff.outputs.workbook.sealed_rows import SheetRow
from takeoff.pricing.carry import PRICE_AT
from takeoff.pricing.typed import EarlierItem

WHAT, SHEET, PLACE, HEADING, TEXT = (column.heading for column in KEPT_COLUMNS[:5])


class KeptSheetReader:
    """Reads the sheet: `vanished` items by key, and `prices` of resources that were kept, by resource."""

    def __init__(self, kept: KeptTexts) -> None:
        self.kept = kept
        self.vanished: dict[str, EarlierItem] = {}
        self.prices: dict[str, float] = {}

    def read(self, rows: Iterator[SheetRow]) -> None:
        """All rows."""
        headed = False
        for row in rows:
            if row.seal is not None and row.seal.kind == "head":
                headed = True
            elif headed and row.cell(WHAT).text == VANISHED and row.seal is not None:
                self.vanished[row.cell(PLACE).text] = _vanished(row)
            elif headed and row.seal is not None and row.cell(TEXT).text:
                self.kept.keep(*(row.cell(name).text for name in (SHEET, PLACE, HEADING, TEXT)))
                price = plain_value(row.cell(TEXT).text)
                if (row.cell(SHEET).text, row.cell(HEADING).text) == PRICE_AT and price is not None:
                    self.prices.setdefault(row.cell(PLACE).text, price)
            elif headed and not row.is_blank:
                self.kept.row(row, KEPT, lambda row: f"row {row.number}")


def _vanished(row: SheetRow) -> EarlierItem:
    typed = frozenset(filter(None, (name.strip() for name in row.cell("Typed cells").text.split(","))))
    return EarlierItem(
        row.cell(PLACE).text,
        row.cell("No.").text,
        row.cell("Section").text,
        row.cell(TEXT).text,
        row.cell("Unit").text,
        row.cell("Quantity").number or 0.0,
        row.cell("Rate").number,
        row.cell("Amount").number,
        row.cell("Low rate").number,
        row.cell("High rate").number,
        row.cell("Notes").text,
        typed,
    )
