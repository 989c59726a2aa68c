"""A sheet's writer: safe text, figures with computed values, page set-up."""

import numbers
from collections.abc import Iterable, Sequence
from typing import Any

import xlsxwriter
from msgspec import Struct
from xlsxwriter.format import Format

from takeoff.findings import InputError
from takeoff.outputs.text import cell_text, heading_text, shortened, starts_like_formula
from takeoff.outputs.workbook.cells import Formula
from takeoff.outputs.workbook.columns import Column
from takeoff.outputs.workbook.heights import row_height
from takeoff.outputs.workbook.marks import BLANK, TYPED, formula_mark, mark, seal_text
from takeoff.outputs.workbook.paging import MARGINS, column_points, page_breaks, scale_across
from takeoff.outputs.workbook.rows import RowSheet, RowWriter, is_blank, known_value
from takeoff.outputs.workbook.styles import Styles
from takeoff.outputs.workbook.words import Words

ROW_LIMIT = 1_048_576
"""Rows of a sheet (Office Open XML)."""

HEADING_ROW = 3
"""Row (from 0) of the column headings of every table sheet: title, explanation and totals stand above it."""

FIRST_ROW = HEADING_ROW + 1

USUAL_WIDTH = 8.43
"""Width of a column that nothing is said of, characters."""

PAPERS = {"a4": 9, "letter": 1}
"""Paper codes of ECMA-376 part 1, 18.3.1.63."""


class Page(Struct, frozen=True):
    """What every sheet's page set-up needs: title and origin for the header and footer, and the paper."""

    title: str
    origin: str
    paper: str
    office: str = ""


