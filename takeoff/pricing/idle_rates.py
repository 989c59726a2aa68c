"""Rows of a rate file that no item of the plan can ever ask for: a misspelt key, or a unit that never fits."""

from collections.abc import Iterator
from fnmatch import fnmatchcase
from pathlib import Path

from takeoff.findings import Finding
from takeoff.measuring.plan import METHODS, ROLES
from takeoff.pricing.own_rates import OwnRates, place_of
from takeoff.pricing.rates import Rate, RateBook
from takeoff.pricing.sections import ItemRule, SectionPlan
from takeoff.pricing.unit_systems import unit_system
from takeoff.pricing.words import EMPTY_SEGMENT, slug
from takeoff.told import counted

MOST_NAMED = 5
"""Rows that the finding names; the rest is counted."""
_CLOSED = {"role": ROLES, "method": METHODS}
"""Fields of which all values are known."""


def idle_rates(rates: RateBook, plan: SectionPlan) -> list[Finding]:
    """A finding for each file of which rows fit no item that the plan can make, whatever the model."""
    books = rates.books if isinstance(rates, OwnRates) else (rates,)
    return [found for book in books for found in _idle_rows(book, plan)]


def _idle_rows(rates: RateBook, plan: SectionPlan) -> Iterator[Finding]:
    system = unit_system(plan.units)
    told: list[str] = []
    for rate in rates.rates:
        rules = [rule for section in plan.sections for rule in section.items if _may_price(rate, rule)]
        units = sorted({system.unit(rule.unit) for rule in rules})
        if not rules:
            told.append(f"{place_of(rate)}: {rate.item}")
        elif rate.unit not in units:
            told.append(f"{place_of(rate)}: {rate.item} in {rate.unit}, measured in {' or '.join(units)}")
    if not told:
        return
    more = f" and {counted(len(told) - MOST_NAMED, 'further row')}" if len(told) > MOST_NAMED else ""
    yield Finding(
        "warning",
        "rate-fits-no-item",
        "",
        "",
        f"{counted(len(told), 'row')} of {Path(rates.file).name} can price no item of {Path(plan.file).name} "
        f"({'; '.join(told[:MOST_NAMED])}{more}): correct the spelling or the unit, or take the row out",
        "not used",
    )


def _may_price(rate: Rate, rule: ItemRule) -> bool:
    """Whether some key of the rule fits the rate's pattern."""
    pattern = rate.item.split(".")
    open_ended = pattern[-1] == "*"
    if open_ended:
        pattern.pop()
    keys = [{segment} for segment in rule.key.split(".")]
    possible = [*keys, *_values(rule)]
    if len(pattern) > len(possible) or (len(pattern) < len(keys) and not open_ended):
        return False
    return all(
        values is None or any(fnmatchcase(value, segment) for value in values)
        for segment, values in zip(pattern, possible, strict=False)
    )


def _values(rule: ItemRule) -> Iterator[set[str] | None]:
    """What may stand in the segments after the rule's own key, None where that is not known."""
    for name in rule.split:
        asked = rule.where.get(name, ())
        if asked and not any(value.endswith("*") for value in asked):
            yield {slug(value) for value in asked}
        elif name in _CLOSED:
            yield {EMPTY_SEGMENT, *map(slug, _CLOSED[name])}
        else:
            yield None
