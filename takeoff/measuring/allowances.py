"""The user's reinforcement allowances: low, likely and high by role, method, strength class and name."""

import csv
import math
import re
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

from msgspec import Struct, field

from takeoff.findings import InputError
from takeoff.measuring.plan import METHODS, ROLES

COLUMNS = ("role", "method", "strength_class", "name", "unit", "low", "likely", "high", "source")
UNITS = ("kg/m3", "kg/m2")
MOST = 1000.0
"""More kg of steel in a m3 (or on a m2) than any member holds: a slip of the pen."""


class Allowance(Struct, frozen=True):
    """A row of the table: figures in `unit` (kg/m3 or kg/m2), `line` where it stands in the file.

    `file` is given where that is another one than the table's.
    """

    role: str
    method: str
    strength_class: str
    name: str
    unit: str
    low: float
    likely: float
    high: float
    source: str
    line: int
    file: str = ""

    @property
    def rank(self) -> tuple[int, int]:
        """How closely the row is drawn: fields without a `*`, then letters given in fields with one."""
        fields = (self.role, self.method, self.strength_class, self.name)
        return sum("*" not in text for text in fields), sum(
            len(text.replace("*", "")) for text in fields if "*" in text
        )

    def meant(self, role: str, method: str, strength_class: str) -> bool:
        """Whether the row is for such parts, whatever their names."""
        return (
            _fits(self.role, role)
            and _fits(self.method, method)
            and _fits(self.strength_class, strength_class)
        )

    def named(self, names: Sequence[str]) -> bool:
        """Whether one of the names fits."""
        return self.name == "*" or any(_fits(self.name, name) for name in names)


class AllowanceTable(Struct, frozen=True, eq=False):
    """All rows of one file. Finding a row is remembered by what was asked for."""

    path: str
    rows: tuple[Allowance, ...]
    _known: dict[tuple[str, ...], Allowance | None] = field(default_factory=dict)
    _kinds: dict[tuple[str, ...], tuple[Allowance, ...]] = field(default_factory=dict)
    _ranks: dict[tuple[int, str], tuple[int, int]] = field(default_factory=dict)

    def find(
        self, role: str, method: str, strength_class: str, names: Sequence[str] = ()
    ) -> Allowance | None:
        """The row that fits most closely, None where none does.

        Raises InputError where two rows fit equally closely and do not say the same.
        """
        key = (role, method, strength_class, *names)
        if key not in self._known:
            self._known[key] = self._search(role, method, strength_class, names or ("",))
        return self._known[key]

    def _search(self, role: str, method: str, strength_class: str, names: Sequence[str]) -> Allowance | None:
        fitting = [row for row in self._meant(role, method, strength_class) if row.named(names)]
        if not fitting:
            return None
        closest = max(self._ranks[row.line, row.file] for row in fitting)
        first, *others = [row for row in fitting if self._ranks[row.line, row.file] == closest]
        for row in others:
            if (row.unit, row.low, row.likely, row.high) != (first.unit, first.low, first.likely, first.high):
                raise InputError(
                    f"{self.path}: lines {first.line} and {row.line} fit a {method} {role} "
                    f"'{next(filter(None, names), '')}' equally well; make one of them more specific"
                )
        return first

    def _meant(self, role: str, method: str, strength_class: str) -> tuple[Allowance, ...]:
        """The rows for such parts, whatever their names."""
        key = role, method, strength_class
        if key not in self._kinds:
            self._kinds[key] = tuple(row for row in self.rows if row.meant(*key))
            self._ranks.update({(row.line, row.file): row.rank for row in self._kinds[key]})
        return self._kinds[key]


def load_allowances(path: Path) -> AllowanceTable:
    """Read an allowance table (CSV; # begins a remark). Raises InputError naming file, line and fault."""
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as fault:
        raise InputError(f"{path}: cannot be read ({fault}); give a CSV file in UTF-8") from fault
    kept = [(number, text) for number, text in enumerate(lines, start=1) if text.strip() and text[0] != "#"]
    cells = [next(csv.reader([text])) for _, text in kept]
    if not cells or tuple(cell.strip() for cell in cells[0]) != COLUMNS:
        found = ",".join(cells[0]) if cells else "nothing"
        raise InputError(f"{path}: the heading has to be {','.join(COLUMNS)}, found {found}")
    rows: list[Allowance] = []
    seen: dict[tuple[str, ...], int] = {}
    for (line, _), row in zip(kept[1:], cells[1:], strict=True):
        allowance = _row(path, line, [cell.strip() for cell in row])
        key = tuple(row[i].strip().casefold() for i in range(4))
        if key in seen:
            raise InputError(f"{path} line {line}: the same as line {seen[key]}; leave out one of them")
        seen[key] = line
        rows.append(allowance)
    if not rows:
        raise InputError(f"{path}: no rows under the heading; copy the shipped file and edit it")
    return AllowanceTable(str(path), tuple(rows))


def _row(path: Path, line: int, row: list[str]) -> Allowance:
    where = f"{path} line {line}"
    if len(row) != len(COLUMNS):
        raise InputError(f"{where}: {len(row)} columns instead of {len(COLUMNS)}; quote texts with commas")
    role, method, strength_class, name, unit, *numbers, source = row
    for text, column in zip(row[:4], COLUMNS[:4], strict=True):
        if not text:
            raise InputError(f"{where}: {column} is empty; write * for any")
    if "*" not in role and role not in ROLES:
        raise InputError(f"{where}: role {role} is none of {', '.join(ROLES)}, *")
    if "*" not in method and method not in METHODS:
        raise InputError(f"{where}: method {method} is none of {', '.join(METHODS)}, *")
    if unit not in UNITS:
        raise InputError(f"{where}: unit {unit} is none of {', '.join(UNITS)}")
    if unit == "kg/m2" and role in ("column", "beam"):
        raise InputError(f"{where}: a {role} has no area to reckon kg/m2 on; give kg/m3")
    figures = [_figure(where, column, text) for column, text in zip(COLUMNS[5:8], numbers, strict=True)]
    low, likely, high = figures
    if not low <= likely <= high:
        raise InputError(f"{where}: low, likely, high have to rise, found {low:g}, {likely:g}, {high:g}")
    return Allowance(role, method, strength_class, name, unit, low, likely, high, source, line)


def _figure(where: str, column: str, text: str) -> float:
    try:
        figure = float(text)
    except ValueError:
        raise InputError(f"{where}: {column} is not a number: {text or 'empty'}") from None
    if not math.isfinite(figure) or not 0.0 <= figure <= MOST:
        raise InputError(f"{where}: {column} {text} is outside 0 to {MOST:g}")
    return figure


def _fits(pattern: str, text: str) -> bool:
    return pattern == "*" or _expression(pattern).fullmatch(text) is not None


@lru_cache(maxsize=1024)
def _expression(pattern: str) -> re.Pattern[str]:
    pieces = ".*".join(re.escape(piece) for piece in pattern.split("*"))
    return re.compile(pieces, re.IGNORECASE | re.DOTALL)
