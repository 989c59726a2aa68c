"""The changes of a revision as a workbook: summary, items, elements, and the lines behind both."""

from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path

from takeoff.outputs.book_file import book_at
from takeoff.outputs.changes.tables import element_row, item_row, line_row
from takeoff.outputs.files import write_whole
from takeoff.outputs.workbook.look import Look, shipped_look
from takeoff.outputs.workbook.sheet import (
    FIRST_ROW,
    HEADING_ROW,
    Column,
    Figure,
    Formula,
    Page,
    Sheet,
    write_table,
)
from takeoff.outputs.workbook.styles import UNIT_KINDS, Styles
from takeoff.pricing.changes import REASONS, Changes, Side
from takeoff.pricing.money import exact_sum

SHEETS = ("Summary", "Items", "Elements", "Lines", "Findings")

ITEMS = (
    Column("Item key", widest=60, narrowest=34, printed=True),
    Column("Section", widest=24),
    Column("Description", "wrapped", widest=48, narrowest=40),
    Column("Unit"),
    Column("Old quantity", "volume", narrowest=11),
    Column("New quantity", "volume", narrowest=11),
    Column("Old rate", "rate", narrowest=9),
    Column("New rate", "rate", narrowest=9),
    Column("Old amount", "money", narrowest=13, total=True),
    Column("New amount", "money", narrowest=13, total=True),
    Column("Change", "money", narrowest=13, total=True),
    *(Column(reason.capitalize(), "money", narrowest=11, printed=False, total=True) for reason in REASONS),
)
ELEMENTS = (
    Column("Status", narrowest=10),
    Column("Reason", narrowest=12),
    Column("What differs", "wrapped", widest=46, narrowest=36),
    Column("Name", widest=26),
    Column("Mark", widest=12),
    Column("Storey", widest=14),
    Column("Role", widest=11),
    Column("Old model", printed=False),
    Column("Old GlobalId", widest=24, narrowest=24, printed=False),
    Column("New model", printed=False),
    Column("New GlobalId", widest=24, narrowest=24),
    Column("Matched by", widest=16),
    Column("Old net m3", "volume", total=True),
    Column("New net m3", "volume", total=True),
    Column("Old form m2", "area", total=True),
    Column("New form m2", "area", total=True),
    Column("Old steel kg", "mass", total=True),
    Column("New steel kg", "mass", total=True),
    Column("Change in money", "money", narrowest=13, total=True),
)
LINES = (
    Column("Item key", widest=60, narrowest=34),
    Column("Reason", narrowest=12),
    Column("Location", "wrapped", widest=36, narrowest=20),
    Column("Old model", printed=False),
    Column("Old GlobalId", widest=24, narrowest=24),
    Column("New model", printed=False),
    Column("New GlobalId", widest=24, narrowest=24),
    Column("Old quantity", "volume"),
    Column("New quantity", "volume"),
    Column("Change in money", "money", narrowest=13, total=True),
)
# Printed columns must stand first in a sheet that is printed by its width; models go behind.
_ELEMENT_ORDER = [at for at, column in enumerate(ELEMENTS) if column.printed] + [
    at for at, column in enumerate(ELEMENTS) if not column.printed
]
_LINE_ORDER = [at for at, column in enumerate(LINES) if column.printed] + [
    at for at, column in enumerate(LINES) if not column.printed
]
MEASURED = (
    ("net_volume_m3", "Net concrete, m3"),
    ("formwork_m2", "Formwork, m2"),
    ("reinforcement_kg", "Reinforcement, kg"),
)
FINDINGS = (
    Column("Severity", narrowest=10),
    Column("Kind", narrowest=20),
    Column("What to look at", "wrapped", widest=80, narrowest=70),
    Column("Element (GlobalId)", widest=24, narrowest=24),
    Column("Model", widest=26),
)


