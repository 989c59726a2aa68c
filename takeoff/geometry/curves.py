"""Curves of profiles as polygons: straight pieces exactly, arcs by chords that stay within a fifth of a millimetre."""

import math
from typing import Any

import numpy as np

from takeoff.geometry.mesh import Floats
from takeoff.geometry.placements import applied, axis_placement

Entity = Any

CIRCLE_SEGMENTS = 128
"""Chords in a full circle: the polygon's area is 0.04 % short of the circle's, its girth 0.01 %."""

SAGITTA = 0.0002
"""Largest distance of a chord from its arc, metres: a thousandth of a thin wall. Decides for radii over 0.7 m."""


class Unread(Exception):
    """The item is of a kind that is not read here: the geometry kernel has to tessellate it."""


def arc_steps(radius: float, sweep: float) -> int:
    """Number of chords for an arc of `radius` metres and `sweep` radians (either sign)."""
    step = 2.0 * math.pi / CIRCLE_SEGMENTS
    if radius > SAGITTA:
        step = min(step, 2.0 * math.acos(1.0 - SAGITTA / radius))
    return max(1, math.ceil(abs(sweep) / step - 1e-9))


def arc(centre: Floats, radius: float, start: float, sweep: float) -> Floats:
    """Points (n, 2) on an arc from angle `start` through `sweep`, both ends included."""
    angles = start + np.linspace(0.0, sweep, arc_steps(radius, sweep) + 1)
    return centre + radius * np.column_stack([np.cos(angles), np.sin(angles)])


def arc_through(start: Floats, middle: Floats, end: Floats) -> Floats:
    """Points (n, 2) on the arc through three points; the straight line where they lie on one."""
    a, b = middle - start, end - start
    cross = a[0] * b[1] - a[1] * b[0]
    if abs(cross) <= 1e-12 * max(float(a @ a), float(b @ b)):
        return np.array([start, middle, end])
    offset = np.array([b[1] * (a @ a) - a[1] * (b @ b), a[0] * (b @ b) - b[0] * (a @ a)]) / (2.0 * cross)
    centre = start + offset
    first = math.atan2(start[1] - centre[1], start[0] - centre[0])
    last = math.atan2(end[1] - centre[1], end[0] - centre[0])
    sweep = (last - first) % (2.0 * math.pi)
    if cross < 0.0:
        sweep -= 2.0 * math.pi
    points = arc(centre, float(np.linalg.norm(offset)), first, sweep)
    points[0], points[-1] = start, end
    return points


def ellipse(matrix: Floats, first: float, second: float, start: float, sweep: float) -> Floats:
    """Points (n, 2) on an ellipse (a circle where the semi-axes are equal) placed by a (4, 4) matrix."""
    angles = start + np.linspace(0.0, sweep, arc_steps(max(first, second), sweep) + 1)
    flat = np.zeros((len(angles), 3))
    flat[:, 0], flat[:, 1] = first * np.cos(angles), second * np.sin(angles)
    return applied(matrix, flat)[:, :2]


def points2d(rows: Any, scale: float) -> Floats:
    """Coordinate rows as (n, 2) metres; raises Unread for points that leave the plane."""
    points = np.array(rows, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] < 2:
        raise Unread("points of a curve")
    if points.shape[1] > 2 and np.ptp(points[:, 2]) > 0.0:
        raise Unread("a curve that leaves its plane")
    return points[:, :2] * scale


def curve_points(curve: Entity, scale: float, angle: float) -> Floats:
    """Points (n, 2) in metres along a bounded or closed curve, in its own direction.

    `scale` is metres in a file unit, `angle` radians in a file angle. Raises Unread for kinds not known.
    """
    kind = curve.is_a()
    if kind == "IfcPolyline":
        return points2d([point[0] for point in curve.Points], scale)
    if kind == "IfcIndexedPolyCurve":
        return _indexed(curve, scale)
    if kind in ("IfcCompositeCurve", "IfcCompositeCurveOnSurface", "Ifc2DCompositeCurve"):
        return _composite(curve, scale, angle)
    if kind in ("IfcCircle", "IfcEllipse"):
        matrix, first, second = _conic(curve, scale)
        return ellipse(matrix, first, second, 0.0, 2.0 * math.pi)
    if kind == "IfcTrimmedCurve":
        return _trimmed(curve, scale, angle)
    raise Unread(kind)


