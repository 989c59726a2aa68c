"""The sheet Time: production that a person may change, and the weeks that follow from it."""

from msgspec import Struct

from takeoff.outputs.workbook.cells import Formula
from takeoff.outputs.workbook.columns import Column
from takeoff.outputs.workbook.sheet import HEADING_ROW, Page, Sheet
from takeoff.pricing.comparison import Comparison
from takeoff.pricing.production import Trade
from takeoff.pricing.time import Step

WEEKS = (
    Column("", narrowest=24),
    Column("Days", "ratio", narrowest=14),
    Column("Weeks", "ratio", narrowest=30),
    Column("Beyond the first", "ratio", narrowest=26),
)
PRODUCTION = (
    Column("Stage"),
    Column("Trade"),
    Column("Unit"),
    Column("Low", "rate"),
    Column("Likely", "rate", narrowest=10),
    Column("High", "rate", narrowest=9),
    Column("People or teams", "rate", narrowest=10),
    Column("Means", narrowest=16),
    Column("Source", "wrapped", narrowest=12),
)
PROGRAMME = (
    Column("Alternative"),
    Column("Storey"),
    Column("Stage"),
    Column("Trade"),
    Column("Quantity", "volume", narrowest=11),
    Column("Unit", narrowest=9),
    Column("Trade days", "ratio"),
    Column("Work days", "ratio"),
    Column("Wait days", "ratio", narrowest=12),
    Column("Days", "ratio", narrowest=10),
)
LAST = len(PROGRAMME) - 1


class TimeLayout(Struct, frozen=True):
    """Cells of the weeks by variant, and of the site cost a week."""

    weeks: tuple[str, ...]
    site_cost: str


def write_time(sheet: Sheet, page: Page, comparison: Comparison) -> TimeLayout:
    """Write weeks, production and programme, the days as formulas; returns where the weeks stand."""
    production = comparison.production
    sheet.head("Time", production.caution)
    variants = comparison.variants
    basics = HEADING_ROW + len(variants) + 3
    lines = (
        ("Hours a day", production.hours_a_day, ""),
        ("Days a week", production.days_a_week, ""),
        ("Share of the shorter trades beside the longest", production.overlap, ""),
        ("Site cost a week", production.site_cost_a_week.likely, production.site_cost_source),
    )
    hours, week, overlap, site = (f"$B${basics + 1 + place}" for place in range(len(lines)))
    made = basics + len(lines) + 1
    used = sorted(
        {(task.stage, task.trade) for v in variants for step in v.programme.steps for task in step.tasks}
    )
    stages = sorted({stage for stage, _ in used})
    rates = {look: made + 2 + place for place, look in enumerate(used)}
    waits = {stage: made + 2 + len(used) + place for place, stage in enumerate(stages)}
    first = made + 2 + len(used) + len(stages) + 1
    rows = sum(len(step.tasks) + 1 for v in variants for step in v.programme.steps)
    last = first + 1 + max(rows, 1)
    _write_weeks(sheet, comparison, week, f"$A${first + 2}:$A${last}", f"$J${first + 2}:$J${last}")
    for place, (words, figure, source) in enumerate(lines):
        sheet.put(basics + place, 0, words)
        sheet.put(basics + place, 1, figure, "rate")
        sheet.put(basics + place, 2, source)
    _write_production(sheet, comparison, made, rates, waits)
    sheet.put_as(first - 1, 0, "Programme in a simple sequence", sheet.styles.subtitle)
    sheet.headings(first, PROGRAMME)
    row = first + 1
    for variant in variants:
        for step in variant.programme.steps:
            row = _write_step(sheet, row, variant.name, step, comparison, rates, waits, (hours, overlap))
    for columns in (WEEKS, PRODUCTION, PROGRAMME):
        sheet.widen_to(columns)
    sheet.fit()
    sheet.set_up(page, LAST, row)
    place = HEADING_ROW + 2
    return TimeLayout(tuple(f"Time!$C${place + number}" for number in range(len(variants))), f"Time!{site}")


