"""Trend pictures for the report: small line drawings as SVG, made of numbers and escaped texts only."""

from collections.abc import Sequence
from datetime import datetime

from markupsafe import Markup, escape

WIDTH, HEIGHT, EDGE = 320, 90, 8


def trend_picture(points: Sequence[tuple[datetime, float]], label: str, shown: Sequence[str]) -> Markup:
    """A line through values over time, the last one marked; empty with fewer than two.

    `label` and the texts `shown` of the first and last value are read out to those who cannot see it.
    """
    known = [(moment.timestamp(), value) for moment, value in points]
    if len(known) < 2:
        return Markup("")
    first, last = known[0][0], known[-1][0]
    low, high = min(value for _, value in known), max(value for _, value in known)
    span, height = (last - first) or 1.0, (high - low) or 1.0
    flat = high == low
    places = [
        (
            EDGE + (WIDTH - 2 * EDGE) * (moment - first) / span,
            HEIGHT / 2 if flat else HEIGHT - EDGE - (HEIGHT - 2 * EDGE) * (value - low) / height,
        )
        for moment, value in known
    ]
    line = " ".join(f"{x:.1f},{y:.1f}" for x, y in places)
    told = f"{label}: {shown[0]} to {shown[-1]} in {len(known)} steps"
    return Markup(
        '<svg class="trend" viewBox="0 0 {w} {h}" role="img" aria-label="{told}"><title>{told}</title>'
        '<line class="base" x1="{e}" y1="{b}" x2="{r}" y2="{b}"/><polyline points="{line}"/>'
        '<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5"/></svg>'
    ).format(
        w=WIDTH, h=HEIGHT, told=escape(told), e=EDGE, b=HEIGHT - EDGE + 4, r=WIDTH - EDGE, line=line,
        x=places[-1][0], y=places[-1][1],
    )  # fmt: skip
