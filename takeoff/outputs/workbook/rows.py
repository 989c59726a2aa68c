"""Rows of tables written as a whole: a large model has a million cells, most of which say what others said."""

import math
import numbers
from collections.abc import Callable, Iterator, Sequence
from itertools import islice, repeat
from typing import Any

from xlsxwriter.utility import xl_col_to_name, xl_rowcol_to_cell
from xlsxwriter.worksheet import Worksheet

from takeoff.outputs.text import cell_text, starts_like_formula
from takeoff.outputs.workbook.cells import Figure, Formula
from takeoff.outputs.workbook.marks import BLANK, formula_mark, mark, seal_text
from takeoff.outputs.workbook.styles import Styles

MOST_KEPT = 100_000
"""Cells of one kind that are kept in mind at most, so that memory stays bounded."""

BLOCK = 4_096
"""Rows that are made at a time."""

_DIGITS = str.maketrans("", "", "0123456789")


class RowSheet(Worksheet):
    """The library's sheet, which also takes whole rows as they are to stand in the file.

    Cell by cell the library takes about twenty times as long. A test compares what both write.
    """

    previous_row: int

    def __init__(self) -> None:
        super().__init__()
        self.heights: dict[int, float] = {}
        """Heights of rows in points, where not the usual one."""

    def set_row(self, row: int, height: float | None = None, *args: Any, **kwargs: Any) -> Any:
        """Set a row's height as the library does, and keep it in mind."""
        if height is not None:
            self.heights[row] = height
        return super().set_row(row, height, *args, **kwargs)

    def write_rows(self, first: int, last: int, last_column: int, text: str) -> None:
        """Write the rows from `first` to `last`, none of which is written yet; only with one row in memory."""
        if first > self.previous_row:
            self._write_single_row(first)
        for row, column in ((first, 0), (last, last_column)):
            self._check_dimensions(row, column)
        self.row_data_fh.write(text)
        self.previous_row = last

    def row_start(self, row: str, height: float | None) -> str:
        """The start of a row as the library writes it: `row` stands for its number, `height` in points."""
        if height is None:
            return f'<row r="{row}">'
        pixels = int(height * 4.0 / 3.0 + 0.5)
        return f'<row r="{row}" ht="{pixels * 0.75:.16g}" customHeight="1">'

    def plain_formula(self, text: str) -> str:
        """A formula as it stands in the file, without its `=`."""
        return str(self._escape_data(self._prepare_formula(text)))

    def _write_cell(self, row: int, col: int, cell: Any) -> None:
        if self.constant_memory and getattr(cell, "string", "").startswith("<r>"):
            # The library would take a text like this for marked-up text of its own and write it as it is.
            place = xl_rowcol_to_cell(row, col)
            self.fh.write(f'<c r="{place}" s="{_text_end(cell.format._get_xf_index(), cell.string)}')
        else:
            super()._write_cell(row, col, cell)


class _Known(dict[object, tuple[str, str]]):
    """Cells by what they hold, made when they are first asked for."""

    def __init__(self, make: Callable[[object], tuple[str, str]]) -> None:
        super().__init__()
        self._make = make

    def __missing__(self, value: object) -> tuple[str, str]:
        made = self._make(value)
        if len(self) >= MOST_KEPT:
            self.clear()
        self[value] = made
        return made


