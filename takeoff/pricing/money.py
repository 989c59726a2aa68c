"""Rounding of quantities and money, the same here as in the workbook's formulas.

A spreadsheet adds binary numbers and its ROUND looks at the decimal value, half away from zero. Dimension
quantities are therefore cut to six decimals first; sums and products are then exact decimals here, and the
spreadsheet's binary error stays far below the last digit of a product, so both round to the same cent.
"""

from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal

QUANTITY_DIGITS = 6
MONEY_DIGITS = 2


def exact(value: float) -> Decimal:
    """The decimal number that `value` is written as."""
    return Decimal(repr(float(value)))


def half_up(value: Decimal, digits: int) -> Decimal:
    """`value` rounded to `digits` decimals, halves away from zero."""
    return value.quantize(Decimal(1).scaleb(-digits), rounding=ROUND_HALF_UP)


def round_quantity(value: float) -> float:
    """A dimension's quantity, in its unit, to six decimals."""
    return _rounded(value, QUANTITY_DIGITS)


def round_side(value: float) -> float:
    """A side of a dimension to nine decimals: rid of binary noise, the product still good to six."""
    return _rounded(value, 9)


def _rounded(value: float, digits: int) -> float:
    """`half_up` of a figure; away from the middle between two roundings plain binary rounding says the same."""
    steps = value * 10**digits
    if abs(steps) < 1e12 and abs(steps % 1.0 - 0.5) > 1e-3:
        return round(value, digits)
    return float(half_up(exact(value), digits))


def total_quantity(values: Iterable[float], digits: int) -> float:
    """The sum of dimensions to `digits` decimals, as the bill shows it."""
    return float(half_up(sum((exact(value) for value in values), Decimal(0)), digits))


def exact_sum(values: Iterable[float]) -> float:
    """The sum of decimal numbers without the error of binary addition."""
    return float(sum((exact(value) for value in values), Decimal(0)))


def amount(quantity: float, rate: float) -> float:
    """Quantity times rate, to the cent."""
    return float(half_up(exact(quantity) * exact(rate), MONEY_DIGITS))


def percentage(base: float, percent: float) -> float:
    """`percent` per cent of `base`, to the cent."""
    return float(half_up(exact(base) * exact(percent) / 100, MONEY_DIGITS))
