"""Draws against closed forms, and the rates at which alternatives meet against hand arithmetic."""

import math
import time

import numpy as np
import pytest

from takeoff.measuring.records import Measurement
from takeoff.pricing.alternatives import Doubt, Driver
from takeoff.pricing.cost_model import CostModel, Priced, build_model, markup_factor
from takeoff.pricing.markups import MarkupPlan, MarkupRule
from takeoff.pricing.production import Production, Stage, Trade
from takeoff.pricing.rates import Rate
from takeoff.pricing.records import Bill, Item, Section
from takeoff.pricing.resources import BuildUp, Component, Resource
from takeoff.pricing.risk import Parameter, draw, judge, triangular
from takeoff.pricing.sensitivity import break_evens, tornado
from takeoff.pricing.time import make_programme

NO_MARKUPS = MarkupPlan(currency="units")
QUIET = Production(
    hours_a_day=8,
    days_a_week=5,
    overlap=0.5,
    site_cost_a_week=Doubt(low=0, likely=0, high=0),
    site_cost_source="test",
    caution="test",
    stage=(
        Stage(
            name="All",
            trade=(
                Trade(
                    name="None",
                    items=("nothing.*",),
                    unit="m3",
                    hours=Doubt(low=1, likely=1, high=1),
                    source="test",
                ),
            ),
        ),
    ),
)


def priced(quantities: dict[str, float], rates: dict[str, tuple[float, float, float]]) -> Priced:
    """A bill of items in m3 with rates (low, likely, high) by key; equal keys share a rate."""
    items = tuple(
        Item(key, str(n), "All", key, "m3", quantity, rates[key][1], round(quantity * rates[key][1], 2))
        for n, (key, quantity) in enumerate(quantities.items(), 1)
    )
    net = sum(item.amount or 0.0 for item in items)
    bill = Bill((Section("A", "All", items),), (), net, (), net, "units", (), ())
    book = {
        key: Rate(key, "m3", likely, low, high, "test", "", "", n)
        for n, (key, (low, likely, high)) in enumerate(sorted(rates.items()), 1)
    }
    programme = make_programme(bill, QUIET, ())
    return Priced(bill, book, Measurement(), programme, frozenset())


def model_of(*alternatives: Priced, drivers: tuple[Driver, ...] = ()) -> CostModel:
    return build_model(alternatives, QUIET, NO_MARKUPS, drivers, 0)


RATES = {"a": (80.0, 100.0, 150.0), "b": (190.0, 200.0, 260.0), "c": (10.0, 10.0, 10.0)}


def test_triangular_draws_follow_the_distribution() -> None:
    shares = np.linspace(0.0, 1.0, 11)[:, None]
    low, likely, high = (np.array([figure]) for figure in (2.0, 3.0, 7.0))
    figures = triangular(shares, low, likely, high)[:, 0]
    # F(x) = (x - a)^2 / ((b - a)(c - a)) up to the peak, 1 - (b - x)^2 / ((b - a)(b - c)) beyond.
    back = np.where(figures <= 3.0, (figures - 2) ** 2 / 5.0, 1 - (7 - figures) ** 2 / 20.0)
    assert back == pytest.approx(shares[:, 0])
    certain = np.array([4.0])
    assert triangular(shares, certain, certain, certain)[:, 0] == pytest.approx(np.full(11, 4.0))


def test_means_and_deviations_against_closed_forms() -> None:
    """Linear and independent: mean is the sum of q (a + b + c) / 3, variance the sum of q2 times each variance."""
    base = priced({"a": 50.0, "c": 7.0}, RATES)
    other = priced({"a": 20.0, "b": 12.0, "c": 7.0}, RATES)
    model = model_of(base, other)
    draws = 200_000
    totals = model.totals(draw(model.parameters, draws, 1))
    risk = judge(totals, 0, draws, 1)

    def closed(a: float, b: float) -> tuple[float, float]:
        spread = {key: Parameter("rate", key, "", *RATES[key]) for key in ("a", "b")}
        mean = a * spread["a"].mean + b * spread["b"].mean + 70.0
        return mean, math.sqrt(a * a * spread["a"].variance + b * b * spread["b"].variance)

    assert Parameter("rate", "a", "", *RATES["a"]).mean == (80.0 + 100.0 + 150.0) / 3
    for place, (a, b) in enumerate(((50.0, 0.0), (20.0, 12.0))):
        mean, deviation = closed(a, b)
        assert risk.totals[place].mean == pytest.approx(mean, abs=4 * deviation / math.sqrt(draws))
        assert risk.totals[place].deviation == pytest.approx(deviation, rel=0.01)
    # The common price moves both: the difference is -30 a + 12 b, far less spread than if it were drawn twice.
    a, b = (Parameter("rate", key, "", *RATES[key]) for key in ("a", "b"))
    mean = -30 * a.mean + 12 * b.mean
    deviation = math.sqrt(900 * a.variance + 144 * b.variance)
    assert risk.differences[1].mean == pytest.approx(mean, abs=4 * deviation / math.sqrt(draws))
    assert risk.differences[1].deviation == pytest.approx(deviation, rel=0.01)
    assert risk.differences[0] == risk.differences[0].__class__(0.0, 0.0, 0.0, 0.0, 0.0)


def test_the_same_seed_gives_the_same_draws() -> None:
    parameters = [Parameter("rate", key, "", *RATES[key]) for key in ("a", "b")]
    assert np.array_equal(draw(parameters, 100, 7), draw(parameters, 100, 7))
    assert not np.array_equal(draw(parameters, 100, 7), draw(parameters, 100, 8))


