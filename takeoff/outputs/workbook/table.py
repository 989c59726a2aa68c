"""The plain filterable table, of which most sheets consist."""

import math
from collections.abc import Iterable, Sequence
from itertools import groupby, repeat

from xlsxwriter.utility import xl_col_to_name

from takeoff.outputs.workbook.cells import Figure, Formula
from takeoff.outputs.workbook.columns import Column, column_widths, number_of, shown_width
from takeoff.outputs.workbook.heights import row_heights
from takeoff.outputs.workbook.sheet import FIRST_ROW, HEADING_ROW, Page, Sheet, require_rows


class HandRow(tuple[object, ...]):
    """Cells of a row that a person wrote."""


def write_table(
    sheet: Sheet,
    page: Page,
    title: str,
    note: str,
    columns: Sequence[Column],
    rows: Iterable[Sequence[object]],
    nothing: str,
) -> int:
    """Write a filterable table sheet and return the row after its last one.

    `rows` give a value for each column, or a `Formula`. `nothing` is said in place of rows when there are
    none. Totals above the headings follow the filter.

    Raises:
        InputError: more rows than a sheet holds.
    """
    kinds = [column.kind for column in columns]
    table = list(rows)
    end = FIRST_ROW + len(table)
    require_rows(sheet, end)
    widths = column_widths(columns, table)
    wrapped = [index for index, kind in enumerate(kinds) if kind == "wrapped"]
    sheet.seal_column = len(columns)
    sheet.head(sheet.words(title), note)
    _write_totals(sheet, columns, table, end)
    sheet.headings(HEADING_ROW, columns)
    sheet.tell(HEADING_ROW, "head", *(column.heading for column in columns))
    if sheet.raw.constant_memory:
        _write_whole(sheet, kinds, table, row_heights(table, [(index, widths[index]) for index in wrapped]))
    else:
        for row, values in enumerate(table, start=FIRST_ROW):
            sheet.heighten(row, [(values[index], widths[index]) for index in wrapped])
            sheet.tell(row, "row")
            _write_cells(sheet, row, kinds, values)
    if not table:
        sheet.put_as(FIRST_ROW, 0, sheet.words(nothing), sheet.styles.note)
    for index, width in enumerate(widths):
        sheet.widen(index, width)
    sheet.fit()
    # The marks lie within the filter, so that they are sorted with their rows.
    sheet.raw.autofilter(HEADING_ROW, 0, max(end - 1, FIRST_ROW), len(columns))
    printed = sum(column.printed for column in columns)
    sheet.set_up(page, printed - 1, end - 1, HEADING_ROW)
    return end


def _write_whole(
    sheet: Sheet,
    kinds: Sequence[str],
    table: Sequence[Sequence[object]],
    heights: Sequence[float | None] | None,
) -> None:
    """Write rows as a whole, those of a person cell by cell and without marks."""
    writer = sheet.rows(kinds, "row")
    at = 0
    for by_hand, together in groupby(table, key=lambda values: isinstance(values, HandRow)):
        rows = list(together)
        own = heights[at : at + len(rows)] if heights else None
        if not by_hand:
            sheet.leave(FIRST_ROW + at)
            writer.write(FIRST_ROW + at, rows, own)
        else:
            for row, (values, height) in enumerate(
                zip(rows, own or repeat(None), strict=False), FIRST_ROW + at
            ):
                if height is not None:
                    sheet.raw.set_row(row, height)
                sheet.tell_nothing(row)
                _write_cells(sheet, row, kinds, values)
        at += len(rows)


def _write_cells(sheet: Sheet, row: int, kinds: Sequence[str], values: Sequence[object]) -> None:
    for column, (value, kind) in enumerate(zip(values, kinds, strict=True)):
        if isinstance(value, Figure):
            sheet.put(row, column, value.value, value.kind)
        else:
            sheet.put(row, column, value, kind)


def _write_totals(sheet: Sheet, columns: Sequence[Column], table: list[Sequence[object]], end: int) -> None:
    """Sums over the rows that a filter shows, above the headings so that they stay in sight."""
    if not table or not any(column.total for column in columns):
        return
    sheet.put_as(HEADING_ROW - 1, 0, sheet.words("Total of the rows shown"), sheet.styles.of(bold=True))
    for index, column in enumerate(columns):
        if column.total:
            letter = xl_col_to_name(index)
            text = f"=SUBTOTAL(109,{letter}{FIRST_ROW + 1}:{letter}{end})"
            value = math.fsum(number_of(row[index]) for row in table)
            number = sheet.styles.total(column.kind, top=0)
            sheet.put_as(HEADING_ROW - 1, index, Formula(text, value), number, column.kind)
            sheet.widen(index, shown_width(value, column.kind))
