"""An earlier bill read back: its items, and everything that a person typed into it since it was written."""

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, closing
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any, Literal

from takeoff.findings import InputError
from takeoff.outputs.workbook.arithmetic import plain_value
from takeoff.outputs.workbook.bill import COLUMNS as BILL
from takeoff.outputs.workbook.book import BUILT, DECLARED, HANDLED, KEPT, SCORED, SHEETS
from takeoff.outputs.workbook.cell_notes import read_comments
from takeoff.outputs.workbook.kept import COLUMNS as KEPT_COLUMNS
from takeoff.outputs.workbook.kept import VANISHED
from takeoff.outputs.workbook.marks import read_seal
from takeoff.outputs.workbook.sealed_rows import CellValue, SheetRow, sealed_rows
from takeoff.outputs.workbook.sheet import HEADING_ROW
from takeoff.pricing.carry import PRICE_AT
from takeoff.pricing.markups import MarkupRule
from takeoff.pricing.money import (
    MONEY_DIGITS,
    QUANTITY_DIGITS,
    amount,
    exact,
    exact_sum,
    half_up,
    round_quantity,
)
from takeoff.pricing.records import Dimension
from takeoff.pricing.resources import LINE_DIGITS
from takeoff.pricing.typed import CARRIED, EarlierItem, HandItem, HandSheet, KeptText, TypedBill

VALUED = ("Bill", "Summary", *BUILT, KEPT)
"""Sheets of which the values of formulas are read."""
OWN_SHEETS = (*SHEETS, *BUILT, KEPT, HANDLED, DECLARED, *SCORED)


def read_previous(path: Path) -> TypedBill:
    """The earlier bill at `path`.

    Raises InputError for what is no workbook, or none that this program wrote (a bill saved under another
    format loses the marks by which typed cells are known).
    """
    import openpyxl

    with ExitStack() as open_books:
        try:
            values = openpyxl.load_workbook(path, read_only=True, data_only=True)
            open_books.enter_context(closing(values))
            formulas = openpyxl.load_workbook(path, read_only=True)
            open_books.enter_context(closing(formulas))
            comments = read_comments(path)
        except OSError as error:
            raise InputError(
                f"{path}: cannot be read ({error.strerror or error}); name an earlier bill"
            ) from error
        except Exception as error:
            raise InputError(f"{path}: is no workbook (.xlsx); name an earlier bill") from error
        if "Bill" not in values.sheetnames or "Dimensions" not in values.sheetnames:
            raise InputError(
                f"{path}: has no sheets Bill and Dimensions; name a bill that takeoff wrote, its sheets under their "
                "own names"
            )
        own = {name for name in values.sheetnames if name in OWN_SHEETS or _is_written(formulas[name])}
        rows: dict[str, Iterable[SheetRow]] = {}
        for name in values.sheetnames:
            if name in own:
                rows[name] = _rows_of(name, formulas, values)
        hand = [
            _hand_sheet(name, values[name], formulas[name], own)
            for name in values.sheetnames
            if name not in own
        ]
        reader = _Reader(path, rows, comments)
        for _, astray in hand:
            reader.kept += astray
        return reader.read([sheet for sheet, _ in hand])


def _rows_of(name: str, formulas: Any, values: Any) -> Iterable[SheetRow]:
    """Rows of a sheet, with stored values only where a figure may hang on them: reading takes its time."""
    if name in VALUED:
        return sealed_rows(formulas[name].iter_rows(), values[name].iter_rows(values_only=True))
    if name != "Dimensions":
        return sealed_rows(formulas[name].iter_rows())
    rows = list(sealed_rows(formulas[name].iter_rows()))
    if any(row.seal is None and dimension_quantity(row) is None and not row.is_blank for row in rows):
        return sealed_rows(formulas[name].iter_rows(), values[name].iter_rows(values_only=True))
    return rows


def _is_written(sheet: Any) -> bool:
    """Whether the first rows of a sheet carry marks, so that it is none of a person's own."""
    first = sheet.iter_rows(max_row=HEADING_ROW + 2, values_only=True)
    return any(read_seal(value) is not None for row in first for value in row)


