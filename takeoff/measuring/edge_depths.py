"""Edges of varying depth, divided along their length where the depth passes a band."""

from bisect import bisect_left
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import shapely
from msgspec import Struct

from takeoff.geometry.mesh import Floats

SAME = 1e-6
"""Places along an edge, and depths, that differ by less than this, m, are the same."""
SHORT = 1e-3
"""A portion of an edge shorter than this, m, is rounding and belongs to its neighbour."""


class Portion(Struct, frozen=True):
    """A portion of an edge: `area` m2, `length` m along it, mean outer `depth` m across it."""

    area: float
    length: float
    depth: float


class _Run(Struct, frozen=True):
    """Neighbouring columns of one band: as Portion, with the depth at its two ends."""

    portion: Portion
    start: float
    end: float
    place: int

    def with_next(self, other: "_Run") -> "_Run":
        """Both as one, in the band of the longer."""
        a, b = self.portion, other.portion
        length = a.length + b.length
        depth = (a.depth * a.length + b.depth * b.length) / length
        main = self if a.length >= b.length else other
        return _Run(Portion(a.area + b.area, length, depth), self.start, other.end, main.place)


def depth_portions(face: shapely.Polygon, limits: Sequence[float]) -> list[Portion]:
    """Portions of an upright `face` (level, up), in order along it, none with a depth on both sides of a limit, m.

    The depth at a place is from the lowest to the highest point of the face there, square to the edge where its
    upper and lower side climb together: the edge of a ramp is as deep as the ramp is thick. An end that runs out to a
    point within less than the depth beside it is the end of that portion and no shallower edge.
    """
    runs: list[_Run] = []
    for area, width, first, last, slope in _columns(face):
        for run in _divided(area, width, first, last, slope, limits):
            if runs and runs[-1].place == run.place:
                runs[-1] = runs[-1].with_next(run)
            else:
                runs.append(run)
    runs = _settled(runs)
    return [run.portion for run in runs]


def _columns(face: shapely.Polygon) -> list[tuple[float, float, float, float, float]]:
    """Area, level width, depth at either side and common climb of the columns of a face between its corners."""
    rings = [shapely.get_coordinates(ring) for ring in (face.exterior, *face.interiors)]
    start = np.concatenate([ring[:-1] for ring in rings])
    end = np.concatenate([ring[1:] for ring in rings])
    turned = start[:, 0] > end[:, 0]
    start[turned], end[turned] = end[turned], start[turned]
    across = np.unique(start[:, 0].tolist() + end[:, 0].tolist())
    places = across[np.concatenate([[True], np.diff(across) > SAME])]
    lean = end[:, 0] - start[:, 0] > SAME
    start, end = start[lean], end[lean]
    climb = (end[:, 1] - start[:, 1]) / (end[:, 0] - start[:, 0])
    out = []
    for left, right in zip(places[:-1].tolist(), places[1:].tolist(), strict=True):
        middle = (left + right) / 2.0
        here = (start[:, 0] < middle) & (end[:, 0] > middle)
        if here.sum() < 2:
            continue
        level = start[here, 1] + climb[here] * (middle - start[here, 0])
        order = np.argsort(level)
        level, rise = level[order], climb[here][order]
        out.append(_column(level, rise, right - left))
    return out


def _column(level: Floats, rise: Floats, width: float) -> tuple[float, float, float, float, float]:
    """A column from the lines that cross it, lowest first: their `level` in its middle and their `rise`."""
    depth, tapers = float(level[-1] - level[0]), float(rise[-1] - rise[0]) * width / 2.0
    area = float((level[1::2] - level[::2]).sum()) * width if len(level) % 2 == 0 else depth * width
    low, high = float(rise[0]), float(rise[-1])
    slope = min(abs(low), abs(high)) if low * high > 0 else 0.0
    return area, width, max(depth - tapers, 0.0), max(depth + tapers, 0.0), slope


def _divided(
    area: float, width: float, first: float, last: float, slope: float, limits: Sequence[float]
) -> list[_Run]:
    """One column in runs of one band each."""
    square = 1.0 / float(np.hypot(1.0, slope))
    first, last, width = first * square, last * square, width / square
    low, high = min(first, last), max(first, last)
    cuts = [limit for limit in limits if low + SAME < limit < high - SAME]
    marks = [first, *(cuts if last > first else cuts[::-1]), last]
    total = (first + last) / 2.0
    runs = []
    for one, other in pairwise(marks):
        part = (other - one) / (last - first) if cuts else 1.0
        depth = (one + other) / 2.0
        share = part * depth / total if total > 0.0 else part
        place = bisect_left(limits, depth - SAME)
        runs.append(_Run(Portion(area * share, width * part, depth), one, other, place))
    return runs


def _settled(runs: list[_Run]) -> list[_Run]:
    """Runs without those that are rounding or the pointed end of their neighbour."""
    while len(runs) > 1:
        for i, run in enumerate(runs):
            beside = [runs[k] for k in (i - 1, i + 1) if 0 <= k < len(runs)]
            pointed = (i == 0 and run.start < SAME) or (i == len(runs) - 1 and run.end < SAME)
            deepest = max(other.portion.depth for other in beside)
            if run.portion.length < SHORT or (pointed and run.portion.length < deepest):
                k = i - 1 if i and (i == len(runs) - 1 or runs[i - 1].portion.length >= SHORT) else i
                runs[k : k + 2] = [_joined(runs[k], runs[k + 1], keep=runs[k] if k < i else runs[k + 1])]
                break
        else:
            break
        runs = _alike_together(runs)
    return runs


def _joined(first: _Run, second: _Run, keep: _Run) -> _Run:
    """Both as one, in the band of `keep`."""
    both = first.with_next(second)
    return _Run(both.portion, both.start, both.end, keep.place)


def _alike_together(runs: list[_Run]) -> list[_Run]:
    out = runs[:1]
    for run in runs[1:]:
        if run.place == out[-1].place:
            out[-1] = out[-1].with_next(run)
        else:
            out.append(run)
    return out
