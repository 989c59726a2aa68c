"""Rows of tables written as a whole: a large model has a million cells, most of which say what others said."""

import math
import numbers
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from xlsxwriter.utility import xl_col_to_name, xl_rowcol_to_cell
from xlsxwriter.worksheet import Worksheet

from takeoff.outputs.text import cell_text, starts_like_formula
from takeoff.outputs.workbook.cells import Figure, Formula
from takeoff.outputs.workbook.marks import BLANK, formula_mark, mark, seal_text
from takeoff.outputs.workbook.styles import Styles

MOST_KEPT = 100_000
"""Cells of one kind that are kept in mind at most, so that memory stays bounded."""


@dataclass(frozen=True, slots=True)
class _Run:
    """Cells side by side as they stand in the file."""

    text: str


class RowSheet(Worksheet):
    """The library's sheet, which also takes cells side by side in one piece, as they are to stand in the file.

    Cell by cell the library takes about fifteen times as long. A test compares what both write.
    """

    def write_run(self, row: int, first: int, last: int, text: str) -> None:
        """Write the cells from column `first` to `last` of a row that is not written yet."""
        if row > self.previous_row:
            self._write_single_row(row)
        self._check_dimensions(row, first)
        self._check_dimensions(row, last)
        self.table[row][first] = _Run(text)

    def _write_cell(self, row: int, col: int, cell: Any) -> None:
        if isinstance(cell, _Run):
            self.fh.write(cell.text)
        elif self.constant_memory and getattr(cell, "string", "").startswith("<r>"):
            # The library would take a text like this for marked-up text of its own and write it as it is.
            place = xl_rowcol_to_cell(row, col)
            self.fh.write(f'<c r="{place}" s="{_text_end(cell.format._get_xf_index(), cell.string)}')
        else:
            super()._write_cell(row, col, cell)


class RowWriter:
    """Writes rows of cells of given `kinds`, each with its marks in the hidden cell after them."""

    def __init__(self, raw: RowSheet, styles: Styles, kinds: Sequence[str], told: str) -> None:
        """`told` is what the marks say of every row."""
        self._raw = raw
        self._styles = styles
        self._kinds = tuple(kinds)
        self._told = told
        self._begins = [f'<c r="{xl_col_to_name(column)}' for column in range(len(kinds) + 1)]
        self._known: dict[str, dict[object, tuple[str, str]]] = {}

    def write(self, row: int, values: Iterable[object]) -> None:
        """Write a value for each column, or a `Formula`; a `Figure` is of its own kind."""
        at = f'{row + 1}" s="'
        marks: list[str] = []
        run: list[str] = []
        first = 0
        for column, (given, kind) in enumerate(zip(values, self._kinds, strict=True)):
            value = given
            if isinstance(given, Figure):
                value, kind = given.value, given.kind
            if isinstance(value, Formula):
                if run:
                    self._raw.write_run(row, first, column - 1, "".join(run))
                run, first = [], column + 1
                marks.append(formula_mark(value.text))
                form = self._styles.cell(kind)
                self._raw.write_formula(row, column, value.text, form, known_value(value.value))
                continue
            sign, end = self._told_of(kind, value)
            marks.append(sign)
            run += (self._begins[column], at, end)
        count = len(self._kinds)
        seal = seal_text(self._told, (), dict(enumerate(marks)), count)
        run += (self._begins[count], at, _text_end(self._styles.seal._get_xf_index(), seal))
        self._raw.write_run(row, first, count, "".join(run))

    def _told_of(self, kind: str, value: object) -> tuple[str, str]:
        """The mark of a value and the end of its cell, from the number of its format on."""
        known = self._known.setdefault(kind, {})
        found = known.get(value)
        if found is None:
            found = self._cell(kind, value)
            if len(known) >= MOST_KEPT:
                known.clear()
            known[value] = found
        return found

    def _cell(self, kind: str, value: object) -> tuple[str, str]:
        form = self._styles.cell(kind)
        if is_blank(value):
            return BLANK, f'{form._get_xf_index()}"/>'
        if isinstance(value, numbers.Real):
            return mark(float(value)), f'{form._get_xf_index()}"><v>{float(value):.16G}</v></c>'
        text = cell_text(value)
        if starts_like_formula(text):
            form = self._styles.cell(kind, quote_prefix=True)
        return mark(text), _text_end(form._get_xf_index(), text)


def is_blank(value: object) -> bool:
    """Whether nothing is known: no value, no text, or a figure that is no number."""
    return value is None or value == "" or (isinstance(value, float) and not math.isfinite(value))


def known_value(value: float | int | str) -> float | int | str:
    """What a formula says to readers that do not calculate."""
    if isinstance(value, float) and not math.isfinite(value):
        return 0
    return cell_text(value) if isinstance(value, str) else value


def _text_end(form: int, text: str) -> str:
    """The end of a cell of text: text is always stored as text (ECMA-376 part 1, 18.3.1.4, inlineStr)."""
    escaped = RowSheet._escape_control_characters(text)
    escaped = escaped.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    space = ' xml:space="preserve"' if text != text.strip() else ""
    return f'{form}" t="inlineStr"><is><t{space}>{escaped}</t></is></c>'
