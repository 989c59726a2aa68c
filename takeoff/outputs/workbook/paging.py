"""Where pages of a printed sheet end, so that no heading stands alone at the foot of one and no total at the head."""

import itertools
from collections.abc import Mapping, Sequence

PAPER_SIZES = {"a4": (841.9, 595.3), "letter": (792.0, 612.0)}
"""Width and height of the papers laid across, points."""

MARGINS = {"left": 0.5, "right": 0.5, "top": 0.7, "bottom": 0.65}
"""Margins of every page, inches."""

USUAL_HEIGHT = 15.0
"""Height of a row that nothing else is said of, points."""

SURE = 0.94
"""Part of a page that is surely filled: programs that print differ a little in how high and wide cells come out."""


def column_points(width: float) -> float:
    """Width of a column of `width` characters on paper at full size, points (7 pixels a character, 5 of margin)."""
    return int(width * 7.0 + 5.0) * 0.75


def scale_across(widths: Sequence[float], starts: Sequence[int], leading: int, paper: str) -> int:
    """Percent at which pages side by side hold their columns, with room for programs that draw them a little wider.

    `widths` of all printed columns in points; the columns `starts` begin further pages, on which the first `leading`
    columns are repeated.
    """
    repeated = sum(widths[:leading])
    bounds = [leading, *starts, len(widths)]
    widest = max(sum(widths[a:b]) for a, b in itertools.pairwise(bounds)) + repeated
    room = PAPER_SIZES[paper][0] - 72.0 * (MARGINS["left"] + MARGINS["right"])
    return max(10, min(100, int(92.0 * room / widest)))


def page_breaks(
    heights: Mapping[int, float],
    kept: Sequence[tuple[int, int]],
    width: float,
    paper: str,
    heading: int | None,
) -> list[int]:
    """Rows (from 0) that begin a page, up to the last of the groups `kept` (first and last row, from 0) together.

    `heights` are those of rows in points, where not usual; `width` of all printed columns in points; the row `heading`
    is repeated on each page.
    """
    if not kept:
        return []
    across, down = PAPER_SIZES[paper]
    scale = min(1.0, (across - 72.0 * (MARGINS["left"] + MARGINS["right"])) / width)
    room = SURE * (down - 72.0 * (MARGINS["top"] + MARGINS["bottom"])) / scale
    with_next = {row for first, last in kept for row in range(first, last)}
    repeated = 0.0 if heading is None else heights.get(heading, USUAL_HEIGHT)
    breaks: list[int] = []
    begin, row, used = 0, 0, 0.0
    last = max(last for _, last in kept)
    while row <= last:
        used += heights.get(row, USUAL_HEIGHT)
        if used <= room:
            row += 1
            continue
        start = row
        while start > begin and start - 1 in with_next:
            start -= 1
        if start == begin:  # what belongs together is higher than a page
            start = max(row, begin + 1)
        breaks.append(start)
        begin = row = start
        used = repeated if heading is not None and start > heading else 0.0
    return breaks
