"""The sheet Basis: alternatives, choices, data files and what to look at, so that a stranger can repeat it."""

from collections.abc import Iterator

from takeoff.outputs.workbook.basis import CARE, records, shown_time
from takeoff.outputs.workbook.columns import Column
from takeoff.outputs.workbook.sheet import Page, Sheet
from takeoff.outputs.workbook.table import write_table
from takeoff.pricing.comparison import Comparison

COLUMNS = (
    Column("Topic", "wrapped", narrowest=24, widest=24),
    Column("What was used or assumed", "wrapped", narrowest=90, widest=90),
    Column("Source", "wrapped", narrowest=50, widest=50),
)
HOW = (
    (
        "How it is measured",
        "Changed elements are made anew from the solids of the model; overlaps, contacts, formwork, joints, pieces and "
        "steel are found again by the same rules. No quantity is a factor of another.",
        "",
    ),
    (
        "Site cost",
        "Weeks beyond those of the first column times the site cost a week, after the markups; it is not in the bill.",
        "Time",
    ),
    (
        "Doubt",
        "Every figure in doubt is triangular between low and high with its peak at likely; a price that stands in "
        "several rates is drawn once.",
        "Sensitivity",
    ),
)


def basis_rows(comparison: Comparison) -> Iterator[tuple[str, str, str]]:
    """Topic, text and source, line by line."""
    record = comparison.record
    yield "Care", CARE, ""
    yield "Time", comparison.production.caution, ""
    yield "Written", shown_time(record), f"takeoff {record.get('version', '')}"
    yield from HOW
    yield from comparison.basis
    for model in records(record, "models"):
        yield (
            "Model",
            f"{model.get('name', '')} ({model.get('schema', '')})",
            f"SHA-256 {model.get('sha256', '')}",
        )
    for used in records(record, "inputs"):
        yield (
            "Data file",
            f"{used.get('what', '')}: {used.get('file', '')}",
            f"SHA-256 {used.get('sha256', '')}",
        )
    yield from comparison.variants[0].bill.basis
    if comparison.with_carbon:
        yield "Carbon", "Factors are the user's data; the shipped ones are example values and no claim.", ""
    for finding in comparison.findings:
        assumed = f" (assumed: {finding.assumed})" if finding.assumed else ""
        yield f"Finding, {finding.severity}", f"{finding.message}{assumed}", finding.global_id


def write_basis(sheet: Sheet, page: Page, comparison: Comparison) -> None:
    """Write what the comparison rests on."""
    note = "Alternatives, models, data files, choices, and what only the alternatives have to be looked at."
    rows = list(dict.fromkeys(basis_rows(comparison)))
    write_table(sheet, page, "Basis", note, COLUMNS, rows, "")
