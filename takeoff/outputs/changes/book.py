"""The changes of a revision as a workbook: summary, items, elements, and the lines behind both."""

from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path

from msgspec.structs import replace

from takeoff.outputs.book_file import book_at
from takeoff.outputs.changes.tables import element_row, item_row, line_row
from takeoff.outputs.files import write_whole
from takeoff.outputs.workbook.basis import shown_time
from takeoff.outputs.workbook.cells import Figure, Formula
from takeoff.outputs.workbook.columns import Column, identity_column
from takeoff.outputs.workbook.look import Look, shipped_look
from takeoff.outputs.workbook.sheet import FIRST_ROW, HEADING_ROW, Page, Sheet
from takeoff.outputs.workbook.styles import UNIT_KINDS, Styles
from takeoff.outputs.workbook.table import write_table
from takeoff.outputs.workbook.words import Words, words_in
from takeoff.pricing.change_records import REASONS, Changes, ElementChange, Side
from takeoff.pricing.money import exact_sum
from takeoff.pricing.unit_systems import METRIC, UnitSystem, unit_system
from takeoff.told import in_units

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
    identity_column("Old GlobalId", printed=False),
    Column("New model", printed=False),
    identity_column("New GlobalId"),
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
    identity_column("Old GlobalId"),
    Column("New model", printed=False),
    identity_column("New GlobalId"),
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
STATUSES = ("added", "removed", "changed")
ELEMENT_FIGURES = tuple(
    f"{side}_{figure}" for side in ("old", "new") for figure in ("volume_m3", "formwork_m2", "steel_kg")
)
MEASURED = (
    ("net_volume_m3", "Net concrete, m3"),
    ("formwork_m2", "Formwork, m2"),
    ("reinforcement_kg", "Reinforcement, kg"),
)
FINDINGS = (
    Column("Severity", narrowest=10),
    Column("Kind", narrowest=20),
    Column("What to look at", "wrapped", widest=80, narrowest=70),
    identity_column("Element (GlobalId)"),
    Column("Model", widest=26),
)


def write_changes(
    path: Path,
    changes: Changes,
    record: Mapping[str, object],
    look: Look | None = None,
    words: Words | None = None,
) -> None:
    """Write the workbook in the units of the two sides; sums are formulas over the sheet Lines.

    Raises:
        InputError: the path cannot be written, or there are more rows than a sheet holds.
    """
    words = words_in(words or Words(), unit_system(changes.new.units))
    write_whole(
        path, partial(_write, changes=changes, record=record, look=look or shipped_look(), words=words)
    )


def _write(path: Path, changes: Changes, record: Mapping[str, object], look: Look, words: Words) -> None:
    system = unit_system(changes.new.units)
    font = {"font_name": look.font.name, "font_size": look.font.size}
    with book_at(path, {"constant_memory": True, "default_format_properties": font}) as book:
        styles = Styles(book, look)
        sheets = {name: Sheet(book, styles, name, words) for name in SHEETS}
        origin = f"takeoff {record.get('version', '')}, {shown_time(record)}".strip(" ,")
        if look.office.foot:
            origin = f"{look.office.foot}   {origin}"
        title = words("{old} to {new}", old=changes.old.name, new=changes.new.name)
        page = Page(title, origin, str(record.get("paper") or "a4"), look.office.name)
        items = [
            _item_cells(number, row, words)
            for number, row in enumerate(map(item_row, changes.items), FIRST_ROW + 1)
        ]
        write_table(
            sheets["Items"], page, "Changes by item",
            words(
                "Quantities at the old rate, then the rate; columns to the right of the printed ones divide by "
                "reason."
            ),
            ITEMS, items, "No item changed.",
        )  # fmt: skip
        write_table(
            sheets["Elements"], page, "Changes by element",
            words("Matched by GlobalId, then by shape and place. Money is at the old rates."),
            [ELEMENTS[at] for at in _ELEMENT_ORDER],
            [
                _element_cells(row, words)
                for row in map(element_row, (_element_in(change, system) for change in changes.elements))
            ],
            "No element changed.",
        )  # fmt: skip
        units = {item.key: item.shown.unit for item in changes.items}
        write_table(
            sheets["Lines"], page, "Changes line by line",
            words("One row an item and element, or an item's rate; every sum of this workbook is made of them."),
            [LINES[at] for at in _LINE_ORDER],
            [_line_cells(row, units, words) for row in map(line_row, changes.lines)],
            "Nothing changed.",
        )  # fmt: skip
        write_table(
            sheets["Findings"], page, "Findings", words("What to keep in mind with this comparison."), FINDINGS,
            [
                (finding.severity, finding.kind, finding.message, finding.global_id, finding.model)
                for finding in changes.findings
            ],
            "Nothing to look at.",
        )  # fmt: skip
        _summary(sheets["Summary"], page, changes, system)
        sheets["Summary"].raw.activate()


def _element_in(change: ElementChange, system: UnitSystem) -> ElementChange:
    """The change with its figures and words in the units of `system`."""
    if system is METRIC:
        return change
    figures = {
        field: getattr(change, field) * system.factor(field.rpartition("_")[2]) for field in ELEMENT_FIGURES
    }
    return replace(change, what=in_units(change.what, system), **figures)


def _element_cells(row: Sequence[object], words: Words) -> list[object]:
    """Cells of an element in the order of the sheet, its status and reason in the words of the workbook."""
    cells = list(row)
    for at in (0, 1):
        cells[at] = words(str(row[at]))
    return [cells[at] for at in _ELEMENT_ORDER]


