"""Curves in space as polygons: the lines along which pipes and sections are swept."""

import math
from typing import Any

import numpy as np

from takeoff.geometry.curves import arc_through, chained, ellipse_points, place_of_conic
from takeoff.geometry.mesh import Floats
from takeoff.geometry.refusals import Nonsense, Sheet, Unread, number
from takeoff.geometry.splines import spline_points

Entity = Any

SAME = 1e-7
"""Points nearer than this, metres, are one."""


def line_points(curve: Entity, sheet: Sheet, depth: int = 0) -> Floats:
    """Points (n, 3) along a curve in metres; a closed one ends where it begins.

    Raises Unread for kinds not known, Nonsense for what is no curve.
    """
    if depth > 20:
        raise Nonsense("a curve that is part of itself")
    kind = curve.is_a()
    if kind == "IfcPolyline":
        return _metres([point[0] for point in curve.Points], sheet)
    if kind == "IfcIndexedPolyCurve":
        return _indexed(curve, sheet)
    if kind in ("IfcCompositeCurve", "IfcCompositeCurveOnSurface"):
        parts = []
        for segment in curve.Segments:
            if segment.is_a("IfcCurveSegment"):
                raise Unread("IfcCurveSegment")
            points = line_points(segment.ParentCurve, sheet, depth + 1)
            parts.append(points if segment.SameSense else points[::-1])
        return chained(parts, sheet)
    if kind in ("IfcCircle", "IfcEllipse"):
        return _conic(curve, 0.0, 2.0 * math.pi, sheet)
    if kind == "IfcTrimmedCurve":
        return _trimmed(curve, sheet)
    if kind in ("IfcBSplineCurveWithKnots", "IfcRationalBSplineCurveWithKnots"):
        return _in_space(spline_points(curve) * sheet.scale)
    raise Unread(kind)


def apart(points: Floats) -> Floats:
    """Points (n, 3) without those that repeat the one before them. Raises Nonsense when fewer than two remain."""
    if not np.isfinite(points).all():
        raise Nonsense("coordinates that are no numbers")
    step = np.linalg.norm(np.diff(points, axis=0), axis=1)
    points = points[np.append(True, step > SAME)]
    if len(points) < 2:
        raise Nonsense("a line without length")
    return points


def is_ring(points: Floats) -> bool:
    """Whether a line (n, 3) ends where it begins."""
    return len(points) > 3 and bool(np.linalg.norm(points[0] - points[-1]) <= 1e-5)


def _metres(rows: Any, sheet: Sheet) -> Floats:
    try:
        points = np.array(rows, dtype=np.float64)
    except (TypeError, ValueError):
        points = np.zeros(0)
    if points.ndim != 2 or points.shape[1] not in (2, 3) or not np.isfinite(points).all():
        raise Nonsense("points of a line without two or three coordinates that are numbers")
    return _in_space(points * sheet.scale)


def _in_space(points: Floats) -> Floats:
    return points if points.shape[1] == 3 else np.column_stack([points, np.zeros(len(points))])


def _indexed(curve: Entity, sheet: Sheet) -> Floats:
    points = _metres(curve.Points.CoordList, sheet)
    if not curve.Segments:
        return points
    parts = []
    for segment in curve.Segments:
        index = np.array(segment[0], dtype=np.int64)
        if not len(index) or index.min() < 1 or index.max() > len(points):
            raise Nonsense("a line that refers to a point that is not there")
        corners = points[index - 1]
        if segment.is_a() == "IfcArcIndex":
            if len(corners) != 3:
                raise Nonsense("an arc that is not through three points")
            corners = _arc(*corners)
        parts.append(corners)
    return chained(parts, sheet)


def _arc(start: Floats, middle: Floats, end: Floats) -> Floats:
    """Points (n, 3) on the arc through three points, laid on its own plane."""
    along = end - start
    long = float(np.linalg.norm(along))
    if long <= SAME:
        raise Nonsense("an arc that ends where it begins")
    first = along / long
    out = middle - start
    second = out - first * float(out @ first)
    rise = float(np.linalg.norm(second))
    if rise <= 1e-12 * long:
        return np.array([start, middle, end])
    frame = np.column_stack([first, second / rise])
    flat = arc_through(*(np.zeros(2), out @ frame, along @ frame))
    points: Floats = start + flat @ frame.T
    return points


def _conic(curve: Entity, start: float, sweep: float, sheet: Sheet) -> Floats:
    return ellipse_points(*place_of_conic(curve, sheet), start, sweep)


def _trimmed(curve: Entity, sheet: Sheet) -> Floats:
    basis = curve.BasisCurve
    if basis.is_a() == "IfcLine":
        by_parameter = curve.MasterRepresentation == "PARAMETER"
        ends = [_end(select, by_parameter, sheet) for select in (curve.Trim1, curve.Trim2)]
        origin = _metres([basis.Pnt[0]], sheet)[0]
        way = _in_space(np.array([basis.Dir.Orientation[0]], dtype=np.float64))[0]
        way *= number(basis.Dir.Magnitude, "a length") * sheet.scale / (float(np.linalg.norm(way)) or 1.0)
        return np.array([end if isinstance(end, np.ndarray) else origin + way * end for end in ends])
    if basis.is_a() not in ("IfcCircle", "IfcEllipse"):
        raise Unread(f"IfcTrimmedCurve of {basis.is_a()}")
    return _conic(basis, *conic_turn(curve, sheet), sheet)


def conic_turn(curve: Entity, sheet: Sheet) -> tuple[float, float]:
    """Where an IfcTrimmedCurve of a circle or an ellipse begins and how far it turns, radians; back is negative."""
    by_parameter = curve.MasterRepresentation == "PARAMETER"
    matrix, first, second = place_of_conic(curve.BasisCurve, sheet)
    angles = []
    for select in (curve.Trim1, curve.Trim2):
        end = _end(select, by_parameter, sheet)
        if isinstance(end, np.ndarray):
            local = np.linalg.solve(matrix[:3, :3], end - matrix[:3, 3])
            angles.append(math.atan2(local[1] / second, local[0] / first))
        else:
            angles.append(end * sheet.angle)
    sweep = angles[1] - angles[0]
    if curve.SenseAgreement:
        return angles[0], sweep % (2.0 * math.pi) or 2.0 * math.pi
    return angles[0], -((-sweep) % (2.0 * math.pi)) or -2.0 * math.pi


def _end(select: Any, by_parameter: bool, sheet: Sheet) -> Floats | float:
    """Where a curve is cut off: a point (3,), or a parameter where that is asked for or all there is."""
    point: Floats | None = None
    parameter: float | None = None
    for value in select:
        if value.is_a("IfcCartesianPoint"):
            point = _metres([value[0]], sheet)[0]
        else:
            parameter = number(value[0], "a parameter")
    if point is not None and (parameter is None or not by_parameter):
        return point
    if parameter is None:
        raise Nonsense("a curve trimmed at nothing")
    return parameter
