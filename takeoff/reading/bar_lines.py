"""Where bars lie: the lines along which they are drawn, for bars of which the model does not say whose they are."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from takeoff.reading.places import Placements

Points = NDArray[np.float64]
Line = tuple[tuple[float, float, float], ...]

ARC_STEP = math.radians(30.0)
"""Arcs are followed in steps of this: near enough to tell in which body they lie."""


def bar_lines(product: Any, drawn: Sequence[Any], placements: Placements) -> tuple[Line, ...]:
    """One line in the model's coordinates, metres, for each item of a bar that is drawn as a swept or pushed circle.

    Items of other shapes have none.
    """
    matrix = placements.of(product)
    lines: list[Line] = []
    for item in drawn:
        points = _item(item, 0)
        if len(points) < 2 or not np.isfinite(points).all():
            continue
        world = points * placements.length @ matrix[:3, :3].T + matrix[:3, 3]
        lines.append(tuple((x, y, z) for x, y, z in world.tolist()))
    return tuple(lines)


def _item(item: Any, depth: int) -> Points:
    """Points (n, 3) of the axis of an item, in the product's coordinates and file units; none for other shapes."""
    if depth > 8:
        return _NONE
    if item.is_a("IfcMappedItem"):
        from ifcopenshell.util.placement import get_mappeditem_transformation

        inner = list(item[0][1][3] or ())
        points = _item(inner[0], depth + 1) if len(inner) == 1 else _NONE
        return _moved(points, np.asarray(get_mappeditem_transformation(item), dtype=np.float64))
    if item.is_a("IfcSweptDiskSolid"):
        return _curve(item.Directrix)
    if item.is_a("IfcExtrudedAreaSolid") and item.SweptArea.is_a("IfcCircleProfileDef"):
        centre = _moved(np.zeros((1, 3)), _axes(item.SweptArea.Position))
        way = np.asarray(item.ExtrudedDirection.DirectionRatios, dtype=np.float64)
        end = centre + way / np.linalg.norm(way) * float(item.Depth)
        return _moved(np.vstack([centre, end]), _axes(item.Position))
    return _NONE


def _curve(curve: Any) -> Points:
    """Points along a curve; none for one of another kind than bars are drawn with."""
    if curve.is_a("IfcPolyline"):
        return _spatial([point[0] for point in curve.Points])
    if curve.is_a("IfcIndexedPolyCurve"):
        return _spatial(curve.Points.CoordList)
    if curve.is_a("IfcCompositeCurve"):
        parts = [
            _curve(s.ParentCurve) if s.SameSense else _curve(s.ParentCurve)[::-1] for s in curve.Segments
        ]
        return np.vstack(parts) if parts and all(len(part) for part in parts) else _NONE
    if curve.is_a("IfcTrimmedCurve") and curve.BasisCurve.is_a("IfcCircle"):
        return _arc(curve)
    if curve.is_a("IfcTrimmedCurve") and curve.BasisCurve.is_a("IfcLine"):
        return _ends(curve)
    return _NONE


def _arc(curve: Any) -> Points:
    """Points along an arc whose ends are given as points; the arc is the one in the sense of the curve."""
    circle = curve.BasisCurve
    ends = _ends(curve)
    if len(ends) < 2:
        return _NONE
    frame = _axes(circle.Position)
    local = (ends - frame[:3, 3]) @ frame[:3, :3]
    first, last = np.arctan2(local[:, 1], local[:, 0])
    sense = 1.0 if curve.SenseAgreement else -1.0
    turn = sense * ((sense * (last - first)) % (2.0 * math.pi))
    angles = first + turn * np.linspace(0.0, 1.0, max(2, math.ceil(abs(turn) / ARC_STEP) + 1))
    ring = np.column_stack([np.cos(angles), np.sin(angles), np.zeros(len(angles))]) * float(circle.Radius)
    return _moved(ring, frame)


def _ends(curve: Any) -> Points:
    """Where a trimmed curve begins and ends, (2, 3); none where it does not say so by points."""
    given = [end[0] for trim in (curve.Trim1, curve.Trim2) for end in trim if end.is_a("IfcCartesianPoint")]
    return _spatial(given) if len(given) == 2 else _NONE


def _axes(placement: Any) -> Points:
    """The 4x4 matrix of a placement in the plane or in space."""
    if placement is None:
        return np.eye(4)
    from ifcopenshell.util.placement import get_axis2placement

    return np.asarray(get_axis2placement(placement), dtype=np.float64)


def _spatial(coordinates: Sequence[Sequence[float]]) -> Points:
    """Points (n, 3) of coordinates of two or three numbers."""
    points = np.zeros((len(coordinates), 3))
    for i, given in enumerate(coordinates):
        points[i, : len(given)] = given
    return points


def _moved(points: Points, matrix: Points) -> Points:
    return points @ matrix[:3, :3].T + matrix[:3, 3] if len(points) else points


_NONE: Points = np.empty((0, 3))