@pytest.mark.parametrize(("correlation", "rank"), [(1.0, 1.0), (0.0, 0.0), (0.5, 0.4826)])
def test_prices_of_a_driver_move_together(correlation: float, rank: float) -> None:
    """Rank correlation of a Gaussian copula is 6 / pi asin(r / 2), whatever the marginal distributions."""
    driver = Driver(name="one market", items=("a", "b"), correlation=correlation)
    model = model_of(priced({"a": 1.0, "b": 1.0}, RATES), drivers=(driver,))
    drawn = draw(model.parameters, 40_000, 3)
    order = drawn[:, :2].argsort(axis=0).argsort(axis=0)
    assert np.corrcoef(order.T)[0, 1] == pytest.approx(rank, abs=0.02)
    assert 6 / math.pi * math.asin(correlation / 2) == pytest.approx(rank, abs=1e-3)
    for place, key in enumerate(("a", "b")):
        assert drawn[:, place].min() >= RATES[key][0]
        assert drawn[:, place].max() <= RATES[key][2]


def test_ties_are_shared_and_chances_add_up() -> None:
    base = priced({"a": 5.0}, RATES)
    model = model_of(base, base, priced({"a": 6.0}, RATES))
    risk = judge(model.totals(draw(model.parameters, 1000, 1)), 0, 1000, 1)
    assert risk.cheapest == (0.5, 0.5, 0.0)


def test_a_resource_that_is_in_several_rates_is_drawn_once() -> None:
    labour = Resource("labour", "labour", "h", 40.0, 30.0, 60.0, "test", "", "", 1)
    steel = Resource("steel", "material", "t", 1000.0, None, None, "test", "", "", 2)
    rates = {
        key: Rate(
            key, "m3", build.rate, build.low, build.high, "test", "", "", line, build_up=build,
        )
        for line, (key, build) in enumerate(
            {
                "a": BuildUp((Component(labour, 2.0, 0.0, "", 1), Component(steel, 0.1, 5.0, "", 2))),
                "b": BuildUp((Component(labour, 3.0, 0.0, "", 3),)),
            }.items(),
            1,
        )
    }  # fmt: skip
    items = tuple(
        Item(key, "", "All", key, "m3", q, rates[key].rate, None) for key, q in (("a", 10.0), ("b", 4.0))
    )
    bill = Bill((Section("A", "All", items),), (), 0.0, (), 0.0, "units", (), ())
    model = model_of(Priced(bill, rates, Measurement(), make_programme(bill, QUIET, ()), frozenset()))
    assert [parameter.name for parameter in model.parameters] == ["labour"]
    # 10 x (2 h + 0.1 t x 1.05 x 1000) + 4 x 3 h = 32 h + 1,050.
    for price in (30.0, 40.0, 60.0):
        assert model.totals(np.array([[price]]))[0, 0] == pytest.approx(32 * price + 1050.0)


def test_break_even_by_hand() -> None:
    """Base 50 a, other 20 a + 12 b: at b = 200 the other is -600; 30 a = 12 b at a = 80 or b = 250."""
    model = model_of(priced({"a": 50.0}, RATES), priced({"a": 20.0, "b": 12.0}, RATES))
    found = {entry.name: entry for entry in break_evens(model, [0.0, -600.0], ["b"], "test")}
    assert found["b"].rate == pytest.approx(250.0)
    assert found["b"].factor == pytest.approx(1.25)
    assert found["b"].slope == pytest.approx(12 * 200.0)
    assert found["a"].rate == pytest.approx(80.0)
    moved = model.totals(np.array([[80.0, 200.0], [100.0, 250.0]]))
    assert moved[:, 0] == pytest.approx(moved[:, 1])


def test_tornado_by_hand() -> None:
    model = model_of(priced({"a": 50.0}, RATES), priced({"a": 20.0, "b": 12.0}, RATES))
    first, second = tornado(model)
    # -30 a + 12 b: a from 80 to 150 moves it by 2,100, b from 190 to 260 by 840.
    assert (first.name, first.at_low, first.at_high) == ("a", pytest.approx(0.0), pytest.approx(-2100.0))
    assert (second.name, second.at_low, second.at_high) == ("b", pytest.approx(-720.0), pytest.approx(120.0))


def test_markups_multiply_as_the_bill_adds_them() -> None:
    plan = MarkupPlan(
        currency="units",
        markup=(
            MarkupRule(name="Preliminaries", percent=12, on="net"),
            MarkupRule(name="Profit", percent=8, on="running"),
            MarkupRule(name="Fee", percent=3, on="net"),
        ),
    )
    assert markup_factor(plan) == pytest.approx(1.12 * 1.08 + 0.03)


def test_ten_thousand_draws_of_five_hundred_items_take_well_under_a_second() -> None:
    rates = {f"item-{n}": (80.0 + n, 100.0 + n, 150.0 + n) for n in range(500)}
    variants = [priced(dict.fromkeys(rates, 1.0 + place), rates) for place in range(3)]
    model = model_of(*variants)
    began = time.process_time()
    risk = judge(model.totals(draw(model.parameters, 10_000, 1)), 0, 10_000, 1)
    assert time.process_time() - began < 1.0  # 0.3 s where it was written, with three alternatives
    assert risk.cheapest == (1.0, 0.0, 0.0)
