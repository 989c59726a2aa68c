"""Heights of a surface of triangles above plan points, along lines and against planes.

Where sheets of the surface lie one above the other (a block of soil, a fold) the highest counts. Pieces that stand
upright have no height and are left out; holes that the surface surrounds are closed by triangles between the corners
of their rims; beyond its edge the height of its nearest point holds.
"""

import itertools
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from takeoff.geometry import planar
from takeoff.geometry.mesh import Floats, Ints

UPRIGHT = 1e-3
"""A triangle whose plan is smaller than this share of its area stands upright (by less than 0.06 degrees off)."""

_SAME = 1e-4
"""Corners of triangles nearer than this in plan, metres, are one, where rims of holes are followed."""

_SLIVER = 1e-9
"""Plan areas under this, m2, are none."""

_GRID = 1e-7
"""Grid on which parts of plans are joined, metres."""

GAP_STEP = 0.5
"""Step along a line beyond the surface at which the nearest height is looked up, metres."""


class Heights:
    """A surface of triangles (t, 3, 3), m, turned either way. `holes` is the plan area of the holes closed, m2."""

    def __init__(self, triangles: Floats) -> None:
        flat, self.upright = _laid_flat(triangles)
        self.measured = len(flat)
        closing = _closings(flat)
        self.holes = _plan_areas(closing).sum() if len(closing) else 0.0
        self.corners: Floats = np.concatenate([flat, closing]) if len(closing) else flat
        self.plans: NDArray[np.object_] = shapely.polygons(self.corners[:, :, :2])
        self.tree = shapely.STRtree(self.plans)
        self.planes = _planes(self.corners)

    def __len__(self) -> int:
        return len(self.corners)

    def at(self, points: Floats) -> tuple[Floats, Floats]:
        """Heights (n,) over plan points (n, 2), and how far each is from the surface in plan (n,), m."""
        heights = np.full(len(points), -np.inf)
        away = np.zeros(len(points))
        marks = shapely.points(points)
        which, triangle = self.tree.query(marks, predicate="intersects")
        np.maximum.at(heights, which, self._over(triangle, points[which]))
        bare = np.flatnonzero(np.isinf(heights))
        if len(bare):
            place, nearest = self.tree.query_nearest(marks[bare], all_matches=False)
            links = shapely.shortest_line(self.plans[nearest], marks[bare[place]])
            ends = shapely.get_coordinates(shapely.get_point(links, 0))
            heights[bare[place]] = self._over(nearest, ends)
            away[bare[place]] = shapely.length(links)
        return heights, away

    def sheets(self, points: Floats) -> Floats:
        """How far apart, m, the highest and the lowest sheet of one turn lie over each of (n, 2) points.

        The two sides of a block are turned against each other; a fold or two surfaces are not.
        """
        which, triangle = self.tree.query(shapely.points(points), predicate="intersects")
        triangle, which = triangle[triangle < self.measured], which[triangle < self.measured]
        over = self._over(triangle, points[which])
        up = _turns(self.corners[triangle]) > 0.0
        apart = np.zeros(len(points))
        for side in (up, ~up):
            high, low = np.full(len(points), -np.inf), np.full(len(points), np.inf)
            np.maximum.at(high, which[side], over[side])
            np.minimum.at(low, which[side], over[side])
            seen = np.isfinite(high)
            apart[seen] = np.maximum(apart[seen], high[seen] - low[seen])
        return apart

    def upright_near(self, points: Floats, reach: float) -> int:
        """How many pieces stand upright within `reach` of plan points (n, 2)."""
        if not len(self.upright):
            return 0
        lines = shapely.linestrings(self.upright[:, :, :2])
        near = shapely.STRtree(shapely.points(points)).query(lines, predicate="dwithin", distance=reach)
        return len(np.unique(near[0]))

    def along(self, start: Floats, end: Floats) -> list[tuple[float, float, float, float]]:
        """The surface over a plan line as straight pieces: (share of the line, height) at their two ends.

        Pieces lie one above the other where sheets do, and may overlap; gaps are filled by the nearest heights.
        """
        line = shapely.LineString([start, end])
        found = self.tree.query(line, predicate="intersects")
        pieces: list[tuple[float, float, float, float]] = []
        if len(found):
            first, last = _crossings(self.corners[found][:, :, :2], start, end)
            kept = last > first
            found, first, last = found[kept], first[kept], last[kept]
            way = end - start
            low = self._over(found, start + first[:, None] * way)
            high = self._over(found, start + last[:, None] * way)
            pieces = list(zip(first.tolist(), low.tolist(), last.tolist(), high.tolist(), strict=True))
        length = float(np.linalg.norm(end - start))
        for begin, stop in _gaps([(piece[0], piece[2]) for piece in pieces], 1e-6 / max(length, 1e-6)):
            count = max(1, int(np.ceil((stop - begin) * length / GAP_STEP)))
            shares = np.linspace(begin, stop, count + 1)
            heights, _ = self.at(start + shares[:, None] * (end - start))
            pieces += [
                (float(a), float(za), float(b), float(zb))
                for (a, za), (b, zb) in itertools.pairwise(zip(shares, heights, strict=True))
            ]
        return pieces

    def above(self, shape: shapely.Geometry, plane: Floats) -> shapely.Geometry:
        """The part of a plan `shape` over which the surface lies higher than a plane z = a x + b y + c (3,)."""
        found = self.tree.query(shape, predicate="intersects")
        corners = self.corners[found]
        rise = corners[:, :, 2] - corners[:, :, :2] @ plane[:2] - plane[2]
        parts = planar.intersection(self.plans[found], shape)
        wide = shapely.area(parts) > _SLIVER
        found, corners, rise, parts = found[wide], corners[wide], rise[wide], parts[wide]
        bare = _without(shape, parts)
        if not bare.is_empty:
            points = shapely.get_coordinates(shapely.point_on_surface(shapely.get_parts(bare)))
            heights, _ = self.at(points)
            over = heights > points @ plane[:2] + plane[2]
            bare = _joined(shapely.get_parts(bare)[over])
        whole = (rise >= 0.0).all(axis=1)
        if whole.all() and len(found):
            return shape if bare.is_empty else _joined([*parts, bare])
        split = ~whole & (rise > 0.0).any(axis=1)
        cut = [_upper(corners[k, :, :2], rise[k]) for k in np.flatnonzero(split)]
        higher = [*parts[whole], bare]
        if cut:
            higher += planar.intersection(np.array(cut, dtype=object), shape).tolist()
        return _joined(higher)

    def near(self, shape: shapely.Geometry, reach: float) -> Ints:
        """Triangles within `reach` of a plan shape."""
        found: Ints = self.tree.query(shape, predicate="dwithin", distance=reach)
        return found

    def _over(self, triangles: Ints, points: Floats) -> Floats:
        """Heights of the planes of triangles (n,) over plan points (n, 2)."""
        corner = self.corners[triangles, 0]
        way = points - corner[:, :2]
        heights: Floats = corner[:, 2] + (way * self.planes[triangles]).sum(axis=1)
        return heights


