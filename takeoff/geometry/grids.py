"""Places at the crossings of grid axes."""

import math
from typing import Any

import numpy as np

from takeoff.geometry.lines import apart, line_points
from takeoff.geometry.mesh import Floats
from takeoff.geometry.placements import axes, matrix_of, unit
from takeoff.geometry.refusals import Sheet, Unread

Entity = Any

_STRAIGHT = 1e-6
"""Metres by which an axis may leave a straight line; sine of the angle under which two axes still cross."""


def grid_place(placement: Entity, scale: float) -> tuple[Entity, Floats]:
    """The grid of an IfcGridPlacement and the matrix (4, 4) in the grid's own coordinates, metres.

    The x axis follows the reference direction, or the first axis where there is none, as ISO 16739-1 has it. Raises
    Unread for axes that are not straight or do not cross.
    """
    crossing = placement.PlacementLocation
    grid, point, along = _crossing(crossing, scale)
    wish = placement.PlacementRefDirection
    if wish is not None and wish.is_a("IfcDirection"):
        along = unit(wish[0])
    elif wish is not None:
        along = unit((_crossing(wish, scale)[1] - point).tolist())
    return grid, matrix_of(axes(np.array([0.0, 0.0, 1.0]), along), point)


def _crossing(crossing: Entity, scale: float) -> tuple[Entity, Floats, Floats]:
    """The grid, the point (3,) and the first axis's direction (3,) of an IfcVirtualGridIntersection."""
    first, second = crossing.IntersectingAxes
    grid = next(
        (owner for name in ("PartOfU", "PartOfV", "PartOfW") for owner in getattr(first, name, None) or ()),
        None,
    )
    if grid is None:
        raise Unread("an axis of no grid")
    offsets = [float(distance) * scale for distance in crossing.OffsetDistances]
    starts, ways = [], []
    for axis, offset in zip((first, second), offsets[:2], strict=True):
        points = apart(line_points(axis.AxisCurve, Sheet(scale, 1.0)))
        way = unit((points[-1] - points[0])[:2].tolist())
        left = np.array([-way[1], way[0], 0.0])
        if np.abs((points - points[0]) @ left).max() > _STRAIGHT:
            raise Unread("a grid axis that is not straight")
        if not axis.SameSense:
            way, left = -way, -left
        starts.append(points[0] + offset * left)
        ways.append(way)
    between = starts[1] - starts[0]
    sine = ways[0][0] * ways[1][1] - ways[0][1] * ways[1][0]
    if not math.isfinite(sine) or abs(sine) < _STRAIGHT:
        raise Unread("grid axes that do not cross")
    reach = (between[0] * ways[1][1] - between[1] * ways[1][0]) / sine
    point = starts[0] + reach * ways[0]
    point[2] = offsets[2] if len(offsets) > 2 else 0.0
    return grid, point, ways[0]
