"""Rates by item key: reading `rates.csv`, and finding the most specific rate for an item."""

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal, InvalidOperation
from functools import cache
from pathlib import Path

from takeoff.findings import InputError
from takeoff.pricing.sources import UNITS

COLUMNS = ("item", "unit", "rate", "low", "high", "source", "date", "note")

_SEGMENT = re.compile(r"[\w*-]+")


@dataclass(frozen=True, slots=True)
class Rate:
    """A row of a rate file. `rate` None: the row says that the item is not priced (yet).

    `item` is a key or a pattern: `*` stands for any words within one segment, or as the last segment for
    all segments that follow, if any. Rates are per unit, in the currency of the markups.
    """

    item: str
    unit: str
    rate: float | None
    low: float | None
    high: float | None
    source: str
    date: str
    note: str
    line: int

    @property
    def specificity(self) -> tuple[bool, int, int, int]:
        """Greater is more specific: an exact key, then by whole segments, part segments, letters in those."""
        segments = self.item.split(".")
        part = [segment for segment in segments if "*" in segment and segment != "*"]
        whole = sum(1 for segment in segments if "*" not in segment)
        return (
            "*" not in self.item,
            whole,
            len(part),
            sum(len(segment) - segment.count("*") for segment in part),
        )


@dataclass(frozen=True, slots=True)
class RateBook:
    """All rates of one file."""

    file: str
    rates: tuple[Rate, ...]

    def find(self, key: str, unit: str, *, named_only: bool = False) -> Rate | None:
        """The rate for an item, None when there is none.

        `named_only`: patterns that leave the key's first segment open do not count. Raises InputError when
        equally specific rows give different rates, or when the row that fits is for another unit.
        """
        fitting = [
            rate
            for rate in self.rates
            if _pattern(rate.item).fullmatch(key) and not (named_only and "*" in rate.item.split(".", 1)[0])
        ]
        if not fitting:
            return None
        best = max(rate.specificity for rate in fitting)
        first, *others = [rate for rate in fitting if rate.specificity == best]
        for other in others:
            if (other.rate, other.unit, other.low, other.high) != (
                first.rate,
                first.unit,
                first.low,
                first.high,
            ):
                raise InputError(
                    f"{self.file}, lines {first.line} and {other.line}: `{first.item}` and `{other.item}` "
                    f"fit item {key} equally well with different rates; add a line for the item or make "
                    "one more specific"
                )
        if first.unit != unit:
            raise InputError(
                f"{self.file}, line {first.line}: unit {first.unit} of `{first.item}` does not fit item "
                f"{key}, which is measured in {unit}"
            )
        return first


@cache
def _pattern(item: str) -> re.Pattern[str]:
    head, dot, last = item.rpartition(".")
    if last != "*":
        return re.compile(re.escape(item).replace(r"\*", r"[^.]*"))
    return re.compile(re.escape(head).replace(r"\*", r"[^.]*") + r"(\..*)?" if dot else r".*")


def load_rates(path: Path) -> RateBook:
    """Rates from a CSV file, UTF-8, with the header of COLUMNS; lines that begin with `#` are comments.

    Raises InputError naming file and line for a wrong header, a figure that is not a number or is negative,
    a low above or a high below the rate, an unknown unit, a malformed or repeated key, an impossible date.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as fault:
        raise InputError(f"{path}: the rates cannot be read: {fault.strerror}") from fault
    except UnicodeDecodeError as fault:
        raise InputError(f"{path}: not UTF-8 text; save the rates as CSV UTF-8") from fault
    rows = _rows(text, path)
    _, header = next(rows, (1, []))
    _check_header(header, path)
    seen: dict[str, int] = {}
    rates: list[Rate] = []
    for line, cells in rows:
        if len(cells) != len(COLUMNS):
            raise InputError(
                f"{path}, line {line}: {len(cells)} columns, expected {len(COLUMNS)}; put text with commas "
                "in quotation marks"
            )
        rate = _rate(dict(zip(COLUMNS, cells, strict=True)), line, path)
        if rate.item in seen:
            raise InputError(
                f"{path}, line {line}: item `{rate.item}` is given twice, first in line {seen[rate.item]}"
            )
        seen[rate.item] = line
        rates.append(rate)
    return RateBook(str(path), tuple(rates))


def _rows(text: str, path: Path) -> Iterator[tuple[int, list[str]]]:
    """Rows with their line numbers, without comments and blank lines, cells stripped."""
    reader = csv.reader(text.splitlines(keepends=True), strict=True)
    line = 1
    try:
        for cells in reader:
            stripped = [cell.strip() for cell in cells]
            if any(stripped) and not stripped[0].startswith("#"):
                yield line, stripped
            line = reader.line_num + 1
    except csv.Error as fault:
        raise InputError(f"{path}, line {line}: not readable as CSV: {fault}") from fault


def _check_header(header: list[str], path: Path) -> None:
    expected = f"expected {','.join(COLUMNS)}"
    if header == list(COLUMNS):
        return
    if len(header) == 1 and ";" in header[0]:
        raise InputError(f"{path}: columns are separated by semicolons; save with commas: {expected}")
    for place, (name, right) in enumerate(zip(header, COLUMNS, strict=False), 1):
        if name != right:
            raise InputError(f"{path}: column {place} is `{name}` where `{right}` belongs; {expected}")
    if len(header) < len(COLUMNS):
        raise InputError(f"{path}: column `{COLUMNS[len(header)]}` is missing; {expected}")
    raise InputError(f"{path}: column {len(COLUMNS) + 1} `{header[len(COLUMNS)]}` is not known; {expected}")


def _rate(cells: dict[str, str], line: int, path: Path) -> Rate:
    place = f"{path}, line {line}"
    item = cells["item"].casefold()
    if not all(_SEGMENT.fullmatch(segment) for segment in item.split(".")):
        raise InputError(
            f"{place}: item `{cells['item']}` is not a key: words joined by dots, `*` for any, such as "
            "concrete.wall.*"
        )
    if cells["unit"] not in UNITS:
        raise InputError(f"{place}: unit `{cells['unit']}` is not one of {', '.join(UNITS)}")
    rate, low, high = (_figure(cells[name], name, place) for name in ("rate", "low", "high"))
    if rate is not None and low is not None and low > rate:
        raise InputError(f"{place}: low {cells['low']} is above the rate {cells['rate']}")
    if rate is not None and high is not None and high < rate:
        raise InputError(f"{place}: high {cells['high']} is below the rate {cells['rate']}")
    if low is not None and high is not None and low > high:
        raise InputError(f"{place}: low {cells['low']} is above high {cells['high']}")
    if cells["date"]:
        try:
            date.fromisoformat(cells["date"])
        except ValueError as fault:
            raise InputError(f"{place}: date `{cells['date']}` is not a date like 2026-01-31") from fault
    return Rate(item, cells["unit"], rate, low, high, cells["source"], cells["date"], cells["note"], line)


def _figure(cell: str, column: str, place: str) -> float | None:
    if not cell:
        return None
    try:
        value = Decimal(cell)
    except InvalidOperation as fault:
        raise InputError(
            f"{place}: {column} `{cell}` is not a number; write digits with a decimal point, such as 1250.50"
        ) from fault
    if not value.is_finite():
        raise InputError(f"{place}: {column} `{cell}` is not a number")
    if value < 0:
        raise InputError(f"{place}: {column} {cell} is negative")
    return float(value)