def _item_cells(number: int, row: Sequence[object], words: Words) -> list[object]:
    """Cells of an item in row `number` (from 1), its reasons as sums over Lines."""
    cells = list(row)
    kind = UNIT_KINDS.get(str(row[3]), "volume")
    for at in (4, 5):
        value = row[at]
        cells[at] = Figure(value if isinstance(value, float) else None, kind)
    cells[10] = Formula(f"=ROUND(N(J{number})-N(I{number}),2)", float(str(row[10])))
    first = len(ITEMS) - len(REASONS)
    for at, reason in enumerate(REASONS, first):
        chosen = f'{_column("Item key")},$A{number},{_column("Reason")},"{words(reason)}"'
        text = f"=ROUND(SUMIFS({_column('Change in money')},{chosen}),2)"
        cells[at] = Formula(text, float(str(row[at])))
    return cells


def _line_cells(row: Sequence[object], units: Mapping[str, str], words: Words) -> list[object]:
    kind = UNIT_KINDS.get(units.get(str(row[0]), ""), "volume")
    cells = list(row)
    cells[1] = words(str(row[1]))
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


def _summary(sheet: Sheet, page: Page, changes: Changes, system: UnitSystem) -> None:
    columns = (
        Column("", narrowest=2),
        Column("Change", narrowest=40),
        Column("Old", "money", narrowest=15),
        Column("New", "money", narrowest=15),
        Column("Difference", "money", narrowest=15),
    )
    words = sheet.words
    old, new = changes.old, changes.new
    sheet.head(words("What the revision did"), words("From {old} to {new}", old=old.name, new=new.name))
    sheet.headings(HEADING_ROW, columns)
    row = _totals(sheet, columns, FIRST_ROW, changes)
    for kind, text in MEASURED:
        factor = system.factor(kind.rpartition("_")[2])
        sums = [sum(getattr(part, kind) or 0.0 for part in side.parts) * factor for side in (old, new)]
        step = Formula(f"=D{row + 1}-C{row + 1}", sums[1] - sums[0])
        for at, value in enumerate(("", words(text), *sums, step)):
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
        for at, cell in enumerate(("", words(reason), "", "", Formula(text, value))):
            sheet.put(row, at, cell, columns[at].kind)
    row += 1
    whole = Formula(f"=SUM(E{first}:E{row})" if row >= first else "=0", exact_sum(changes.by_reason.values()))
    for at, cell in enumerate(("", words("All"), "", "", whole)):
        sheet.put_as(row, at, cell, sheet.styles.total(columns[at].kind), columns[at].kind)
    row = _counts(sheet, row + 2, changes)
    row = _conventions(sheet, row + 2, old, new)
    sheet.widen_to(columns)
    sheet.fit()
    sheet.set_up(page, len(columns) - 1, row)


def _totals(sheet: Sheet, columns: Sequence[Column], row: int, changes: Changes) -> int:
    """Write the net total and, where both sides have them, markups and grand total; returns the next row."""
    old, new = changes.old, changes.new
    words, currency = sheet.words, new.currency or old.currency
    nets = [exact_sum(item.amount or 0.0 for item in side.items.values()) for side in (old, new)]
    lines: list[tuple[str, Sequence[object], float]] = [
        ("Net total of the items, {currency}", nets, exact_sum((nets[1], -nets[0])))
    ]
    if old.grand_total is not None and new.grand_total is not None:
        grand = (old.grand_total, new.grand_total)
        markups = [exact_sum((whole, -net)) for whole, net in zip(grand, nets, strict=True)]
        lines.append(("Markups on it, {currency}", markups, exact_sum((markups[1], -markups[0]))))
        sums = [
            Formula(f"={letter}{row + 1}+{letter}{row + 2}", whole)
            for letter, whole in zip("CD", grand, strict=True)
        ]
        lines.append(("Grand total, {currency}", sums, exact_sum((grand[1], -grand[0]))))
    for text, values, difference in lines:
        step = Formula(f"=ROUND(D{row + 1}-C{row + 1},2)", difference)
        shown = words(text, currency=currency).rstrip(", ")
        for at, value in enumerate(("", shown, *values, step)):
            sheet.put_as(row, at, value, sheet.styles.total(columns[at].kind, top=0), columns[at].kind)
        row += 1
    return row


def _counts(sheet: Sheet, row: int, changes: Changes) -> int:
    """Write how many elements came, went, changed and stayed; returns the last row."""
    words = sheet.words
    sheet.headings(row, (Column(""), Column("Elements"), Column(""), Column(""), Column("Number", "count")))
    status = f"Elements!$A${FIRST_ROW + 1}:$A${FIRST_ROW + max(len(changes.elements), 1)}"
    for name in STATUSES:
        row += 1
        count = sum(change.status == name for change in changes.elements)
        cells = ("", words(name), "", "", Formula(f"=COUNTIF({status},B{row + 1})", count))
        for at, cell in enumerate(cells):
            sheet.put(row, at, cell, "count" if at == 4 else "text")
    for text, count in (
        ("unchanged", changes.unchanged),
        ("matched by something else than the GlobalId", len(changes.matching.renewed)),
    ):
        row += 1
        for at, cell in enumerate(("", words(text), "", "", count)):
            sheet.put(row, at, cell, "count" if at == 4 else "text")
    return row


def _conventions(sheet: Sheet, row: int, old: Side, new: Side) -> int:
    words = sheet.words
    sheet.headings(
        row, (Column(""), Column("Measuring convention"), Column("Old"), Column("New"), Column(""))
    )
    names = [side.convention.split(" ")[0] or words("not known") for side in (old, new)]
    same = words(
        "the same"
        if old.convention == new.convention
        else "not the same: part of the change is the convention's"
    )
    for at, cell in enumerate(("", same, *names, "")):
        sheet.put(row + 1, at, cell)
    return row + 2