class Sheet:
    """One sheet being written, row by row from the top."""

    def __init__(
        self, book: xlsxwriter.Workbook, styles: Styles, name: str, words: Words | None = None
    ) -> None:
        self.raw: RowSheet = book.add_worksheet(name, worksheet_class=RowSheet)
        self.styles = styles
        self.name = name
        self.words = words or Words()
        self.seal_column: int | None = None
        self._widths: dict[int, int] = {}
        self._kept: list[tuple[int, int]] = []
        self._row = -1
        self._marks: dict[int, str] = {}
        self._kind: tuple[str, tuple[str, ...]] | None = ("", ())

    def tell(self, row: int, kind: str, *words: str, typed: Iterable[int] = ()) -> None:
        """Say what the row that is being written is, for later runs, and which cells a person once typed."""
        self._start(row)
        self._kind = (kind, words)
        self._marks.update(dict.fromkeys(typed, TYPED))

    def tell_nothing(self, row: int) -> None:
        """The row that is being written is a person's: it has no marks, so that later runs see it as theirs."""
        self._start(row)
        self._kind = None

    def rows(self, kinds: Sequence[str], told: str) -> RowWriter:
        """A writer of whole rows of which the marks say `told`; only for books that keep one row in memory."""
        return RowWriter(self.raw, self.styles, kinds, told)

    def leave(self, row: int) -> None:
        """A row is written with its marks by a writer of whole rows."""
        self.tell_nothing(row)

    def _start(self, row: int) -> None:
        if row != self._row:
            self.seal()
            self._row = row

    def _note(self, row: int, column: int, value: str) -> None:
        self._start(row)
        if self._marks.get(column) != TYPED:
            self._marks[column] = value

    def seal(self) -> None:
        """Close the row that was written last with the marks of its cells."""
        if self.seal_column is not None and self._kind is not None and self._marks:
            kind, words = self._kind
            text = seal_text(kind, words, self._marks, self.seal_column)
            self.raw.write_string(self._row, self.seal_column, text, self.styles.seal)
        self._marks, self._kind = {}, ("", ())

    def put(self, row: int, column: int, value: object, kind: str = "text", **properties: Any) -> None:
        """Write a value, formula or blank as a table cell of `kind`."""
        self.put_as(row, column, value, self.styles.cell(kind, **properties), kind, properties)

    def put_as(
        self,
        row: int,
        column: int,
        value: object,
        form: Format,
        kind: str = "text",
        properties: dict[str, Any] | None = None,
    ) -> None:
        """Write a value with a given format. Text is always stored as text, never as a formula or a link."""
        if isinstance(value, Formula):
            self._note(row, column, formula_mark(value.text))
            self.raw.write_formula(row, column, value.text, form, known_value(value.value))
        elif is_blank(value):
            self._note(row, column, BLANK)
            self.raw.write_blank(row, column, None, form)
        elif isinstance(value, numbers.Real):
            self._note(row, column, mark(float(value)))
            self.raw.write_number(row, column, float(value), form)
        else:
            text = cell_text(value)
            self._note(row, column, mark(text))
            if starts_like_formula(text):
                form = self.styles.cell(kind, quote_prefix=True, **(properties or {}))
            self.raw.write_string(row, column, text, form)

    def link(self, row: int, column: int, place: str, text: str) -> None:
        """Write text that leads to another place of the workbook."""
        shown = cell_text(text)
        self._note(row, column, mark(shown))
        quoted = {"quote_prefix": True} if starts_like_formula(shown) else {}
        form = self.styles.cell(
            "text", font_color=self.styles.look.colours.prefabricated, underline=1, **quoted
        )
        self.raw.write_url(row, column, place, form, shown)

    def head(self, title: str, note: str = "") -> None:
        """Write the sheet's title and its one-line explanation."""
        self.raw.set_row(0, 21)
        self.put_as(0, 0, shortened(title, 100), self.styles.title)
        if note:
            self.put_as(1, 0, shortened(note, 200), self.styles.note)

    def headings(self, row: int, columns: Sequence[Column], first: int = 0) -> None:
        """Write column headings across from column `first`."""
        self.raw.set_row(row, 28)
        for index, column in enumerate(columns, start=first):
            self.put_as(row, index, self.words(column.heading), self.styles.heading(column.kind))

    def keep(self, first: int, last: int) -> None:
        """Print the rows from `first` to `last` on one page: a heading with what it heads, a sum with what it sums."""
        self._kept.append((first, last))

    def widen(self, column: int, width: int) -> None:
        """Make a column at least `width` characters wide."""
        self._widths[column] = max(self._widths.get(column, 0), width)

    def widen_to(self, columns: Sequence[Column]) -> None:
        """Make the first columns at least as wide as `columns` say."""
        for index, column in enumerate(columns):
            self.widen(index, column.narrowest)

    def heighten(self, row: int, wrapped: Iterable[tuple[object, int]]) -> None:
        """Make a row high enough for its wrapped texts, given with the widths of their columns."""
        height = row_height(wrapped)
        if height is not None:
            self.raw.set_row(row, height)

    def fit(self) -> None:
        """Set the column widths collected so far."""
        for column, width in self._widths.items():
            self.raw.set_column(column, column, _characters(width))

    def set_up(self, page: Page, last_column: int, last_row: int, heading_row: int | None = None) -> None:
        """Landscape page of the full width of `last_column`, heading repeated, page numbers at the foot."""
        raw = self.raw
        self.seal()
        if self.seal_column is not None:
            raw.set_column(self.seal_column, self.seal_column, None, None, {"hidden": True})
        raw.set_landscape()
        raw.set_paper(PAPERS[page.paper])
        raw.set_margins(**MARGINS)
        raw.fit_to_pages(1, 0)
        breaks = page_breaks(raw.heights, self._kept, sum(self._points(last_column)), page.paper, heading_row)
        if breaks:
            raw.set_h_pagebreaks(breaks)
        raw.print_area(0, 0, max(last_row, FIRST_ROW), last_column)
        if heading_row is not None:
            raw.repeat_rows(heading_row)
            raw.freeze_panes(heading_row + 1, 0)
        office = f"&C&8{heading_text(page.office)}" if page.office else ""
        raw.set_header(f"&L&8{heading_text(page.title)}{office}&R&8&A", {"margin": 0.35})
        raw.set_footer(f"&L&8{heading_text(page.origin)}&R&8Page &P of &N", {"margin": 0.3})
        raw.hide_gridlines(2)
        # Marks and storeys may look like numbers, and stated quantities stand among calculated ones.
        everywhere = f"A1:XFD{ROW_LIMIT}"
        raw.ignore_errors({"number_stored_as_text": everywhere, "formula_differs": everywhere})

    def across(self, page: Page, starts: Sequence[int], leading: int, last_column: int) -> None:
        """Print a wide sheet on pages side by side: columns that begin one, after the `leading` ones again."""
        widths = self._points(last_column)
        self.raw.set_print_scale(scale_across(widths, starts, leading, page.paper))
        self.raw.repeat_columns(0, leading - 1)
        self.raw.set_v_pagebreaks(list(starts))
        self.raw.print_across()

    def _points(self, last_column: int) -> list[float]:
        """Widths of the columns up to the last one, points."""
        known = [self._widths.get(column) for column in range(last_column + 1)]
        return [column_points(USUAL_WIDTH if own is None else _characters(own)) for own in known]


def _characters(width: int) -> float:
    """A column's width for texts of `width` characters, with room for the filter's arrow and the cell's margin."""
    return width * 0.95 + 2.5


def require_rows(sheet: Sheet, rows: int) -> None:
    """Raise InputError where a sheet would need more rows than it can have."""
    if rows > ROW_LIMIT:
        raise InputError(
            f"sheet {sheet.name}: {rows:,} rows are more than a sheet holds ({ROW_LIMIT:,}); "
            "measure fewer models together"
        )
