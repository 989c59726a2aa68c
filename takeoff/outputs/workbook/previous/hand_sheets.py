"""Sheets that a person added to a bill."""

from collections.abc import Iterable
from itertools import takewhile

from takeoff.outputs.workbook.marks import read_seal
from takeoff.outputs.workbook.package import Package
from takeoff.outputs.workbook.sealed_rows import cell_value
from takeoff.outputs.workbook.sheet import HEADING_ROW
from takeoff.outputs.workbook.stored_rows import LETTERS, column_of
from takeoff.pricing.typed import HandSheet, KeptText


def is_written(package: Package, sheet: str) -> bool:
    """Whether the first rows of a sheet carry marks, so that it is none of a person's own."""
    first = takewhile(lambda row: row[0] <= HEADING_ROW + 2, package.rows(sheet))
    return any(
        read_seal(cell_value(package, cell, False).value) is not None for _, cells in first for cell in cells
    )


def read_hand_sheet(package: Package, name: str, own: Iterable[str]) -> tuple[HandSheet, list[KeptText]]:
    """A person's sheet, and the formulas that would lead astray: those to rows that may stand elsewhere now.

    `own` names the sheets that the program writes.
    """
    cells: dict[tuple[int, int], object] = {}
    stored: dict[tuple[int, int], object] = {}
    formats: dict[tuple[int, int], str] = {}
    astray: list[KeptText] = []
    for number, row in package.rows(name):
        for found in row:
            cell = cell_value(package, found, True)
            if cell.value is None and not cell.formula:
                continue
            place = (number - 1, column_of(found[LETTERS]))
            formats[place] = package.format_of(found)
            if not cell.formula:
                cells[place] = cell.value
                continue
            known = cell.number
            stored[place] = cell.value if cell.value is not None else known if known is not None else 0
            if any(f"{sheet}!" in cell.formula or f"{sheet}'!" in cell.formula for sheet in own):
                cells[place] = stored.pop(place)
                at = f"{found[LETTERS]}{number}"
                astray.append(KeptText(name, at, "formula, its last value stands there", cell.formula))
            else:
                cells[place] = cell.formula
    return HandSheet(name, cells, stored, formats), astray
