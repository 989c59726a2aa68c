"""The sheet Sensitivity: chances, what moves the difference most, and the rates at which alternatives meet."""

from collections.abc import Sequence

import xlsxwriter

from takeoff.outputs.comparison.summary import SummaryPlan
from takeoff.outputs.workbook.cells import Formula
from takeoff.outputs.workbook.columns import Column, shown_width
from takeoff.outputs.workbook.sheet import HEADING_ROW, Page, Sheet
from takeoff.pricing.comparison import Comparison
from takeoff.pricing.sensitivity import LEAST, BreakEven, Swing

MOST_BARS = 12
MOST_SWINGS = 20
MOST_BREAK_EVENS = 40

CHANCES = (
    Column("Alternative", narrowest=36),
    Column("Likely", "money", narrowest=14),
    Column("Mean", "money", narrowest=14),
    Column("Deviation", "money", narrowest=14),
    Column("P10", "money", narrowest=14),
    Column("P50", "money", narrowest=14),
    Column("P90", "money", narrowest=14),
    Column("Cheapest", "share", narrowest=10),
    Column("Difference P10", "money", narrowest=14),
    Column("Difference P90", "money", narrowest=14),
)
TORNADO = (
    Column("What is in doubt"),
    Column("Kind"),
    Column("Unit"),
    Column("Low", "rate"),
    Column("Likely", "rate"),
    Column("High", "rate"),
    Column("Difference at low", "money"),
    Column("Difference at high", "money"),
    Column("Lower end", "money"),
    Column("Swing", "money"),
)
MEET = (
    Column("Rate or price"),
    Column("Unit"),
    Column("Likely", "rate"),
    Column("They meet at", "rate"),
    Column("That is times", "rate"),
    Column("Difference grows by, if doubled", "money"),
    Column("Remark"),
)


def write_sensitivity(
    book: xlsxwriter.Workbook, sheet: Sheet, page: Page, comparison: Comparison, plan: SummaryPlan
) -> None:
    """Write chances, then for each alternative its tornado with a chart, and the break-evens."""
    risk = comparison.risk
    sheet.head(
        "Sensitivity",
        f"{risk.draws:,} draws with seed {risk.seed}; triangular between low and high with the peak at likely. Chances "
        "and swings are the engine's; break-evens follow the sheets Differences and Summary.",
    )
    sheet.headings(HEADING_ROW, CHANCES)
    row = HEADING_ROW + 1
    for place, variant in enumerate(comparison.variants):
        total, difference = risk.totals[place], risk.differences[place]
        cells = (
            variant.name, comparison.totals[place].compared, total.mean, total.deviation, total.p10, total.p50,
            total.p90, risk.cheapest[place], difference.p10, difference.p90,
        )  # fmt: skip
        for column, value in enumerate(cells):
            sheet.put(row, column, value, CHANCES[column].kind)
            if column:
                sheet.widen(column, shown_width(value, CHANCES[column].kind))
        row += 1
    breaks = []
    for place, variant in enumerate(comparison.variants[1:], start=1):
        if place > 1:
            breaks.append(row)
        swings = [swing for swing in comparison.swings if swing.alternative == place][:MOST_SWINGS]
        row = _write_tornado(book, sheet, row + 1, variant.name, swings, comparison, breaks)
        found = [entry for entry in comparison.break_evens if entry.alternative == place][:MOST_BREAK_EVENS]
        row = _write_break_evens(sheet, row + 1, found, comparison, plan, place)
    sheet.raw.set_h_pagebreaks(breaks)
    sheet.widen_to(CHANCES)
    sheet.fit()
    sheet.set_up(page, len(CHANCES) - 1, row)


