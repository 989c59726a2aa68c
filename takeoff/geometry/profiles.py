"""Profiles as polygons with holes, in metres in the plane of the extrusion."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from takeoff.geometry.curves import curve_points, ring
from takeoff.geometry.mesh import Floats
from takeoff.geometry.placements import applied, axis_placement, operator
from takeoff.geometry.refusals import Nonsense, Sheet, Unread, size
from takeoff.geometry.sections import section

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


def profile_areas(profile: Entity, sheet: Sheet, depth: int = 0) -> list[Area]:
    """Areas of an IfcProfileDef.

    Raises Unread for kinds and details that are not known here, Nonsense for what encloses no area.
    """
    if depth > 20:
        raise Nonsense("a profile that is part of itself")
    kind = profile.is_a()
    if profile.ProfileType != "AREA":
        raise Nonsense(f"{kind} that is a line, not an area")
    if kind == "IfcArbitraryClosedProfileDef":
        return [_area(curve_points(profile.OuterCurve, sheet), [])]
    if kind == "IfcArbitraryProfileDefWithVoids":
        return [_area(curve_points(profile.OuterCurve, sheet), _holes(profile.InnerCurves, sheet))]
    if kind == "IfcCenterLineProfileDef":
        return _along(curve_points(profile.Curve, sheet), size(profile, "Thickness", sheet.scale), sheet)
    if kind == "IfcArbitraryOpenProfileDef":
        raise Nonsense(f"{kind} that is a line, not an area")
    if kind == "IfcCompositeProfileDef":
        return [area for part in profile.Profiles for area in profile_areas(part, sheet, depth + 1)]
    if kind in ("IfcDerivedProfileDef", "IfcMirroredProfileDef"):
        parts = profile_areas(profile.ParentProfile, sheet, depth + 1)
        # A mirrored profile has no operator of its own: the standard mirrors it about the y axis.
        mirrored = kind == "IfcMirroredProfileDef"
        matrix = np.diag([-1.0, 1.0, 1.0, 1.0]) if mirrored else operator(profile.Operator, sheet.scale)
        return [_placed(part, matrix) for part in parts]
    if not profile.is_a("IfcParameterizedProfileDef"):
        raise Unread(kind)
    outline, holes = section(profile, kind, sheet)
    return [_placed(_area(outline, holes), axis_placement(profile.Position, sheet.scale))]


def _area(outline: Floats, holes: list[Floats]) -> Area:
    return [turned(ring(outline), False), *(turned(ring(hole), True) for hole in holes)]


def _holes(curves: Sequence[Entity], sheet: Sheet) -> list[Floats]:
    """The curves of holes as points (n, 2); those that are lines hold nothing and are told."""
    holes = []
    for curve in curves:
        points = curve_points(curve, sheet)
        away = points - points[0]
        far = away[int(np.argmax((away**2).sum(axis=1)))]
        if np.abs(far[0] * away[:, 1] - far[1] * away[:, 0]).max() <= 1e-7 * float(np.hypot(*far)):
            sheet.doubt("hole-without-area", "a hole that is drawn as a line: nothing was taken out for it")
        else:
            holes.append(points)
    return holes


def _placed(area: Area, matrix: Floats) -> Area:
    moved = [applied(matrix, np.column_stack([points, np.zeros(len(points))]))[:, :2] for points in area]
    return [turned(points, index > 0) for index, points in enumerate(moved)]


def _along(line: Floats, thickness: float, sheet: Sheet) -> list[Area]:
    """The band of a thickness along a line, square at its ends and mitred at its corners."""
    import shapely

    band = shapely.LineString(line).buffer(
        thickness / 2.0, cap_style="flat", join_style="mitre", mitre_limit=10.0
    )
    if band.geom_type != "Polygon" or band.is_empty:
        raise Nonsense("a band along a line that is no area")
    if abs(band.area - thickness * shapely.LineString(line).length) > 1e-3 * band.area:
        sheet.doubt(
            "outline-crosses", "a band along a line overlaps itself, or turns too sharply for a mitre"
        )
    return [
        _area(shapely.get_coordinates(band.exterior), [shapely.get_coordinates(r) for r in band.interiors])
    ]
