"""The closing words of a comparison for a terminal of 80 columns."""

import textwrap

from takeoff.outputs.text import shortened
from takeoff.pricing.comparison import Comparison
from takeoff.told import counted

WIDTH = 80


def comparison_lines(comparison: Comparison) -> list[str]:
    """Money, weeks and chance by alternative, and what moves the difference most."""
    lines = [f"{'':26}{'to be compared':>16}{'difference':>14}{'weeks':>8}{'cheapest':>10}"]
    for place, variant in enumerate(comparison.variants):
        total = comparison.totals[place]
        lines.append(
            f"{_plain(variant.name, 25):26}{total.compared:>16,.2f}{comparison.difference(place):>+14,.2f}"
            f"{total.weeks:>8.1f}{comparison.risk.cheapest[place]:>10.0%}"
        )
    if comparison.scores:
        points = "; ".join(
            f"{_plain(variant.name, 25)} {score.total:,.2f}"
            for variant, score in zip(comparison.variants, comparison.scores, strict=True)
        )
        most = comparison.scores[0].most
        lines += textwrap.wrap(f"Score of {most:g} points: {points}", WIDTH - 1, subsequent_indent="  ")
    if comparison.currency:
        lines[0] = f"{'in ' + _plain(comparison.currency, 20):26}{lines[0][26:]}"
    differing = counted(len(comparison.lines), "item differs", "items differ")
    lines.append(f"{differing}, {comparison.common_items} are the same in all")
    for place, variant in enumerate(comparison.variants[1:], start=1):
        names = [_plain(swing.name, 50) for swing in comparison.swings if swing.alternative == place][:3]
        if names:
            line = f"{_plain(variant.name, 25)} turns most on: {names[0]}"
            for name in names[1:]:
                line += f"; {name}" if len(line) + len(name) + 2 <= WIDTH else ""
            lines.append(shortened(line, WIDTH))
    unpriced = max(total.unpriced for total in comparison.totals)
    if unpriced:
        lines.append(f"INCOMPLETE: up to {unpriced} items without a rate, not in the totals")
    errors = sum(finding.severity == "error" for finding in comparison.findings)
    if errors:
        lines.append(f"{errors} errors in the alternatives: see the sheet Basis")
    return lines


def _plain(text: str, limit: int) -> str:
    return shortened("".join(c for c in text if c.isprintable()), limit)