def _hand_sheet(
    name: str, values: Any, formulas: Any, own: Iterable[str]
) -> tuple[HandSheet, list[KeptText]]:
    """A person's sheet, and the formulas that would lead astray: those to rows that may stand elsewhere now."""
    cells: dict[tuple[int, int], object] = {}
    stored: dict[tuple[int, int], object] = {}
    formats: dict[tuple[int, int], str] = {}
    astray: list[KeptText] = []
    for shown, written in zip(values.iter_rows(), formulas.iter_rows(), strict=False):
        for value, source in zip(shown, written, strict=False):
            if source.value is None:
                continue
            place = (source.row - 1, source.column - 1)
            formats[place] = source.number_format
            if source.data_type != "f":
                cells[place] = source.value
                continue
            known = CellValue(value.value, str(source.value)).number
            stored[place] = value.value if value.value is not None else known if known is not None else 0
            if any(f"{sheet}!" in str(source.value) or f"{sheet}'!" in str(source.value) for sheet in own):
                cells[place] = stored.pop(place)
                astray.append(
                    KeptText(name, source.coordinate, "formula, its last value stands there", source.value)
                )
            else:
                cells[place] = source.value
    return HandSheet(name, cells, stored, formats), astray


class _Reader:
    """Gathers what was typed, sheet by sheet."""

    def __init__(
        self,
        path: Path,
        rows: dict[str, Iterable[SheetRow]],
        comments: dict[str, dict[tuple[int, str], str]],
    ) -> None:
        self.path, self.rows, self.comments = path, rows, comments
        self.kept: list[KeptText] = []
        self.quantities: dict[str, list[float]] = {}
        self.hand_dimensions: list[Dimension] = []
        self.items: dict[str, EarlierItem] = {}
        self.hand_items: list[HandItem] = []
        self.vanished: dict[str, EarlierItem] = {}
        self.percents: dict[str, float] = {}
        self.prices: dict[str, float] = {}
        self.markups: list[MarkupRule] = []
        self.resources: dict[str, float | None] = {}
        self.built: dict[int, float] = {}
        self.currency, self.units = "", ""

    def read(self, hand_sheets: Sequence[HandSheet]) -> TypedBill:
        """All of it."""
        readers: dict[str, Callable[[Iterator[SheetRow]], None]] = {
            "Dimensions": self._dimensions,
            "Resources": self._resources,
            "Build-ups": self._build_ups,
            "Bill": self._bill,
            "Summary": self._summary,
            KEPT: self._kept_sheet,
        }
        if not any(name in self.rows for name in readers):
            raise InputError(f"{self.path}: name a bill that takeoff wrote")
        for name in (*readers, *(name for name in self.rows if name not in readers)):
            if name in self.rows:
                readers.get(name, self._other(name))(iter(self.rows[name]))
        if not self.items:
            raise InputError(
                f"{self.path}: holds no bill items with their marks; give the workbook as takeoff wrote it or as a "
                "spreadsheet saved it, in .xlsx"
            )
        return TypedBill(
            self.path.name,
            self.items,
            self.vanished,
            tuple(self.hand_items),
            tuple(self.hand_dimensions),
            self.percents,
            tuple(dict.fromkeys(self.kept)),
            tuple(hand_sheets),
            self.currency,
            self.units,
            prices=self.prices,
            markups=tuple(self.markups),
        )

    def _keep(self, sheet: str, place: str, heading: str, text: str) -> None:
        if text:
            self.kept.append(KeptText(sheet, place, heading, text))

    def _headless(self, sheet: str) -> InputError:
        return InputError(
            f"{self.path}: the sheet {sheet} has lost its heading row, so that nobody can tell what its columns are; "
            "put the row back above the first line"
        )

    def _comments(self, sheet: str, row: int) -> list[str]:
        """Comments at the cells of a row; each is read once."""
        noted = self.comments.get(sheet, {})
        found = [place for place in noted if place[0] == row]
        return [noted.pop(place) for place in found]

    # Dimensions -------------------------------------------------------------------------------------------

    def _dimensions(self, rows: Iterator[SheetRow]) -> None:
        headed = False
        for row in rows:
            if row.seal is not None and row.seal.kind == "head":
                headed = True
                continue
            if not headed and row.seal is not None and row.seal.kind == "row":
                raise self._headless("Dimensions")
            if not headed or row.is_blank:
                self._plain(row, "Dimensions", lambda row: f"row {row.number}")
                continue
            key = row.cell("Item key").text
            quantity = dimension_quantity(row)
            if row.seal is None:
                self._hand_dimension(row, key, quantity)
            else:
                if quantity is not None:
                    self.quantities.setdefault(key, []).append(quantity)
                self._plain(row, "Dimensions", _dimension_place)

    def _hand_dimension(self, row: SheetRow, key: str, quantity: float | None) -> None:
        if not key or quantity is None:
            told = "; ".join(f"{name} {cell.text}" for name, cell in row.cells.items() if not cell.is_blank)
            self._keep("Dimensions", f"row {row.number}", "row added by hand", told)
            return
        part = row.cell("Part").number
        note = "; ".join(
            filter(
                None, (row.cell("Note").text, *_more_texts(row), *self._comments("Dimensions", row.number))
            )
        )
        quantity = round_quantity(quantity)
        self.quantities.setdefault(key, []).append(quantity)
        self.hand_dimensions.append(
            Dimension(
                key,
                row.cell("Model").text,
                row.cell("Element (GlobalId)").text,
                int(part) if part else 1,
                row.cell("Storey").text,
                row.cell("Location").text,
                quantity,
                row.cell("Times").number,
                _sized(row, "Length"),
                _sized(row, "Width"),
                _sized(row, "Height"),
                note,
                by_hand=True,
            )
        )

    # Bill -------------------------------------------------------------------------------------------------

    def _bill(self, rows: Iterator[SheetRow]) -> None:
        section, after, headed = "", "", False
        for row in rows:
            kind = row.seal.kind if row.seal is not None else ""
            words = row.seal.words if row.seal is not None else ()
            if kind == "head":
                headed = True
                self._plain(row, "Bill", lambda row: "headings")
            elif kind == "section":
                section, after = (words[0] if words else ""), ""
                self._plain(row, "Bill", lambda row: f"section {section}")  # noqa: B023
            elif kind == "item" and not headed:
                raise self._headless("Bill")
            elif kind == "item" and words and words[0] not in self.items:
                after = words[0]
                self.items[after] = self._item(row, section, after)
            elif headed and kind not in ("total", "net") and not row.is_blank:
                self._hand_item(row, section, after)
            else:
                self._plain(row, "Bill", lambda row: row.cell("description").text or f"row {row.number}")

    def _item(self, row: SheetRow, section: str, key: str) -> EarlierItem:
        quantity = _total(self.quantities.get(key, ()), row.cell("quantity"))
        rate = self._rate(row)
        typed = row.typed.intersection(CARRIED)
        for name in sorted(row.typed - typed):
            # An office's own columns are carried in place; what else was overwritten is told.
            if name in BILL:
                self._keep("Bill", key, BILL[name].heading, row.cell(name).text or "(emptied)")
        worked = []
        for name in ("rate", "low", "high"):
            cell = row.cell(name)
            if name in typed and cell.formula and cell.number is not None:
                worked.append(f"{BILL[name].heading.lower()} {cell.formula}")
            if name in typed and cell.number is None and not cell.is_blank:
                self._keep("Bill", key, BILL[name].heading, cell.text)
                if name == "rate":
                    # Words such as "included" leave the item without a rate, as they did in that bill.
                    worked.append(f"{BILL[name].heading.lower()}: {cell.text}")
                else:
                    typed -= {name}
        if row.cell("description").is_blank:
            typed -= {"description"}
        noted = [row.cell("note").text, *_more_texts(row), *worked]
        noted += [f"comment: {text}" for text in self._comments("Bill", row.number)]
        note = "; ".join(dict.fromkeys(filter(None, noted)))
        if note:
            typed |= {"note"}
        own = tuple(
            (name, cell.text) for name, cell in row.cells.items() if name not in BILL and not cell.is_blank
        )
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
            own,
        )

    def _hand_item(self, row: SheetRow, section: str, after: str) -> None:
        key = row.cell("key").text
        key = "" if key in self.items or key not in self.quantities else key
        quantity, rate, total = (row.cell(name).number for name in ("quantity", "rate", "amount"))
        if key:
            quantity = _total(self.quantities[key], row.cell("quantity"))
        if rate is None and total is not None and not row.cell("amount").formula:
            # A sum typed as an amount: one of it.
            quantity, rate = 1.0, total
        elif quantity is None and rate is not None:
            quantity = total / rate if total is not None and rate else 1.0
        noted = [row.cell("note").text, *_more_texts(row)]
        noted += [f"comment: {text}" for text in self._comments("Bill", row.number)]
        for name in ("quantity", "rate", "amount"):
            cell = row.cell(name)
            if cell.formula and not _is_own(cell):
                # The figure is kept; how it was worked out would point to other rows now.
                noted.append(f"{BILL[name].heading.lower()} {cell.formula}")
            elif not cell.is_blank and cell.number is None and not cell.formula:
                noted.append(f"{BILL[name].heading.lower()}: {cell.text}")
        self.hand_items.append(
            HandItem(
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
                tuple(
                    (name, cell.text)
                    for name, cell in row.cells.items()
                    if name not in BILL and not cell.is_blank
                ),
            )
        )

    # Other sheets -----------------------------------------------------------------------------------------

    def _summary(self, rows: Iterator[SheetRow]) -> None:
        for row in rows:
            if row.seal is not None and row.seal.kind == "markup" and row.seal.words:
                percent = row.cell("C")
                on: Literal["net", "running"] = (
                    "running" if "SUM(" in row.cell("D").formula.upper() else "net"
                )
                if percent.number is not None and -100 <= percent.number <= 100:
                    self.markups.append(MarkupRule(name=row.seal.words[0], percent=percent.number, on=on))
                if "C" in row.typed and percent.number is not None:
                    self.percents[row.seal.words[0]] = percent.number
                    row = replace(row, typed=row.typed - {"C"})
            if row.seal is not None and row.seal.kind == "grand" and len(row.seal.words) == 2:
                self.currency, self.units = row.seal.words
            self._plain(row, "Summary", lambda row: row.cell("B").text or row.cell("A").text)

    def _resources(self, rows: Iterator[SheetRow]) -> None:
        for row in rows:
            if row.seal is not None and row.seal.kind == "resource" and row.seal.words:
                price = row.cell("Price").number
                self.resources[row.cell("Resource").text] = price
                if "Price" in row.typed and price is not None:
                    self.prices[row.seal.words[0]] = price
                    row = replace(row, typed=row.typed - {"Price"})
            self._plain(row, "Resources", lambda row: row.cell("Resource").text)

    def _build_ups(self, rows: Iterator[SheetRow]) -> None:
        """Rates by their row, for bills whose formulas carry no stored values."""
        head, lines = 0, Decimal(0)
        for row in rows:
            kind = row.seal.kind if row.seal is not None else ""
            if kind == "rate":
                head, lines = row.number, Decimal(0)
            elif kind == "component" and head:
                price = self.resources.get(row.cell("Item or resource").text)
                per_unit, waste = row.cell("For one unit").number, row.cell("Waste").number
                whole = exact(per_unit or 0.0) * (1 + exact(waste or 0.0) / 100) * exact(price or 0.0)
                lines += half_up(whole, LINE_DIGITS)
                self.built[head] = float(half_up(lines, MONEY_DIGITS))
            self._plain(row, "Build-ups", lambda row: row.cell("Item or resource").text)

    def _rate(self, row: SheetRow) -> float | None:
        """The rate of an item: stated, or of the build-up that its formula leads to."""
        cell = row.cell("rate")
        linked = re.fullmatch(r"='?Build-ups'?!\$?G\$?(\d+)", cell.formula)
        return self.built.get(int(linked[1])) if cell.number is None and linked else cell.number

    def _kept_sheet(self, rows: Iterator[SheetRow]) -> None:
        headed = False
        what, sheet, place, heading, text = (column.heading for column in KEPT_COLUMNS[:5])
        for row in rows:
            if row.seal is not None and row.seal.kind == "head":
                headed = True
            elif headed and row.cell(what).text == VANISHED and row.seal is not None:
                self.vanished[row.cell(place).text] = _vanished(row, place, text)
            elif headed and row.seal is not None and row.cell(text).text:
                self._keep(*(row.cell(name).text for name in (sheet, place, heading, text)))
                price = plain_value(row.cell(text).text)
                if (row.cell(sheet).text, row.cell(heading).text) == PRICE_AT and price is not None:
                    self.prices.setdefault(row.cell(place).text, price)
            elif headed and not row.is_blank:
                self._plain(row, KEPT, lambda row: f"row {row.number}")

    def _other(self, name: str) -> Callable[[Iterator[SheetRow]], None]:
        def read(rows: Iterator[SheetRow]) -> None:
            for row in rows:
                self._plain(row, name, _record_place)

        return read

    def _plain(self, row: SheetRow, sheet: str, place: Callable[[SheetRow], str]) -> None:
        """Keep what was typed into a row that is written anew, or a row that a person wrote there."""
        if row.seal is None:
            told = [
                (name, cell) for name, cell in (*row.cells.items(), *row.more.items()) if not cell.is_blank
            ]
            if told:
                words = "; ".join(cell.text for _, cell in told)
                self._keep(sheet, f"row {row.number}", "row written by hand", words)
        else:
            for name in sorted(row.typed):
                self._keep(sheet, place(row), name, row.cell(name).text or "(emptied)")
            for name, cell in row.more.items():
                self._keep(sheet, place(row), name, cell.text)
        for text in self._comments(sheet, row.number):
            self._keep(sheet, place(row), "comment", text)


