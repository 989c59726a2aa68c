"""Tables that an estimator keeps: rows of a CSV file or of a workbook's sheet, as text, with their places."""

import csv
import math
import re
from collections.abc import Iterator
from contextlib import closing
from datetime import date, datetime
from pathlib import Path

from msgspec import Struct

from takeoff.findings import InputError

WORKBOOKS = (".xlsx", ".xlsm")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_SEPARATORS = {";": "semicolons", "\t": "tabs", "|": "bars"}
_OTHER_FORMATS = {
    b"PK\x03\x04": "a workbook or packed file",
    b"\xd0\xcf\x11\xe0": "a workbook of the old binary kind",
}
"""First bytes of files that are no text, by what they are (ZIP; compound file of older spreadsheets)."""
_CURRENCY = re.compile(r"^(?:[A-Za-z]{3}\s+|\W\s?)?-?[\d.,' ]+(?:\s*[A-Za-z]{3}|\s?[^\w\s.,])?$")


class Row(Struct, frozen=True):
    """One row: its line (CSV) or row number (sheet) from 1, how messages name the place, its stripped cells."""

    line: int
    place: str
    cells: tuple[str, ...]
    ragged: bool = False
    """Whether empty cells at the end may be missing or too many, as in a sheet."""


def read_rows(path: Path, what: str, sheet: str = "") -> Iterator[Row]:
    """Rows of a table, the header first, without blank rows and those that begin with `#`.

    `what` names the table in messages; of a workbook the sheet of that name is read, else the first one.
    Raises InputError for what cannot be read, naming file and line.
    """
    of_workbook = path.suffix.lower() in WORKBOOKS
    for row in _sheet_rows(path, what, sheet) if of_workbook else _csv_rows(path, what):
        if any(row.cells) and not row.cells[0].startswith("#"):
            yield row


def check_header(row: Row | None, path: Path, columns: tuple[str, ...], more: tuple[str, ...]) -> list[str]:
    """The header's names: `columns` in their order, then any of `more`. Raises InputError naming the fault."""
    header = list(row.cells) if row else []
    while header and not header[-1]:
        header.pop()
    expected = f"expected {','.join(columns)}"
    if row is None or not header:
        raise InputError(f"{path}: holds no line but comments; {expected} in the first line, then the rows")
    for sign, name in _SEPARATORS.items():
        if len(header) == 1 and sign in header[0]:
            raise InputError(
                f"{row.place}: columns are separated by {name}; save with commas and a decimal point, or as .xlsx: "
                f"{expected}"
            )
    for place, (name, right) in enumerate(zip(header, columns, strict=False), 1):
        if name != right:
            raise InputError(f"{row.place}: column {place} is `{name}` where `{right}` belongs; {expected}")
    if len(header) < len(columns):
        raise InputError(f"{row.place}: column `{columns[len(header)]}` is missing; {expected}")
    for place, name in enumerate(header[len(columns) :], len(columns) + 1):
        if name not in more:
            further = f", then any of {', '.join(more)}" if more else ""
            raise InputError(f"{row.place}: column {place} `{name}` is not known; {expected}{further}")
        if header.count(name) > 1:
            raise InputError(f"{row.place}: column `{name}` is there twice; keep one")
    return header


def named_cells(row: Row, header: list[str]) -> dict[str, str]:
    """The row's cells by column. Raises InputError where their number does not fit."""
    cells = list(row.cells)
    if row.ragged:
        while len(cells) > len(header) and not cells[-1]:
            cells.pop()
        cells += [""] * (len(header) - len(cells))
    if len(cells) != len(header):
        raise InputError(
            f"{row.place}: {len(row.cells)} columns, expected {len(header)}; put text with commas in "
            "quotation marks"
        )
    return dict(zip(header, cells, strict=True))


def figure(cell: str, column: str, place: str) -> float | None:
    """The number in a cell, None for an empty one. Raises InputError for what is no number, or negative."""
    if not cell:
        return None
    if not _NUMBER.fullmatch(cell):
        if _CURRENCY.match(cell) and not re.fullmatch(r"-?[\d.,' ]+", cell):
            raise InputError(
                f"{place}: {column} `{cell}` holds a currency beside the number; write the number alone, the "
                "currency in the column `currency`"
            )
        raise InputError(
            f"{place}: {column} `{cell}` is not a number; write digits with a decimal point, such as 1250.50"
        )
    value = float(cell)
    if not math.isfinite(value):
        raise InputError(f"{place}: {column} `{cell}` is too large")
    if value < 0:
        raise InputError(f"{place}: {column} {cell} is negative")
    return value


