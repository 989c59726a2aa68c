"""The Basis sheet: what the figures rest on, so that a stranger can repeat and dispute them."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime

from takeoff.outputs.workbook.columns import Column
from takeoff.outputs.workbook.sheet import FIRST_ROW, HEADING_ROW, Page, Sheet
from takeoff.pricing.records import Bill

CARE = (
    "Quantities and prices here are for estimating. Temporary works, formwork, bracing, lifting, transport "
    "and structural adequacy are for competent, licensed people to decide under local codes."
)

COLUMNS = (
    Column("Topic", "wrapped", narrowest=24),
    Column("What was used or assumed", "wrapped", narrowest=78),
    Column("Source", "wrapped", narrowest=70),
)
Line = tuple[str, str, str]
OWN_BLOCKS = ("Care", "How to follow a figure")
"""Blocks whose sentences are the workbook's own; the others hold what came in."""


def write_basis(sheet: Sheet, page: Page, bill: Bill, run: Mapping[str, object]) -> None:
    """Write the basis: the run, its models and data files with hashes, assumptions, and the word of care."""
    sheet.seal_column = len(COLUMNS)
    sheet.head(
        sheet.words("Basis"),
        sheet.words("Models, data files, choices and assumptions behind every figure of this workbook."),
    )
    sheet.headings(HEADING_ROW, COLUMNS)
    row = FIRST_ROW
    for title, lines in _blocks(bill, run):
        listed = list(dict.fromkeys(lines))
        if not listed:
            continue
        for column in range(len(COLUMNS)):
            sheet.put_as(row, column, None if column else sheet.words(title), sheet.styles.total(top=0))
        sheet.keep(row, row + 1)
        row += 1
        for line in listed:
            sheet.heighten(row, zip(line, (column.narrowest for column in COLUMNS), strict=True))
            for column, text in enumerate(line):
                sheet.put(
                    row, column, sheet.words(text) if column < 2 and title in OWN_BLOCKS else text, "wrapped"
                )
            row += 1
        row += 1
    sheet.widen_to(COLUMNS)
    sheet.fit()
    sheet.set_up(page, len(COLUMNS) - 1, row - 1, HEADING_ROW)


def records(run: Mapping[str, object], key: str) -> Iterator[Mapping[str, object]]:
    """The list of records that the run keeps under `key`; nothing where it keeps none."""
    listed = run.get(key)
    if isinstance(listed, list | tuple):
        yield from (record for record in listed if isinstance(record, Mapping))


def shown_time(run: Mapping[str, object]) -> str:
    """When the run was made, to the minute, as a person writes it; as given where it is no ISO time."""
    created = str(run.get("created") or "")
    try:
        return datetime.fromisoformat(created).strftime("%Y-%m-%d %H:%M %Z").strip()
    except ValueError:
        return created


def basis_lines(bill: Bill, run: Mapping[str, object]) -> list[Line]:
    """All lines of the sheet: topic, text, source."""
    return [line for _, lines in _blocks(bill, run) for line in dict.fromkeys(lines)]


def _blocks(bill: Bill, run: Mapping[str, object]) -> Iterator[tuple[str, Iterable[Line]]]:
    yield "Care", [("Use of this workbook", CARE, "")]
    yield "Run", _run_lines(run)
    yield "Models", _model_lines(run)
    yield "Data files", _input_lines(run)
    yield "How to follow a figure", _reading_lines(bill)
    yield "Assumptions and choices", [*_triples(run.get("basis")), *bill.basis]
    yield "Program versions", _version_lines(run)


def _run_lines(run: Mapping[str, object]) -> Iterator[Line]:
    if run.get("created"):
        yield (
            "Written",
            shown_time(run),
            f"{run.get('program', 'takeoff')} {run.get('version', '')}".strip(),
        )
    convention = run.get("convention")
    if isinstance(convention, Mapping):
        yield "Measuring convention", str(convention.get("name", "")), str(convention.get("file", ""))


def _model_lines(run: Mapping[str, object]) -> Iterator[Line]:
    for model in records(run, "models"):
        elements = model.get("elements")
        counted = f", {elements:,} elements" if isinstance(elements, int) else ""
        yield str(model.get("name", "")), f"{model.get('schema', '')}{counted}", _hash(model)


def _input_lines(run: Mapping[str, object]) -> Iterator[Line]:
    for record in records(run, "inputs"):
        yield str(record.get("what", "")), str(record.get("file", "")), _hash(record)


def _hash(record: Mapping[str, object]) -> str:
    return f"SHA-256\n{record['sha256']}" if record.get("sha256") else ""


def _reading_lines(bill: Bill) -> Iterator[Line]:
    yield (
        "Quantity",
        "The sum of the rows of Dimensions with the same item key. Each names its element in the model.",
        "Bill, Dimensions",
    )
    yield (
        "Amount",
        "Quantity times rate, to the cent. A rate typed into the Bill changes every total.",
        "Bill",
    )
    yield "Markup", "A percentage of the running total, or of the net total where it says so.", "Summary"
    yield (
        "Share",
        "Precast and tilt-up against all concrete of known method; 'with unresolved' counts in the rest.",
        "Prefabrication",
    )
    if bill.currency:
        yield "Currency", bill.currency, ""


def _triples(listed: object) -> Iterator[Line]:
    if isinstance(listed, list | tuple):
        for line in listed:
            texts = [str(text) for text in (*line, "", "")]
            yield texts[0], texts[1], texts[2]


def _version_lines(run: Mapping[str, object]) -> Iterator[Line]:
    versions = run.get("versions")
    if isinstance(versions, Mapping):
        for name, version in versions.items():
            yield str(name), str(version), ""
