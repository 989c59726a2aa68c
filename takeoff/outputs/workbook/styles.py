"""The look of the workbook: one typeface, few colours, one number format for each kind of figure."""

from typing import Any

import xlsxwriter
from xlsxwriter.format import Format

FONT = "Arial"
INK = "#1F2A33"
MUTED = "#5F6B75"
LINE = "#D5DADF"
RULE = "#7D8A96"
HEADING_FILL = "#E6EBEF"
SECTION_FILL = "#F3F5F7"
ATTENTION_FILL = "#FBE7C3"
ATTENTION_INK = "#7A4300"
ERROR_FILL = "#F6DCD7"
ERROR_INK = "#7C1D10"
PREFABRICATED = "#2F6480"
OTHER = "#C3CBD2"

# Number formats by kind of figure. Quantities show three decimals in m, m3 and t (a litre, a millimetre, a
# kilogram), two in m2.
NUMBERS = {
    "length": "#,##0.000",
    "area": "#,##0.00",
    "volume": "#,##0.000",
    "mass": "#,##0.0",
    "weight": "#,##0.000",
    "money": "#,##0.00",
    "rate": "#,##0.00##",
    "share": "0.0%",
    "percent": '0.00" %"',
    "count": "#,##0",
    "ratio": "#,##0.0",
    "angle": "0.0",
    "diameter": "0.#",
}

# `_0` leaves the width of a digit free at the right edge of the cell; a cell's indent does not do so for
# figures in every program.
_MARGIN = "_0"

# Kind of figure by the unit of a bill item or of a finding's worth.
UNIT_KINDS = {
    "m": "length",
    "m2": "area",
    "m3": "volume",
    "kg": "mass",
    "t": "weight",
    "nr": "count",
    "pieces": "count",
}


class Styles:
    """Cell formats of one workbook, made once for each set of properties."""

    def __init__(self, book: xlsxwriter.Workbook) -> None:
        self._book = book
        self._made: dict[tuple[tuple[str, Any], ...], Format] = {}

    def of(self, **properties: Any) -> Format:
        """The format with these properties in the workbook's typeface."""
        key = tuple(sorted(properties.items()))
        if key not in self._made:
            base = {"font_name": FONT, "font_size": 9, "font_color": INK, "valign": "top"}
            self._made[key] = self._book.add_format({**base, **properties})
        return self._made[key]

    def cell(self, kind: str, **properties: Any) -> Format:
        """The format of a table cell: `kind` is `text`, `wrapped` or a key of `NUMBERS`."""
        return self.of(**{"bottom": 4, "bottom_color": LINE, **_side(kind), **properties})

    def heading(self, kind: str = "text") -> Format:
        """The format of a column heading, on the side on which the column's values stand."""
        return self.of(
            bold=True,
            bg_color=HEADING_FILL,
            bottom=1,
            bottom_color=RULE,
            text_wrap=True,
            valign="vcenter",
            align="right" if kind in NUMBERS else "left",
            indent=1,
        )

    def total(self, kind: str = "text", **properties: Any) -> Format:
        """The format of a total: bold under a thin line."""
        return self.of(**{"bold": True, "top": 1, "top_color": RULE, **_side(kind), **properties})

    def highlight(self, fill: str, ink: str) -> Format:
        """The format that a condition lays over a cell, leaving typeface and lines as they are."""
        return self._book.add_format({"bg_color": fill, "font_color": ink})

    @property
    def title(self) -> Format:
        """The format of a sheet's title."""
        return self.of(bold=True, font_size=14)

    @property
    def subtitle(self) -> Format:
        """The format of a block's title within a sheet."""
        return self.of(bold=True, font_size=11)

    @property
    def note(self) -> Format:
        """The format of an explanation."""
        return self.of(font_color=MUTED)


def number_format(kind: str, nothing: str = "") -> str:
    """The number format of a kind of figure, with its margin; `nothing` stands for zero if given."""
    number = NUMBERS[kind]
    zero = f'"{nothing}"' if nothing else number
    return f"{number}{_MARGIN};-{number}{_MARGIN};{zero}{_MARGIN};@{_MARGIN}"


def _side(kind: str) -> dict[str, Any]:
    """Alignment by kind: figures right with their number format, text left and a little in."""
    if kind in NUMBERS:
        return {"num_format": number_format(kind), "align": "right"}
    return {"align": "left", "indent": 1, **({"text_wrap": True} if kind == "wrapped" else {})}
