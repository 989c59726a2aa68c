"""Dimensions of an earlier bill: quantities by item, and the rows that a person wrote there."""

from collections.abc import Iterable, Iterator
from pathlib import Path

from takeoff.findings import InputError
from takeoff.outputs.workbook.previous.kept_texts import KeptTexts, first_texts, more_texts
from takeoff.outputs.workbook.sealed_rows import CellValue, SheetRow
from takeoff.pricing.money import QUANTITY_DIGITS, exact, exact_sum, half_up, round_quantity
from takeoff.pricing.records import Dimension

SHEET = "Dimensions"


class DimensionReader:
    """Reads the sheet: `quantities` by item key, `by_hand` the rows of a person."""

    def __init__(self, path: Path, kept: KeptTexts) -> None:
        self.path, self.kept = path, kept
        self.quantities: dict[str, list[float]] = {}
        self.by_hand: list[Dimension] = []

    def read(self, rows: Iterator[SheetRow]) -> None:
        """All rows. Raises InputError where the headings are gone."""
        headed = False
        for row in rows:
            if row.seal is not None and row.seal.kind == "head":
                headed = True
                continue
            if not headed and row.seal is not None and row.seal.kind == "row":
                raise headless(self.path, SHEET)
            if not headed or (row.seal is None and row.is_blank):
                self.kept.row(row, SHEET, lambda row: f"row {row.number}")
                continue
            key = row.cell("Item key").text
            quantity = dimension_quantity(row)
            if quantity is None:
                # A formula of a person's own: what it came to when a program saved it.
                quantity = dimension_quantity(row.with_stored())
            if row.seal is None:
                self._by_hand(row, key, quantity)
            else:
                if quantity is not None:
                    self.quantities.setdefault(key, []).append(quantity)
                self.kept.row(row, SHEET, _place)

    def _by_hand(self, row: SheetRow, key: str, quantity: float | None) -> None:
        if not key or quantity is None:
            cells = row.with_stored().cells.items()
            told = "; ".join(f"{name} {cell.text}" for name, cell in cells if not cell.is_blank)
            self.kept.keep(SHEET, f"row {row.number}", "row added by hand", told)
            return
        part = row.cell("Part").number
        noted = (row.cell("Note").text, *more_texts(row), *self.kept.comments(SHEET, row.number))
        quantity = round_quantity(quantity)
        self.quantities.setdefault(key, []).append(quantity)
        self.by_hand.append(
            Dimension(
                key,
                row.cell("Model").text,
                row.cell("Element (GlobalId)").text,
                int(part) if part else 1,
                row.cell("Storey").text,
                row.cell("Location").text,
                quantity,
                row.cell("Times").number,
                _sized(row, "Length"),
                _sized(row, "Width"),
                _sized(row, "Height"),
                "; ".join(filter(None, noted)),
                by_hand=True,
            )
        )


def headless(path: Path, sheet: str) -> InputError:
    """That the heading row of a sheet is gone."""
    return InputError(
        f"{path}: the sheet {sheet} has lost its heading row, so that nobody can tell what its columns are; "
        "put the row back above the first line"
    )


def dimension_quantity(row: SheetRow) -> float | None:
    """The quantity of a dimension: stated, stored, plain arithmetic, or the product of its sizes."""
    cell = row.cell("Quantity")
    known = cell.number
    if known is not None:
        return known
    sizes = [row.cell("Times").number, *(_sized(row, name) for name in ("Length", "Width", "Height"))]
    given = [size for size in sizes if size is not None]
    if not given or not (cell.is_blank or "PRODUCT(" in cell.formula.upper()):
        return None
    product = exact(1.0)
    for size in given:
        product *= exact(size)
    if cell.formula.replace(" ", "").endswith(("/27", "/27,6)")):
        product /= 27
    return float(half_up(product, QUANTITY_DIGITS))


def item_quantity(quantities: Iterable[float], cell: CellValue) -> float:
    """The quantity of an item: as typed, else the sum of its dimensions, else as stored.

    A stored value may be stale, or off where a program shifted rows without their formulas.
    """
    quantities = list(quantities)
    if cell.number is not None and (not cell.formula or not quantities):
        return cell.number
    whole = exact_sum(quantities)
    digits = cell.formula.rpartition(",")[2].strip(")")
    return float(half_up(exact(whole), int(digits))) if digits.isdigit() else whole


def _sized(row: SheetRow, name: str) -> float | None:
    """The size under a heading that ends in the unit of the bill."""
    return next((row.cell(heading).number for heading in row.cells if heading.split(" ")[0] == name), None)


def _place(row: SheetRow) -> str:
    names = ("Item key", "Element (GlobalId)", "Location")
    return first_texts(row, [row.cell(name).text for name in names])
