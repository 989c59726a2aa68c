"""An earlier bill opened and read sheet by sheet."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from xml.etree.ElementTree import ParseError
from zipfile import BadZipFile
from zlib import error as InflateError

from takeoff.collector import collector_off
from takeoff.findings import InputError
from takeoff.outputs.workbook.book import BUILT, DECLARED, HANDLED, KEPT, SCORED, SHEETS
from takeoff.outputs.workbook.package import Package
from takeoff.outputs.workbook.previous.dimensions import DimensionReader
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
_FAULTS = (
    BadZipFile,
    InflateError,
    ParseError,
    KeyError,
    IndexError,
    ValueError,
    NotImplementedError,
    RuntimeError,
)
"""What a file that is no workbook, a damaged, locked or hostile one, makes the libraries raise."""
OWN_SHEETS = (*SHEETS, *BUILT, KEPT, HANDLED, DECLARED, *SCORED)


def read_previous(path: Path) -> TypedBill:
    """The earlier bill at `path`.

    Raises InputError for what is no workbook, or none that this program wrote (a bill saved under another
    format loses the marks by which typed cells are known).
    """
    with collector_off(), opened(path) as package:
        if "Bill" not in package.sheets or "Dimensions" not in package.sheets:
            raise InputError(
                f"{path}: has no sheets Bill and Dimensions; name a bill that takeoff wrote, its sheets under their "
                "own names"
            )
        own = {name for name in package.sheets if name in OWN_SHEETS or is_written(package, name)}
        kept = KeptTexts({name: package.comments(name) for name in package.sheets})
        hand: list[HandSheet] = []
        for name in package.sheets:
            if name not in own:
                sheet, astray = read_hand_sheet(package, name, own)
                hand.append(sheet)
                kept.texts += astray
        rows = {name: sealed_rows(package, name, name in VALUED) for name in package.sheets if name in own}
        return _read(path, rows, kept, tuple(hand))


@contextmanager
def opened(path: Path) -> Iterator[Package]:
    """The workbook at `path`. Raises InputError where it cannot be read, then or while rows are taken from it."""
    try:
        with Package(path) as package:
            yield package
    except OSError as error:
        raise InputError(
            f"{path}: cannot be read ({error.strerror or error}); name an earlier bill"
        ) from error
    except _FAULTS as error:
        raise InputError(f"{path}: is no workbook (.xlsx); name an earlier bill") from error


def _read(
    path: Path, rows: dict[str, Iterator[SheetRow]], kept: KeptTexts, hand: tuple[HandSheet, ...]
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
            readers[name](rows[name])
        else:
            kept.rows(name, rows[name])
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
