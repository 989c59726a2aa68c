"""Prices of resources of an earlier bill, and the rates that its build-ups make of them."""

import re
from collections.abc import Iterator
from decimal import Decimal

from msgspec.structs import replace

from takeoff.outputs.workbook.previous.kept_texts import KeptTexts
from takeoff.outputs.workbook.sealed_rows import SheetRow
from takeoff.pricing.money import MONEY_DIGITS, exact, half_up
from takeoff.pricing.resources import LINE_DIGITS


class PriceReader:
    """Reads the sheets Resources and Build-ups: `typed` are prices that a person typed, by resource."""

    def __init__(self, kept: KeptTexts) -> None:
        self.kept = kept
        self.typed: dict[str, float] = {}
        self._prices: dict[str, float | None] = {}
        self._built: dict[int, float] = {}

    def read_resources(self, rows: Iterator[SheetRow]) -> None:
        """All rows of Resources."""
        for row in rows:
            if row.seal is not None and row.seal.kind == "resource" and row.seal.words:
                price = row.cell("Price").number
                self._prices[row.cell("Resource").text] = price
                if "Price" in row.typed and price is not None:
                    self.typed[row.seal.words[0]] = price
                    row = replace(row, typed=row.typed - {"Price"})
            self.kept.row(row, "Resources", lambda row: row.cell("Resource").text)

    def read_build_ups(self, rows: Iterator[SheetRow]) -> None:
        """Rates by their row, for bills whose formulas carry no stored values."""
        head, lines = 0, Decimal(0)
        for row in rows:
            kind = row.seal.kind if row.seal is not None else ""
            if kind == "rate":
                head, lines = row.number, Decimal(0)
            elif kind == "component" and head:
                price = self._prices.get(row.cell("Item or resource").text)
                per_unit, waste = row.cell("For one unit").number, row.cell("Waste").number
                whole = exact(per_unit or 0.0) * (1 + exact(waste or 0.0) / 100) * exact(price or 0.0)
                lines += half_up(whole, LINE_DIGITS)
                self._built[head] = float(half_up(lines, MONEY_DIGITS))
            self.kept.row(row, "Build-ups", lambda row: row.cell("Item or resource").text)

    def rate(self, row: SheetRow) -> float | None:
        """The rate of an item: stated, or of the build-up that its formula leads to."""
        cell = row.cell("rate")
        linked = re.fullmatch(r"='?Build-ups'?!\$?G\$?(\d+)", cell.formula)
        return self._built.get(int(linked[1])) if cell.number is None and linked else cell.number
