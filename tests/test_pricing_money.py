from decimal import Decimal

import pytest

from takeoff.pricing.money import amount, exact_sum, half_up, percentage, round_quantity


@pytest.mark.parametrize(
    ("quantity", "rate", "cents"),
    [
        (0.125, 0.04, 0.01),  # exactly half a cent goes up
        (1.005, 100.0, 100.5),  # binary 1.005 lies below its decimal
        (2.675, 1.0, 2.68),
        (12.345, 1.0, 12.35),
        (0.000001, 4999.0, 0.0),
        (-2.675, 1.0, -2.68),  # away from zero, as a spreadsheet's ROUND
        (123456.789012, 98.76, 12192592.48),
    ],
)
def test_amounts_go_half_up_on_the_decimal_value(quantity: float, rate: float, cents: float) -> None:
    assert amount(quantity, rate) == cents


def test_sums_are_decimal() -> None:
    assert sum([0.1] * 10) != 1.0
    assert exact_sum([0.1] * 10) == 1.0


def test_quantities_keep_six_decimals() -> None:
    assert round_quantity(1.23456749) == 1.234567
    assert round_quantity(1.2345675) == 1.234568
    assert half_up(Decimal("2.5"), 0) == 3


def test_percentages_are_to_the_cent() -> None:
    assert percentage(1000.05, 12.5) == 125.01  # 125.00625
    assert percentage(10.0, -5.0) == -0.5
