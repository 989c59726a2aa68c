"""The sheets Build-ups and Resources: what rates are made of, live down to the price of an hour."""

from collections.abc import Mapping, Sequence
from decimal import Decimal

from takeoff.outputs.workbook.bill import BillColumns
from takeoff.outputs.workbook.cells import Formula
from takeoff.outputs.workbook.columns import Column
from takeoff.outputs.workbook.sheet import FIRST_ROW, HEADING_ROW, Page, Sheet
from takeoff.pricing.money import MONEY_DIGITS, amount, exact, half_up
from takeoff.pricing.records import Bill, Item, PricedBuildUp
from takeoff.pricing.resources import LINE_DIGITS, Component, Resource

BUILD_UPS = (
    Column("Item or resource", "wrapped", widest=48, narrowest=40),
    Column("Kind", narrowest=11),
    Column("Unit", narrowest=6),
    Column("For one unit", "rate", narrowest=10),
    Column("Waste", "percent", narrowest=9),
    Column("Price", "rate", narrowest=10),
    Column("Rate", "rate", narrowest=11),
    Column("In this bill", "volume", narrowest=13),
    Column("Note", "wrapped", widest=30, narrowest=20),
)
RESOURCES = (
    Column("Resource", narrowest=26),
    Column("Kind", narrowest=11),
    Column("Unit", narrowest=6),
    Column("Price", "rate", narrowest=10),
    Column("In this bill", "volume", narrowest=13),
    Column("Amount", "money", narrowest=14),
    Column("Low", "rate", narrowest=9),
    Column("High", "rate", narrowest=9),
    Column("Source", "wrapped", widest=30, narrowest=20),
    Column("Date", narrowest=11),
    Column("Note", "wrapped", widest=30, narrowest=20),
)
MOST_KEYS = 40
"""Items of one build-up up to which their quantities are summed by formula: a formula has a limit."""


def write_build_ups(
    build_ups: Sheet, resources: Sheet, page: Page, bill: Bill, columns: BillColumns
) -> dict[str, str]:
    """Write both sheets; returns the cell of its rate for each item that a build-up prices."""
    used: dict[str, Resource] = {}
    for priced in bill.build_ups:
        for line in _lines(priced):
            used.setdefault(line.resource.name, line.resource)
    ordered = sorted(used.values(), key=lambda resource: (_KIND_ORDER[resource.kind], resource.name))
    price_cells = {
        resource.name: f"Resources!$D${FIRST_ROW + place + 1}" for place, resource in enumerate(ordered)
    }
    items = {item.key: item for section in bill.sections for item in section.items if item.key}
    needed: dict[str, float] = {}
    cells = _write_build_ups(build_ups, page, bill, columns, items, price_cells, needed)
    _write_resources(resources, page, ordered, needed)
    return cells


_KIND_ORDER = {"labour": 0, "plant": 1, "material": 2, "subcontract": 3}


def _lines(priced: PricedBuildUp) -> Sequence[Component]:
    return priced.rate.build_up.components if priced.rate.build_up else ()


