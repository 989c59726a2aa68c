"""Embodied carbon by bill item: quantity times a factor that the user gives, with its source (`carbon.csv`)."""

import csv
import math
from pathlib import Path

from msgspec import Struct

from takeoff.findings import InputError
from takeoff.pricing.production import matches_key
from takeoff.pricing.records import Item
from takeoff.pricing.unit_systems import unit_system

COLUMNS = ("item", "unit", "factor", "source", "note")


class CarbonFactor(Struct, frozen=True):
    """A row: kg of CO2 equivalent for one unit of the items that fit the key or pattern `item`."""

    item: str
    unit: str
    factor: float
    source: str
    note: str
    line: int

    @property
    def rank(self) -> tuple[int, int]:
        """How closely the row is drawn: whole words first, then letters."""
        words = self.item.split(".")
        return sum("*" not in word for word in words), len(self.item.replace("*", ""))


class CarbonTable(Struct, frozen=True):
    """All factors of one file."""

    file: str
    rows: tuple[CarbonFactor, ...]

    def find(self, item: Item, units: str) -> tuple[float, str] | None:
        """kg for one unit of the item as billed, and the row's source; None where no row fits.

        `units` is the system of the bill; factors are for metric units. Raises InputError where the row that
        fits most closely is for another unit than the item is measured in.
        """
        fitting = [row for row in self.rows if matches_key(row.item, item.rate_key)]
        if not fitting:
            return None
        row = max(fitting, key=lambda row: row.rank)
        system = unit_system(units)
        metric = next((unit for unit, shown in system.units.items() if shown == item.unit), item.unit)
        if row.unit != metric:
            raise InputError(
                f"{self.file} line {row.line}: the factor is for one {row.unit}, and item {item.key} is measured "
                f"in {metric}; correct the unit or the item"
            )
        return row.factor / system.factor(metric), f"{Path(self.file).name} line {row.line}: {row.source}"


def load_carbon(path: Path) -> CarbonTable:
    """Read carbon factors (CSV, UTF-8; # begins a remark). Raises InputError naming file, line and fault."""
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as fault:
        raise InputError(f"{path}: cannot be read ({fault}); give a CSV file in UTF-8") from fault
    kept = [(number, text) for number, text in enumerate(lines, 1) if text.strip() and text[0] != "#"]
    cells = [[cell.strip() for cell in next(csv.reader([text]))] for _, text in kept]
    if not cells or tuple(cells[0]) != COLUMNS:
        raise InputError(f"{path}: the heading has to be {','.join(COLUMNS)}; copy the shipped file")
    rows: list[CarbonFactor] = []
    seen: dict[str, int] = {}
    for (line, _), row in zip(kept[1:], cells[1:], strict=True):
        if len(row) != len(COLUMNS):
            raise InputError(f"{path} line {line}: {len(row)} columns instead of {len(COLUMNS)}")
        item, unit, text, source, note = row
        try:
            factor = float(text)
        except ValueError:
            raise InputError(f"{path} line {line}: factor is not a number: {text or 'empty'}") from None
        if not math.isfinite(factor):
            raise InputError(f"{path} line {line}: factor {text} is not a number")
        if not item or not source:
            raise InputError(f"{path} line {line}: {'item' if not item else 'source'} is empty")
        if item in seen:
            raise InputError(f"{path} line {line}: `{item}` is given twice, first in line {seen[item]}")
        seen[item] = line
        rows.append(CarbonFactor(item.casefold(), unit, factor, source, note, line))
    return CarbonTable(str(path), tuple(rows))
