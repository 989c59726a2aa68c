"""The Summary sheet: what it costs, what it is made of, what is prefabricated, what needs a look."""

import math
from collections.abc import Iterable, Mapping, Sequence

import xlsxwriter
from msgspec import Struct

from takeoff.measuring.plan import METHODS, ROLES
from takeoff.measuring.records import MeasuredPart, Measurement
from takeoff.outputs.finding_groups import SEVERITY_RANK
from takeoff.outputs.workbook.basis import records
from takeoff.outputs.workbook.bill import BillLayout, count_unpriced, total_words, unpriced_words
from takeoff.outputs.workbook.cells import Formula
from takeoff.outputs.workbook.columns import Column, shown_width
from takeoff.outputs.workbook.findings import FindingsLayout
from takeoff.outputs.workbook.prefabrication import (
    CHART_BAR,
    CHART_HEAD,
    ROW_PIXELS,
    ShareLayout,
    place_chart,
    share_chart,
)
from takeoff.outputs.workbook.records import element_column
from takeoff.outputs.workbook.sheet import Page, Sheet
from takeoff.outputs.workbook.styles import (
    NUMBERS,
    number_format,
)
from takeoff.pricing.money import MONEY_DIGITS
from takeoff.pricing.records import Bill

OFFICE_ROW = 2
STATUS_ROW = 3
COLLECTION_ROW = 5
TOP_KINDS = 8
ONE_PAGE = 70
"""Rows up to which the sheet is made to fit one page; more would be too small to read."""

COLLECTION = (
    Column(""),
    Column("Collection", narrowest=44),
    Column("Percent", "percent", narrowest=13),
    Column("Of", "money", narrowest=13),
    Column("Amount", "money", narrowest=13),
    Column("Share of net", "share", narrowest=11),
)
MADE = tuple(method for method in METHODS if method != "not-concrete")
CONCRETE = (
    Column(""),
    Column("Concrete by role, net m3"),
    *(Column(method.capitalize(), "volume", narrowest=13) for method in MADE),
    Column("All", "volume", narrowest=13),
    Column("Formwork m2", "area", narrowest=12),
    Column("Form m2 per cast m3", "ratio", narrowest=11),
    Column("Steel kg", "mass", narrowest=12),
    Column("Steel kg per m3", "ratio", narrowest=11),
)
LAST_COLUMN = len(CONCRETE) - 1


class Carried(Struct, frozen=True):
    """What Summary takes from the other sheets: cells of the bill, the shares, and the findings."""

    bill: BillLayout
    shares: ShareLayout | None
    findings: FindingsLayout