class RowWriter:
    """Writes rows of cells of given `kinds`, each with its marks in the hidden cell after them."""

    def __init__(self, raw: RowSheet, styles: Styles, kinds: Sequence[str], told: str) -> None:
        """`told` is what the marks say of every row."""
        self._raw = raw
        self._styles = styles
        by_kind = {kind: _Known(self._maker(kind)) for kind in dict.fromkeys(kinds)}
        self._known = [by_kind[kind] for kind in kinds]
        self._plain: dict[str, bool] = {}
        begins = "".join(f'<c r="{xl_col_to_name(column)}%s" s="%s' for column in range(len(kinds)))
        seal = _text_end(self._styles.seal._get_xf_index(), seal_text(told, (), {}, 0)).replace("%", "%%")
        marks = seal.replace("</t>", "%s" * len(kinds) + "</t>")
        self._row = f'%s{begins}<c r="{xl_col_to_name(len(kinds))}%s" s="{marks}</row>'
        self._starts: dict[float | None, str] = {}

    def write(
        self, first: int, rows: Sequence[Sequence[object]], heights: Sequence[float | None] | None = None
    ) -> None:
        """Write rows from row `first` on: a value for each column, a `Formula`, or a `Figure` of its own kind.

        `heights` are those of the rows in points, None for the usual one.
        """
        self._raw.heights.update(
            (row, height) for row, height in enumerate(heights or (), start=first) if height is not None
        )
        told = iter(heights or repeat(None))
        for begin in range(0, len(rows), BLOCK):
            block = rows[begin : begin + BLOCK]
            row = first + begin
            text = "".join(self._texts(row, block, list(islice(told, len(block)))))
            self._raw.write_rows(row, row + len(block) - 1, len(self._known), text)

    def _texts(
        self, first: int, rows: Sequence[Sequence[object]], heights: Sequence[float | None]
    ) -> Iterator[str]:
        numbers = [str(number) for number in range(first + 1, first + 1 + len(rows))]
        streams: list[Sequence[str]] = [[self._start(*row) for row in zip(numbers, heights, strict=True)]]
        marks: list[Sequence[str]] = []
        for known, values in zip(self._known, zip(*rows, strict=True), strict=True):
            signs, ends = zip(*map(known.__getitem__, values), strict=True)
            marks.append(signs)
            streams += (numbers, ends)
        return map(self._row.__mod__, zip(*streams, numbers, *marks, strict=True))

    def _start(self, number: str, height: float | None) -> str:
        start = self._starts.get(height)
        if start is None:
            start = self._starts[height] = self._raw.row_start("%s", height)
        return start % number

    def _maker(self, kind: str) -> Callable[[object], tuple[str, str]]:
        return lambda value: self._cell(kind, value)

    def _cell(self, kind: str, value: object) -> tuple[str, str]:
        """The mark of a value and the end of its cell, from the number of its format on."""
        if isinstance(value, Figure):
            kind, value = value.kind, value.value
        form = self._styles.cell(kind)
        if isinstance(value, Formula):
            return formula_mark(value.text), self._formula(form._get_xf_index(), value)
        if is_blank(value):
            return BLANK, f'{form._get_xf_index()}"/>'
        if isinstance(value, numbers.Real):
            return mark(float(value)), f'{form._get_xf_index()}"><v>{float(value):.16G}</v></c>'
        text = cell_text(value)
        if starts_like_formula(text):
            form = self._styles.cell(kind, quote_prefix=True)
        return mark(text), _text_end(form._get_xf_index(), text)

    def _formula(self, form: int, formula: Formula) -> str:
        value = known_value(formula.value)
        kind = ' t="str"' if isinstance(value, str) and value else ""
        shown = _escaped(value) if isinstance(value, str) else value
        # The library looks for the names of a hundred functions; formulas of a column differ by their row only.
        look = formula.text.translate(_DIGITS)
        text = formula.text
        if look not in self._plain:
            self._plain[look] = self._raw.plain_formula(text) == text[1:]
        told = text[1:] if self._plain[look] else self._raw.plain_formula(text)
        return f'{form}"{kind}><f>{told}</f><v>{shown}</v></c>'


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
    # What is printable and names no escape needs none.
    escaped = text if text.isprintable() and "_x" not in text else RowSheet._escape_control_characters(text)
    space = ' xml:space="preserve"' if text != text.strip() else ""
    return f'{form}" t="inlineStr"><is><t{space}>{_escaped(escaped)}</t></is></c>'


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
