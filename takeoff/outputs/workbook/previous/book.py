"""An earlier bill opened and read sheet by sheet."""

from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, closing
from pathlib import Path
from typing import Any

from takeoff.findings import InputError
from takeoff.outputs.workbook.book import BUILT, DECLARED, HANDLED, KEPT, SCORED, SHEETS
from takeoff.outputs.workbook.cell_notes import read_comments
from takeoff.outputs.workbook.previous.dimensions import DimensionReader, dimension_quantity
from takeoff.outputs.workbook.previous.hand_sheets import is_written, read_hand_sheet
from takeoff.outputs.workbook.previous.items import ItemReader
from takeoff.outputs.workbook.previous.kept_sheet import KeptSheetReader
from takeoff.outputs.workbook.previous.kept_texts import KeptTexts
from takeoff.outputs.workbook.previous.prices import PriceReader
from takeoff.outputs.workbook.previous.summary import SummaryReader
from takeoff.outputs.workbook.sealed_rows import SheetRow, sealed_rows
from takeoff.pricing.typed import HandSheet, TypedBill

VALUED = ("Bill", "Summary", *BUILT, KEPT)
"""Sheets of which the values of formulas are read."""
OWN_SHEETS = (*SHEETS, *BUILT, KEPT, HANDLED, DECLARED, *SCORED)


def read_previous(path: Path) -> TypedBill:
    """The earlier bill at `path`.

    Raises InputError for what is no workbook, or none that this program wrote (a bill saved under another
    format loses the marks by which typed cells are known).
    """
    import openpyxl

    with ExitStack() as open_books:
        try:
            values = openpyxl.load_workbook(path, read_only=True, data_only=True)
            open_books.enter_context(closing(values))
            formulas = openpyxl.load_workbook(path, read_only=True)
            open_books.enter_context(closing(formulas))
            kept = KeptTexts(read_comments(path))
        except OSError as error:
            raise InputError(
                f"{path}: cannot be read ({error.strerror or error}); name an earlier bill"
            ) from error
        except Exception as error:
            raise InputError(f"{path}: is no workbook (.xlsx); name an earlier bill") from error
        if "Bill" not in values.sheetnames or "Dimensions" not in values.sheetnames:
            raise InputError(
                f"{path}: has no sheets Bill and Dimensions; name a bill that takeoff wrote, its sheets under their "
                "own names"
            )
        own = {name for name in values.sheetnames if name in OWN_SHEETS or is_written(formulas[name])}
        hand: list[HandSheet] = []
        for name in values.sheetnames:
            if name not in own:
                sheet, astray = read_hand_sheet(name, values[name], formulas[name], own)
                hand.append(sheet)
                kept.texts += astray
        rows = {name: _rows_of(name, formulas, values) for name in values.sheetnames if name in own}
        return _read(path, rows, kept, tuple(hand))


def _rows_of(name: str, formulas: Any, values: Any) -> Iterable[SheetRow]:
    """Rows of a sheet, with stored values only where a figure may hang on them: reading takes its time."""
    if name in VALUED:
        return sealed_rows(formulas[name].iter_rows(), values[name].iter_rows(values_only=True))
    if name != "Dimensions":
        return sealed_rows(formulas[name].iter_rows())
    rows = list(sealed_rows(formulas[name].iter_rows()))
    if any(row.seal is None and dimension_quantity(row) is None and not row.is_blank for row in rows):
        return sealed_rows(formulas[name].iter_rows(), values[name].iter_rows(values_only=True))
    return rows


def _read(
    path: Path, rows: dict[str, Iterable[SheetRow]], kept: KeptTexts, hand: tuple[HandSheet, ...]
) -> TypedBill:
    """All sheets, those first on which others hang."""
    dimensions, prices = DimensionReader(path, kept), PriceReader(kept)
    items = ItemReader(path, kept, dimensions.quantities, prices)
    summary, kept_sheet = SummaryReader(kept), KeptSheetReader(kept)
    readers: dict[str, Callable[[Iterator[SheetRow]], None]] = {
        "Dimensions": dimensions.read,
        "Resources": prices.read_resources,
        "Build-ups": prices.read_build_ups,
        "Bill": items.read,
        "Summary": summary.read,
        KEPT: kept_sheet.read,
    }
    for name in (*readers, *(name for name in rows if name not in readers)):
        if name not in rows:
            continue
        if name in readers:
            readers[name](iter(rows[name]))
        else:
            kept.rows(name, iter(rows[name]))
    if not items.items:
        raise InputError(
            f"{path}: holds no bill items with their marks; give the workbook as takeoff wrote it or as a "
            "spreadsheet saved it, in .xlsx"
        )
    return TypedBill(
        path.name,
        items.items,
        kept_sheet.vanished,
        tuple(items.by_hand),
        tuple(dimensions.by_hand),
        summary.percents,
        tuple(dict.fromkeys(kept.texts)),
        hand,
        summary.currency,
        summary.units,
        prices=kept_sheet.prices | prices.typed,
        markups=tuple(summary.markups),
    )
