"""Sheets that a person added to a bill."""

from collections.abc import Iterable
from typing import Any

from takeoff.outputs.workbook.marks import read_seal
from takeoff.outputs.workbook.sealed_rows import CellValue
from takeoff.outputs.workbook.sheet import HEADING_ROW
from takeoff.pricing.typed import HandSheet, KeptText


def is_written(sheet: Any) -> bool:
    """Whether the first rows of a sheet carry marks, so that it is none of a person's own."""
    first = sheet.iter_rows(max_row=HEADING_ROW + 2, values_only=True)
    return any(read_seal(value) is not None for row in first for value in row)


def read_hand_sheet(
    name: str, values: Any, formulas: Any, own: Iterable[str]
) -> tuple[HandSheet, list[KeptText]]:
    """A person's sheet, and the formulas that would lead astray: those to rows that may stand elsewhere now.

    `values` and `formulas` are the sheet read both ways, `own` names the sheets that the program writes.
    """
    cells: dict[tuple[int, int], object] = {}
    stored: dict[tuple[int, int], object] = {}
    formats: dict[tuple[int, int], str] = {}
    astray: list[KeptText] = []
    for shown, written in zip(values.iter_rows(), formulas.iter_rows(), strict=False):
        for value, source in zip(shown, written, strict=False):
            if source.value is None:
                continue
            place = (source.row - 1, source.column - 1)
            formats[place] = source.number_format
            if source.data_type != "f":
                cells[place] = source.value
                continue
            known = CellValue(value.value, str(source.value)).number
            stored[place] = value.value if value.value is not None else known if known is not None else 0
            if any(f"{sheet}!" in str(source.value) or f"{sheet}'!" in str(source.value) for sheet in own):
                cells[place] = stored.pop(place)
                astray.append(
                    KeptText(name, source.coordinate, "formula, its last value stands there", source.value)
                )
            else:
                cells[place] = source.value
    return HandSheet(name, cells, stored, formats), astray