def write_summary(
    book: xlsxwriter.Workbook,
    sheet: Sheet,
    page: Page,
    measurement: Measurement,
    bill: Bill,
    run: Mapping[str, object],
    carried: Carried,
) -> None:
    """Write the first sheet: title, completeness, collection with markups, concrete by role, findings."""
    sheet.seal_column = LAST_COLUMN + 1
    sheet.head(page.title, _origin(sheet, run))
    _write_office(sheet)
    status, incomplete = _status(sheet, carried.bill)
    size = sheet.styles.look.font.size
    sheet.put_as(STATUS_ROW, 0, status, sheet.styles.of(bold=True, font_size=size + 1))
    sheet.raw.conditional_format(
        STATUS_ROW,
        0,
        STATUS_ROW,
        len(COLLECTION) - 1,
        {
            "type": "formula",
            "criteria": f"={incomplete}>0",
            "format": sheet.styles.highlight(
                sheet.styles.look.colours.attention_fill, sheet.styles.look.colours.attention_ink
            ),
        },
    )
    row = _write_collection(sheet, bill, carried.bill)
    if carried.shares:
        bars = CHART_HEAD + CHART_BAR * len(carried.shares.rows)
        height = max(bars, (row - COLLECTION_ROW) * ROW_PIXELS)
        place_chart(
            sheet, COLLECTION_ROW, len(COLLECTION), share_chart(book, sheet, carried.shares, 460, height)
        )
        row = max(row, COLLECTION_ROW + height // ROW_PIXELS + 1)
    row = _write_concrete(sheet, row + 1, measurement.parts)
    row = _write_findings(sheet, row + 1, measurement.parts, carried.findings)
    sheet.widen_to(COLLECTION)
    sheet.widen_to(CONCRETE)
    sheet.fit()
    sheet.set_up(page, LAST_COLUMN, row)
    if row < ONE_PAGE:
        sheet.raw.fit_to_pages(1, 1)


def _origin(sheet: Sheet, run: Mapping[str, object]) -> str:
    models = [f"{model.get('name', '')} ({model.get('schema', '')})" for model in records(run, "models")]
    if not models:
        return sheet.words("Priced bill of quantities")
    shown = ", ".join(models[:4])
    if len(models) > 4:
        shown += " " + sheet.words("and {count} more", count=len(models) - 4)
    return sheet.words("Priced bill of quantities from {models}", models=shown)


def _write_office(sheet: Sheet) -> None:
    """The office's head, to the right of the status, where there is one."""
    office = sheet.styles.look.office
    text = ", ".join(filter(None, (office.name, *office.lines)))
    if text:
        sheet.put_as(OFFICE_ROW, 0, text, sheet.styles.of(bold=True))


def _status(sheet: Sheet, layout: BillLayout) -> tuple[Formula, str]:
    """The words on completeness, and the formula (without its `=`) of how many items lack a rate."""
    count = count_unpriced(sheet, layout.amounts)
    complete = sheet.words("Every item has a rate.")
    one, many = (
        sheet.words(f"Incomplete: {{count}} {noun} without a rate, not in the totals.")
        for noun in ("item", "items")
    )
    words = (one if layout.unpriced == 1 else many) if layout.unpriced else complete
    texts = [text.replace('"', '""') for text in (complete, one, many)]
    live = [f'"{text}"'.replace("{count}", f'"&{count}&"') for text in texts]
    formula = f"=IF({count}=0,{live[0]},IF({count}=1,{live[1]},{live[2]}))"
    return Formula(formula, words.replace("{count}", str(layout.unpriced))), count


def _write_collection(sheet: Sheet, bill: Bill, layout: BillLayout) -> int:
    """Write section totals, markups and the grand total; returns the row after them."""
    sheet.headings(COLLECTION_ROW, COLLECTION)
    row = COLLECTION_ROW + 1
    net = row + len(layout.sections)
    for line in layout.sections:
        share = _share_of_net(row, net, line.total, bill.net_total)
        title = line.title + unpriced_words(sheet, line.unpriced)
        amount = Formula(f"={line.amount_cell}", line.total)
        _put_row(sheet, row, COLLECTION, (line.code, title, None, None, amount, share))
        row += 1
    span = f"E{COLLECTION_ROW + 2}:E{net}"
    net_sum = Formula(f"=SUM({span})" if layout.sections else "=0", bill.net_total)
    _put_total(sheet, row, _words(sheet, "Net total", layout), net_sum)
    row += 1
    for markup in bill.markups:
        base = f"=E{net + 1}" if markup.on_net else f"=SUM(E{net + 1}:E{row})"
        amount = Formula(f"=ROUND(D{row + 1}*C{row + 1}/100,{MONEY_DIGITS})", markup.amount)
        share = _share_of_net(row, net, markup.amount, bill.net_total)
        of = Formula(base, markup.base)
        _put_row(sheet, row, COLLECTION, (None, markup.name, markup.percent, of, amount, share))
        sheet.tell(row, "markup", markup.name, typed=(2,) if markup.typed else ())
        row += 1
    grand = Formula(f"=SUM(E{net + 1}:E{row})", bill.grand_total)
    look = {"font_size": 11, "top": 6, "bg_color": sheet.styles.look.colours.section_fill}
    _put_total(sheet, row, _words(sheet, "Grand total", layout), grand, bill.currency, **look)
    sheet.tell(row, "grand", bill.currency, bill.units)
    sheet.widen(4, shown_width(bill.grand_total, "money") + 2)
    return row + 1


def _words(sheet: Sheet, plain: str, layout: BillLayout) -> Formula:
    """The words of a total, which name the items that it lacks."""
    return total_words(sheet, plain, "", "", layout.amounts, layout.unpriced)


def _put_total(
    sheet: Sheet, row: int, words: Formula, amount: Formula, of: str = "", **properties: object
) -> None:
    for index, value in enumerate((None, words, None, of, amount, None)):
        kind = COLLECTION[index].kind
        sheet.put_as(row, index, value, sheet.styles.total(kind, **properties), kind)


def _put_row(sheet: Sheet, row: int, columns: Sequence[Column], cells: Sequence[object]) -> None:
    for index, (column, value) in enumerate(zip(columns, cells, strict=True)):
        dashed = {"num_format": number_format(column.kind, "-")} if column.kind in NUMBERS else {}
        sheet.put(row, index, value, column.kind, **dashed)
        if column.kind != "text":
            sheet.widen(index, shown_width(value, column.kind))


def _write_concrete(sheet: Sheet, row: int, parts: Sequence[MeasuredPart]) -> int:
    """Write net volume by role and method beside formwork and steel; returns the row after it."""
    sheet.headings(row, CONCRETE)
    shown = [role for role in ROLES if any(part.role == role and part.method in MADE for part in parts)]
    first = row + 1
    for index, role in enumerate(shown, start=first):
        members = [part for part in parts if part.role == role]
        _put_row(sheet, index, CONCRETE, ("", role, *_role_cells(index + 1, members)))
    end = first + len(shown)
    if not shown:
        sheet.put_as(end, 1, sheet.words("No concrete was measured."), sheet.styles.note)
        return end + 1
    for index, value in enumerate(("", sheet.words("All"), *_total_cells(first + 1, end, parts))):
        kind = CONCRETE[index].kind
        dashed = {"num_format": number_format(kind, "-")} if kind in NUMBERS else {}
        sheet.put_as(end, index, value, sheet.styles.total(kind, **dashed), kind)
    return end + 1


def _role_cells(number: int, members: Sequence[MeasuredPart]) -> tuple[Formula, ...]:
    """Cells of a role in row `number` (from 1), whose role stands in column B."""
    role = f"{element_column('role')},$B{number}"
    volume = element_column("net_volume_m3")
    cells = [
        Formula(
            f'=SUMIFS({volume},{role},{element_column("method")},"{method}")',
            _sum(part.net_volume_m3 for part in members if part.method == method),
        )
        for method in MADE
    ]
    form = Formula(
        f"=SUMIFS({element_column('formwork_m2')},{role})", _sum(part.formwork_m2 for part in members)
    )
    steel = Formula(
        f"=SUMIFS({element_column('reinforcement_kg')},{role})",
        _sum(part.reinforcement_kg for part in members),
    )
    return _with_ratios(number, cells, form, steel)


def _total_cells(first: int, end: int, parts: Sequence[MeasuredPart]) -> tuple[Formula, ...]:
    """Cells of the total under the rows `first` to `end` (from 1)."""

    def column(letter: str, value: float) -> Formula:
        return Formula(f"=SUM({letter}{first}:{letter}{end})", value)

    listed = [part for part in parts if part.role in ROLES]
    cells = [
        column("CDEFGH"[index], _sum(part.net_volume_m3 for part in listed if part.method == method))
        for index, method in enumerate(MADE)
    ]
    form = column("H", _sum(part.formwork_m2 for part in listed))
    steel = column("J", _sum(part.reinforcement_kg for part in listed))
    return _with_ratios(end + 1, cells, form, steel)


def _with_ratios(number: int, cells: list[Formula], form: Formula, steel: Formula) -> tuple[Formula, ...]:
    cast = float(cells[0].value)
    whole = math.fsum(float(cell.value) for cell in cells)
    return (
        *cells,
        Formula(f"=SUM(C{number}:F{number})", whole),
        form,
        Formula(f'=IF(C{number}>0,H{number}/C{number},"")', float(form.value) / cast if cast > 0 else ""),
        steel,
        Formula(f'=IF(G{number}>0,J{number}/G{number},"")', float(steel.value) / whole if whole > 0 else ""),
    )


def _write_findings(sheet: Sheet, row: int, parts: Sequence[MeasuredPart], findings: FindingsLayout) -> int:
    """Write how much needs a look and the foremost kinds of findings; returns the row after them."""
    sheet.headings(row, (Column(""), Column("What needs a look"), Column("Number", "count")))
    unresolved = sum(part.method == "unresolved" for part in parts)
    missing = sum(part.method in MADE and part.net_volume_m3 is None for part in parts)
    counted = f'=COUNTIF({element_column("method")},"unresolved")'
    lines: list[tuple[str, Formula | int]] = [
        ("Parts whose method is unresolved", Formula(counted, unresolved)),
        ("Parts that could not be measured", missing),
    ]
    for severity in SEVERITY_RANK:
        number = sum(len(kind.findings) for kind in findings.kinds if kind.severity == severity)
        text = f'=COUNTIF({findings.severities},"{severity}")'
        lines.append((f"Findings: {severity}s", Formula(text, number)))
    for words, value in lines:
        row += 1
        _put_count(sheet, row, sheet.words(words), value)
    for kind in findings.kinds[:TOP_KINDS]:
        row += 1
        text = f"=COUNTIFS({findings.severities},A{row + 1},{findings.names},B{row + 1})"
        _put_count(sheet, row, kind.kind, Formula(text, len(kind.findings)), kind.severity)
    return row + 1


def _put_count(sheet: Sheet, row: int, words: str, value: Formula | int, severity: str = "") -> None:
    sheet.put(row, 0, severity)
    sheet.put(row, 1, words)
    sheet.put(row, 2, value, "count")


def _sum(values: Iterable[float | None]) -> float:
    return math.fsum(value or 0.0 for value in values)


def _share_of_net(row: int, net: int, amount: float, total: float) -> Formula:
    """The amount in `row` over the net total in row `net` (both from 0)."""
    return Formula(f"=IF($E${net + 1}=0,0,E{row + 1}/$E${net + 1})", amount / total if total else 0.0)
