"""The sheet Summary: what each alternative comes to, where the difference lies, and in how far it is sure."""

from typing import Self

import xlsxwriter
from msgspec import Struct
from xlsxwriter.chart import Chart
from xlsxwriter.utility import xl_col_to_name

from takeoff.outputs.comparison.differences import DifferencesLayout
from takeoff.outputs.comparison.time import TimeLayout
from takeoff.outputs.workbook.cells import Formula
from takeoff.outputs.workbook.columns import Column, shown_width
from takeoff.outputs.workbook.sheet import HEADING_ROW, Page, Sheet
from takeoff.pricing.comparison import Comparison, Total
from takeoff.pricing.money import MONEY_DIGITS, exact_sum

FIRST = 2
"""Column of the first variant."""
ROW_PIXELS = 20


class SummaryPlan(Struct, frozen=True):
    """Rows (from 1) of Summary that other sheets name."""

    net: int
    markups: int
    grand: int
    weeks: int
    time_cost: int
    compared: int
    difference: int

    @classmethod
    def of(cls, comparison: Comparison) -> Self:
        """The rows: two parts of the net, net, markups, grand total, weeks, their cost, compared, difference."""
        count = len(comparison.variants[0].bill.markups)
        net = HEADING_ROW + 4
        grand = net + count + 1
        return cls(net, net + 1, grand, grand + 1, grand + 2, grand + 3, grand + 4)

    def difference_cell(self, place: int) -> str:
        """The cell of the difference of a variant, as other sheets name it."""
        return f"Summary!${xl_col_to_name(FIRST + place)}${self.difference}"


def write_summary(
    book: xlsxwriter.Workbook,
    sheet: Sheet,
    page: Page,
    comparison: Comparison,
    plan: SummaryPlan,
    differences: DifferencesLayout,
    time: TimeLayout,
) -> None:
    """Write the money by variant with its chart, then what the changes are."""
    variants = comparison.variants
    sheet.head(page.title, _verdict(comparison))
    columns = [Column("", narrowest=44), Column("Percent", "percent", narrowest=10)]
    columns += [Column(variant.name, "money", narrowest=18) for variant in variants]
    sheet.headings(HEADING_ROW, columns)
    row = HEADING_ROW + 1
    for words, cells, kind, strong in _lines(comparison, plan, differences, time):
        _write_line(sheet, row, words, cells, kind, strong)
        row += 1
    percents = variants[0].bill.markups
    for place, markup in enumerate(percents):
        sheet.put(plan.markups - 1 + place, 1, markup.percent, "percent")
    row = _write_sections(book, sheet, row + 1, comparison, plan, differences)
    row = _write_changes(sheet, row + 1, comparison)
    sheet.widen_to(columns)
    sheet.fit()
    sheet.set_up(page, FIRST + len(variants) - 1 + 4, row)


def _verdict(comparison: Comparison) -> str:
    """One line: which is the cheapest at the likely figures, and how sure that is."""
    totals = comparison.totals
    best = min(range(len(totals)), key=lambda place: totals[place].compared)
    chance = comparison.risk.cheapest[best]
    currency = f" {comparison.currency}" if comparison.currency else ""
    incomplete = max(total.unpriced for total in totals)
    missing = f" INCOMPLETE: up to {incomplete} items without a rate are in no total." if incomplete else ""
    return (
        f"Cheapest at the likely figures: {comparison.variants[best].name}, {totals[best].compared:,.2f}{currency}; "
        f"cheapest in {chance:.0%} of {comparison.risk.draws:,} draws.{missing}"
    )


Line = tuple[str, list[object], str, bool]