def write_changes(
    path: Path, changes: Changes, record: Mapping[str, object], look: Look | None = None
) -> None:
    """Write the workbook; sums are formulas over the sheet Lines.

    Raises:
        InputError: the path cannot be written, or there are more rows than a sheet holds.
    """
    write_whole(path, partial(_write, changes=changes, record=record, look=look or shipped_look()))


def _write(path: Path, changes: Changes, record: Mapping[str, object], look: Look) -> None:
    font = {"font_name": look.font.name, "font_size": look.font.size}
    with book_at(path, {"constant_memory": True, "default_format_properties": font}) as book:
        styles = Styles(book, look)
        sheets = {name: Sheet(book, styles, name) for name in SHEETS}
        origin = f"takeoff {record.get('version', '')}, {record.get('created', '')}"
        title = f"{changes.old.name} to {changes.new.name}"
        page = Page(title, origin, str(record.get("paper") or "a4"), look.office.name)
        items = [
            _item_cells(number, row) for number, row in enumerate(map(item_row, changes.items), FIRST_ROW + 1)
        ]
        write_table(
            sheets["Items"], page, "Changes by item",
            "Quantities at the old rate, then the rate; columns to the right of the printed ones divide by reason.",
            ITEMS, items, "No item changed.",
        )  # fmt: skip
        write_table(
            sheets["Elements"], page, "Changes by element",
            "Matched by GlobalId, then by shape and place. Money is at the old rates.",
            [ELEMENTS[at] for at in _ELEMENT_ORDER],
            [[row[at] for at in _ELEMENT_ORDER] for row in map(element_row, changes.elements)],
            "No element changed.",
        )  # fmt: skip
        units = {item.key: item.shown.unit for item in changes.items}
        write_table(
            sheets["Lines"], page, "Changes line by line",
            "One row an item and element, or an item's rate; every sum of this workbook is made of them.",
            [LINES[at] for at in _LINE_ORDER],
            [_line_cells(row, units) for row in map(line_row, changes.lines)],
            "Nothing changed.",
        )  # fmt: skip
        write_table(
            sheets["Findings"], page, "Findings", "What to keep in mind with this comparison.", FINDINGS,
            [
                (finding.severity, finding.kind, finding.message, finding.global_id, finding.model)
                for finding in changes.findings
            ],
            "Nothing to look at.",
        )  # fmt: skip
        _summary(sheets["Summary"], page, changes)
        sheets["Summary"].raw.activate()


def _item_cells(number: int, row: Sequence[object]) -> list[object]:
    """Cells of an item in row `number` (from 1), its reasons as sums over Lines."""
    cells = list(row)
    kind = UNIT_KINDS.get(str(row[3]), "volume")
    for at in (4, 5):
        value = row[at]
        cells[at] = Figure(value if isinstance(value, float) else None, kind)
    cells[10] = Formula(f"=ROUND(N(J{number})-N(I{number}),2)", float(str(row[10])))
    first = len(ITEMS) - len(REASONS)
    for at, reason in enumerate(REASONS, first):
        chosen = f'{_column("Item key")},$A{number},{_column("Reason")},"{reason}"'
        text = f"=ROUND(SUMIFS({_column('Change in money')},{chosen}),2)"
        cells[at] = Formula(text, float(str(row[at])))
    return cells


def _line_cells(row: Sequence[object], units: Mapping[str, str]) -> list[object]:
    kind = UNIT_KINDS.get(units.get(str(row[0]), ""), "volume")
    cells = list(row)
    for at in (7, 8):
        value = row[at]
        cells[at] = Figure(value if isinstance(value, float) else None, kind)
    return [cells[at] for at in _LINE_ORDER]


def _column(heading: str) -> str:
    """A whole column of Lines as formulas name it."""
    from xlsxwriter.utility import xl_col_to_name

    place = [LINES[at].heading for at in _LINE_ORDER].index(heading)
    letter = xl_col_to_name(place)
    return f"Lines!${letter}:${letter}"