def ring(points: Floats) -> Floats:
    """A closed curve's points (n, 2) without repetitions, the first point not repeated at the end.

    Points closer than 1e-7 m are one. Raises Unread when fewer than three remain.
    """
    if not np.isfinite(points).all():
        raise Unread("coordinates that are no numbers")
    step = np.abs(points - np.concatenate([points[-1:], points[:-1]])).max(axis=1)
    points = points[step > 1e-7]
    if len(points) < 3:
        raise Unread("an outline of fewer than three points")
    return points


def _conic(curve: Entity, scale: float) -> tuple[Floats, float, float]:
    try:
        matrix = axis_placement(curve.Position, scale)
    except ValueError as problem:
        raise Unread(str(problem)) from problem
    if curve.is_a() == "IfcCircle":
        return matrix, curve.Radius * scale, curve.Radius * scale
    return matrix, curve.SemiAxis1 * scale, curve.SemiAxis2 * scale


def _indexed(curve: Entity, scale: float) -> Floats:
    points = points2d(curve.Points.CoordList, scale)
    if not curve.Segments:
        return points
    parts = []
    for segment in curve.Segments:
        corners = points[np.array(segment[0], dtype=np.int64) - 1]
        arcs = segment.is_a() == "IfcArcIndex"
        parts.append(arc_through(*corners) if arcs else corners)
    return np.concatenate([parts[0], *(part[1:] for part in parts[1:])])


def _composite(curve: Entity, scale: float, angle: float) -> Floats:
    parts: list[Floats] = []
    last: Floats | None = None
    for segment in curve.Segments:
        if segment.is_a() == "IfcCurveSegment":
            raise Unread("IfcCurveSegment")
        points = curve_points(segment.ParentCurve, scale, angle)
        if not segment.SameSense:
            points = points[::-1]
        if last is not None and np.abs(last - points[0]).max() > 1e-4:
            raise Unread("a composite curve with gaps")
        parts.append(points[1:] if parts else points)
        last = points[-1]
    return np.concatenate(parts)


def _trim(select: Any, scale: float) -> tuple[Floats | None, float | None]:
    point, parameter = None, None
    for value in select:
        if value.is_a("IfcCartesianPoint"):
            point = points2d([value[0]], scale)[0]
        else:
            parameter = float(value[0])
    return point, parameter


def _trimmed(curve: Entity, scale: float, angle: float) -> Floats:
    basis = curve.BasisCurve
    trims = [_trim(curve.Trim1, scale), _trim(curve.Trim2, scale)]
    by_parameter = curve.MasterRepresentation == "PARAMETER"
    if basis.is_a() == "IfcLine":
        start = points2d([basis.Pnt[0]], scale)[0]
        along = np.array(basis.Dir.Orientation[0][:2], dtype=np.float64)
        along *= basis.Dir.Magnitude * scale / np.linalg.norm(along)
        ends = []
        for point, parameter in trims:
            if parameter is not None and (by_parameter or point is None):
                ends.append(start + along * parameter)
            elif point is not None:
                ends.append(point)
        return np.array(ends)
    if basis.is_a() not in ("IfcCircle", "IfcEllipse"):
        raise Unread(f"IfcTrimmedCurve of {basis.is_a()}")
    matrix, first, second = _conic(basis, scale)
    angles = []
    for point, parameter in trims:
        if parameter is not None and (by_parameter or point is None):
            angles.append(parameter * angle)
        elif point is not None:
            local = np.linalg.solve(matrix[:3, :3], np.append(point, 0.0) - matrix[:3, 3])
            angles.append(math.atan2(local[1] / second, local[0] / first))
    sweep = angles[1] - angles[0]
    if curve.SenseAgreement:
        sweep = sweep % (2.0 * math.pi) or 2.0 * math.pi
    else:
        sweep = -((-sweep) % (2.0 * math.pi)) or -2.0 * math.pi
    return ellipse(matrix, first, second, angles[0], sweep)
