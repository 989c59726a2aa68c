"""The comparison workbook: its sheets in their order, written to a file that appears whole or not at all."""

from functools import partial
from pathlib import Path

from takeoff.outputs.book_file import book_at
from takeoff.outputs.comparison.basis import write_basis
from takeoff.outputs.comparison.differences import write_differences
from takeoff.outputs.comparison.pieces import write_pieces
from takeoff.outputs.comparison.quantities import write_quantities
from takeoff.outputs.comparison.sensitivity import write_sensitivity
from takeoff.outputs.comparison.summary import SummaryPlan, write_summary
from takeoff.outputs.comparison.time import write_time
from takeoff.outputs.files import write_whole
from takeoff.outputs.text import cell_text
from takeoff.outputs.workbook.basis import shown_time
from takeoff.outputs.workbook.look import Look
from takeoff.outputs.workbook.sheet import PAPERS, Page, Sheet
from takeoff.outputs.workbook.styles import Styles
from takeoff.pricing.comparison import Comparison

SHEETS = ("Summary", "Differences", "Quantities", "Pieces", "Time", "Sensitivity", "Basis")


def write_comparison(path: Path, comparison: Comparison, look: Look | None = None) -> None:
    """Write the comparison with live formulas, each with the value that the engine computed.

    Raises InputError where the path cannot be written; what stood there is then left alone.
    """
    write_whole(path, partial(_write, comparison=comparison, look=look))


def _write(path: Path, comparison: Comparison, look: Look | None) -> None:
    with book_at(path, {}) as book:
        styles = Styles(book, look)
        page = _page(comparison)
        book.set_properties({"title": cell_text(page.title)[:250], "comments": page.origin})
        sheets = {name: Sheet(book, styles, name) for name in SHEETS}
        differences = write_differences(sheets["Differences"], page, comparison)
        write_quantities(sheets["Quantities"], page, comparison)
        write_pieces(sheets["Pieces"], page, comparison)
        time = write_time(sheets["Time"], page, comparison)
        plan = SummaryPlan.of(comparison)
        write_sensitivity(book, sheets["Sensitivity"], page, comparison, plan)
        write_basis(sheets["Basis"], page, comparison)
        write_summary(book, sheets["Summary"], page, comparison, plan, differences, time)
        sheets["Summary"].raw.activate()


def _page(comparison: Comparison) -> Page:
    record = comparison.record
    title = f"{record.get('title') or 'Models'}: alternatives"
    origin = f"takeoff {record.get('version', '')}, {shown_time(record)}".strip(" ,")
    paper = str(record.get("paper") or "a4").lower()
    return Page(title, origin, paper if paper in PAPERS else "a4")