def _summary(sheet: Sheet, page: Page, changes: Changes) -> None:
    columns = (
        Column("", narrowest=2),
        Column("Change", narrowest=40),
        Column("Old", "money", narrowest=15),
        Column("New", "money", narrowest=15),
        Column("Difference", "money", narrowest=15),
    )
    old, new = changes.old, changes.new
    sheet.head("What the revision did", f"From {old.name} to {new.name}")
    sheet.headings(HEADING_ROW, columns)
    row = FIRST_ROW
    totals = [exact_sum(item.amount or 0.0 for item in side.items.values()) for side in (old, new)]
    difference = exact_sum((totals[1], -totals[0]))
    currency = new.currency or old.currency
    cells = (
        f"Net total of the items, {currency}".rstrip(", "),
        *totals,
        Formula(f"=ROUND(D{row + 1}-C{row + 1},2)", difference),
    )
    for at, value in enumerate(("", *cells)):
        sheet.put_as(row, at, value, sheet.styles.total(columns[at].kind), columns[at].kind)
    row += 1
    for kind, text in MEASURED:
        sums = [sum(getattr(part, kind) or 0.0 for part in side.parts) for side in (old, new)]
        step = Formula(f"=D{row + 1}-C{row + 1}", sums[1] - sums[0])
        for at, value in enumerate(("", text, *sums, step)):
            sheet.put(row, at, value, "volume" if at > 1 else "text")
        row += 1
    row += 1
    sheet.headings(
        row, (Column(""), Column("Money by reason"), Column(""), Column(""), Column("Difference", "money"))
    )
    first = row + 2
    for reason in REASONS:
        value = changes.by_reason.get(reason, 0.0)
        if not value:
            continue
        row += 1
        text = f"=ROUND(SUMIFS({_column('Change in money')},{_column('Reason')},B{row + 1}),2)"
        for at, cell in enumerate(("", reason, "", "", Formula(text, value))):
            sheet.put(row, at, cell, columns[at].kind)
    row += 1
    whole = Formula(f"=SUM(E{first}:E{row})" if row >= first else "=0", difference)
    for at, cell in enumerate(("", "All", "", "", whole)):
        sheet.put_as(row, at, cell, sheet.styles.total(columns[at].kind), columns[at].kind)
    row += 2
    sheet.headings(row, (Column(""), Column("Elements"), Column(""), Column(""), Column("Number", "count")))
    status = f"Elements!$A${FIRST_ROW + 1}:$A${FIRST_ROW + max(len(changes.elements), 1)}"
    for name in ("added", "removed", "changed"):
        row += 1
        count = sum(change.status == name for change in changes.elements)
        for at, cell in enumerate(("", name, "", "", Formula(f"=COUNTIF({status},B{row + 1})", count))):
            sheet.put(row, at, cell, "count" if at == 4 else "text")
    for text, count in (
        ("unchanged", changes.unchanged),
        ("matched by something else than the GlobalId", len(changes.matching.renewed)),
    ):
        row += 1
        for at, cell in enumerate(("", text, "", "", count)):
            sheet.put(row, at, cell, "count" if at == 4 else "text")
    row = _conventions(sheet, row + 2, old, new)
    sheet.widen_to(columns)
    sheet.fit()
    sheet.set_up(page, len(columns) - 1, row)


def _conventions(sheet: Sheet, row: int, old: Side, new: Side) -> int:
    sheet.headings(
        row, (Column(""), Column("Measuring convention"), Column("Old"), Column("New"), Column(""))
    )
    names = [side.convention.split(" ")[0] or "not known" for side in (old, new)]
    same = (
        "the same"
        if old.convention == new.convention
        else "not the same: part of the change is the convention's"
    )
    for at, cell in enumerate(("", same, *names, "")):
        sheet.put(row + 1, at, cell)
    return row + 2
