"""Curves of profiles as polygons: straight pieces exactly, arcs by chords that stay within a fifth of a millimetre."""

import math
from typing import Any

import numpy as np

from takeoff.geometry.mesh import Floats
from takeoff.geometry.placements import applied, axis_placement
from takeoff.geometry.refusals import Nonsense, Sheet, Unread, number, size
from takeoff.geometry.splines import spline_points
from takeoff.told import Quantity, told

Entity = Any

CIRCLE_SEGMENTS = 128
"""Chords in a full circle: the polygon's area is 0.04 % short of the circle's, its girth 0.01 %."""

SAGITTA = 0.0002
"""Largest distance of a chord from its arc, metres: a thousandth of a thin wall. Decides for radii over 0.7 m."""


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
    return ellipse_points(matrix, first, second, start, sweep)[:, :2]


def ellipse_points(matrix: Floats, first: float, second: float, start: float, sweep: float) -> Floats:
    """The same in space, (n, 3)."""
    angles = start + np.linspace(0.0, sweep, arc_steps(max(first, second), sweep) + 1)
    flat = np.zeros((len(angles), 3))
    flat[:, 0], flat[:, 1] = first * np.cos(angles), second * np.sin(angles)
    return applied(matrix, flat)


JOINED = 1e-4
"""Pieces of a curve follow on each other when their ends lie this near, metres."""

FLAT = 1e-4
"""A curve lies in its plane when it leaves it by no more than this, metres."""

TURNS = 4.0 * math.pi
"""Arcs given by larger angles than two turns, radians, are taken to be meant in degrees by whoever wrote them."""


def points2d(rows: Any, sheet: Sheet) -> Floats:
    """Coordinate rows as (n, 2) metres. Raises Nonsense for rows that are no points."""
    try:
        points = np.array(rows, dtype=np.float64)
    except (TypeError, ValueError):
        points = np.zeros(0)
    if points.ndim != 2 or points.shape[1] not in (2, 3) or not np.isfinite(points).all():
        raise Nonsense("points of a curve without two or three coordinates that are numbers")
    points *= sheet.scale
    if points.shape[1] > 2 and np.ptp(points[:, 2]) > FLAT:
        sheet.doubt("outline-not-flat", "an outline leaves its plane: its plan was measured")
    return points[:, :2]


def curve_points(curve: Entity, sheet: Sheet, depth: int = 0) -> Floats:
    """Points (n, 2) in metres along a bounded or closed curve, in its own direction.

    Raises Unread for kinds not known, Nonsense for what is no curve.
    """
    kind = curve.is_a()
    if kind == "IfcPolyline":
        return points2d([point[0] for point in curve.Points], sheet)
    if kind == "IfcIndexedPolyCurve":
        return _indexed(curve, sheet)
    if kind in ("IfcCompositeCurve", "IfcCompositeCurveOnSurface", "Ifc2DCompositeCurve"):
        return _composite(curve, sheet, depth)
    if kind in ("IfcCircle", "IfcEllipse"):
        matrix, first, second = place_of_conic(curve, sheet)
        return ellipse(matrix, first, second, 0.0, 2.0 * math.pi)
    if kind == "IfcTrimmedCurve":
        return _trimmed(curve, sheet)
    if kind in ("IfcBSplineCurveWithKnots", "IfcRationalBSplineCurveWithKnots"):
        return points2d(spline_points(curve), sheet)
    raise Unread(kind)


def ring(points: Floats) -> Floats:
    """A closed curve's points (n, 2) without repetitions, the first point not repeated at the end.

    Points closer than 1e-7 m are one. Raises Nonsense when fewer than three remain.
    """
    if not np.isfinite(points).all():
        raise Nonsense("coordinates that are no numbers")
    step = np.abs(points - np.concatenate([points[-1:], points[:-1]])).max(axis=1)
    points = points[step > 1e-7]
    if len(points) < 3:
        raise Nonsense("an outline of fewer than three points")
    return points


def place_of_conic(curve: Entity, sheet: Sheet) -> tuple[Floats, float, float]:
    """Matrix (4, 4) and semi-axes, metres, of a circle or an ellipse."""
    matrix = axis_placement(curve.Position, sheet.scale)
    if curve.is_a() == "IfcCircle":
        radius = size(curve, "Radius", sheet.scale)
        return matrix, radius, radius
    return matrix, size(curve, "SemiAxis1", sheet.scale), size(curve, "SemiAxis2", sheet.scale)


def _indexed(curve: Entity, sheet: Sheet) -> Floats:
    points = points2d(curve.Points.CoordList, sheet)
    if not curve.Segments:
        return points
    parts: list[Floats] = []
    last = 0
    for segment in curve.Segments:
        index = np.array(segment[0], dtype=np.int64)
        if not len(index) or index.min() < 1 or index.max() > len(points):
            raise Nonsense("an outline that refers to a point that is not there")
        if parts and int(index[0]) != last and np.abs(points[last - 1] - points[index[0] - 1]).max() > JOINED:
            raise Nonsense("an outline whose pieces do not follow on each other")
        last = int(index[-1])
        corners = points[index - 1]
        arcs = segment.is_a() == "IfcArcIndex"
        if arcs and len(corners) != 3:
            raise Nonsense("an arc that is not through three points")
        if arcs and np.abs(corners[0] - corners[2]).max() <= JOINED:
            raise Nonsense("an arc that ends where it begins")
        parts.append(arc_through(*corners) if arcs else corners)
    outline = np.concatenate([parts[0], *(part[1:] for part in parts[1:])])
    _tell_gap(outline, sheet)
    return outline


