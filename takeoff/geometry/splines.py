"""B-spline curves as polygons, by the recursion of Cox and de Boor."""

from typing import Any

import numpy as np

from takeoff.geometry.mesh import Floats
from takeoff.geometry.refusals import Nonsense

Entity = Any

_STEPS = (8, 16, 32, 64, 128)
"""Chords in a span between knots, tried in this order until they lie near enough to the curve."""

_NEAR = 1e-4
"""A chord is near enough when its middle leaves the curve by this share of the curve's size."""

_MOST_POINTS = 5_000
"""Control points of a curve that anybody could have meant."""


def spline_points(curve: Entity) -> Floats:
    """Points (n, d) along an IfcBSplineCurveWithKnots, rational or not, in the file's lengths.

    Raises Nonsense for knots that do not fit the control points.
    """
    degree = int(curve.Degree)
    control = np.array([point[0] for point in curve.ControlPointsList], dtype=np.float64)
    knots = np.repeat(
        np.array(curve.Knots, dtype=np.float64), np.array(curve.KnotMultiplicities, dtype=np.int64)
    )
    if not 1 <= degree < len(control) <= _MOST_POINTS or len(knots) != len(control) + degree + 1:
        raise Nonsense("a B-spline whose knots do not fit its points")
    if not (np.isfinite(control).all() and np.isfinite(knots).all() and (np.diff(knots) >= 0.0).all()):
        raise Nonsense("a B-spline with numbers that make no curve")
    weights = np.array(getattr(curve, "WeightsData", None) or np.ones(len(control)), dtype=np.float64)
    if len(weights) != len(control) or not (weights > 0.0).all():
        raise Nonsense("a B-spline whose weights do not fit its points")
    own = np.column_stack([control * weights[:, None], weights])
    spans = np.unique(knots[degree : len(control) + 1])
    if len(spans) < 2:
        raise Nonsense("a B-spline without length")
    size = float(np.ptp(control, axis=0).max())
    for steps in _STEPS:
        inner = np.linspace(0.0, 1.0, 2 * steps + 1)[:-1]
        at = np.append((spans[:-1, None] + np.diff(spans)[:, None] * inner).ravel(), spans[-1])
        points = _at(own, knots, degree, at)
        off = np.abs(points[1::2] - (points[:-1:2] + points[2::2]) / 2.0)
        if off.max() <= _NEAR * size:
            break
    return points


def _at(control: Floats, knots: Floats, degree: int, at: Floats) -> Floats:
    """Points (n, d) at parameters (n,) of a curve of (k, d + 1) control points, the weight last."""
    last = len(control) - 1
    span = np.clip(np.searchsorted(knots, at, side="right") - 1, degree, last)
    rows = control[span[:, None] + np.arange(-degree, 1)]
    for level in range(1, degree + 1):
        for place in range(degree, level - 1, -1):
            index = span - degree + place
            low, high = knots[index], knots[index + degree + 1 - level]
            share = np.divide(at - low, high - low, out=np.zeros(len(at)), where=high > low)[:, None]
            rows[:, place] = (1.0 - share) * rows[:, place - 1] + share * rows[:, place]
    found = rows[:, degree]
    points: Floats = found[:, :-1] / found[:, -1:]
    return points
