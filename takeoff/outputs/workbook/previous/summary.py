"""Markups of an earlier bill, and the currency and units that it was written in."""

from collections.abc import Iterator
from typing import Literal

from msgspec.structs import replace

from takeoff.outputs.workbook.previous.kept_texts import KeptTexts
from takeoff.outputs.workbook.sealed_rows import SheetRow
from takeoff.pricing.markups import MarkupRule


class SummaryReader:
    """Reads the sheet: all `markups` as they stand, and the `percents` that a person typed, by markup."""

    def __init__(self, kept: KeptTexts) -> None:
        self.kept = kept
        self.markups: list[MarkupRule] = []
        self.percents: dict[str, float] = {}
        self.currency, self.units = "", ""

    def read(self, rows: Iterator[SheetRow]) -> None:
        """All rows."""
        for row in rows:
            if row.seal is not None and row.seal.kind == "markup" and row.seal.words:
                percent = row.cell("C")
                on: Literal["net", "running"] = (
                    "running" if "SUM(" in row.cell("D").formula.upper() else "net"
                )
                if percent.number is not None and -100 <= percent.number <= 100:
                    self.markups.append(MarkupRule(name=row.seal.words[0], percent=percent.number, on=on))
                if "C" in row.typed and percent.number is not None:
                    self.percents[row.seal.words[0]] = percent.number
                    row = replace(row, typed=row.typed - {"C"})
            if row.seal is not None and row.seal.kind == "grand" and len(row.seal.words) == 2:
                self.currency, self.units = row.seal.words
            self.kept.row(row, "Summary", lambda row: row.cell("B").text or row.cell("A").text)
