"""Text from models and people, made safe to stand in a spreadsheet cell or a page heading."""

import re
import unicodedata

CELL_LIMIT = 32_767
"""Longest text that a cell of an Office Open XML sheet holds, in UTF-16 units (ECMA-376 part 1, 18.3.1)."""

CUT_MARK = " [cut: too long for a cell]"

# Spreadsheets offer to read text that begins like this as a formula when somebody edits the cell; the
# full-width forms do so under East Asian input.
_FORMULA_STARTS = tuple("=+-@\t\r\n＝＋－＠")

# Not allowed in XML 1.0 (section 2.2, Char): control characters but tab and line ends, lone surrogates, and
# the two non-characters at the end of the basic plane.
_FORBIDDEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


def cell_text(value: object) -> str:
    """The value as text that a cell can hold: no forbidden character, line ends `\\n`, cut with a mark."""
    text = _FORBIDDEN.sub("", value if isinstance(value, str) else str(value))
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if len(text) <= CELL_LIMIT // 2:
        return text
    units = text.encode("utf-16-le")
    if len(units) <= CELL_LIMIT * 2:
        return text
    # Half a surrogate pair at the cut is dropped.
    return units[: (CELL_LIMIT - len(CUT_MARK)) * 2].decode("utf-16-le", errors="ignore") + CUT_MARK


def starts_like_formula(text: str) -> bool:
    """Whether a spreadsheet may take the text for a formula once somebody edits the cell."""
    return text.startswith(_FORMULA_STARTS)


def heading_text(text: str, limit: int = 90) -> str:
    """One line for a page header: `&` doubled (it introduces codes there), at most `limit` characters."""
    return shortened(" ".join(cell_text(text).split()), limit).replace("&", "&&")


def shortened(text: str, limit: int) -> str:
    """The text, ending in dots where it is longer than `limit` characters."""
    return text if len(text) <= limit else text[: limit - 3].rstrip() + "..."


def display_width(text: str) -> int:
    """Width of the widest line of a text in columns: East Asian wide characters take two."""
    if text.isascii() and "\n" not in text:
        return len(text)
    return max(
        (sum(2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in line) for line in text.split("\n")),
        default=0,
    )
