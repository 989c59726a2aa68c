"""Profiles as polygons with holes, in metres in the plane of the extrusion.

Dimensions and positions follow ISO 16739-1: parameterised profiles are centred on their bounding box.
Rolled-steel shapes with fillets or sloping flanges are left to the geometry kernel.
"""

import math
from typing import Any

import numpy as np

from takeoff.geometry.curves import Unread, arc, curve_points, ellipse, ring
from takeoff.geometry.mesh import Floats
from takeoff.geometry.placements import applied, axis_placement, operator

Entity = Any
Area = list[Floats]
"""An area: its outline (n, 2) anticlockwise, then its holes (n, 2) clockwise."""


def signed_area(points: Floats) -> float:
    """Area of a polygon (n, 2), m2, positive when it turns anticlockwise."""
    x, y = (points - points[0]).T
    return float(x[:-1] @ y[1:] - y[:-1] @ x[1:]) / 2.0


def turned(points: Floats, hole: bool) -> Floats:
    """The polygon turning anticlockwise, clockwise for a hole."""
    return points[::-1] if (signed_area(points) > 0.0) == hole else points


def profile_areas(profile: Entity, scale: float, angle: float) -> list[Area]:
    """Areas of an IfcProfileDef. Raises Unread for kinds and details that are not known here."""
    kind = profile.is_a()
    if profile.ProfileType != "AREA":
        raise Unread(f"{kind} that is no area")
    if kind == "IfcArbitraryClosedProfileDef":
        return [_area(curve_points(profile.OuterCurve, scale, angle), [])]
    if kind == "IfcArbitraryProfileDefWithVoids":
        holes = [curve_points(curve, scale, angle) for curve in profile.InnerCurves]
        return [_area(curve_points(profile.OuterCurve, scale, angle), holes)]
    if kind == "IfcCompositeProfileDef":
        return [area for part in profile.Profiles for area in profile_areas(part, scale, angle)]
    if kind == "IfcDerivedProfileDef":
        matrix = operator(profile.Operator, scale)
        parts = profile_areas(profile.ParentProfile, scale, angle)
        return [_placed(part, matrix) for part in parts]
    outline, holes = _parameterised(profile, kind, scale)
    try:
        matrix = axis_placement(profile.Position, scale)
    except ValueError as problem:
        raise Unread(str(problem)) from problem
    return [_placed(_area(outline, holes), matrix)]


def _area(outline: Floats, holes: list[Floats]) -> Area:
    return [turned(ring(outline), False), *(turned(ring(hole), True) for hole in holes)]


def _placed(area: Area, matrix: Floats) -> Area:
    moved = [applied(matrix, np.column_stack([points, np.zeros(len(points))]))[:, :2] for points in area]
    return [turned(points, index > 0) for index, points in enumerate(moved)]


def _box(width: float, depth: float) -> Floats:
    return np.array([[-width, -depth], [width, -depth], [width, depth], [-width, depth]]) / 2.0


def _rounded_box(width: float, depth: float, radius: float) -> Floats:
    if radius <= 0.0:
        return _box(width, depth)
    corners = _box(width - 2.0 * radius, depth - 2.0 * radius)
    quarter = math.pi / 2.0
    return np.concatenate([arc(corners[i], radius, (i + 2) * quarter, quarter) for i in range(4)])


def _circle(radius: float) -> Floats:
    return ellipse(np.eye(4), radius, radius, 0.0, 2.0 * math.pi)


def _sizes(profile: Entity, scale: float, *names: str) -> list[float]:
    return [float(getattr(profile, name)) * scale for name in names]


def _plain(profile: Entity, *names: str) -> None:
    """Raise Unread when one of the named refinements (fillets, slopes) is set."""
    for name in names:
        if getattr(profile, name, None):
            raise Unread(f"{profile.is_a()} with {name}")