def _tell_gap(outline: Floats, sheet: Sheet) -> None:
    """Doubt a curve that is put together of pieces and does not come back to its beginning."""
    gap = float(np.abs(outline[-1] - outline[0]).max())
    if gap > JOINED:
        said = told("an outline does not close: a gap of {} was closed straight", Quantity(gap, "m", ".4f"))
        sheet.doubt("outline-open", said)


def _composite(curve: Entity, sheet: Sheet, depth: int) -> Floats:
    if depth > 20:
        raise Nonsense("a curve that is part of itself")
    parts: list[Floats] = []
    for segment in curve.Segments:
        if segment.is_a() == "IfcCurveSegment":
            raise Unread("IfcCurveSegment")
        points = curve_points(segment.ParentCurve, sheet, depth + 1)
        parts.append(points if segment.SameSense else points[::-1])
    outline = chained(parts, sheet)
    if not depth:
        _tell_gap(outline, sheet)
    return outline


def chained(parts: list[Floats], sheet: Sheet) -> Floats:
    """Pieces (n, d) joined end to beginning; one that plainly runs the wrong way is turned, a gap is bridged: told."""
    if not parts:
        raise Nonsense("a curve of no pieces")
    if len(parts) > 1 and not _meets(parts[0][-1], parts[1]) and _meets(parts[0][0], parts[1]):
        parts[0] = parts[0][::-1]
        sheet.doubt("outline-turned", "a piece of an outline runs against the others: turned")
    chain = [parts[0]]
    for part in parts[1:]:
        last = chain[-1][-1]
        if not _near(last, part[0]):
            if _near(last, part[-1]):
                part = part[::-1]
                sheet.doubt("outline-turned", "a piece of an outline runs against the others: turned")
            else:
                gap = float(np.abs(last - part[0]).max())
                said = told("an outline has a gap of {}, bridged straight", Quantity(gap, "m", ".4f"))
                sheet.doubt("outline-open", said)
                chain.append(part)
                continue
        chain.append(part[1:] if len(part) > 1 else part)
    return np.concatenate(chain)


def _near(one: Floats, other: Floats) -> bool:
    return float(np.abs(one - other).max()) <= JOINED


def _meets(point: Floats, part: Floats) -> bool:
    return _near(point, part[0]) or _near(point, part[-1])


def _trim(select: Any, sheet: Sheet) -> tuple[Floats | None, float | None]:
    point, parameter = None, None
    for value in select:
        if value.is_a("IfcCartesianPoint"):
            point = points2d([value[0]], sheet)[0]
        else:
            parameter = number(value[0], "a parameter")
    if point is None and parameter is None:
        raise Nonsense("a curve trimmed at nothing")
    return point, parameter


def _trimmed(curve: Entity, sheet: Sheet) -> Floats:
    basis = curve.BasisCurve
    trims = [_trim(curve.Trim1, sheet), _trim(curve.Trim2, sheet)]
    by_parameter = curve.MasterRepresentation == "PARAMETER"
    if basis.is_a() == "IfcLine":
        start = points2d([basis.Pnt[0]], sheet)[0]
        along = np.array(basis.Dir.Orientation[0][:2], dtype=np.float64)
        along *= number(basis.Dir.Magnitude, "a length") * sheet.scale / np.linalg.norm(along)
        ends = []
        for point, parameter in trims:
            if point is not None and (parameter is None or not by_parameter):
                ends.append(point)
                continue
            assert parameter is not None
            ends.append(start + along * parameter)
            _tell_ends(point, ends[-1], sheet)
        return np.array(ends)
    if basis.is_a() not in ("IfcCircle", "IfcEllipse"):
        raise Unread(f"IfcTrimmedCurve of {basis.is_a()}")
    matrix, first, second = place_of_conic(basis, sheet)
    angles = [
        _angle(point, parameter, (matrix, first, second), by_parameter, sheet) for point, parameter in trims
    ]
    sweep = angles[1] - angles[0]
    if curve.SenseAgreement:
        sweep = sweep % (2.0 * math.pi) or 2.0 * math.pi
    else:
        sweep = -((-sweep) % (2.0 * math.pi)) or -2.0 * math.pi
    return ellipse(matrix, first, second, angles[0], sweep)


def _angle(
    point: Floats | None,
    parameter: float | None,
    conic: tuple[Floats, float, float],
    by_parameter: bool,
    sheet: Sheet,
) -> float:
    """The angle of a trim, radians. Where point and parameter disagree, the point is right: it needs no unit."""
    matrix, first, second = conic
    at = None
    if point is not None:
        local = np.linalg.solve(matrix[:3, :3], np.append(point, 0.0) - matrix[:3, 3])
        at = math.atan2(local[1] / second, local[0] / first)
    if parameter is None or (at is not None and not by_parameter):
        assert at is not None
        return at
    given = parameter * sheet.angle
    if at is not None and point is not None:
        flat = np.array([[first * math.cos(given), second * math.sin(given), 0.0]])
        return given if _tell_ends(point, applied(matrix, flat)[0, :2], sheet) else at
    if abs(given) > TURNS:
        text = (
            f"an arc has an angle of {given:.6g} radians, more than two turns: is the unit of angles wrong?"
        )
        sheet.doubt("angle-doubtful", text)
    return given


def _tell_ends(point: Floats | None, other: Floats, sheet: Sheet) -> bool:
    """Whether an end given twice is the same place; a doubt where it is not."""
    if point is None or np.abs(point - other).max() <= max(JOINED, 1e-3 * float(np.abs(point).max())):
        return True
    sheet.doubt(
        "angle-doubtful", "the ends of an arc or line are given twice, differently: the points were taken"
    )
    return False
