"""The look of the workbook from a data file: the office's head, typeface, colours, and columns of the bill."""

from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, field_validator

from takeoff.data_files import load_table
from takeoff.templates import template_path

BILL_COLUMNS = (
    "number",
    "description",
    "unit",
    "quantity",
    "rate",
    "amount",
    "rows",
    "source",
    "note",
    "since",
    "low",
    "high",
    "key",
)
"""Columns that the sheet Bill must have, in any order."""

Colour = Annotated[str, Field(pattern=r"^#[0-9A-Fa-f]{6}$")]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Office(_Table):
    """Whose bill it is: head of the pages and of Summary, and a line at the foot."""

    name: str = ""
    lines: tuple[str, ...] = ()
    foot: str = ""


class Font(_Table):
    """The typeface of all cells, its size in points."""

    name: str = Field(min_length=1, max_length=31)
    size: float = Field(ge=6, le=16)


class Colours(_Table):
    """Colours by what they are for, as #RRGGBB."""

    ink: Colour
    muted: Colour
    line: Colour
    rule: Colour
    heading_fill: Colour
    section_fill: Colour
    attention_fill: Colour
    attention_ink: Colour
    error_fill: Colour
    error_ink: Colour
    prefabricated: Colour
    other: Colour


class BillColumn(_Table):
    """A column of the bill; `own` ones are the office's, to be typed in."""

    name: str = Field(min_length=1)
    heading: str = ""
    width: int | None = Field(default=None, ge=4, le=120)
    printed: bool = True
    own: bool = False


class Look(_Table):
    """All of it; see the comments in templates/look.toml."""

    office: Office = Office()
    font: Font
    colours: Colours
    bill: tuple[BillColumn, ...]

    @field_validator("bill")
    @classmethod
    def _complete(cls, value: tuple[BillColumn, ...]) -> tuple[BillColumn, ...]:
        names = [column.name for column in value]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f"column `{name}` is there twice")
        for column in value:
            if column.own == (column.name in BILL_COLUMNS):
                told = (
                    "is one of the bill's own"
                    if column.own
                    else "is not known; an office's own needs own = true"
                )
                raise ValueError(f"column `{column.name}` {told}")
        if missing := [name for name in BILL_COLUMNS if name not in names]:
            raise ValueError(
                f"column `{missing[0]}` is missing; put printed = false to keep it off the paper"
            )
        after = False
        for column in value:
            if column.printed and after:
                raise ValueError(
                    f"column `{column.name}` is printed: it must stand before those that are not"
                )
            after = after or not column.printed
        return value


def load_look(path: Path) -> Look:
    """The look from a TOML file. Raises InputError naming file, place and fault."""
    return load_table(path, Look)


def shipped_look() -> Look:
    """The look that is shipped."""
    return load_look(template_path("look.toml"))
