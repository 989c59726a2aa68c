"""Money under doubt: parameters with ranges, drawn together, and what the draws say of the alternatives.

A parameter is triangular between low and high with its peak at likely. Parameters of one group move together: each is
the same normal score in a share (the correlation) and one of its own in the rest, turned into its own
distribution (a Gaussian copula with one factor).
"""

import zlib
from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Parameter(Struct, frozen=True):
    """A figure in doubt. `kind`: `rate`, `resource`, `allowance`, `production`, `wait` or `site cost`.

    `group` names what it moves together with (empty: by itself), `correlation` how closely, 0 to 1.
    """

    kind: str
    name: str
    unit: str
    low: float
    likely: float
    high: float
    group: str = ""
    correlation: float = 1.0

    @property
    def mean(self) -> float:
        """Mean of the triangular distribution: (low + likely + high) / 3."""
        return (self.low + self.likely + self.high) / 3.0

    @property
    def variance(self) -> float:
        """Variance of the triangular distribution."""
        a, c, b = self.low, self.likely, self.high
        return (a * a + b * b + c * c - a * b - a * c - b * c) / 18.0


class Spread(Struct, frozen=True):
    """What the draws of one total (or difference) say: mean, standard deviation and percentiles."""

    mean: float
    deviation: float
    p10: float
    p50: float
    p90: float


class Risk(Struct, frozen=True):
    """Spreads of the totals and of the differences to the base, and how often each alternative is cheapest.

    All by alternative, the base included, in one order; ties count in equal shares.
    """

    draws: int
    seed: int
    totals: tuple[Spread, ...]
    differences: tuple[Spread, ...]
    cheapest: tuple[float, ...]


def draw(parameters: Sequence[Parameter], draws: int, seed: int) -> Floats:
    """Figures of all parameters, (draws, parameters).

    Each parameter has a stream of its own: the same seed gives it the same figures whatever stands beside it.
    """
    from scipy.special import ndtr

    shares = np.empty((draws, len(parameters)))
    common: dict[str, Floats] = {}
    for place, parameter in enumerate(parameters):
        own = _stream(seed, parameter.kind, parameter.name, parameter.low, parameter.likely, parameter.high)
        if not parameter.group:
            shares[:, place] = own.random(draws)
            continue
        if parameter.group not in common:
            common[parameter.group] = _stream(seed, "group", parameter.group).standard_normal(draws)
        closeness = parameter.correlation
        score = np.sqrt(closeness) * common[parameter.group]
        shares[:, place] = ndtr(score + np.sqrt(1.0 - closeness) * own.standard_normal(draws))
    low = np.array([parameter.low for parameter in parameters])
    likely = np.array([parameter.likely for parameter in parameters])
    high = np.array([parameter.high for parameter in parameters])
    return triangular(shares, low, likely, high)


def _stream(seed: int, *name: object) -> np.random.Generator:
    """The random numbers of one name."""
    return np.random.default_rng([seed, zlib.crc32("|".join(map(str, name)).encode())])


def triangular(share: Floats, low: Floats, likely: Floats, high: Floats) -> Floats:
    """Figures (n, k) below which a `share` (n, k) of triangular distributions (k,) lies: the inverse of F."""
    width = high - low
    peak = np.divide(likely - low, width, out=np.ones_like(width), where=width > 0)
    rising = share < peak
    inner = np.where(rising, share * (width * (likely - low)), (1.0 - share) * (width * (high - likely)))
    step = np.sqrt(inner, out=inner)
    return np.where(rising, low + step, high - step)


def judge(totals: Floats, base: int, draws: int, seed: int) -> Risk:
    """What drawn totals (draws, alternatives) say; `base` is the column that differences are against."""
    least = totals.min(axis=1, keepdims=True)
    first = totals == least
    cheapest = (first / first.sum(axis=1, keepdims=True)).mean(axis=0)
    differences = totals - totals[:, [base]]
    return Risk(
        draws,
        seed,
        tuple(spread(totals[:, place]) for place in range(totals.shape[1])),
        tuple(spread(differences[:, place]) for place in range(totals.shape[1])),
        tuple(float(share) for share in cheapest),
    )


def spread(figures: Floats) -> Spread:
    """Mean, standard deviation and percentiles of drawn figures (n,)."""
    p10, p50, p90 = np.percentile(figures, (10, 50, 90))
    return Spread(float(figures.mean()), float(figures.std()), float(p10), float(p50), float(p90))