def _write_tornado(
    book: xlsxwriter.Workbook,
    sheet: Sheet,
    row: int,
    name: str,
    swings: Sequence[Swing],
    comparison: Comparison,
    breaks: list[int],
) -> int:
    """Write what moves the difference, and its bars on a page of their own; returns the row after them."""
    first_name = comparison.variants[0].name
    sheet.put_as(row, 0, f"What moves the difference of {name} to {first_name}", sheet.styles.subtitle)
    sheet.headings(row + 1, TORNADO)
    row += 2
    first = row
    for swing in swings:
        low, high = sorted((swing.at_low, swing.at_high))
        cells = (
            swing.name, swing.kind, swing.unit, swing.low, swing.likely, swing.high, swing.at_low, swing.at_high,
            Formula(f"=MIN(G{row + 1}:H{row + 1})", low), Formula(f"=ABS(H{row + 1}-G{row + 1})", high - low),
        )  # fmt: skip
        for column, value in enumerate(cells):
            sheet.put(row, column, value, TORNADO[column].kind)
        row += 1
    if not swings:
        sheet.put_as(row, 0, "Nothing in doubt moves it.", sheet.styles.note)
        return row + 1
    bars = min(len(swings), MOST_BARS)
    breaks.append(row)
    likely = comparison.difference(swings[0].alternative)
    return _draw(book, sheet, row, first, bars, name, likely)


def _draw(
    book: xlsxwriter.Workbook, sheet: Sheet, row: int, first: int, bars: int, name: str, likely: float
) -> int:
    """Bars from the likely difference to those at both ends; returns the row after the chart."""
    colours = sheet.styles.look.colours
    small = {"name": sheet.styles.look.font.name, "size": 9, "color": colours.ink}
    chart = book.add_chart({"type": "bar", "subtype": "clustered"})
    for column, words, colour in (
        (6, "at the low figure", colours.prefabricated),
        (7, "at the high figure", colours.other),
    ):
        chart.add_series(
            {
                "name": words,
                "categories": ["Sensitivity", first, 0, first + bars - 1, 0],
                "values": ["Sensitivity", first, column, first + bars - 1, column],
                "fill": {"color": colour},
                "border": {"none": True},
                "gap": 40,
                "overlap": 100,
            }
        )
    title = f"{name}: difference when one figure is low or high"[:120]
    chart.set_title({"name": title, "name_font": {**small, "size": 11, "bold": True}})
    chart.set_y_axis(
        {"reverse": True, "num_font": small, "label_position": "low", "line": {"color": colours.line}}
    )
    chart.set_x_axis(
        {
            "num_font": small,
            "num_format": "#,##0",
            "label_position": "high",
            "crossing": likely,
            "major_gridlines": {"visible": True, "line": {"color": colours.line}},
        }
    )
    chart.set_legend({"position": "bottom", "font": small})
    chart.set_chartarea({"border": {"none": True}})
    height = 130 + 26 * bars
    chart.set_size({"width": 980, "height": height})
    sheet.raw.insert_chart(row + 1, 0, chart, {"x_offset": 8, "description": f"Tornado of {name}"})
    return row + 2 + height // 20


def _write_break_evens(
    sheet: Sheet,
    row: int,
    found: Sequence[BreakEven],
    comparison: Comparison,
    plan: SummaryPlan,
    place: int,
) -> int:
    """Write at which rates the alternative costs as much as the first; returns the row after it."""
    names = f"{comparison.variants[place].name} and {comparison.variants[0].name}"
    sheet.put_as(row, 0, f"Where {names} meet, each price by itself", sheet.styles.subtitle)
    sheet.headings(row + 1, MEET)
    row += 2
    difference = plan.difference_cell(place)
    for entry in found:
        number = row + 1
        factor = f"1-{difference}/F{number}"
        never = "" if entry.factor is not None else "no rate above zero does it"
        still = abs(entry.slope) < LEAST
        if still:
            never = "does not move the difference"
        times: object = (
            ""
            if still
            else Formula(f'=IF({factor}<0,"",{factor})', "" if entry.factor is None else entry.factor)
        )
        meets: object = ""
        if entry.likely is not None and not still:
            meets = Formula(
                f'=IF(ISNUMBER(E{number}),C{number}*E{number},"")', "" if entry.rate is None else entry.rate
            )
        cells = (entry.name, entry.unit, entry.likely, meets, times, entry.slope, never)
        for column, value in enumerate(cells):
            sheet.put(row, column, value, MEET[column].kind)
        row += 1
    if not found:
        sheet.put_as(row, 0, "No price within five times the likely one does it.", sheet.styles.note)
        row += 1
    return row
