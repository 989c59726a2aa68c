"""The workbook as a whole: its sheets in their order, written to a file that appears whole or not at all."""

from collections.abc import Mapping
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import xlsxwriter
from xlsxwriter.exceptions import FileCreateError

from takeoff.measuring.records import Measurement
from takeoff.outputs.files import write_whole
from takeoff.outputs.text import cell_text
from takeoff.outputs.workbook.basis import records, shown_time, write_basis
from takeoff.outputs.workbook.bill import write_bill
from takeoff.outputs.workbook.dimensions import write_dimensions
from takeoff.outputs.workbook.findings import write_findings
from takeoff.outputs.workbook.prefabrication import write_prefabrication
from takeoff.outputs.workbook.records import write_elements, write_formwork, write_pieces, write_reinforcement
from takeoff.outputs.workbook.sheet import PAPERS, Page, Sheet
from takeoff.outputs.workbook.styles import FONT, Styles
from takeoff.outputs.workbook.summary import Carried, write_summary
from takeoff.pricing.records import Bill

SHEETS = (
    "Summary",
    "Bill",
    "Dimensions",
    "Elements",
    "Formwork",
    "Reinforcement",
    "Pieces",
    "Prefabrication",
    "Findings",
    "Basis",
)


def write_workbook(path: Path, measurement: Measurement, bill: Bill, run: Mapping[str, object]) -> None:
    """Write the priced bill with live formulas, each with the value that the engine computed.

    `run` is the run's record as in run.json; `paper` in it may be `a4` (default) or `letter`.

    Raises:
        InputError: the path cannot be written (missing folder, a folder, no permission, open elsewhere), or
            there are more rows than a sheet holds. What stood at `path` is then left alone.
    """
    write_whole(path, partial(_write, measurement=measurement, bill=bill, run=run))


def _write(path: Path, measurement: Measurement, bill: Bill, run: Mapping[str, object]) -> None:
    with TemporaryDirectory(prefix="takeoff-", ignore_cleanup_errors=True) as scratch:
        # One row at a time is kept in memory, so that a sheet may be long: sheets are filled downwards.
        options = {
            "constant_memory": True,
            "tmpdir": scratch,
            "default_format_properties": {"font_name": FONT, "font_size": 9},
        }
        book = xlsxwriter.Workbook(str(path), options)
        _fill(book, measurement, bill, run)
        try:
            book.close()
        except FileCreateError as error:
            # The library wraps what the operating system said.
            (cause,) = error.args
            raise cause from None


def _fill(book: xlsxwriter.Workbook, measurement: Measurement, bill: Bill, run: Mapping[str, object]) -> None:
    page = _page(run)
    book.set_properties({"title": cell_text(page.title)[:250], "comments": page.origin})
    styles = Styles(book)
    sheets = {name: Sheet(book, styles, name) for name in SHEETS}
    findings = tuple(dict.fromkeys((*measurement.findings, *bill.findings)))
    first_rows = write_dimensions(sheets["Dimensions"], page, bill)
    layout = write_bill(sheets["Bill"], page, bill, first_rows)
    write_elements(sheets["Elements"], page, measurement)
    write_formwork(sheets["Formwork"], page, measurement)
    write_reinforcement(sheets["Reinforcement"], page, measurement)
    write_pieces(sheets["Pieces"], page, measurement)
    shares = write_prefabrication(book, sheets["Prefabrication"], page, measurement, bill.shares)
    listed = write_findings(sheets["Findings"], page, findings)
    write_basis(sheets["Basis"], page, bill, run)
    carried = Carried(layout, shares, listed)
    write_summary(book, sheets["Summary"], page, measurement, bill, run, carried)
    sheets["Summary"].raw.activate()


def _page(run: Mapping[str, object]) -> Page:
    """Title, origin and paper of every page. Without a title the first model's name stands in."""
    first = next((str(model.get("name", "")) for model in records(run, "models")), "")
    title = str(run.get("title") or "") or first or "Bill of quantities"
    origin = f"takeoff {run.get('version', '')}, {shown_time(run)}".strip(" ,")
    paper = str(run.get("paper") or "a4").lower()
    return Page(title, origin, paper if paper in PAPERS else "a4")
