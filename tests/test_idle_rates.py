"""Rows of rates that no item can ask for, and rates that rest on examples in their build-ups only."""

from pathlib import Path

import pytest
from pricing_rows import HEADER, items_of, small_building, write

from takeoff.pricing.bill import make_bill
from takeoff.pricing.idle_rates import idle_rates
from takeoff.pricing.markups import load_markups
from takeoff.pricing.rates import RateBook, load_rates
from takeoff.pricing.sections import load_sections
from takeoff.pricing.unit_systems import IMPERIAL, METRIC
from takeoff.templates import template_path

PLAN = load_sections(template_path("sections.toml"))


def book(folder: Path, *rows: str, header: str = HEADER) -> RateBook:
    return load_rates(write(folder, "rates.csv", header + "\n".join(rows) + "\n"))


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("concret.wall.*,m3,5,,,,,", "line 2: concret.wall.*"),
        ("concrete.wal.*,m3,5,,,,,", "line 2: concrete.wal.*"),
        ("concrete.wall.precast.*,m3,5,,,,,", "line 2: concrete.wall.precast.*"),
        ("concrete.wall.*,m2,5,,,,,", "line 2: concrete.wall.* in m2, measured in m3"),
        ("precast,m3,5,,,,,", "line 2: precast"),
        ("tilt-up.bed.*.wall,m2,5,,,,,", "line 2: tilt-up.bed.*.wall"),
    ],
)
def test_a_row_that_can_price_nothing_is_told(tmp_path: Path, row: str, told: str) -> None:
    (finding,) = idle_rates(book(tmp_path, row, "formwork.*,m2,5,,,,,"), PLAN)
    assert (finding.kind, finding.severity) == ("rate-fits-no-item", "warning")
    assert finding.message.startswith(f"1 row of rates.csv can price no item of sections.toml ({told}): ")


@pytest.mark.parametrize(
    "row",
    [
        "*,m3,5,,,,,",
        "concrete.*,m3,5,,,,,",
        "concrete.w*.cast-in-place.c30-37.*,m3,5,,,,,",
        "concrete.wall.cast-in-place.c99-115.150-300.below,m3,5,,,,,",
        "precast.*,m3,5,,,,,",
        "tilt-up.bed,m2,5,,,,,",
    ],
)
def test_what_another_model_may_ask_for_is_not_told(tmp_path: Path, row: str) -> None:
    assert idle_rates(book(tmp_path, row), PLAN) == []


@pytest.mark.parametrize(("file", "system"), [("rates.csv", METRIC), ("rates-imperial.csv", IMPERIAL)])
def test_no_shipped_rate_is_idle(file: str, system: object) -> None:
    plan = load_sections(template_path("sections.toml"), system)  # type: ignore[arg-type]
    assert idle_rates(load_rates(template_path(file)), plan) == []


def test_own_rates_on_example_prices_are_examples(tmp_path: Path) -> None:
    """The rate's own source is the office's, the price of its resource is a shipped example."""
    header = HEADER.strip() + ",resource,per_unit\n"
    rates = book(tmp_path, "concrete.wall.*,m3,,,,our build-up,,,,", ",h,,,,,,,concretor,1", header=header)
    bill = make_bill(small_building(), rates, PLAN, load_markups(template_path("markups.toml")))
    walls = [item for item in items_of(bill).values() if item.rate is not None]
    (finding,) = [finding for finding in bill.findings if finding.kind == "rates-are-examples"]
    assert finding.money == pytest.approx(sum(item.amount or 0.0 for item in walls))
    assert finding.message.startswith(f"{len(walls)} item")
