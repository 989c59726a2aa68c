"""The workbook as a whole: its sheets in their order, written to a file that appears whole or not at all."""

from collections.abc import Mapping
from pathlib import Path

import xlsxwriter
from msgspec import Struct
from msgspec.structs import replace

from takeoff.collector import collector_off
from takeoff.measuring.records import Measurement
from takeoff.outputs.book_file import book_at
from takeoff.outputs.files import write_whole
from takeoff.outputs.text import cell_text
from takeoff.outputs.unit_view import findings_shown_in, score_shown_in, shown_in
from takeoff.outputs.workbook.basis import records, shown_time, write_basis
from takeoff.outputs.workbook.bill import BillColumns, write_bill
from takeoff.outputs.workbook.build_ups import write_build_ups
from takeoff.outputs.workbook.declared import write_declared
from takeoff.outputs.workbook.dimensions import write_dimensions
from takeoff.outputs.workbook.findings import write_findings
from takeoff.outputs.workbook.handling import write_handling
from takeoff.outputs.workbook.kept import write_hand_sheet, write_kept
from takeoff.outputs.workbook.look import Look, shipped_look
from takeoff.outputs.workbook.prefabrication import write_prefabrication
from takeoff.outputs.workbook.records import write_elements, write_formwork, write_pieces, write_reinforcement
from takeoff.outputs.workbook.score import write_score
from takeoff.outputs.workbook.sheet import PAPERS, Page, Sheet
from takeoff.outputs.workbook.styles import Styles
from takeoff.outputs.workbook.summary import Carried, write_summary
from takeoff.outputs.workbook.words import Words, words_in
from takeoff.pricing.records import Bill
from takeoff.pricing.scoring import Score
from takeoff.pricing.unit_systems import unit_system

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

BUILT = ("Build-ups", "Resources")
"""Sheets that follow where rates are built up."""
KEPT = "Kept"
"""The sheet that follows where an earlier bill held what has no other place."""
HANDLED = "Handling"
"""The sheet that follows where there are pieces to lift."""
DECLARED = "Declared"
"""The sheet that follows where the models declare quantities."""
SCORED = ("Score", "Score quantities")
"""Sheets that follow where a scheme of points is given."""


def write_workbook(
    path: Path,
    measurement: Measurement,
    bill: Bill,
    run: Mapping[str, object],
    look: Look | None = None,
    words: Words | None = None,
    score: Score | None = None,
) -> None:
    """Write the priced bill with live formulas, each with the value that the engine computed.

    `run` is the run's record as in run.json; `paper` in it may be `a4` (default) or `letter`. A `score` has
    two sheets of its own.

    Raises:
        InputError: the path cannot be written (missing folder, a folder, no permission, open elsewhere), or
            there are more rows than a sheet holds. What stood at `path` is then left alone.
    """
    system = unit_system(bill.units)
    words = words_in(words or Words(), system)
    shown = replace(bill, findings=findings_shown_in(bill.findings, system))
    scored = score_shown_in(score, system) if score is not None else None
    book = _Book(shown_in(measurement, system), shown, run, look or shipped_look(), words, scored)
    with collector_off():
        write_whole(path, book.write)


class _Book(Struct, frozen=True):
    measurement: Measurement
    bill: Bill
    run: Mapping[str, object]
    look: Look
    words: Words
    score: Score | None = None

    def write(self, path: Path) -> None:
        """Write it all to `path`."""
        _write(path, self)


def _write(path: Path, content: _Book) -> None:
    font = content.look.font
    # One row at a time is kept in memory, so that a sheet may be long: sheets are filled downwards.
    options = {
        "constant_memory": True,
        "default_format_properties": {"font_name": font.name, "font_size": font.size},
    }
    with book_at(path, options) as book:
        _fill(book, content)


def _fill(book: xlsxwriter.Workbook, content: _Book) -> None:
    measurement, bill, run, words = content.measurement, content.bill, content.run, content.words
    page = _page(run, content.look)
    book.set_properties({"title": cell_text(page.title)[:250], "comments": page.origin})
    styles = Styles(book, content.look)
    hand = bill.earlier.sheets if bill.earlier else ()
    names = [*SHEETS, *(BUILT if bill.build_ups else ()), *((KEPT,) if _keeps(bill) else ())]
    names += [HANDLED] if measurement.pieces else []
    names += [DECLARED] if measurement.declared else []
    names += SCORED if content.score else []
    names += [sheet.name for sheet in hand if sheet.name not in names]
    sheets = {name: Sheet(book, styles, name, words) for name in names}
    of_score = content.score.findings if content.score else ()
    findings = tuple(dict.fromkeys((*measurement.findings, *bill.findings, *of_score)))
    first_rows = write_dimensions(sheets["Dimensions"], page, bill)
    columns = BillColumns(content.look.bill)
    rate_cells = {}
    if bill.build_ups:
        rate_cells = write_build_ups(sheets["Build-ups"], sheets["Resources"], page, bill, columns)
    layout = write_bill(sheets["Bill"], page, bill, first_rows, rate_cells)
    write_elements(sheets["Elements"], page, measurement)
    write_formwork(sheets["Formwork"], page, measurement)
    write_reinforcement(sheets["Reinforcement"], page, measurement)
    write_pieces(sheets["Pieces"], page, measurement)
    shares = write_prefabrication(book, sheets["Prefabrication"], page, measurement, bill.shares)
    if measurement.pieces:
        write_handling(sheets[HANDLED], page, measurement)
    if measurement.declared:
        write_declared(sheets[DECLARED], page, measurement)
    if content.score is not None:
        write_score(sheets[SCORED[0]], sheets[SCORED[1]], page, content.score)
    listed = write_findings(sheets["Findings"], page, findings)
    write_basis(sheets["Basis"], page, bill, run)
    carried = Carried(layout, shares, listed)
    write_summary(book, sheets["Summary"], page, measurement, bill, run, carried)
    if bill.earlier is not None and KEPT in sheets:
        write_kept(sheets[KEPT], page, bill.earlier)
    for own in hand:
        write_hand_sheet(sheets[own.name], own)
    sheets["Summary"].raw.activate()


def _keeps(bill: Bill) -> bool:
    return bill.earlier is not None and bool(bill.earlier.vanished or bill.earlier.kept)


def _page(run: Mapping[str, object], look: Look) -> Page:
    """Title, origin and paper of every page. Without a title the first model's name stands in."""
    first = next((str(model.get("name", "")) for model in records(run, "models")), "")
    title = str(run.get("title") or "") or first or "Bill of quantities"
    origin = f"takeoff {run.get('version', '')}, {shown_time(run)}".strip(" ,")
    paper = str(run.get("paper") or "a4").lower()
    if look.office.foot:
        origin = f"{look.office.foot}   {origin}"
    return Page(title, origin, paper if paper in PAPERS else "a4", look.office.name)
