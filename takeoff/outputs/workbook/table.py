"""The plain filterable table, of which most sheets consist."""

import math
from collections.abc import Iterable, Sequence

from xlsxwriter.utility import xl_col_to_name

from takeoff.outputs.workbook.cells import Figure, Formula
from takeoff.outputs.workbook.columns import Column, column_widths, number_of, shown_width
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
    forms = [sheet.styles.cell(kind) for kind in kinds]
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
    writer = sheet.rows(kinds, "row") if sheet.raw.constant_memory else None
    for row, values in enumerate(table, start=FIRST_ROW):
        sheet.heighten(row, [(values[index], widths[index]) for index in wrapped])
        if isinstance(values, HandRow):
            sheet.tell_nothing(row)
        elif writer is not None:
            sheet.leave(row)
            writer.write(row, values)
            continue
        else:
            sheet.tell(row, "row")
        for index, value in enumerate(values):
            if isinstance(value, Figure):
                sheet.put(row, index, value.value, value.kind)
            else:
                sheet.put_as(row, index, value, forms[index], kinds[index])
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
