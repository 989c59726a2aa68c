"""Rows of an earlier workbook with what was written and what a person typed, told apart by the rows' marks."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import zip_longest
from typing import Any

from msgspec import Struct, field
from openpyxl.utils import get_column_letter

from takeoff.outputs.workbook.arithmetic import plain_value
from takeoff.outputs.workbook.marks import BLANK, Seal, formula_mark, mark, read_seal

_FIGURE = re.compile(r"[+-]?[0-9]+(?:\.[0-9]+)?")


class CellValue(Struct, frozen=True):
    """A cell: its value (of a formula the stored one), and the formula if it is one."""

    value: object = None
    formula: str = ""

    @property
    def is_blank(self) -> bool:
        """Whether nothing stands in it."""
        return not self.formula and (self.value is None or self.value == "")

    @property
    def number(self) -> float | None:
        """Its figure: stored, also as text, or plain arithmetic; None for words and what cannot be known."""
        value = self.value
        if isinstance(value, str):
            # A figure that was pasted as text; one with a decimal comma may be read in two ways and is none.
            value = float(value) if _FIGURE.fullmatch(value.strip()) else None
        elif isinstance(value, bool) or not isinstance(value, int | float):
            value = plain_value(self.formula) if self.formula and value is None else None
        return None if value is None else float(value)

    @property
    def text(self) -> str:
        """What stands in it, as text."""
        if self.formula and self.value is None:
            return self.formula
        value = self.value
        if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
            return str(int(value))
        return "" if value is None else str(value)

    @property
    def mark(self) -> str:
        """The mark that it would have been written with."""
        return formula_mark(self.formula) if self.formula else mark(self.value)


EMPTY = CellValue()


class SheetRow(Struct, frozen=True):
    """A row: `seal` None where a person wrote it; cells by the names of the heading row, and all others.

    `typed` are the names whose cells no longer hold what was written. `more` are cells that a person wrote into
    columns of their own, by heading or letter. `number` is the row from 1.
    """

    number: int
    seal: Seal | None
    cells: Mapping[str, CellValue]
    typed: frozenset[str]
    more: Mapping[str, CellValue] = field(default_factory=dict)

    def cell(self, name: str) -> CellValue:
        """The cell under a heading."""
        return self.cells.get(name, EMPTY)

    @property
    def is_blank(self) -> bool:
        """Whether nothing stands in the row."""
        return all(cell.is_blank for cell in (*self.cells.values(), *self.more.values()))


def sealed_rows(
    formulas: Iterable[Sequence[Any]], values: Iterable[Sequence[object]] | None = None
) -> Iterator[SheetRow]:
    """Rows of a sheet from its cells with formulas and, where they matter, its stored values, from the top.

    Cells are named by the last heading row above (its words), before the first by their column letters.
    """
    columns: dict[int, str] = {}
    order: list[int | None] = []
    headings: dict[int, str] = {}
    for number, row in enumerate(_rows(formulas, values), 1):
        # The marks stand behind everything that was written, whatever a person's note may look like.
        place, seal = next(
            (
                (at, found)
                for at in range(len(row) - 1, -1, -1)
                if (found := read_seal(row[at].value)) is not None
            ),
            (-1, None),
        )
        if seal is not None and seal.kind == "head":
            order = _aligned(seal, row[:place])
            columns = {at: name for at, name in zip(order, seal.words, strict=False) if at is not None}
            headings = {at: cell.text for at, cell in enumerate(row) if at != place and not cell.is_blank}
        names = columns or {at: get_column_letter(at + 1) for at in range(len(row))}
        cells = {names[at]: cell for at, cell in enumerate(row) if at in names and at != place}
        more = {
            headings.get(at, get_column_letter(at + 1)): cell
            for at, cell in enumerate(row)
            if at not in names and at != place and not cell.is_blank
        }
        typed = frozenset[str]()
        if seal is not None:
            places = order or range(len(seal.marks))
            typed = frozenset(
                names[at]
                for at, written in zip(places, seal.marks, strict=False)
                if at is not None and at in names and (row[at] if at < len(row) else EMPTY).mark != written
            )
        yield SheetRow(number, seal, cells, typed, more)


def _rows(
    formulas: Iterable[Sequence[Any]], values: Iterable[Sequence[object]] | None
) -> Iterator[list[CellValue]]:
    for cells, stored in zip_longest(formulas, values or (), fillvalue=()):
        row = []
        for cell, value in zip_longest(cells, stored):
            if cell is not None and cell.data_type == "f":
                row.append(CellValue(value, str(cell.value)))
            else:
                row.append(CellValue(None if cell is None else cell.value))
        yield row


def _aligned(seal: Seal, row: Sequence[CellValue]) -> list[int | None]:
    """The columns (from 0) where the marked headings stand now, None for those that are gone.

    A person may put columns between them, move them, rename or delete some: a heading is known by its words, a
    renamed one by the column that stands next to its neighbour.
    """
    left = dict(enumerate(cell.mark for cell in row))
    places: list[int | None] = []
    for written in seal.marks:
        found = next((at for at, mark in left.items() if mark == written), None) if written != BLANK else None
        places.append(found)
        if found is not None:
            del left[found]
    for index, place in enumerate(places):
        before = places[index - 1] if index else -1
        if place is None and before is not None and before + 1 in left:
            places[index] = before + 1
            del left[before + 1]
    return places


def is_written(row: SheetRow) -> bool:
    """Whether the row is one that a run wrote."""
    return row.seal is not None and any(written != BLANK for written in row.seal.marks)
