"""A list of rates as a file to fill in: CSV or a workbook, both read back as rates."""

import csv
from functools import partial
from pathlib import Path
from typing import Any

from takeoff.findings import InputError
from takeoff.outputs.files import write_whole
from takeoff.outputs.text import cell_text, starts_like_formula
from takeoff.pricing.rate_lists import LIST_COLUMNS, RateList

_WIDTHS = {"item": 52, "source": 22, "note": 26, "description": 20, "resource": 24, "meaning": 80}
_ATTENTION = {"bg_color": "#FBE7C3", "font_color": "#7A4300"}


def write_rate_list(path: Path, rates: RateList, heading: str, overwrite: bool = False) -> None:
    """Write the list, with `heading` as a comment on top.

    Raises:
        InputError: the name ends in neither .csv nor .xlsx, the file is there already and `overwrite` is not
            said, or it cannot be written.
    """
    writers = {".csv": _write_csv, ".xlsx": _write_book}
    write = writers.get(path.suffix.lower())
    if write is None:
        raise InputError(f"{path}: rates are written as .csv or .xlsx; give a name that ends so")
    if path.is_file() and not overwrite:
        raise InputError(
            f"{path}: is there already and may hold rates that somebody typed; give another name, or "
            "--overwrite (give it as --rates to keep what it knows)"
        )
    write_whole(path, partial(write, rates=rates, heading=heading))


def _write_csv(path: Path, rates: RateList, heading: str) -> None:
    with path.open("w", encoding="utf-8", errors="replace", newline="") as stream:
        stream.write(f"# {heading}\n")
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(LIST_COLUMNS)
        for row in rates.rows:
            writer.writerow([row.cells.get(column, "") for column in LIST_COLUMNS])


def _write_book(path: Path, rates: RateList, heading: str) -> None:
    from takeoff.outputs.book_file import book_at

    with book_at(path, {"default_format_properties": {"font_name": "Arial", "font_size": 9}}) as book:
        _fill_book(book, rates, heading)


def _fill_book(book: Any, rates: RateList, heading: str) -> None:
    sheet = book.add_worksheet("Rates")
    look = {"font_name": "Arial", "font_size": 9, "valign": "top"}
    head = book.add_format({**look, "bold": True, "bg_color": "#E6EBEF", "bottom": 1})
    styles: dict[tuple[tuple[str, object], ...], object] = {}

    def style(**more: object) -> object:
        key = tuple(sorted(more.items()))
        if key not in styles:
            styles[key] = book.add_format({**look, **more})
        return styles[key]

    sheet.write_string(0, 0, cell_text(f"# {heading}"), style(font_color="#5F6B75"))
    for column, name in enumerate(LIST_COLUMNS):
        sheet.write_string(1, column, name, head)
        sheet.set_column(column, column, _WIDTHS.get(name, 11))
    for number, row in enumerate(rates.rows, 2):
        shade = _ATTENTION if row.missing else {}
        for column, name in enumerate(LIST_COLUMNS):
            value = row.cells.get(name, "")
            wrap = {"text_wrap": True} if name == "meaning" else {}
            if isinstance(value, float | int):
                sheet.write_number(number, column, value, style(**shade))
            elif value:
                quote = {"quote_prefix": True} if starts_like_formula(value) else {}
                sheet.write_string(number, column, cell_text(value), style(**shade, **wrap, **quote))
            elif shade:
                sheet.write_blank(number, column, None, style(**shade))
    sheet.freeze_panes(2, 1)
    sheet.autofilter(1, 0, len(rates.rows) + 1, len(LIST_COLUMNS) - 1)
