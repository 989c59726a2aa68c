"""Money under doubt: parameters with ranges, drawn together, and what the draws say of the alternatives.

A parameter is triangular between low and high with its peak at likely. Parameters of one group move together: each is
the same normal score in a share (the correlation) and one of its own in the rest, turned into its own
distribution (a Gaussian copula with one factor).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Parameter:
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


@dataclass(frozen=True, slots=True)
class Spread:
    """What the draws of one total (or difference) say: mean, standard deviation and percentiles."""

    mean: float
    deviation: float
    p10: float
    p50: float
    p90: float


@dataclass(frozen=True, slots=True)
class Risk:
    """Spreads of the totals and of the differences to the base, and how often each alternative is cheapest.

    All by alternative, the base included, in one order; ties count in equal shares.
    """

    draws: int
    seed: int
    totals: tuple[Spread, ...]
    differences: tuple[Spread, ...]
    cheapest: tuple[float, ...]


def draw(parameters: Sequence[Parameter], draws: int, seed: int) -> Floats:
    """Figures of all parameters, (draws, parameters); the same seed gives the same figures."""
    from scipy.special import ndtr

    generator = np.random.default_rng(seed)
    groups = list(dict.fromkeys(parameter.group for parameter in parameters if parameter.group))
    own = generator.standard_normal((draws, len(parameters)))
    if groups:
        shared = generator.standard_normal((draws, len(groups)))
        for place, parameter in enumerate(parameters):
            if parameter.group:
                closeness = parameter.correlation
                common = shared[:, groups.index(parameter.group)]
                own[:, place] = np.sqrt(closeness) * common + np.sqrt(1.0 - closeness) * own[:, place]
    low = np.array([parameter.low for parameter in parameters])
    likely = np.array([parameter.likely for parameter in parameters])
    high = np.array([parameter.high for parameter in parameters])
    return triangular(ndtr(own), low, likely, high)


def triangular(share: Floats, low: Floats, likely: Floats, high: Floats) -> Floats:
    """Figures (n, k) below which a `share` (n, k) of triangular distributions (k,) lies: the inverse of F."""
    width = high - low
    safe = np.where(width > 0, width, 1.0)
    peak = (likely - low) / safe
    rising = low + np.sqrt(share * width * (likely - low))
    falling = high - np.sqrt((1.0 - share) * width * (high - likely))
    return np.where(width > 0, np.where(share < peak, rising, falling), likely)


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