def _parameterised(profile: Entity, kind: str, scale: float) -> tuple[Floats, list[Floats]]:
    """Outline and holes of a parameterised profile, before its own position."""
    if kind == "IfcRectangleProfileDef":
        return _box(*_sizes(profile, scale, "XDim", "YDim")), []
    if kind == "IfcRoundedRectangleProfileDef":
        return _rounded_box(*_sizes(profile, scale, "XDim", "YDim", "RoundingRadius")), []
    if kind == "IfcRectangleHollowProfileDef":
        width, depth, wall = _sizes(profile, scale, "XDim", "YDim", "WallThickness")
        outer = (profile.OuterFilletRadius or 0.0) * scale
        inner = (profile.InnerFilletRadius or 0.0) * scale
        return _rounded_box(width, depth, outer), [_rounded_box(width - 2 * wall, depth - 2 * wall, inner)]
    if kind == "IfcCircleProfileDef":
        return _circle(profile.Radius * scale), []
    if kind == "IfcCircleHollowProfileDef":
        radius, wall = _sizes(profile, scale, "Radius", "WallThickness")
        return _circle(radius), [_circle(radius - wall)]
    if kind == "IfcEllipseProfileDef":
        first, second = _sizes(profile, scale, "SemiAxis1", "SemiAxis2")
        return ellipse(np.eye(4), first, second, 0.0, 2.0 * math.pi), []
    if kind == "IfcTrapeziumProfileDef":
        bottom, top, depth, shift = _sizes(profile, scale, "BottomXDim", "TopXDim", "YDim", "TopXOffset")
        left, low, high = -bottom / 2.0, -depth / 2.0, depth / 2.0
        return np.array([[left, low], [-left, low], [left + shift + top, high], [left + shift, high]]), []
    return _flanged(profile, kind, scale), []


def _flanged(profile: Entity, kind: str, scale: float) -> Floats:
    """Outline of an L, T, U, C or I shape with plain corners."""
    _plain(profile, "FilletRadius", "EdgeRadius", "FlangeEdgeRadius", "WebEdgeRadius", "LegSlope")
    _plain(profile, "FlangeSlope", "WebSlope", "InternalFilletRadius")
    if kind == "IfcLShapeProfileDef":
        depth, wall = _sizes(profile, scale, "Depth", "Thickness")
        width = depth if profile.Width is None else profile.Width * scale
        x, y = width / 2.0, depth / 2.0
        return np.array([[-x, -y], [x, -y], [x, wall - y], [wall - x, wall - y], [wall - x, y], [-x, y]])
    if kind == "IfcCShapeProfileDef":
        depth, width, wall, girth = _sizes(profile, scale, "Depth", "Width", "WallThickness", "Girth")
        x, y = width / 2.0, depth / 2.0
        lower = [[x, -y], [x, girth - y], [x - wall, girth - y], [x - wall, wall - y], [wall - x, wall - y]]
        return np.array([[-x, -y], *lower, *([px, -py] for px, py in reversed(lower)), [-x, y]])
    if kind not in ("IfcTShapeProfileDef", "IfcUShapeProfileDef", "IfcIShapeProfileDef"):
        raise Unread(kind)
    web, flange = _sizes(profile, scale, "WebThickness", "FlangeThickness")
    if kind == "IfcIShapeProfileDef":
        width, depth = _sizes(profile, scale, "OverallWidth", "OverallDepth")
        x, y, w = width / 2.0, depth / 2.0, web / 2.0
        right = [[x, -y], [x, flange - y], [w, flange - y], [w, y - flange], [x, y - flange], [x, y]]
        return np.array([*right, *([-px, py] for px, py in reversed(right))])
    depth, width = _sizes(profile, scale, "Depth", "FlangeWidth")
    x, y, w = width / 2.0, depth / 2.0, web / 2.0
    if kind == "IfcTShapeProfileDef":
        right = [[w, -y], [w, y - flange], [x, y - flange], [x, y]]
        return np.array([*right, *([-px, py] for px, py in reversed(right))])
    lower = [[x, -y], [x, flange - y], [web - x, flange - y]]
    return np.array([[-x, -y], *lower, *([px, -py] for px, py in reversed(lower)), [-x, y]])
