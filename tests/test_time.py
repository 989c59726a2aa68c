"""Weeks by hand: quantities over production, stages in their order, what overlaps and what waits."""

from pathlib import Path

import numpy as np
import pytest

from takeoff.findings import InputError
from takeoff.pricing.production import Production, load_production, matches_key
from takeoff.pricing.records import Bill, Dimension, Item, Section
from takeoff.pricing.time import make_programme, weeks_drawn
from takeoff.templates import template_path

FILE = """
hours_a_day = 8
days_a_week = 5
overlap = 0.5
site_cost_a_week = 1000
site_cost_source = "test"
caution = "test"
not_timed = ["supply.*"]
[[stage]]
name = "Walls"
wait_days = { low = 0, likely = 1, high = 3 }
[[stage.trade]]
name = "Formwork"
items = ["formwork.wall.*"]
unit = "m2"
hours = { low = 0.5, likely = 0.8, high = 1.2 }
crew = 4
source = "test"
[[stage.trade]]
name = "Concrete"
items = ["concrete.wall.*"]
unit = "m3"
hours = 0.5
crew = 2
source = "test"
[[stage]]
name = "Erection"
[[stage.trade]]
name = "Crane"
items = ["erection.*"]
unit = "nr"
per_day = { low = 10, likely = 16, high = 20 }
teams = 2
source = "test"
"""


def production(folder: Path, text: str = FILE) -> Production:
    file = folder / "production.toml"
    file.write_text(text, encoding="utf-8")
    return load_production(file)


def bill_of(rows: list[tuple[str, str, str, float]], units: str = "metric") -> Bill:
    """A bill of (item, unit, storey, quantity)."""
    keys = dict.fromkeys((key, unit) for key, unit, _, _ in rows)
    items = tuple(Item(key, "", "All", key, unit, 0.0, None, None) for key, unit in keys)
    dimensions = tuple(Dimension(key, "m", "id", 1, storey, "", value) for key, _, storey, value in rows)
    return Bill((Section("A", "All", items),), dimensions, 0.0, (), 0.0, "", (), (), units=units)


def test_weeks_by_hand(tmp_path: Path) -> None:
    rules = production(tmp_path)
    bill = bill_of(
        [
            ("formwork.wall.plane", "m2", "Upper", 80.0),
            ("formwork.wall.plane", "m2", "Lower", 100.0),
            ("formwork.wall.curved", "m2", "Lower", 60.0),
            ("concrete.wall.c30", "m3", "Lower", 64.0),
            ("erection.wall", "nr", "Lower", 48.0),
            ("supply.wall", "m3", "Lower", 9.0),
            ("finish.top", "m2", "Lower", 9.0),
        ]
    )
    programme = make_programme(bill, rules, ("Lower", "Upper"))
    # Lower: formwork 160 x 0.8 / 32 = 4.0 d, concrete 64 x 0.5 / 16 = 2.0 d, so 4 + half of 2 = 5.0, and 1 of wait;
    # crane 48 / (16 x 2) = 1.5 d. Upper: 80 x 0.8 / 32 = 2.0 d and 1 of wait.
    told = [(step.storey, step.stage, step.work_days, step.wait_days) for step in programme.steps]
    assert told == [("Lower", 0, 5.0, 1.0), ("Lower", 1, 1.5, 0.0), ("Upper", 0, 2.0, 1.0)]
    assert programme.days == pytest.approx(10.5)
    assert programme.weeks == pytest.approx(2.1)
    assert programme.untimed == ("finish.top",)


def test_drawn_weeks_are_those_of_the_likely_figures_and_follow_the_others(tmp_path: Path) -> None:
    rules = production(tmp_path)
    bill = bill_of(
        [
            ("formwork.wall.plane", "m2", "Lower", 160.0),
            ("concrete.wall.c30", "m3", "Lower", 64.0),
            ("erection.wall", "nr", "Lower", 48.0),
        ]
    )
    programme = make_programme(bill, rules, ("Lower",))
    assert weeks_drawn(programme, rules, {}, {}) == pytest.approx(programme.weeks)
    hours, cranes, waits = np.array([0.2, 0.8, 1.2]), np.array([16.0, 10.0, 20.0]), np.array([0.0, 1.0, 3.0])
    drawn = weeks_drawn(programme, rules, {(0, 0): hours, (1, 0): cranes}, {0: waits})
    # Formwork 1, 4 and 6 d beside 2 d of concrete; crane 1.5, 2.4 and 1.2 d; wait 0, 1 and 3 d.
    assert drawn == pytest.approx(np.array([2.5 + 1.5, 5.0 + 2.4 + 1.0, 7.0 + 1.2 + 3.0]) / 5)


def test_imperial_quantities_take_the_same_time(tmp_path: Path) -> None:
    rules = production(tmp_path)
    metric = make_programme(bill_of([("formwork.wall.x", "m2", "", 100.0)]), rules, ())
    feet = make_programme(bill_of([("formwork.wall.x", "ft2", "", 100.0 / 0.3048**2)], "imperial"), rules, ())
    assert feet.weeks == pytest.approx(metric.weeks)


def test_a_trade_in_another_unit_than_its_item_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(
        InputError, match=r"trade 'Formwork' is in m2, and its item formwork\.wall\.x is measured in m3"
    ):
        make_programme(bill_of([("formwork.wall.x", "m3", "", 1.0)]), production(tmp_path), ())


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("low = 0.5, likely = 0.8", "low = 0.9, likely = 0.8", r"trade 1 \(Formwork\), hours: low, likely, high"),
        ("crew = 4", "crew = 0", r"trade 1 \(Formwork\), crew: input should be greater than 0"),
        ("hours = 0.5", "hours = 0.5\nper_day = 3", "give either hours"),
        ("low = 10, likely", "low = 0, likely", "per_day must be above 0"),
        ("overlap = 0.5", "overlap = 1.5", "overlap"),
        ("caution =", "cuation =", "cuation: is not known|caution: is missing"),
        ("unit = \"m2\"", "unit = m2", "is no valid TOML"),
    ],
)  # fmt: skip
def test_faults_of_the_file_are_one_clear_line(tmp_path: Path, old: str, new: str, told: str) -> None:
    assert old in FILE
    with pytest.raises(InputError, match=told) as caught:
        production(tmp_path, FILE.replace(old, new, 1))
    assert "\n" not in str(caught.value)


def test_patterns_of_keys() -> None:
    assert matches_key("concrete.*", "concrete.wall.x")
    assert matches_key("concrete.*", "concrete")
    assert matches_key("joints.*.precast", "joints.bed.precast")
    assert not matches_key("concrete.*", "concretes.wall")
    assert not matches_key("concrete.wall", "concrete.wall.x")


def test_the_shipped_file_is_sound_and_says_that_it_is_an_example() -> None:
    rules = load_production(template_path("production.toml"))
    for stage in rules.stages:
        for trade in stage.trades:
            assert "example value" in trade.source
        assert "example value" in stage.because
    assert "engineer" in rules.caution