def _more_texts(row: SheetRow) -> list[str]:
    """What a person wrote into columns of their own beside a row."""
    return [f"{name}: {cell.text}" if len(name) > 2 else cell.text for name, cell in row.more.items()]


def _is_own(cell: CellValue) -> bool:
    """Whether a formula is one that the sheet itself has in such a cell."""
    return cell.formula.upper().startswith(("=IF(ISNUMBER(", "=ROUND(SUMIFS(", "=COUNTIF("))


def _sized(row: SheetRow, name: str) -> float | None:
    """The size under a heading that ends in the unit of the bill."""
    return next((cell.number for heading, cell in row.cells.items() if heading.split(" ")[0] == name), None)


def dimension_quantity(row: SheetRow) -> float | None:
    """The quantity of a dimension: stated, stored, plain arithmetic, or the product of its sizes."""
    cell = row.cell("Quantity")
    known = cell.number
    if known is not None:
        return known
    sizes = [row.cell("Times").number, *(_sized(row, name) for name in ("Length", "Width", "Height"))]
    given = [size for size in sizes if size is not None]
    if not given or not (cell.is_blank or "PRODUCT(" in cell.formula.upper()):
        return None
    product = exact(1.0)
    for size in given:
        product *= exact(size)
    if cell.formula.replace(" ", "").endswith(("/27", "/27,6)")):
        product /= 27
    return float(half_up(product, QUANTITY_DIGITS))


