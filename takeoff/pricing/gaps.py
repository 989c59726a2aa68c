"""What a bill lacks or rests on guesses: findings of the pricing stage."""

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from takeoff.findings import Finding
from takeoff.measuring.records import Measurement
from takeoff.pricing.money import exact_sum
from takeoff.pricing.rates import Rate, RateBook
from takeoff.pricing.records import TYPED, Item
from takeoff.pricing.sections import SectionPlan
from takeoff.told import counted

EXAMPLE = "example value"
"""The words by which shipped, invented figures are marked in the data files."""

ALLOWED_MEASURES = ("connections", "inserts", "braces")
"""Numbers that data files allow for each piece or joint."""


def is_example(source: str) -> bool:
    """Whether a source says that its figure is an example."""
    return EXAMPLE in source.casefold()


def unpriced_items(items: Iterable[Item]) -> list[Finding]:
    """A finding for each item without a rate, with what to do about it."""
    return [
        Finding(
            "warning",
            "item-unpriced",
            "",
            "",
            _no_rate(item),
            "left out of the totals",
            item.quantity,
            "pieces" if item.unit == "nr" else item.unit,
        )
        for item in items
        if item.rate is None and item.by_hand != "text"
    ]


def _no_rate(item: Item) -> str:
    if item.by_hand:
        return f"{item.description or 'a line'}, written by hand, has no rate: type one into the bill"
    if "rate" in item.typed:
        return f"item {item.number} has no rate, which somebody took out or wrote words for: type one into the bill"
    return f"item {item.number} has no rate: add a line for {item.key} in {item.unit} to the rates"


def rests_on_example(rate: Rate) -> bool:
    """Whether a rate, or a price that it is built up of, is an example."""
    used = [line.resource for line in rate.build_up.components] if rate.build_up else []
    sources = [resource.source for resource in used if not resource.typed]
    return any(is_example(source) for source in (rate.source, *sources))


def example_rates(items: Iterable[Item], rates: RateBook, used: Mapping[int, Rate]) -> list[Finding]:
    """One finding when any item is priced by a shipped example, `used` being the rates by line."""
    lines = {line for line, rate in used.items() if rests_on_example(rate)}
    priced = [item for item in items if item.rate_line in lines and item.rate_origin != TYPED]
    if not priced:
        return []
    told = counted(len({item.rate_line for item in priced}), "line")
    return [
        Finding(
            "warning",
            "rates-are-examples",
            "",
            "",
            f"{counted(len(priced), 'item is', 'items are')} priced with invented example rates ({told} of "
            f"{Path(rates.file).name}): put your own rates there before you use a total",
            "priced with example values",
            money=exact_sum(item.amount or 0.0 for item in priced),
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
            rule.allow.because if rule.allow else f"{rule.measure} by the data files",
            item.quantity,
            "pieces",
            money=item.amount,
        )
        for section in plan.sections
        for rule in section.items
        if rule.allow or rule.measure in ALLOWED_MEASURES
        for item in items
        if rule.makes(item.key)
    ]


def unmeasured_parts(measurement: Measurement) -> list[Finding]:
    """One finding when concrete parts have no volume, so that the bill cannot hold them; none on an element
    whose own finding says so."""
    told_of = {
        (found.model, found.global_id) for found in measurement.findings if found.kind == "not-measured"
    }
    parts = [
        part
        for part in measurement.parts
        if part.net_volume_m3 is None
        and part.method not in ("not-concrete", "")
        and (part.model, part.global_id) not in told_of
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
