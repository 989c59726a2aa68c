"""Where to cut: joints along a line, pieces as equal as possible, within limits, away from what is blocked."""

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
from msgspec import Struct

from takeoff.geometry.mesh import Floats

FINEST = 0.05
"""Joints lie on a grid of this, m, beside the ends of what is blocked."""
MOST_PLACES = 400
MORE_PIECES = 2
"""So many pieces more than needed are tried before a joint may lie where it should not."""
NEAR_BLOCKED = 1e3
WITHIN_BLOCKED = 1e4
"""Costs of a joint nearer to an opening than wanted, and of one in it; widths cost their share squared."""


class Cuts(Struct, frozen=True):
    """Places of the joints, ascending, m; `clear` tells that none of them lies where it should not."""

    places: tuple[float, ...]
    clear: bool


class Line(Struct, frozen=True):
    """A length from `low` to `high` to be cut; `blocked` are stretches (openings) to stay `clearance` away from.

    A joint keeps `from_end` from both ends, pieces are at least `least` wide where that can be, and at most `most`.
    """

    low: float
    high: float
    most: float
    least: float
    from_end: float
    blocked: tuple[tuple[float, float], ...]
    clearance: float


def find_cuts(line: Line, weight_to: Callable[[Floats], Floats], most_weight: float) -> Cuts | None:
    """The joints for the fewest pieces that keep the limits; None where no number of pieces does.

    `weight_to` gives for places (n,) the weight (n,) of all that lies before them. Widths are made as equal as
    the openings allow: the sum of squared differences to the mean is least (dynamic programming over a grid).
    """
    length = line.high - line.low
    whole = float(weight_to(np.array([line.high]))[0])
    needed = max(1, math.ceil(length / line.most - 1e-6), math.ceil(whole / most_weight - 1e-6))
    if needed == 1:
        return Cuts((), clear=True)
    places = _places(line)
    price = _prices(line, places)
    weights = weight_to(places)
    best: tuple[float, tuple[float, ...]] | None = None
    last = 3 * needed + 4
    number = needed
    while number <= last:
        found = _best(line, places, price, weights, most_weight, number)
        if found is not None:
            last = min(last, number + MORE_PIECES) if best is None else last
            if best is None or found[0] < best[0] - 0.5 * NEAR_BLOCKED:
                best = found
            if best[0] < 0.5 * NEAR_BLOCKED:
                break
        number += 1
    if best is None:
        return None
    clear = best[0] < 0.5 * NEAR_BLOCKED
    return Cuts(_levelled(line, best[1], weight_to, most_weight) if clear else best[1], clear)


def _levelled(
    line: Line, places: tuple[float, ...], weight_to: Callable[[Floats], Floats], most_weight: float
) -> tuple[float, ...]:
    """The joints off the grid: those between two that an opening or an end holds become equally wide.

    Pieces that differ by a step of the grid would be different shapes.
    """
    held = [edge for a, b in line.blocked for edge in (a - line.clearance, b + line.clearance)]
    held += [line.low + line.from_end, line.high - line.from_end]
    bounds = np.array([line.low, *places, line.high])
    fixed = [0, *(n for n in range(1, len(bounds) - 1) if np.abs(np.array(held) - bounds[n]).min() < 1e-5)]
    for first, last in pairwise([*fixed, len(bounds) - 1]):
        moved = bounds.copy()
        moved[first : last + 1] = np.linspace(bounds[first], bounds[last], last - first + 1)
        weights = np.diff(weight_to(moved))
        if (
            not _prices(line, moved).any()
            and np.diff(moved).min() >= min(line.least, np.diff(bounds).min()) - 1e-6
            and np.diff(moved).max() <= line.most + 1e-6
            and weights.max() <= most_weight * (1.0 + 1e-6)
        ):
            bounds = moved
    return tuple(bounds[1:-1].tolist())


def module_cuts(low: float, high: float, module: float, least: float) -> Cuts:
    """Joints at every module from `low`; a rest narrower than `least` shares with the module before it."""
    length = high - low
    whole = math.floor(length / module + 1e-6)
    rest = length - whole * module
    if rest < 1e-6:
        widths = [module] * whole
    elif rest < least and whole:
        widths = [module] * (whole - 1) + [(module + rest) / 2.0] * 2
    else:
        widths = [module] * whole + [rest]
    places = low + np.cumsum(widths)[:-1]
    return Cuts(tuple(places.tolist()), clear=True)


def equal_cuts(low: float, high: float, number: int) -> tuple[float, ...]:
    """Joints that make `number` equal pieces."""
    return tuple(np.linspace(low, high, number + 1)[1:-1].tolist())


def _places(line: Line) -> Floats:
    step = max(FINEST, (line.high - line.low) / MOST_PLACES)
    grid = np.arange(line.low + step, line.high - 1e-9, step)
    length = line.high - line.low
    equal = [
        np.linspace(line.low, line.high, n + 1)[1:-1] for n in range(2, math.ceil(length / line.most) + 4)
    ]
    edges = [edge for a, b in line.blocked for edge in (a - line.clearance, b + line.clearance)]
    inner = np.concatenate([grid, *equal, np.array(edges, dtype=float)])
    inner = inner[(inner > line.low + 1e-6) & (inner < line.high - 1e-6)]
    return np.concatenate([[line.low], np.unique(inner.round(6)), [line.high]])


def _prices(line: Line, places: Floats) -> Floats:
    price = np.zeros(len(places))
    for low, high in line.blocked:
        near = (places > low - line.clearance + 1e-6) & (places < high + line.clearance - 1e-6)
        price[near] = np.maximum(price[near], NEAR_BLOCKED)
        within = (places > low + 1e-6) & (places < high - 1e-6)
        price[within] = np.maximum(price[within], WITHIN_BLOCKED)
    at_end = (places < line.low + line.from_end - 1e-6) | (places > line.high - line.from_end + 1e-6)
    price[at_end] = np.maximum(price[at_end], NEAR_BLOCKED)
    price[[0, -1]] = 0.0
    return price


def _best(
    line: Line, places: Floats, price: Floats, weights: Floats, most_weight: float, number: int
) -> tuple[float, tuple[float, ...]] | None:
    """Cost and joints of the best division into `number` pieces, None where the limits do not allow it."""
    mean = (line.high - line.low) / number
    width = places[None, :] - places[:, None]
    step = ((width - mean) / mean) ** 2 + price[None, :]
    step = np.where(width < min(line.least, mean) - 1e-6, step + NEAR_BLOCKED, step)
    heavy = weights[None, :] - weights[:, None] > most_weight * (1.0 + 1e-6)
    step = np.where((width <= 1e-6) | (width > line.most + 1e-6) | heavy, np.inf, step)
    cost = np.full(len(places), np.inf)
    cost[0] = 0.0
    origin = []
    for _ in range(number):
        total = cost[:, None] + step
        origin.append(total.argmin(axis=0))
        cost = total.min(axis=0)
    if not np.isfinite(cost[-1]):
        return None
    place, found = len(places) - 1, []
    for back in reversed(origin):
        place = int(back[place])
        found.append(float(places[place]))
    return float(cost[-1]), tuple(sorted(found)[1:])


def blocked_stretches(spans: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """Stretches (low, high) with those that overlap joined, ascending."""
    joined: list[tuple[float, float]] = []
    for low, high in sorted(spans):
        if joined and low <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(high, joined[-1][1]))
        else:
            joined.append((low, high))
    return tuple(joined)