def check_range(rate: float | None, low: float | None, high: float | None, place: str, what: str) -> None:
    """Raise InputError unless low, rate and high ascend."""
    if rate is not None and low is not None and low > rate:
        raise InputError(f"{place}: low {low:g} is above the {what} {rate:g}")
    if rate is not None and high is not None and high < rate:
        raise InputError(f"{place}: high {high:g} is below the {what} {rate:g}")
    if low is not None and high is not None and low > high:
        raise InputError(f"{place}: low {low:g} is above high {high:g}")


def check_date(text: str, place: str) -> None:
    """Raise InputError for a date that is not written 2026-01-31."""
    if text and not _is_date(text):
        raise InputError(f"{place}: date `{text}` is not a date like 2026-01-31")


def _is_date(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return _DATE.fullmatch(text) is not None


def check_currency(text: str, currency: str, place: str) -> None:
    """Raise InputError for a price in another currency than the bill's."""
    if text and currency and text.casefold() != currency.casefold():
        raise InputError(
            f"{place}: the price is in {text} and the bill in {currency} (markups); convert it, nothing is "
            "exchanged here"
        )


def _csv_rows(path: Path, what: str) -> Iterator[Row]:
    try:
        content = path.read_bytes()
    except OSError as fault:
        raise InputError(f"{path}: the {what} cannot be read: {fault.strerror}") from fault
    for begin, kind in _OTHER_FORMATS.items():
        if content.startswith(begin):
            raise InputError(f"{path}: is {kind} and no CSV; save the {what} as .xlsx or as CSV UTF-8")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = content.count(b"\n", 0, fault.start) + 1
        raise InputError(f"{path}, line {line}: not UTF-8 text; save the {what} as CSV UTF-8") from fault
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise InputError(f"{path}, line {line}: not UTF-8 text (zero bytes); save the {what} as CSV UTF-8")
    reader = csv.reader(text.splitlines(keepends=True), strict=True)
    line = 1
    try:
        for cells in reader:
            yield Row(line, f"{path}, line {line}", tuple(cell.strip() for cell in cells))
            line = reader.line_num + 1
    except csv.Error as fault:
        raise InputError(f"{path}, line {line}: not readable as CSV: {fault}") from fault


def _sheet_rows(path: Path, what: str, sheet: str) -> Iterator[Row]:
    import openpyxl

    try:
        values = openpyxl.load_workbook(path, read_only=True, data_only=True)
        formulas = openpyxl.load_workbook(path, read_only=True)
    except OSError as fault:
        raise InputError(f"{path}: the {what} cannot be read: {fault.strerror or fault}") from fault
    except Exception as fault:
        raise InputError(f"{path}: not a readable workbook; save the {what} as .xlsx or CSV") from fault
    with closing(values), closing(formulas):
        named = [name for name in values.sheetnames if name.casefold() == sheet.casefold()]
        tables = {found.title for found in values.worksheets}
        name = next((name for name in (*named, *values.sheetnames) if name in tables), None)
        if name is None:
            raise InputError(f"{path}: has no sheet with cells; give one with the {what}")
        pairs = zip(values[name].iter_rows(), formulas[name].iter_rows(), strict=False)
        for number, (row, written) in enumerate(pairs, 1):
            place = f"{path}, sheet {name}, line {number}"
            cells = []
            for cell, source in zip(row, written, strict=False):
                if cell.value is None and source.data_type == "f":
                    raise InputError(
                        f"{place}: a formula without a stored value; open the file in a spreadsheet and save it"
                    )
                cells.append(_sheet_text(cell.value))
            yield Row(number, place, tuple(cells), ragged=True)


def _sheet_text(value: object) -> str:
    """A cell's value as CSV would hold it."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, datetime):
        return value.date().isoformat()
    return value.isoformat() if isinstance(value, date) else str(value).strip()