def _turns(corners: Floats) -> Floats:
    """Twice the plan area of triangles (t, 3, 3), positive for those that look up."""
    a, b = corners[:, 1, :2] - corners[:, 0, :2], corners[:, 2, :2] - corners[:, 0, :2]
    turns: Floats = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return turns


def _plan_areas(corners: Floats) -> Floats:
    return np.abs(_turns(corners)) / 2.0


def _laid_flat(triangles: Floats) -> tuple[Floats, Floats]:
    """Triangles that have a plan, and those that stand upright."""
    plans = _plan_areas(triangles)
    areas = np.linalg.norm(
        np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]), axis=1
    )
    flat = (plans > _SLIVER) & (plans > UPRIGHT * areas / 2.0)
    return triangles[flat], triangles[~flat & (areas > 2.0 * _SLIVER)]


def _planes(corners: Floats) -> Floats:
    """Slopes (t, 2) of the planes of triangles along x and y."""
    a, b = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    turns = _turns(corners)
    x = (a[:, 2] * b[:, 1] - b[:, 2] * a[:, 1]) / turns
    y = (b[:, 2] * a[:, 0] - a[:, 2] * b[:, 0]) / turns
    return np.column_stack([x, y])


def _closings(triangles: Floats) -> Floats:
    """Triangles (h, 3, 3) that close the holes of a surface, between the corners of their rims."""
    if not len(triangles):
        return np.zeros((0, 3, 3))
    points = triangles.reshape(-1, 3)
    keys = np.round(points[:, :2] / _SAME).astype(np.int64)
    _, first, number = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    corners = points[first].copy()
    np.maximum.at(corners[:, 2], number.ravel(), points[:, 2])  # of sheets one above the other the highest
    faces = number.reshape(-1, 3)
    edges = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    # the two sides of a block have the same rim in plan
    sides = np.tile(_turns(triangles) > 0.0, 3)[:, None]
    edges = np.hstack([edges, sides])[edges[:, 0] != edges[:, 1]]
    single, counts = np.unique(edges, axis=0, return_counts=True)
    rim = np.unique(single[counts == 1][:, :2], axis=0)
    if len(rim) < 3:
        return np.zeros((0, 3, 3))
    rings = shapely.get_parts(shapely.polygonize(shapely.linestrings(corners[rim][:, :, :2])))
    if not len(rings):
        return np.zeros((0, 3, 3))
    inside = shapely.point_on_surface(rings)
    covered, _ = shapely.STRtree(shapely.polygons(triangles[:, :, :2])).query(inside, predicate="intersects")
    bare = np.setdiff1d(np.arange(len(rings)), covered)
    if not len(bare):
        return np.zeros((0, 3, 3))
    cut = shapely.get_parts(shapely.constrained_delaunay_triangles(rings[bare]))
    laid = shapely.get_coordinates(cut).reshape(-1, 4, 2)[:, :3]
    rims = corners[np.unique(rim)]
    nearest = shapely.STRtree(shapely.points(rims[:, :2])).nearest(shapely.points(laid.reshape(-1, 2)))
    heights = rims[nearest, 2].reshape(-1, 3, 1)
    closed, _ = _laid_flat(np.concatenate([laid, heights], axis=2))
    return closed