def _total(quantities: Iterable[float], cell: CellValue) -> float:
    """The quantity of an item: as typed, else the sum of its dimensions, else as stored.

    A stored value may be stale, or off where a program shifted rows without their formulas.
    """
    quantities = list(quantities)
    if cell.number is not None and (not cell.formula or not quantities):
        return cell.number
    whole = exact_sum(quantities)
    digits = cell.formula.rpartition(",")[2].strip(")")
    return float(half_up(exact(whole), int(digits))) if digits.isdigit() else whole


def _dimension_place(row: SheetRow) -> str:
    where = (row.cell("Item key").text, row.cell("Element (GlobalId)").text, row.cell("Location").text)
    return ", ".join(filter(None, where)) or f"row {row.number}"


def _record_place(row: SheetRow) -> str:
    """What identifies a row of a table: its element, else what stands in its first cells."""
    identity = [row.cell(name).text for name in ("GlobalId", "Element (GlobalId)", "Part", "Mark")]
    shown = [text for text in identity if text] or [cell.text for cell in list(row.cells.values())[:3]]
    return ", ".join(filter(None, shown)) or f"row {row.number}"


def _vanished(row: SheetRow, place: str, text: str) -> EarlierItem:
    typed = frozenset(filter(None, (name.strip() for name in row.cell("Typed cells").text.split(","))))
    return EarlierItem(
        row.cell(place).text,
        row.cell("No.").text,
        row.cell("Section").text,
        row.cell(text).text,
        row.cell("Unit").text,
        row.cell("Quantity").number or 0.0,
        row.cell("Rate").number,
        row.cell("Amount").number,
        row.cell("Low rate").number,
        row.cell("High rate").number,
        row.cell("Notes").text,
        typed,
    )
