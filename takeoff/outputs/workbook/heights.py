"""Heights of rows with wrapped texts: not every program that opens the file finds them by itself."""

import textwrap
from collections.abc import Iterable, Sequence
from functools import lru_cache

LINE_POINTS = 11.8
"""Height of a line of the workbook's typeface, points."""

MOST_LINES = 14
"""Lines of a wrapped text that a row shows at most; a longer text is read in the cell itself."""


def row_height(wrapped: Iterable[tuple[object, int]]) -> float | None:
    """Points that a row needs for its texts, given with the widths of their columns; None for the usual height."""
    return _points(max((_line_count(str(text), width) for text, width in wrapped if text), default=1))


def row_heights(
    rows: Sequence[Sequence[object]], wrapped: Sequence[tuple[int, int]]
) -> list[float | None] | None:
    """Heights of rows of a table of which the columns `wrapped` wrap, given with their widths; None: all usual."""
    if not wrapped or not rows:
        return None
    columns = [
        [_line_count(str(row[index]), width) if row[index] else 1 for row in rows] for index, width in wrapped
    ]
    return [_points(lines) for lines in map(max, *columns, [1] * len(rows))]


def _points(lines: int) -> float | None:
    return LINE_POINTS * min(lines, MOST_LINES) + 3 if lines > 1 else None


@lru_cache(maxsize=4096)
def _line_count(text: str, width: int) -> int:
    """Lines that a text takes in a column of `width` characters; a little more fits, letters being narrow."""
    room = max(1, int(width * 1.1))
    if len(text) <= room and "\n" not in text:
        return 1
    lines = 0
    for line in text[:4000].split("\n"):
        # a word longer than the cell begins a line of its own and is broken there
        wrapped = textwrap.wrap(line, room, break_long_words=False)
        lines += sum(-(-len(part) // room) for part in wrapped) or 1
    return lines