def _crossings(triangles: Floats, start: Floats, end: Floats) -> tuple[Floats, Floats]:
    """Where a line enters and leaves plan triangles (t, 3, 2), in shares of the line; last <= first: it does not."""
    way = end - start
    first, last = np.zeros(len(triangles)), np.ones(len(triangles))
    a, b = triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
    turn = np.sign(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
    for k in range(3):
        corner = triangles[:, k]
        edge = (triangles[:, (k + 1) % 3] - corner) * turn[:, None]
        # inside is on the left of the edge: cross(edge, point - corner) >= 0
        at_start = edge[:, 0] * (start[1] - corner[:, 1]) - edge[:, 1] * (start[0] - corner[:, 0])
        rate = edge[:, 0] * way[1] - edge[:, 1] * way[0]
        level = np.abs(rate) < 1e-15
        with np.errstate(divide="ignore", invalid="ignore"):
            share = -at_start / rate
        first = np.where(~level & (rate > 0.0), np.maximum(first, share), first)
        last = np.where(~level & (rate < 0.0), np.minimum(last, share), last)
        last = np.where(level & (at_start < 0.0), -1.0, last)
    return first, last


def _gaps(spans: list[tuple[float, float]], slack: float) -> list[tuple[float, float]]:
    """What of the span from 0 to 1 the `spans` leave open, gaps up to `slack` not counted."""
    gaps, reached = [], 0.0
    for begin, stop in sorted(spans):
        if begin > reached + slack:
            gaps.append((reached, begin))
        reached = max(reached, stop)
    if reached < 1.0 - slack:
        gaps.append((reached, 1.0))
    return gaps


def _without(shape: shapely.Geometry, parts: NDArray[np.object_]) -> shapely.Geometry:
    """What of a shape its `parts` leave open."""
    if not len(parts):
        return shape
    if shapely.area(parts).sum() > shape.area * (1.0 - 1e-9) and len(parts) == 1:
        return shapely.Polygon()
    rest = planar.difference(shape, _joined(parts))
    pieces = [piece for piece in shapely.get_parts(rest) if piece.area > 1e-6]
    return shapely.MultiPolygon(pieces) if pieces else shapely.Polygon()


def _joined(shapes: Any) -> shapely.Geometry:
    """Union of the polygons among some shapes, on a grid: pieces that meet within rounding were lost without one."""
    parts = shapely.get_parts(np.array(list(shapes), dtype=object))
    parts = [part for part in parts if part.geom_type == "Polygon" and part.area > _SLIVER]
    return planar.union_all(parts, grid_size=_GRID) if parts else shapely.Polygon()


def _upper(plan: Floats, rise: Floats) -> shapely.Geometry:
    """The part of a plan triangle (3, 2) where the linear `rise` (3,) at its corners is above zero."""
    ring = []
    for k in range(3):
        here, there = k, (k + 1) % 3
        if rise[here] > 0.0:
            ring.append(plan[here])
        if (rise[here] > 0.0) != (rise[there] > 0.0):
            share = rise[here] / (rise[here] - rise[there])
            ring.append(plan[here] + share * (plan[there] - plan[here]))
    return shapely.Polygon(ring) if len(ring) > 2 else shapely.Polygon()
