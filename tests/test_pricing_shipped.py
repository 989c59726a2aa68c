"""The shipped rates fit the shipped plan: every item that it can make is priced, and no line is idle."""

from itertools import pairwise, product

import pytest

from takeoff.measuring.convention import band, load_convention
from takeoff.pricing.rates import Rate, RateBook, load_rates
from takeoff.pricing.sections import ItemRule, SectionPlan, load_sections
from takeoff.pricing.words import compose_key
from takeoff.templates import template_path

RATES = load_rates(template_path("rates.csv"))
PLAN = load_sections(template_path("sections.toml"))
RULES = [rule for section in PLAN.sections for rule in section.items]


def bands(limits: tuple[float, ...]) -> list[str]:
    edges = [limits[0] / 2, *((a + b) / 2 for a, b in pairwise(limits)), limits[-1] * 2]
    return [band(limits, value) for value in edges]


def field_values() -> dict[str, list[str]]:
    limits = load_convention(template_path("conventions/net.toml")).bands
    values = {
        "role": ["foundation", "slab", "column", "wall", "beam", "stair", ""],
        "method": ["cast-in-place", "precast", "tilt-up"],
        "strength_class": ["", "C30/37"],
        "category": [*PLAN.words["category"], "something-else"],
        "shape": ["plane", "curved"],
        "place": ["", "opening"],
        "finish": ["", "fair-faced"],
        "ground": ["", "below"],
        "basis": ["modelled", "ratio", "allowance"],
        "kind": [
            "",
            "bar",
            "fabric",
            "tendon",
            "wall-face",
            "edge",
            "top",
            "joint-base",
            "joint-wall",
            "joint-pour",
        ],
        "diameter": ["", "12"],
        "other_method": ["", "cast-in-place", "precast", "tilt-up", "unresolved"],
        "joint": ["bed", "bearing", "vertical", "slab", "wall-to-slab", "topping", "cast-on", "odd"],
        "name": ["", "sill"],
        "height_band": ["", *bands(limits.height_to_soffit_m)],
        "size_band": ["", *bands(limits.wall_thickness_mm), *bands(limits.column_girth_mm)],
        "band": ["", *bands(limits.edge_depth_mm), *bands(limits.hole_area_m2)],
    }
    return values | {name: ["", *bands(own.steps)] for name, own in PLAN.bands.items()}


def keys_of(rule: ItemRule) -> list[str]:
    values = field_values()
    choices = []
    for name in rule.split:
        asked = rule.where.get(name, ())
        choices.append(list(asked) if asked and "*" not in asked else values[name])
    return [compose_key(rule.key, chosen) for chosen in product(*choices)]


def used_rates(plan: SectionPlan, rates: RateBook) -> set[Rate]:
    used = set()
    for rule in (rule for section in plan.sections for rule in section.items):
        for key in keys_of(rule):
            found = rates.find(key, rule.unit, named_only=rule.named_rates_only)
            if found is not None:
                used.add(found)
    return used


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: f"{rule.key}-{rule.unit}")
def test_every_item_is_priced_once_except_unresolved_ones(rule: ItemRule) -> None:
    for key in keys_of(rule):
        found = RATES.find(key, rule.unit, named_only=rule.named_rates_only)
        if rule.key.startswith("unresolved"):
            assert found is None
        else:
            assert found is not None, key
            assert found.rate


def test_no_shipped_rate_is_idle() -> None:
    idle = {rate.item for rate in RATES.rates} - {rate.item for rate in used_rates(PLAN, RATES)}
    assert idle == set()


def test_every_shipped_rate_is_marked_as_an_example_with_a_range() -> None:
    for rate in RATES.rates:
        assert rate.source == "example value"
        assert rate.rate is not None
        assert rate.low is not None
        assert rate.high is not None
        assert rate.low < rate.rate < rate.high
