"""Items of an earlier bill as they stood there, and the lines that a person wrote between them."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from takeoff.outputs.workbook.bill import COLUMNS as BILL
from takeoff.outputs.workbook.previous.dimensions import headless, item_quantity
from takeoff.outputs.workbook.previous.kept_texts import KeptTexts, more_texts
from takeoff.outputs.workbook.previous.prices import PriceReader
from takeoff.outputs.workbook.sealed_rows import CellValue, SheetRow
from takeoff.pricing.money import amount, round_quantity
from takeoff.pricing.typed import CARRIED, EarlierItem, HandItem

SHEET = "Bill"


class ItemReader:
    """Reads the sheet Bill, after Dimensions and Build-ups: `items` by key, `by_hand` the lines of a person."""

    def __init__(
        self, path: Path, kept: KeptTexts, quantities: Mapping[str, Sequence[float]], prices: PriceReader
    ) -> None:
        self.path, self.kept, self.quantities, self.prices = path, kept, quantities, prices
        self.items: dict[str, EarlierItem] = {}
        self.by_hand: list[HandItem] = []

    def read(self, rows: Iterator[SheetRow]) -> None:
        """All rows. Raises InputError where the headings are gone."""
        section, after, headed = "", "", False
        for row in rows:
            kind = row.seal.kind if row.seal is not None else ""
            words = row.seal.words if row.seal is not None else ()
            if kind == "head":
                headed = True
                self.kept.row(row, SHEET, lambda row: "headings")
            elif kind == "section":
                section, after = (words[0] if words else ""), ""
                self.kept.row(row, SHEET, lambda row: f"section {section}")  # noqa: B023
            elif kind == "item" and not headed:
                raise headless(self.path, SHEET)
            elif kind == "item" and words and words[0] not in self.items:
                after = words[0]
                self.items[after] = self._item(row, section, after)
            elif headed and kind not in ("total", "net") and not row.is_blank:
                self.by_hand.append(self._by_hand(row, section, after))
            else:
                self.kept.row(row, SHEET, lambda row: row.cell("description").text or f"row {row.number}")

    def _item(self, row: SheetRow, section: str, key: str) -> EarlierItem:
        quantity = item_quantity(self.quantities.get(key, ()), row.cell("quantity"))
        rate = self.prices.rate(row)
        typed = row.typed.intersection(CARRIED)
        for name in sorted(row.typed - typed):
            # An office's own columns are carried in place; what else was overwritten is told.
            if name in BILL:
                self.kept.keep(SHEET, key, BILL[name].heading, row.cell(name).text or "(emptied)")
        worked = []
        for name in ("rate", "low", "high"):
            cell = row.cell(name)
            if name in typed and cell.formula and cell.number is not None:
                worked.append(f"{BILL[name].heading.lower()} {cell.formula}")
            if name in typed and cell.number is None and not cell.is_blank:
                self.kept.keep(SHEET, key, BILL[name].heading, cell.text)
                if name == "rate":
                    # Words such as "included" leave the item without a rate, as they did in that bill.
                    worked.append(f"{BILL[name].heading.lower()}: {cell.text}")
                else:
                    typed -= {name}
        if row.cell("description").is_blank:
            typed -= {"description"}
        note = "; ".join(dict.fromkeys(filter(None, [*self._noted(row), *worked, *self._comments(row)])))
        if note:
            typed |= {"note"}
        return EarlierItem(
            key,
            row.cell("number").text,
            section,
            row.cell("description").text,
            "" if "unit" in row.typed else row.cell("unit").text,
            quantity,
            rate,
            None if rate is None else amount(quantity, rate),
            row.cell("low").number,
            row.cell("high").number,
            note,
            typed,
            _own_columns(row),
        )

    def _by_hand(self, row: SheetRow, section: str, after: str) -> HandItem:
        key = row.cell("key").text
        key = "" if key in self.items or key not in self.quantities else key
        quantity, rate, total = (row.cell(name).number for name in ("quantity", "rate", "amount"))
        if key:
            quantity = item_quantity(self.quantities[key], row.cell("quantity"))
        if rate is None and total is not None and not row.cell("amount").formula:
            # A sum typed as an amount: one of it.
            quantity, rate = 1.0, total
        elif quantity is None and rate is not None:
            quantity = total / rate if total is not None and rate else 1.0
        noted = [*self._noted(row), *self._comments(row)]
        for name in ("quantity", "rate", "amount"):
            cell = row.cell(name)
            if cell.formula and not _is_own(cell):
                # The figure is kept; how it was worked out would point to other rows now.
                noted.append(f"{BILL[name].heading.lower()} {cell.formula}")
            elif not cell.is_blank and cell.number is None and not cell.formula:
                noted.append(f"{BILL[name].heading.lower()}: {cell.text}")
        return HandItem(
            section,
            after,
            row.cell("number").text,
            row.cell("description").text,
            row.cell("unit").text,
            None if quantity is None else round_quantity(quantity),
            rate,
            row.cell("low").number,
            row.cell("high").number,
            "; ".join(filter(None, noted)),
            key,
            _own_columns(row),
        )

    def _noted(self, row: SheetRow) -> list[str]:
        return [row.cell("note").text, *more_texts(row)]

    def _comments(self, row: SheetRow) -> list[str]:
        return [f"comment: {text}" for text in self.kept.comments(SHEET, row.number)]


def _own_columns(row: SheetRow) -> tuple[tuple[str, str], ...]:
    """Cells of the columns that an office's look file adds."""
    return tuple(
        (name, cell.text) for name, cell in row.cells.items() if name not in BILL and not cell.is_blank
    )


def _is_own(cell: CellValue) -> bool:
    """Whether a formula is one that the sheet itself has in such a cell."""
    return cell.formula.upper().startswith(("=IF(ISNUMBER(", "=ROUND(SUMIFS(", "=COUNTIF("))
