"""What a bill lacks or rests on guesses: findings of the pricing stage."""

from collections.abc import Iterable, Sequence
from pathlib import Path

from takeoff.findings import Finding
from takeoff.measuring.records import Measurement
from takeoff.pricing.rates import Rate, RateBook
from takeoff.pricing.records import Dimension, Item
from takeoff.pricing.register import Register
from takeoff.pricing.sections import SectionPlan

EXAMPLE = "example value"
"""The words by which shipped, invented figures are marked in the data files."""

RECTANGULAR = 0.995
"""A panel counts as rectangular when its outline fills this share of the surrounding rectangle."""


def is_example(source: str) -> bool:
    """Whether a source says that its figure is an example."""
    return EXAMPLE in source.casefold()


def unpriced_items(items: Iterable[Item]) -> list[Finding]:
    """A finding for each item without a rate, with the key that a rate needs."""
    return [
        Finding(
            "warning",
            "item-unpriced",
            "",
            "",
            f"item {item.number} has no rate: add a line for {item.key} in {item.unit} to the rates",
            "left out of the totals",
            item.quantity,
            "pieces" if item.unit == "nr" else item.unit,
        )
        for item in items
        if item.rate is None
    ]


def example_rates(items: Iterable[Item], rates: RateBook, used: Iterable[Rate]) -> list[Finding]:
    """One finding when any item is priced by a shipped example."""
    lines = sum(1 for rate in used if is_example(rate.source))
    if not lines:
        return []
    count = sum(1 for item in items if item.rate is not None and is_example(item.rate_source))
    return [
        Finding(
            "warning",
            "rates-are-examples",
            "",
            "",
            f"{count} items are priced with invented example rates ({lines} lines of "
            f"{Path(rates.file).name}): put your own rates there before you use a total",
            "priced with example values",
        )
    ]


def allowed_items(items: Sequence[Item], plan: SectionPlan) -> list[Finding]:
    """A finding for each item whose quantity is an allowance and not a measure."""
    return [
        Finding(
            "note",
            "item-by-allowance",
            "",
            "",
            f"item {item.number} is counted by an allowance: replace it by the design's own number",
            rule.allow.because,
            item.quantity,
            "pieces",
        )
        for section in plan.sections
        for rule in section.items
        if rule.allow
        for item in items
        if rule.makes(item.key)
    ]


def unmeasured_parts(measurement: Measurement) -> list[Finding]:
    """One finding when concrete parts have no volume, so that the bill cannot hold them."""
    parts = [
        part
        for part in measurement.parts
        if part.net_volume_m3 is None and part.method not in ("not-concrete", "")
    ]
    if not parts:
        return []
    one = len(parts) == 1
    return [
        Finding(
            "error",
            "parts-not-in-bill",
            parts[0].model if one else "",
            parts[0].global_id if one else "",
            f"{len(parts)} {'part' if one else 'parts'} could not be measured and the bill lacks "
            f"{'it' if one else 'them'}: see the element's own finding and take it off by hand",
            "left out of the bill",
            float(len(parts)),
            "pieces",
        )
    ]


def assumed_edges(
    measurement: Measurement, plan: SectionPlan, dimensions: Sequence[Dimension]
) -> list[Finding]:
    """Pieces of no rectangular outline whose edge forms are billed by the girth of a rectangle."""
    rules = [rule for section in plan.sections for rule in section.items if rule.measure == "edge_length"]
    edged = {
        (dimension.model, dimension.global_id)
        for dimension in dimensions
        if any(rule.makes(dimension.item) for rule in rules)
    }
    register = Register.of(measurement)
    findings: list[Finding] = []
    for piece in measurement.pieces:
        if (piece.model, piece.global_id) not in edged:
            continue
        holes = register.holes_in(piece)
        box = piece.length_m * piece.width_m
        outline = piece.largest_face_m2 + sum(hole.area_m2 for hole in holes)
        if outline >= RECTANGULAR * box:
            continue
        girth = 2.0 * (piece.length_m + piece.width_m)
        findings.append(
            Finding(
                "note",
                "edge-length-assumed",
                piece.model,
                piece.global_id,
                f"panel {piece.mark or piece.global_id} fills {outline:.2f} of the {box:.2f} m2 around it: "
                "check the length of its edge forms",
                f"edge forms by the girth of the surrounding rectangle, {girth:.2f} m",
                girth,
                "m",
            )
        )
    return findings
