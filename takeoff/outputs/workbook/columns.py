"""The columns of a sheet: headings, kinds of figure, and widths that show what stands in them."""

import math
from collections.abc import Sequence

from msgspec import Struct

from takeoff.outputs.text import display_width
from takeoff.outputs.workbook.cells import Figure, Formula
from takeoff.outputs.workbook.styles import NUMBERS


class Column(Struct, frozen=True):
    """A column: heading, what it shows (`text`, `wrapped` or a kind of figure), widths in characters.

    `printed` columns stand first; the rest lies to the right of the print area. `total`: summed above the
    heading over the rows that a filter shows.
    """

    heading: str
    kind: str = "text"
    widest: int = 24
    narrowest: int = 6
    printed: bool = True
    total: bool = False


def identity_column(heading: str, printed: bool = True) -> Column:
    """A column of GlobalIds: 22 characters, many of them wide capitals."""
    return Column(heading, widest=27, narrowest=27, printed=printed)


def column_widths(columns: Sequence[Column], table: Sequence[Sequence[object]]) -> list[int]:
    """Widths in characters that show what the columns hold, within their limits."""
    widths = [_heading_width(column) for column in columns]
    for index, values in enumerate(zip(*table, strict=True)):
        kind, widest = columns[index].kind, columns[index].widest
        for value in dict.fromkeys(values):
            if widths[index] >= widest:
                break
            if value is not None:
                widths[index] = max(widths[index], shown_width(value, kind))
    return [
        max(column.narrowest, min(width, column.widest))
        for column, width in zip(columns, widths, strict=True)
    ]


def number_of(value: object) -> float:
    """The figure of a cell, 0 for what is not known."""
    if isinstance(value, Figure):
        value = value.value
    if isinstance(value, Formula):
        value = value.value
    return float(value) if isinstance(value, int | float) and math.isfinite(value) else 0.0


def shown_width(value: object, kind: str) -> int:
    """Characters that a value takes in a cell of `kind`."""
    if isinstance(value, Figure):
        kind, value = value.kind, value.value
    if isinstance(value, Formula):
        value = value.value
    if isinstance(value, int | float) and kind in NUMBERS:
        decimals = len(NUMBERS[kind].partition(".")[2].rstrip('%" ')) if kind != "diameter" else 1
        return len(f"{value:,.{decimals}f}")
    return display_width(str(value)[:200])


def _heading_width(column: Column) -> int:
    """Width for a short heading, for the longest word and for half of a long one: headings wrap once."""
    length = len(column.heading)
    longest = max(map(len, column.heading.split()), default=0)
    return max(column.narrowest, longest + 1, length + 1 if length <= 9 else length // 2 + 2)
