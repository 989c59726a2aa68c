"""The look of the workbook: one typeface, few colours, one number format for each kind of figure."""

from typing import Any

import xlsxwriter
from xlsxwriter.format import Format

from takeoff.outputs.workbook.look import Look, shipped_look

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
    "ft": "length",
    "ft2": "area",
    "yd3": "volume",
    "lb": "mass",
    "ton": "weight",
}


NORMAL_SIZE = 10
"""Size of the typeface of cells that nothing is said of; its digits are 7 pixels wide."""


class Styles:
    """Cell formats of one workbook, made once for each set of properties."""

    def __init__(self, book: xlsxwriter.Workbook, look: Look | None = None) -> None:
        self._book = book
        self.look = look or shipped_look()
        # Widths of columns are counted in digits of this typeface: one that is not there would make them wider.
        book.formats[0].set_font_name(self.look.font.name)
        book.formats[0].set_font_size(NORMAL_SIZE)
        self._made: dict[tuple[tuple[str, Any], ...], Format] = {}

    def of(self, **properties: Any) -> Format:
        """The format with these properties in the workbook's typeface."""
        key = tuple(sorted(properties.items()))
        if key not in self._made:
            base = {
                "font_name": self.look.font.name,
                "font_size": self.look.font.size,
                "font_color": self.look.colours.ink,
                "valign": "top",
            }
            self._made[key] = self._book.add_format({**base, **properties})
        return self._made[key]

    def cell(self, kind: str, **properties: Any) -> Format:
        """The format of a table cell: `kind` is `text`, `wrapped` or a key of `NUMBERS`."""
        return self.of(**{"bottom": 4, "bottom_color": self.look.colours.line, **_side(kind), **properties})

    def heading(self, kind: str = "text") -> Format:
        """The format of a column heading, on the side on which the column's values stand."""
        return self.of(
            bold=True,
            bg_color=self.look.colours.heading_fill,
            bottom=1,
            bottom_color=self.look.colours.rule,
            text_wrap=True,
            valign="vcenter",
            align="right" if kind in NUMBERS or kind == "size" else "left",
            indent=1,
        )

    def total(self, kind: str = "text", **properties: Any) -> Format:
        """The format of a total: bold under a thin line."""
        return self.of(
            **{"bold": True, "top": 1, "top_color": self.look.colours.rule, **_side(kind), **properties}
        )

    def highlight(self, fill: str, ink: str) -> Format:
        """The format that a condition lays over a cell, leaving typeface and lines as they are."""
        return self._book.add_format({"bg_color": fill, "font_color": ink})

    @property
    def title(self) -> Format:
        """The format of a sheet's title."""
        return self.of(bold=True, font_size=self.look.font.size + 5)

    @property
    def subtitle(self) -> Format:
        """The format of a block's title within a sheet."""
        return self.of(bold=True, font_size=self.look.font.size + 2)

    @property
    def seal(self) -> Format:
        """The format of the hidden cells that tell what was written."""
        return self.of(font_size=6, font_color=self.look.colours.muted)

    @property
    def note(self) -> Format:
        """The format of an explanation."""
        return self.of(font_color=self.look.colours.muted)


def number_format(kind: str, nothing: str = "") -> str:
    """The number format of a kind of figure, with its margin; `nothing` stands for zero if given."""
    number = NUMBERS[kind]
    zero = f'"{nothing}"' if nothing else number
    return f"{number}{_MARGIN};-{number}{_MARGIN};{zero}{_MARGIN};@{_MARGIN}"


def digits_format(digits: int) -> dict[str, str]:
    """The number format of a figure with so many decimals."""
    number = "#,##0" + ("." + "0" * digits if digits else "")
    return {"num_format": f"{number}{_MARGIN};-{number}{_MARGIN};{number}{_MARGIN};@{_MARGIN}"}


def _side(kind: str) -> dict[str, Any]:
    """Alignment by kind: figures right with their number format, text left and a little in."""
    if kind in NUMBERS:
        return {"num_format": number_format(kind), "align": "right"}
    if kind == "size":
        return {"align": "right"}
    return {"align": "left", "indent": 1, **({"text_wrap": True} if kind == "wrapped" else {})}
