"""Charts of the page as rows: a label, the figure in words, and how long its bar is."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from msgspec import Struct

from takeoff.pricing.unit_systems import METRIC, UnitSystem

if TYPE_CHECKING:
    from takeoff.measuring.records import FormworkRow
    from takeoff.pricing.comparison import Comparison
    from takeoff.pricing.records import Bill, ShareRow


class Bar(Struct, frozen=True):
    """One bar: `length` from 0 to 100."""

    label: str
    figure: str
    length: float


class Chart(Struct, frozen=True):
    """A chart and what it says in one sentence, for those who do not see it."""

    title: str
    bars: tuple[Bar, ...]
    says: str


def page_charts(
    shares: "Sequence[ShareRow]",
    formwork: "Sequence[FormworkRow]",
    bill: "Bill | None",
    system: UnitSystem = METRIC,
) -> tuple[Chart, ...]:
    """The charts that have anything to show."""
    charts = [_share(shares), _share_by(shares, "role"), _share_by(shares, "storey")]
    if bill is not None:
        sums = [(f"{section.code} {section.title}", section.total) for section in bill.sections]
        charts.append(_sums("Cost by section", sums, bill.currency or "units"))
    areas: dict[str, list[float]] = {}
    for row in formwork:
        areas.setdefault(row.category, []).append(row.area_m2 * system.factor("m2"))
    largest = sorted(((name, math.fsum(own)) for name, own in areas.items()), key=lambda entry: -entry[1])
    charts.append(_sums("Formwork by category", largest, system.unit("m2")))
    return tuple(chart for chart in charts if chart.bars)


def comparison_chart(comparison: "Comparison") -> Chart:
    """What each alternative costs with its weeks, beside the first."""
    most = max((total.compared for total in comparison.totals), default=0.0)
    bars = []
    for place, (variant, total) in enumerate(zip(comparison.variants, comparison.totals, strict=True)):
        words = [f"{total.compared:,.2f} {comparison.currency}".strip()]
        if place:
            words.append(f"{comparison.difference(place):+,.2f}")
        words.append(f"{total.weeks:.1f} weeks")
        if total.unpriced:
            words.append(f"{total.unpriced} items without a rate")
        length = round(100.0 * max(total.compared, 0.0) / most, 2) if most else 0.0
        bars.append(Bar(variant.name, ", ".join(words), length))
    says = f"Grand totals with the site cost of the weeks; the model shows {comparison.variants[0].name}."
    return Chart("Alternatives", tuple(bars), says)


def _share(shares: "Sequence[ShareRow]") -> Chart:
    bars = tuple(_share_bar(row.measure, row) for row in shares if row.by == "all" and row.share is not None)
    return Chart("Prefabrication share", bars, "Precast and tilt-up against all concrete, by each measure.")


def _share_by(shares: "Sequence[ShareRow]", by: str) -> Chart:
    rows = [row for row in shares if row.by == by and row.measure == "volume" and row.share is not None]
    bars = tuple(_share_bar(row.group or "none", row) for row in rows)
    return Chart(f"Share of volume by {by}", bars, f"Precast and tilt-up against all concrete of each {by}.")


def _share_bar(label: str, row: "ShareRow") -> Bar:
    share = row.share or 0.0
    figure = f"{share:.1%} ({row.prefabricated:,.1f} of {row.total:,.1f} {row.unit})"
    return Bar(label, figure, round(100.0 * min(max(share, 0.0), 1.0), 2))


def _sums(title: str, sums: Sequence[tuple[str, float]], unit: str) -> Chart:
    shown = [(label, value) for label, value in sums if value]
    most = max((abs(value) for _, value in shown), default=0.0)
    total = math.fsum(value for _, value in shown)
    bars = tuple(
        Bar(label, f"{value:,.2f} {unit} ({value / total:.0%})" if total else f"{value:,.2f} {unit}",
            round(100.0 * max(value, 0.0) / most, 2))
        for label, value in shown
    )  # fmt: skip
    return Chart(title, bars, f"{total:,.2f} {unit} in all.")
