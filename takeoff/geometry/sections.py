"""Outlines of the standard's parameterised sections, fillets included.

Dimensions and positions follow ISO 16739-1: sections are centred on their bounding box. Dimensions that contradict
each other make no section: a wall thicker than half of its pipe, a fillet larger than the leg that it rounds.
"""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from takeoff.geometry.curves import arc, ellipse
from takeoff.geometry.mesh import Floats
from takeoff.geometry.refusals import Nonsense, Sheet, Unread, number, radius, size

Entity = Any
Corner = tuple[float, float, float]
"""A corner of an outline: x, y, and the radius that rounds it."""

_SLOPES = ("FlangeSlope", "WebSlope", "LegSlope", "BottomFlangeSlope", "TopFlangeSlope")


def section(profile: Entity, kind: str, sheet: Sheet) -> tuple[Floats, list[Floats]]:
    """Outline and holes of a parameterised profile, before its own position; metres.

    Raises Unread for kinds that are not known and for sloping flanges, Nonsense for dimensions that contradict
    each other.
    """
    scale = sheet.scale
    if kind == "IfcRectangleProfileDef":
        return _box(size(profile, "XDim", scale), size(profile, "YDim", scale), 0.0), []
    if kind == "IfcRoundedRectangleProfileDef":
        width, depth = _sizes(profile, scale, "XDim", "YDim")
        return _box(width, depth, radius(profile, "RoundingRadius", scale)), []
    if kind == "IfcRectangleHollowProfileDef":
        width, depth, wall = _sizes(profile, scale, "XDim", "YDim", "WallThickness")
        _fits(profile, 2.0 * wall < min(width, depth), "WallThickness")
        outer, inner = (radius(profile, name, scale) for name in ("OuterFilletRadius", "InnerFilletRadius"))
        return _box(width, depth, outer), [_box(width - 2.0 * wall, depth - 2.0 * wall, inner)]
    if kind == "IfcCircleProfileDef":
        return _circle(size(profile, "Radius", scale)), []
    if kind == "IfcCircleHollowProfileDef":
        outer, wall = _sizes(profile, scale, "Radius", "WallThickness")
        _fits(profile, wall < outer, "WallThickness")
        return _circle(outer), [_circle(outer - wall)]
    if kind == "IfcEllipseProfileDef":
        first, second = _sizes(profile, scale, "SemiAxis1", "SemiAxis2")
        return ellipse(np.eye(4), first, second, 0.0, 2.0 * math.pi), []
    if kind == "IfcTrapeziumProfileDef":
        bottom, top, depth = _sizes(profile, scale, "BottomXDim", "TopXDim", "YDim")
        shift = number(profile.TopXOffset, "TopXOffset") * scale
        left, low, high = -bottom / 2.0, -depth / 2.0, depth / 2.0
        return np.array([[left, low], [-left, low], [left + shift + top, high], [left + shift, high]]), []
    return _rounded(_flanged(profile, kind, sheet), profile), []


def _sizes(profile: Entity, scale: float, *names: str) -> list[float]:
    return [size(profile, name, scale) for name in names]


def _fits(profile: Entity, whether: bool, name: str) -> None:
    if not whether:
        raise Nonsense(
            f"{profile.is_a()} whose {name} of {getattr(profile, name):g} does not fit its other sizes"
        )


def _circle(r: float) -> Floats:
    return ellipse(np.eye(4), r, r, 0.0, 2.0 * math.pi)


def _box(width: float, depth: float, fillet: float) -> Floats:
    x, y = width / 2.0, depth / 2.0
    return _rounded([(-x, -y, fillet), (x, -y, fillet), (x, y, fillet), (-x, y, fillet)], None)


def _rounded(corners: Sequence[Corner], profile: Entity) -> Floats:
    """Points (n, 2) of an outline with its corners rounded. Raises Nonsense where a fillet is longer than a side."""
    points = np.array([corner[:2] for corner in corners])
    radii = [corner[2] for corner in corners]
    if not any(radii):
        return points
    before, after = np.roll(points, 1, axis=0) - points, np.roll(points, -1, axis=0) - points
    sides = np.linalg.norm(after, axis=1)
    before /= np.linalg.norm(before, axis=1, keepdims=True)
    after /= np.linalg.norm(after, axis=1, keepdims=True)
    half = np.arccos(np.clip((before * after).sum(axis=1), -1.0, 1.0)) / 2.0
    taken = np.array(radii) / np.tan(half)
    if (taken + np.roll(taken, -1) > sides * (1.0 + 1e-6) + 1e-9).any():
        raise Nonsense(f"{profile.is_a() if profile else 'a rectangle'} with a fillet larger than its side")
    parts = []
    for place, r in enumerate(radii):
        if not r:
            parts.append(points[place : place + 1])
            continue
        middle = before[place] + after[place]
        centre = points[place] + middle / np.linalg.norm(middle) * (r / math.sin(half[place]))
        start, end = points[place] + before[place] * taken[place], points[place] + after[place] * taken[place]
        first = math.atan2(start[1] - centre[1], start[0] - centre[0])
        last = math.atan2(end[1] - centre[1], end[0] - centre[0])
        sweep = (last - first + math.pi) % (2.0 * math.pi) - math.pi
        parts.append(arc(centre, r, first, sweep))
    return np.concatenate(parts)