def _lines(
    comparison: Comparison, plan: SummaryPlan, differences: DifferencesLayout, time: TimeLayout
) -> list[Line]:
    """Lines of the table in order: words, a cell for each variant, kind of figure, whether it is a total."""
    totals = comparison.totals
    count = range(len(totals))
    letters = [xl_col_to_name(FIRST + place) for place in count]

    def line(words: str, text: str, values: list[float], kind: str = "money", strong: bool = False) -> Line:
        cells: list[object] = [
            Formula(text.format(c=letters[place], first=letters[0]), values[place]) for place in count
        ]
        return words, cells, kind, strong

    net = plan.net
    differing = [exact_sum((total.net, -total.common)) for total in totals]
    lines: list[Line] = [
        (
            "Items that differ",
            [Formula(f"={differences.sums[place]}", differing[place]) for place in count],
            "money",
            False,
        ),
        ("Items that are the same in all", [total.common for total in totals], "money", False),
        line("Net total", f"={{c}}{net - 2}+{{c}}{net - 1}", [t.net for t in totals], strong=True),
    ]
    for number, markup in enumerate(comparison.variants[0].bill.markups):
        of = f"{{c}}{net}" if markup.on_net else f"SUM({{c}}{net}:{{c}}{net + number})"
        text = f"=ROUND({of}*$B{net + 1 + number}/100,{MONEY_DIGITS})"
        amounts = [variant.bill.markups[number].amount for variant in comparison.variants]
        lines.append(line(markup.name, text, amounts))
    lines.append(
        line("Grand total", f"=SUM({{c}}{net}:{{c}}{plan.grand - 1})", [t.grand for t in totals], strong=True)
    )
    weeks: list[object] = [Formula(f"={time.weeks[place]}", totals[place].weeks) for place in count]
    lines.append(("Weeks, by the sheet Time", weeks, "ratio", False))
    lines.append(
        line(
            f"Site cost of the weeks beyond {comparison.variants[0].name}",
            f"=ROUND(({{c}}{plan.weeks}-${{first}}{plan.weeks})*{time.site_cost},{MONEY_DIGITS})",
            [t.time_cost for t in totals],
        )
    )
    lines.append(
        line(
            "To be compared",
            f"={{c}}{plan.grand}+{{c}}{plan.time_cost}",
            [t.compared for t in totals],
            strong=True,
        )
    )
    lines.append(
        line(
            f"Beyond {comparison.variants[0].name}",
            f"=ROUND({{c}}{plan.compared}-${{first}}{plan.compared},{MONEY_DIGITS})",
            [comparison.difference(place) for place in count],
            strong=True,
        )
    )
    base = totals[0].compared
    lines.append(
        line(
            "the same in per cent",
            f"=IF(${{first}}{plan.compared}=0,0,{{c}}{plan.difference}/${{first}}{plan.compared})",
            [comparison.difference(place) / base if base else 0.0 for place in count],
            "share",
        )
    )
    return [*lines, *_doubt_lines(comparison), *_piece_lines(comparison, differences, totals)]


def _doubt_lines(comparison: Comparison) -> list[Line]:
    risk = comparison.risk
    return [
        ("Chance of being the cheapest", list(risk.cheapest), "share", False),
        ("Low (one draw in ten is below)", [round(s.p10, 2) for s in risk.totals], "money", False),
        ("Middle", [round(s.p50, 2) for s in risk.totals], "money", False),
        ("High (one draw in ten is above)", [round(s.p90, 2) for s in risk.totals], "money", False),
    ]


def _piece_lines(
    comparison: Comparison, differences: DifferencesLayout, totals: tuple[Total, ...]
) -> list[Line]:
    measured = [variant.measurement for variant in comparison.variants]
    lines: list[Line] = [
        ("Pieces to lift", [len(own.pieces) for own in measured], "count", False),
        (
            "Heaviest piece t",
            [max((piece.weight_t for piece in own.pieces), default=0.0) for own in measured],
            "weight",
            False,
        ),
        (
            "Heaviest lift t, with rigging and dynamic factor",
            [max((lift.lifting_weight_t for lift in own.lifts), default=0.0) for own in measured],
            "weight",
            False,
        ),
        ("Lorry loads", [len(own.loads) for own in measured], "count", False),
        ("Moulds", [sum(row.moulds for row in own.moulds) for own in measured], "count", False),
    ]
    for measure in ("volume", "value"):
        shares: list[object] = [variant.share_of(measure) for variant in comparison.variants]
        lines.append((f"Prefabricated, of {measure}", shares, "share", False))
    if comparison.scores:
        points: list[object] = [score.total for score in comparison.scores]
        first = comparison.scores[0]
        lines.append((f"Score of {first.most:g} points: {first.name}", points, "area", False))
    if comparison.with_carbon:
        cells: list[object] = []
        for place, total in enumerate(totals):
            own = [line.cells[place] for line in comparison.lines]
            moving = sum((cell.carbon_kg or 0.0) for cell in own if cell is not None) / 1000.0
            whole = total.carbon_t or 0.0
            text = f"={differences.carbon[place]}/1000+{whole - moving!r}"
            cells.append(Formula(text, whole))
        lines.append(("Embodied carbon t, of the items with a factor", cells, "weight", False))
    return lines


def _write_line(sheet: Sheet, row: int, words: str, cells: list[object], kind: str, strong: bool) -> None:
    if strong:
        sheet.put_as(row, 0, words, sheet.styles.total())
        sheet.put_as(row, 1, None, sheet.styles.total())
    else:
        sheet.put(row, 0, words)
        sheet.put(row, 1, None)
    for place, value in enumerate(cells):
        form = sheet.styles.total(kind) if strong else sheet.styles.cell(kind)
        sheet.put_as(row, FIRST + place, value, form, kind)
        sheet.widen(FIRST + place, shown_width(value, kind))