def _write_weeks(sheet: Sheet, comparison: Comparison, week: str, names: str, days: str) -> None:
    sheet.headings(HEADING_ROW, WEEKS)
    for place, variant in enumerate(comparison.variants):
        row = HEADING_ROW + 1 + place
        programme = variant.programme
        sheet.put(row, 0, variant.name)
        sheet.put(row, 1, Formula(f"=SUMIFS({days},{names},A{row + 1})", programme.days), "ratio")
        sheet.put(row, 2, Formula(f"=B{row + 1}/{week}", programme.weeks), "ratio")
        beyond = programme.weeks - comparison.variants[0].programme.weeks
        sheet.put(row, 3, Formula(f"=C{row + 1}-$C${HEADING_ROW + 2}", beyond), "ratio")


def _write_production(
    sheet: Sheet, comparison: Comparison, made: int, rates: dict[tuple[int, int], int], waits: dict[int, int]
) -> None:
    stages = comparison.production.stages
    sheet.put_as(made, 0, "Production: change the likely figures and the weeks follow", sheet.styles.subtitle)
    sheet.headings(made + 1, PRODUCTION)
    for (number, place), row in rates.items():
        trade = stages[number].trades[place]
        people = trade.crew if trade.hours is not None else trade.teams
        means = (
            f"hours for one {trade.unit}" if trade.hours is not None else f"{trade.unit} a day for one team"
        )
        doubt = trade.doubt
        cells: tuple[object, ...] = (
            stages[number].name, trade.name, trade.unit, doubt.low, doubt.likely, doubt.high, people, means,
            trade.source,
        )  # fmt: skip
        for column, value in enumerate(cells):
            sheet.put(row, column, value, PRODUCTION[column].kind if column != 8 else "text")
    for number, row in waits.items():
        doubt = stages[number].wait_days
        cells = (
            stages[number].name, "wait", "days", doubt.low, doubt.likely, doubt.high, None, "days to wait",
            stages[number].because,
        )  # fmt: skip
        for column, value in enumerate(cells):
            sheet.put(row, column, value, PRODUCTION[column].kind if column != 8 else "text")


def _write_step(
    sheet: Sheet,
    row: int,
    name: str,
    step: Step,
    comparison: Comparison,
    rates: dict[tuple[int, int], int],
    waits: dict[int, int],
    basics: tuple[str, str],
) -> int:
    """Write the tasks of a step and its total; returns the next row."""
    stage = comparison.production.stages[step.stage]
    hours, overlap = basics
    first = row + 1
    for task in step.tasks:
        trade = stage.trades[task.trade]
        made = rates[task.stage, task.trade] + 1
        text = _days(trade, row + 1, made, hours)
        # The name stands in the step's row only, so that days are summed there.
        cells: tuple[object, ...] = (
            None,
            step.storey,
            stage.name,
            trade.name,
            task.quantity,
            trade.unit,
            Formula(text, task.days),
        )
        for column, value in enumerate(cells):
            sheet.put(row, column, value, PROGRAMME[column].kind)
        row += 1
    span = f"G{first}:G{row}"
    work = f"=MAX({span})+(1-{overlap})*(SUM({span})-MAX({span}))"
    wait = Formula(f"=$E${waits[step.stage] + 1}", step.wait_days)
    whole = Formula(f"=H{row + 1}+I{row + 1}", step.work_days + step.wait_days)
    cells = (
        name,
        step.storey,
        stage.name,
        "together",
        None,
        "",
        None,
        Formula(work, step.work_days),
        wait,
        whole,
    )
    for column, value in enumerate(cells):
        kind = PROGRAMME[column].kind
        sheet.put_as(row, column, value, sheet.styles.total(kind), kind)
    return row + 1


def _days(trade: Trade, row: int, made: int, hours: str) -> str:
    if trade.hours is not None:
        return f"=E{row}*$E${made}/($G${made}*{hours})"
    return f"=E{row}/($E${made}*$G${made})"
