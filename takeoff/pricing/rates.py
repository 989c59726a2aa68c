"""Rates by item key: reading `rates.csv` or .xlsx, and finding the most specific rate for an item."""

import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from takeoff.findings import InputError
from takeoff.pricing.resources import BuildUp, Component, ResourceBook, component, load_resources
from takeoff.pricing.table_files import (
    Row,
    check_currency,
    check_date,
    check_header,
    check_range,
    figure,
    named_cells,
    read_rows,
)
from takeoff.pricing.unit_systems import SYSTEMS
from takeoff.templates import template_path

COLUMNS = ("item", "unit", "rate", "low", "high", "source", "date", "note")
MORE_COLUMNS = ("description", "currency", "resource", "per_unit", "waste_percent", "meaning", "measured")
"""Columns that may follow. `meaning` and `measured` are for whoever fills in rates and are not read."""

UNITS = tuple(dict.fromkeys(unit for system in SYSTEMS.values() for unit in system.units.values()))

_SEGMENT = re.compile(r"[\w*-]+")


class Rate(Struct, frozen=True):
    """A row of a rate file. `rate` None: the row says that the item is not priced (yet).

    `item` is a key or a pattern: `*` stands for any words within one segment, or as the last segment for
    all segments that follow, if any. Rates are per unit, in the currency of the markups. `description`
    stands in place of the composed one where it is given; `build_up` is what the rate is made of.
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
    description: str = ""
    build_up: BuildUp | None = None

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


class RateBook(Struct, frozen=True):
    """All rates of one file."""

    file: str
    rates: tuple[Rate, ...]

    def at_prices(self, prices: Mapping[str, float]) -> "RateBook":
        """The rates with their build-ups at other prices of resources, by name."""
        if not prices:
            return self
        return replace(self, rates=tuple(_repriced(rate, prices) for rate in self.rates))

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
            if _says(other) != _says(first):
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


def _repriced(rate: Rate, prices: Mapping[str, float]) -> Rate:
    if rate.build_up is None or not any(line.resource.name in prices for line in rate.build_up.components):
        return rate
    new = rate.build_up.at(prices)
    low, high = new.low, new.high
    return replace(
        rate,
        rate=new.rate,
        low=low if low is not None and low <= new.rate else None,
        high=high if high is not None and high >= new.rate else None,
        build_up=new,
    )


def _says(rate: Rate) -> tuple[object, ...]:
    """What must be the same in two rows that fit an item equally well."""
    return rate.rate, rate.unit, rate.low, rate.high, rate.description, rate.build_up


@cache
def _pattern(item: str) -> re.Pattern[str]:
    head, dot, last = item.rpartition(".")
    if last != "*":
        return re.compile(re.escape(item).replace(r"\*", r"[^.]*"))
    return re.compile(re.escape(head).replace(r"\*", r"[^.]*") + r"(\..*)?" if dot else r".*")


def load_rates(path: Path, resources: ResourceBook | None = None, currency: str = "") -> RateBook:
    """Rates from a CSV file (UTF-8) or the sheet Rates of a workbook; lines that begin with `#` are comments.

    The header is COLUMNS, then any of MORE_COLUMNS. A row without an item that names a resource belongs to the
    build-up of the item above it, priced by `resources` (default: the shipped examples).

    Raises InputError naming file and line for a wrong header, a figure that is not a number or is negative,
    a low above or a high below the rate, an unknown unit, a malformed or repeated key, an impossible date,
    another currency, and faults in build-ups.
    """
    rows = read_rows(path, "rates", "Rates")
    header = check_header(next(rows, None), path, COLUMNS, MORE_COLUMNS)
    seen: dict[str, int] = {}
    rates: list[Rate] = []
    parts: dict[int, list[Component]] = {}
    for row in rows:
        cells = named_cells(row, header)
        if not cells["item"] and cells.get("resource"):
            if not rates:
                raise InputError(f"{row.place}: resource `{cells['resource']}` stands before any item")
            above = rates[-1]
            if above.rate is not None:
                raise InputError(
                    f"{row.place}: `{above.item}` has a rate in line {above.line} and a build-up under it; "
                    "give one of the two"
                )
            resources = resources or load_resources(template_path("resources.csv"), currency)
            parts.setdefault(len(rates) - 1, []).append(component(cells, resources, row.line, row.place))
            continue
        rate = _rate(cells, row, currency)
        if rate.item in seen:
            raise InputError(
                f"{row.place}: item `{rate.item}` is given twice, first in line {seen[rate.item]}"
            )
        seen[rate.item] = row.line
        rates.append(rate)
    for place, lines in parts.items():
        rates[place] = _built_up(rates[place], BuildUp(tuple(lines)), path)
    return RateBook(str(path), tuple(rates))


def _rate(cells: dict[str, str], row: Row, currency: str) -> Rate:
    place = row.place
    item = cells["item"].casefold()
    if not item:
        merged = " (of merged cells only the first one has it)" if row.ragged else ""
        raise InputError(
            f"{place}: `item` is empty{merged}; give the item's key, or the `resource` of a build-up"
        )
    if not all(_SEGMENT.fullmatch(segment) for segment in item.split(".")):
        raise InputError(
            f"{place}: item `{cells['item']}` is not a key: words joined by dots, `*` for any, such as "
            "concrete.wall.*"
        )
    if cells["unit"] not in UNITS:
        raise InputError(f"{place}: unit `{cells['unit']}` is not one of {', '.join(UNITS)}")
    for column in ("resource", "per_unit", "waste_percent"):
        if cells.get(column):
            raise InputError(
                f"{place}: {column} `{cells[column]}` beside an item; a build-up stands in the rows under it, "
                "with `item` empty"
            )
    rate, low, high = (figure(cells[name], name, place) for name in ("rate", "low", "high"))
    check_range(rate, low, high, place, "rate")
    check_date(cells["date"], place)
    check_currency(cells.get("currency", ""), currency, place)
    return Rate(
        item,
        cells["unit"],
        rate,
        low,
        high,
        cells["source"],
        cells["date"],
        cells["note"],
        row.line,
        cells.get("description", ""),
    )


def _built_up(rate: Rate, build_up: BuildUp, path: Path) -> Rate:
    """The rate priced by its build-up; its own low and high, where given, must hold it."""
    low = build_up.low if rate.low is None else rate.low
    high = build_up.high if rate.high is None else rate.high
    check_range(build_up.rate, low, high, f"{path}, line {rate.line}", "build-up's rate")
    return replace(rate, rate=build_up.rate, low=low, high=high, build_up=build_up)
