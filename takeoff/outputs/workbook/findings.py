"""The Findings sheet: what a person must look at, by kind and then one by one."""

from collections.abc import Sequence

from msgspec import Struct

from takeoff.findings import Finding
from takeoff.outputs.finding_groups import Kind, group_findings, severity_counts
from takeoff.outputs.workbook.cells import Figure, Formula
from takeoff.outputs.workbook.columns import Column, identity_column
from takeoff.outputs.workbook.heights import row_heights
from takeoff.outputs.workbook.sheet import FIRST_ROW, HEADING_ROW, Page, Sheet, require_rows
from takeoff.outputs.workbook.styles import UNIT_KINDS

COLUMNS = (
    Column("Severity", narrowest=9),
    Column("Kind", widest=30, narrowest=26),
    Column("Number", "count"),
    Column("Worth", "length", narrowest=11),
    Column("Unit", narrowest=6),
    Column("Money", "money", narrowest=11),
    Column("What to look at", "wrapped", widest=50, narrowest=50),
    Column("What was assumed", "wrapped", widest=25, narrowest=25),
    Column("What to ask", "wrapped", widest=30, narrowest=30),
    identity_column("Element (GlobalId)"),
    Column("Model", widest=26, narrowest=14),
)


KINDS = ("text", "text", "text", "length", "text", "money", *["wrapped"] * 3, "text", "text")
"""Kinds of the cells of one finding: it has no number."""


class FindingsLayout(Struct, frozen=True):
    """The kinds in their order, and the ranges of severities and kinds of the list of findings."""

    kinds: tuple[Kind, ...]
    severities: str
    names: str


def write_findings(sheet: Sheet, page: Page, findings: Sequence[Finding]) -> FindingsLayout:
    """Write the kinds with their counts, then every finding with its element."""
    kinds = group_findings(findings)
    sheet.seal_column = len(COLUMNS)
    sheet.head(sheet.words("Findings"), _note(sheet, findings))
    sheet.headings(HEADING_ROW, COLUMNS)
    last_group = FIRST_ROW + max(len(kinds), 1) - 1
    list_heading = last_group + 3
    first = list_heading + 1
    shown = [finding for kind in kinds for finding in kind.findings]
    end = first + len(shown)
    require_rows(sheet, end)
    for row, kind in enumerate(kinds, start=FIRST_ROW):
        _write_kind(sheet, row, kind, first + 1, end)
    if not kinds:
        sheet.put_as(FIRST_ROW, 0, sheet.words("Nothing to look at."), sheet.styles.note)
    sheet.put_as(list_heading - 1, 0, sheet.words("Every finding"), sheet.styles.subtitle)
    sheet.headings(list_heading, COLUMNS)
    if shown:
        sheet.keep(list_heading - 1, first)
    listed = [_finding_row(finding) for finding in shown]
    wrapped = [(place, COLUMNS[place].widest) for place, kind in enumerate(KINDS) if kind == "wrapped"]
    sheet.leave(first)
    sheet.rows(KINDS, "").write(first, listed, row_heights(listed, wrapped))
    sheet.widen_to(COLUMNS)
    sheet.fit()
    last_column = len(COLUMNS) - 1
    sheet.raw.autofilter(list_heading, 0, max(end - 1, first), last_column)
    for severity, fill, ink in (
        ("error", sheet.styles.look.colours.error_fill, sheet.styles.look.colours.error_ink),
        ("warning", sheet.styles.look.colours.attention_fill, sheet.styles.look.colours.attention_ink),
    ):
        sheet.raw.conditional_format(
            FIRST_ROW,
            0,
            max(end - 1, FIRST_ROW),
            0,
            {
                "type": "cell",
                "criteria": "==",
                "value": f'"{severity}"',
                "format": sheet.styles.highlight(fill, ink),
            },
        )
    # One model need not be named on paper in every row.
    several = len({finding.model for finding in findings if finding.model}) > 1
    sheet.set_up(page, last_column - (not several), max(end - 1, first), HEADING_ROW)
    rows = f"{first + 1}", f"{max(end, first + 1)}"
    severities, names = (f"Findings!${letter}${rows[0]}:${letter}${rows[1]}" for letter in "AB")
    return FindingsLayout(kinds, severities, names)


def _note(sheet: Sheet, findings: Sequence[Finding]) -> str:
    counts = severity_counts(findings)
    told = [
        sheet.words(f"{{count}} {name}{'' if number == 1 else 's'}", count=number)
        for name, number in counts.items()
    ]
    more = sheet.words("Kinds first, the most severe and valuable on top, then each finding.")
    priced = sheet.words("Money: what this bill prices of it.")
    return f"{', '.join(told)}. {more} {priced}"


def _write_kind(sheet: Sheet, row: int, kind: Kind, first: int, end: int) -> None:
    """Write a kind's row; `first` and `end` are the list's first and last row (from 1)."""
    spans = (f"$A${first}:$A${end}", f"$B${first}:$B${end}")
    count = f"=COUNTIFS({spans[0]},$A{row + 1},{spans[1]},$B{row + 1})"
    worth = kind.worth
    unit = next(iter(worth)) if len(worth) == 1 else ""
    others = "; ".join(f"{value:,.3f} {name}" for name, value in worth.items()) if len(worth) > 1 else ""
    example = (
        kind.findings[0].message
        if len(kind.findings) == 1
        else sheet.words("For instance: {message}", message=kind.findings[0].message)
    )
    shown = sheet.words("{example} (worth {others})", example=example, others=others) if others else example
    assumed = kind.findings[0].assumed
    texts = (shown, assumed, kind.ask)
    sheet.heighten(row, [(text, COLUMNS[place].widest) for place, text in enumerate(texts, start=6)])
    sheet.put(row, 0, kind.severity, bold=True)
    sheet.put(row, 1, kind.kind, bold=True)
    sheet.put(row, 2, Formula(count, len(kind.findings)), "count", bold=True)
    sheet.put(row, 3, worth.get(unit) if unit else None, UNIT_KINDS.get(unit, "length"))
    sheet.put(row, 4, unit)
    sheet.put(row, 5, kind.money, "money")
    for place, text in enumerate(texts, start=6):
        sheet.put(row, place, text, "wrapped")
    sheet.put(row, 9, None)
    sheet.put(row, 10, None)


def _finding_row(finding: Finding) -> tuple[object, ...]:
    worth: object = None
    if finding.worth is not None:
        worth = Figure(finding.worth, UNIT_KINDS.get(finding.worth_unit, "length"))
    begin = (finding.severity, finding.kind, None, worth, finding.worth_unit, finding.money)
    texts = (finding.message, finding.assumed, finding.ask)
    return (*begin, *texts, finding.global_id, finding.model)