def _write_sections(
    book: xlsxwriter.Workbook,
    sheet: Sheet,
    row: int,
    comparison: Comparison,
    plan: SummaryPlan,
    differences: DifferencesLayout,
) -> int:
    """Write where the difference lies, by section of the bill, and draw it; returns the row after it."""
    variants = comparison.variants
    columns = [Column("Where the difference lies"), Column("")]
    columns += [Column(variant.name, "money") for variant in variants]
    sheet.headings(row, columns)
    first = row + 1
    for title in differences.titles:
        row += 1
        sheet.put(row, 0, title)
        sheet.put(row, 1, None)
        own = [line for line in comparison.lines if line.section == title]
        for place in range(len(variants)):
            sums = [
                f"SUMIFS({differences.amounts[side]},{differences.sections},$A{row + 1})"
                for side in (place, 0)
            ]
            value = exact_sum(line.difference(place) for line in own)
            sheet.put(
                row, FIRST + place, Formula(f"=ROUND({sums[0]}-{sums[1]},{MONEY_DIGITS})", value), "money"
            )
    markups = [exact_sum((total.grand, -total.net)) for total in comparison.totals]
    for words, rows, values in (
        ("Markups", (plan.grand, plan.net), [exact_sum((own, -markups[0])) for own in markups]),
        ("Site cost of the weeks", (plan.time_cost,), [total.time_cost for total in comparison.totals]),
    ):
        row += 1
        sheet.put(row, 0, words)
        sheet.put(row, 1, None)
        for place, value in enumerate(values):
            sides = []
            for letter in (xl_col_to_name(FIRST + place), f"${xl_col_to_name(FIRST)}"):
                sides.append("-".join(f"{letter}{number}" for number in rows))
            text = f"=ROUND(({sides[0]})-({sides[1]}),{MONEY_DIGITS})"
            sheet.put(row, FIRST + place, Formula(text, value), "money")
    if len(variants) > 1:
        chart = _chart(book, sheet, comparison, first, row)
        height = 110 + 26 * (row - first + 1)
        chart.set_size({"width": 860, "height": height})
        words = "Bars: difference of each alternative by section of the bill"
        sheet.raw.insert_chart(row + 2, 0, chart, {"x_offset": 8, "description": words})
        row += 2 + height // ROW_PIXELS
        sheet.raw.set_h_pagebreaks([first - 1, row + 2])  # the chart with its table, then what is compared
    return row + 1


def _chart(book: xlsxwriter.Workbook, sheet: Sheet, comparison: Comparison, first: int, last: int) -> Chart:
    colours = sheet.styles.look.colours
    small = {"name": sheet.styles.look.font.name, "size": 9, "color": colours.ink}
    chart = book.add_chart({"type": "bar"})
    palette = (colours.prefabricated, colours.other, colours.attention_ink, colours.rule, colours.muted)
    for place, variant in enumerate(comparison.variants[1:], start=1):
        chart.add_series(
            {
                "name": variant.name[:60],
                "categories": ["Summary", first, 0, last, 0],
                "values": ["Summary", first, FIRST + place, last, FIRST + place],
                "fill": {"color": palette[(place - 1) % len(palette)]},
                "border": {"none": True},
                "gap": 70,
            }
        )
    title = f"Cost beyond {comparison.variants[0].name}, by section"
    chart.set_title({"name": title[:120], "name_font": {**small, "size": 11, "bold": True}})
    chart.set_y_axis(
        {"reverse": True, "num_font": small, "label_position": "low", "line": {"color": colours.line}}
    )
    chart.set_x_axis(
        {
            "num_font": small,
            "num_format": "#,##0",
            "label_position": "high",
            "major_gridlines": {"visible": True, "line": {"color": colours.line}},
        }
    )
    chart.set_legend({"position": "bottom", "font": small})
    chart.set_chartarea({"border": {"none": True}})
    return chart


def _write_changes(sheet: Sheet, row: int, comparison: Comparison) -> int:
    """Write what each variant is, in words; returns the row after it."""
    sheet.headings(row, (Column("What is compared"), Column("")))
    for variant in comparison.variants:
        row += 1
        sheet.put_as(row, 0, variant.name, sheet.styles.of(bold=True))
        for text in (variant.note, *variant.changes):
            if text:
                row += 1
                sheet.put_as(row, 0, text, sheet.styles.of(indent=1))
    row += 2
    sheet.put_as(row, 0, comparison.production.caution, sheet.styles.note)
    return row + 1
