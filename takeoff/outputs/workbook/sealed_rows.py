"""Rows of an earlier workbook with what was written and what a person typed, told apart by the rows' marks."""

import re
from collections.abc import Iterator, Mapping, Sequence

from msgspec import Struct, field
from msgspec.structs import replace

from takeoff.outputs.workbook.arithmetic import plain_value
from takeoff.outputs.workbook.marks import BLANK, Seal, formula_mark, mark, read_seal
from takeoff.outputs.workbook.package import Package
from takeoff.outputs.workbook.stored_rows import (
    FORMULA,
    FORMULA_TAG,
    LETTERS,
    STYLE,
    StoredCell,
    column_of,
    letters_of,
    plain_text,
)

_MOST_MARKS = 1 << 17
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


class Cells(Mapping[str, CellValue]):
    """The cells of a row by name, made when they are asked for: most rows of a long table are only compared."""

    __slots__ = ("_columns", "_package", "_row", "_stored")

    def __init__(
        self, package: Package, row: Mapping[int, StoredCell], columns: Mapping[str, int], stored: bool
    ) -> None:
        self._package, self._row, self._columns, self._stored = package, row, columns, stored

    def __getitem__(self, name: str) -> CellValue:
        cell = self._row.get(self._columns[name])
        return EMPTY if cell is None else cell_value(self._package, cell, self._stored)

    def __iter__(self) -> Iterator[str]:
        return iter(self._columns)

    def __len__(self) -> int:
        return len(self._columns)

    def with_stored(self) -> "Cells":
        """The same with the stored values of formulas."""
        return Cells(self._package, self._row, self._columns, True)


class SheetRow(Struct, frozen=True):
    """A row: `seal` None where a person wrote it; cells by the names of the heading row, and all others.

    `typed` are the names whose cells no longer hold what was written. `more` are cells that a person wrote into
    columns of their own, by heading or letter. `number` is the row from 1.
    """

    number: int
    seal: Seal | None
    cells: Cells
    typed: frozenset[str]
    more: Mapping[str, CellValue] = field(default_factory=dict)

    def cell(self, name: str) -> CellValue:
        """The cell under a heading."""
        return self.cells.get(name, EMPTY)

    @property
    def is_blank(self) -> bool:
        """Whether nothing stands in the row."""
        return all(cell.is_blank for cell in (*self.cells.values(), *self.more.values()))

    def with_stored(self) -> "SheetRow":
        """The row with the stored values of formulas, for a sheet that is read without them."""
        return replace(self, cells=self.cells.with_stored())


def cell_value(package: Package, cell: StoredCell, stored: bool) -> CellValue:
    """A cell as it stands in the package; the stored value of a formula only if it is `stored` that counts."""
    formula = f"={plain_text(cell[FORMULA])}" if cell[FORMULA_TAG] else ""
    return CellValue(package.value(cell) if stored or not formula else None, formula)


def sealed_rows(package: Package, sheet: str, stored: bool = False) -> Iterator[SheetRow]:
    """Rows of a sheet from the top; formulas have their stored values where `stored` says that they matter.

    Cells are named by the last heading row above (its words), before the first by their column letters.
    """
    names: dict[int, str] = {}
    columns: dict[str, int] = {}
    order: list[int | None] = []
    headings: dict[int, str] = {}
    marks = _Marks(package)
    expected = 1
    for number, found in package.rows(sheet):
        for blank in range(expected, number):
            yield SheetRow(blank, None, Cells(package, {}, {}, stored), frozenset())
        expected = number + 1
        row = {column_of(cell[LETTERS]): cell for cell in found}
        # The marks stand behind everything that was written, whatever a person's note may look like.
        place, seal = next(
            (
                (at, seal)
                for at in reversed(row)
                if (seal := read_seal(cell_value(package, row[at], stored).value)) is not None
            ),
            (-1, None),
        )
        if seal is not None and seal.kind == "head":
            written = {at: cell_value(package, cell, stored) for at, cell in row.items()}
            order = _aligned(seal, [written.get(at, EMPTY) for at in range(place)])
            names = {at: name for at, name in zip(order, seal.words, strict=False) if at is not None}
            columns = {names[at]: at for at in sorted(names)}
            headings = {at: cell.text for at, cell in written.items() if at != place and not cell.is_blank}
        named = columns
        if not columns:
            named = {letters_of(at): at for at in range(max(row) + 1) if at != place}
        more: dict[str, CellValue] = {}
        for at in row if columns else ():
            if at not in names and at != place:
                cell = cell_value(package, row[at], stored)
                if not cell.is_blank:
                    more[headings.get(at, letters_of(at))] = cell
        typed = frozenset[str]()
        if seal is not None:
            places = order or range(len(seal.marks))
            shown = [marks[row[at][STYLE:]] if at in row else BLANK for at in places]
            if "".join(shown) != seal.text:
                typed = frozenset(
                    names[at] if names else letters_of(at)
                    for at, mark, written in zip(places, shown, seal.marks, strict=False)
                    if at is not None and mark != written
                )
        yield SheetRow(number, seal, Cells(package, row, named, stored), typed, more)


class _Marks(dict[tuple[str, ...], str]):
    """Marks by what stands in a cell after its letters, each made once."""

    def __init__(self, package: Package) -> None:
        self._package = package

    def __missing__(self, content: tuple[str, str, str, str, str, str]) -> str:
        if len(self) > _MOST_MARKS:
            self.clear()
        made = self[content] = cell_value(self._package, ("", *content), False).mark
        return made


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