def _flanged(profile: Entity, kind: str, sheet: Sheet) -> list[Corner]:
    """Corners of an L, T, U, Z, C or I shape, anticlockwise."""
    for name in _SLOPES:
        if getattr(profile, name, None):
            sheet.doubt("section-sloped", f"{kind} with {name}: the kernel's reading of it cannot be checked")
            raise Unread(f"{kind} with {name}")
    scale = sheet.scale
    fillet, edge = radius(profile, "FilletRadius", scale), radius(profile, "EdgeRadius", scale)
    if kind in ("IfcIShapeProfileDef", "IfcAsymmetricIShapeProfileDef"):
        return _double_tee(profile, kind, scale)
    if kind == "IfcLShapeProfileDef":
        depth, wall = _sizes(profile, scale, "Depth", "Thickness")
        width = depth if profile.Width is None else size(profile, "Width", scale)
        _fits(profile, wall < min(depth, width), "Thickness")
        x, y = width / 2.0, depth / 2.0
        return [
            (-x, -y, 0.0), (x, -y, 0.0), (x, wall - y, edge),
            (wall - x, wall - y, fillet), (wall - x, y, edge), (-x, y, 0.0),
        ]  # fmt: skip
    if kind == "IfcCShapeProfileDef":
        depth, width, wall, girth = _sizes(profile, scale, "Depth", "Width", "WallThickness", "Girth")
        _fits(profile, 2.0 * wall < depth and wall < width, "WallThickness")
        _fits(profile, wall <= girth < depth / 2.0, "Girth")
        x, y = width / 2.0, depth / 2.0
        inner = radius(profile, "InternalFilletRadius", scale)
        outer = inner + wall if inner else 0.0
        lower = [
            (x, -y, outer), (x, girth - y, 0.0), (x - wall, girth - y, 0.0),
            (x - wall, wall - y, inner), (wall - x, wall - y, inner),
        ]  # fmt: skip
        return [(-x, -y, outer), *lower, *((px, -py, r) for px, py, r in reversed(lower)), (-x, y, outer)]
    if kind not in ("IfcTShapeProfileDef", "IfcUShapeProfileDef", "IfcZShapeProfileDef"):
        raise Unread(kind)
    depth, width, web, flange = _sizes(
        profile, scale, "Depth", "FlangeWidth", "WebThickness", "FlangeThickness"
    )
    _fits(profile, web < width, "WebThickness")
    _fits(profile, (1.0 if kind == "IfcTShapeProfileDef" else 2.0) * flange < depth, "FlangeThickness")
    x, y, w = width / 2.0, depth / 2.0, web / 2.0
    if kind == "IfcTShapeProfileDef":
        tip, foot = radius(profile, "FlangeEdgeRadius", scale), radius(profile, "WebEdgeRadius", scale)
        right = [(w, -y, foot), (w, y - flange, fillet), (x, y - flange, tip), (x, y, 0.0)]
        return [*right, *((-px, py, r) for px, py, r in reversed(right))]
    if kind == "IfcUShapeProfileDef":
        lower = [(x, -y, 0.0), (x, flange - y, edge), (web - x, flange - y, fillet)]
        return [(-x, -y, 0.0), *lower, *((px, -py, r) for px, py, r in reversed(lower)), (-x, y, 0.0)]
    # Flanges of a Z are measured over the web; the geometry kernels measure them from its middle.
    sheet.doubt("section-doubtful", "a Z section: its flange width was read as measured over the web")
    reach = width - w
    half = [(-w, -y, 0.0), (reach, -y, 0.0), (reach, flange - y, edge), (w, flange - y, fillet)]
    return [*half, *((-px, -py, r) for px, py, r in half)]


def _double_tee(profile: Entity, kind: str, scale: float) -> list[Corner]:
    """Corners of an I shape, its flanges alike or not; the two schemas name those of the unlike one differently."""
    names = {
        False: ("OverallWidth", "FlangeThickness", "FilletRadius", "FlangeEdgeRadius"),
        True: (
            "BottomFlangeWidth",
            "BottomFlangeThickness",
            "BottomFlangeFilletRadius",
            "BottomFlangeEdgeRadius",
        ),
    }[hasattr(profile, "BottomFlangeWidth")]
    depth, web, wide, thick = _sizes(profile, scale, "OverallDepth", "WebThickness", names[0], names[1])
    low_fillet, low_edge = radius(profile, names[2], scale), radius(profile, names[3], scale)
    upper = wide, thick, low_fillet, low_edge
    if kind == "IfcAsymmetricIShapeProfileDef":
        upper = (
            size(profile, "TopFlangeWidth", scale),
            radius(profile, "TopFlangeThickness", scale) or thick,
            radius(profile, "TopFlangeFilletRadius", scale),
            radius(profile, "TopFlangeEdgeRadius", scale),
        )
    _fits(profile, thick + upper[1] < depth, names[1])
    _fits(profile, web < min(wide, upper[0]), "WebThickness")
    y, w = depth / 2.0, web / 2.0
    right = [
        (wide / 2.0, -y, 0.0), (wide / 2.0, thick - y, low_edge), (w, thick - y, low_fillet),
        (w, y - upper[1], upper[2]), (upper[0] / 2.0, y - upper[1], upper[3]), (upper[0] / 2.0, y, 0.0),
    ]  # fmt: skip
    return [*right, *((-px, py, r) for px, py, r in reversed(right))]