def _write_build_ups(
    sheet: Sheet,
    page: Page,
    bill: Bill,
    columns: BillColumns,
    items: Mapping[str, Item],
    price_cells: Mapping[str, str],
    needed: dict[str, float],
) -> dict[str, str]:
    sheet.seal_column = len(BUILD_UPS)
    note = sheet.words(
        "Rates of the bill that are built up: so much of each resource for one unit of the item, with waste, at "
        "the price on the sheet Resources."
    )
    sheet.head(sheet.words("Build-ups"), note)
    sheet.headings(HEADING_ROW, BUILD_UPS)
    sheet.tell(HEADING_ROW, "head", *(column.heading for column in BUILD_UPS))
    cells: dict[str, str] = {}
    row = FIRST_ROW
    for priced in bill.build_ups:
        rate, lines = priced.rate, _lines(priced)
        first, last = row + 2, row + 1 + len(lines)
        own = [items[key] for key in priced.items if "rate" not in items[key].typed]
        whole = float(sum((exact(item.quantity) for item in own), exact(0.0)))
        quantity: Formula | float = whole
        if 0 < len(own) <= MOST_KEYS:
            sums = (
                f'SUMIFS({columns.whole("quantity")},{columns.whole("key")},"{item.key}")' for item in own
            )
            quantity = Formula("=" + "+".join(sums), whole)
        total = Formula(f"=ROUND(SUM(G{first}:G{last}),{MONEY_DIGITS})", rate.rate or 0.0)
        head = (rate.item, "", rate.unit, None, None, None, total, quantity, rate.note)
        for place, (column, value) in enumerate(zip(BUILD_UPS, head, strict=True)):
            sheet.put_as(row, place, value, sheet.styles.total(column.kind, top=0), column.kind)
        sheet.tell(row, "rate", rate.item)
        sheet.keep(row, last - 1)
        for key in priced.items:
            cells[key] = f"'Build-ups'!$G${row + 1}"
        for at, line in enumerate(lines, row + 1):
            _write_line(sheet, at, line, price_cells[line.resource.name], row + 1, whole)
            spent = float(half_up(_need(line) * exact(whole), LINE_DIGITS))
            needed[line.resource.name] = needed.get(line.resource.name, 0.0) + spent
        row = last + 1
    sheet.widen_to(BUILD_UPS)
    sheet.fit()
    sheet.set_up(page, len(BUILD_UPS) - 1, row, HEADING_ROW)
    return cells


def _need(line: Component) -> Decimal:
    """How much of the resource one unit of the item takes, waste included."""
    return exact(line.per_unit) * (1 + exact(line.waste_percent) / 100)


def _write_line(sheet: Sheet, row: int, line: Component, price: str, head: int, quantity: float) -> None:
    number, resource = row + 1, line.resource
    together = float(half_up(_need(line) * exact(quantity), LINE_DIGITS))
    values = (
        resource.name,
        resource.kind,
        resource.unit,
        line.per_unit,
        line.waste_percent or None,
        Formula(f"={price}", resource.price),
        Formula(
            f"=ROUND(D{number}*(1+E{number}/100)*F{number},{LINE_DIGITS})", float(line.amount(resource.price))
        ),
        Formula(f"=ROUND(D{number}*(1+E{number}/100)*$H${head},{LINE_DIGITS})", together),
        line.note,
    )
    for place, (column, value) in enumerate(zip(BUILD_UPS, values, strict=True)):
        sheet.put(row, place, value, column.kind, **({"indent": 2} if place == 0 else {}))
    sheet.tell(row, "component", resource.name)


def _write_resources(
    sheet: Sheet, page: Page, resources: Sequence[Resource], needed: Mapping[str, float]
) -> None:
    sheet.seal_column = len(RESOURCES)
    note = sheet.words(
        "Prices of the resources in the build-ups and how much of each this bill takes; type a price and every rate "
        "follows."
    )
    sheet.head(sheet.words("Resources"), note)
    sheet.headings(HEADING_ROW, RESOURCES)
    sheet.tell(HEADING_ROW, "head", *(column.heading for column in RESOURCES))
    for row, resource in enumerate(resources, FIRST_ROW):
        number = row + 1
        whole = float(half_up(exact(needed[resource.name]), LINE_DIGITS))
        together = f"SUMIFS('Build-ups'!$H:$H,'Build-ups'!$A:$A,$A{number},'Build-ups'!$B:$B,$B{number})"
        values = (
            resource.name,
            resource.kind,
            resource.unit,
            resource.price,
            Formula(f"=ROUND({together},{LINE_DIGITS})", whole),
            Formula(f"=ROUND(D{number}*E{number},{MONEY_DIGITS})", amount(whole, resource.price)),
            resource.low,
            resource.high,
            resource.source,
            resource.date,
            resource.note,
        )
        for place, (column, value) in enumerate(zip(RESOURCES, values, strict=True)):
            sheet.put(row, place, value, column.kind)
        sheet.tell(row, "resource", resource.name, typed=(3,) if resource.typed else ())
    sheet.widen_to(RESOURCES)
    sheet.fit()
    end = FIRST_ROW + len(resources) - 1
    sheet.raw.autofilter(HEADING_ROW, 0, max(end, FIRST_ROW), len(RESOURCES))
    sheet.set_up(page, len(RESOURCES) - 1, max(end, FIRST_ROW), HEADING_ROW)
