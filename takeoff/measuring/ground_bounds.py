"""What lies below ground of faces and bodies: below one level, or below the surface of the terrain."""

import itertools
from typing import Protocol

import numpy as np
import shapely
from numpy.typing import NDArray

from takeoff.geometry import planar
from takeoff.geometry.booleans import manifold
from takeoff.geometry.heights import Heights
from takeoff.geometry.mesh import Floats, Mesh, volume
from takeoff.geometry.surfaces import Surfaces
from takeoff.geometry.under_terrain import share_under
from takeoff.measuring.enclosure import ARC

ROUNDING = 1e-6
"""Heights nearer than this, metres, are one."""

BEFORE = 1e-4
"""How far before a face the terrain is read, metres: at the face itself it may end or step."""

_DEEP = 1e7
"""Deeper than anything, metres."""

_LEAN_ROUNDS = 4
"""How often the line is found anew on which a face that leans meets the terrain."""

_BARE = 0.5
"""Longest edge, m, by which what lies beyond the edge of the terrain goes by the nearest heights."""


class Ground(Protocol):
    """The ground at one body."""

    def highest(self, plan: shapely.Geometry) -> float:
        """Height, m, that the ground does not rise above over a plan and right before it."""

    def lowest(self, plan: shapely.Geometry) -> float:
        """Height, m, that the ground does not fall under over a plan and right before it."""

    def of_upright(self, surfaces: Surfaces, row: int, shape: shapely.Geometry) -> shapely.Geometry:
        """What of a `shape` on an upright surface lies below the ground before the surface."""

    def of_flat(self, surfaces: Surfaces, row: int, plan: shapely.Geometry) -> shapely.Geometry:
        """What of a `plan` on a surface that looks up or down lies below the ground."""

    def share_below(self, mesh: Mesh, plan: shapely.Geometry) -> float:
        """Share of a body that lies below the ground. Raises BooleanFailed."""

    def share_by_mean(self, mesh: Mesh, plan: shapely.Geometry) -> float:
        """Share of a body that lies below the mean height of the ground over it."""


class Level:
    """Ground at one height, m."""

    def __init__(self, height: float) -> None:
        self.height = height

    def highest(self, plan: shapely.Geometry) -> float:
        """The level."""
        del plan
        return self.height

    lowest = highest

    def of_upright(self, surfaces: Surfaces, row: int, shape: shapely.Geometry) -> shapely.Geometry:
        """What lies below the level."""
        if surfaces.box[row, 1, 2] <= self.height + 1e-9:
            return shape
        limit = float(_across(surfaces, row, np.array([self.height]))[0])
        return planar.intersection(shape, shapely.box(-_DEEP, -_DEEP, _DEEP, limit))

    def of_flat(self, surfaces: Surfaces, row: int, plan: shapely.Geometry) -> shapely.Geometry:
        """All of a surface that looks down and begins below the level, or looks up and ends below it."""
        low, high = surfaces.box[row, :, 2]
        up = surfaces.normal[row, 2] > 0.0
        below = high < self.height - 1e-3 if up else low < self.height - ROUNDING
        return plan if below else shapely.Polygon()

    def share_below(self, mesh: Mesh, plan: shapely.Geometry) -> float:
        """Share of a body below the level."""
        del plan
        return _trimmed(mesh, self.height)

    share_by_mean = share_below


class Terrain:
    """Ground that rises and falls.

    A face is cut along the line on which the terrain meets it, where the terrain's triangles change slope: exact for
    flat upright faces, to a chord of `ARC` for round ones, and by rounds of search for those that lean.
    """

    def __init__(self, heights: Heights) -> None:
        self.heights = heights

    def highest(self, plan: shapely.Geometry) -> float:
        """The highest corner of the triangles over a plan."""
        return float(self._corners(plan).max())

    def lowest(self, plan: shapely.Geometry) -> float:
        """The lowest corner of the triangles over a plan."""
        return float(self._corners(plan).min())

    def of_upright(self, surfaces: Surfaces, row: int, shape: shapely.Geometry) -> shapely.Geometry:
        """What lies below the line on which the terrain meets the surface."""
        if shape.is_empty:
            return shape
        low, high = surfaces.box[row, :, 2]
        (x0, y0), (x1, y1) = surfaces.box[row, :, :2]
        around = shapely.box(x0, y0, x1, y1)
        if high <= self.lowest(around):
            return shape
        if low >= self.highest(around):
            return shapely.Polygon()
        first, _, last, _ = shape.bounds
        if surfaces.frame[row] < 0:
            pieces = self._around(surfaces, row, first, last)
        else:
            pieces = self._before(surfaces, row, first, last)
        below = [
            shapely.Polygon([(a, -_DEEP), (b, -_DEEP), (b, zb), (a, za)])
            for a, za, b, zb in pieces
            if b - a > 1e-9
        ]
        return planar.intersection(shape, planar.union_all(below)) if below else shapely.Polygon()

    def of_flat(self, surfaces: Surfaces, row: int, plan: shapely.Geometry) -> shapely.Geometry:
        """What lies lower than the terrain above it."""
        if plan.is_empty:
            return plan
        normal = surfaces.normal[row]
        slope = -normal[:2] / normal[2]
        through = surfaces.centre[row]
        plane = np.array([*slope, through[2] - through[:2] @ slope + ROUNDING])
        return self.heights.above(plan, plane)

    def share_below(self, mesh: Mesh, plan: shapely.Geometry) -> float:
        """Share of a body below the terrain over it, cut by a prism under each triangle. Raises BooleanFailed.

        Beyond the edge of the terrain the nearest heights hold.
        """
        low, high = mesh.box()[:, 2]
        if high <= self.lowest(plan) + ROUNDING:
            return 1.0
        if low >= self.highest(plan) - ROUNDING:
            return 0.0
        near = self.heights.near(plan, 0.0)
        triangles = np.concatenate([self.heights.corners[near], self._beyond(plan, self.heights.plans[near])])
        return share_under(mesh, triangles[triangles[:, :, 2].max(axis=1) > low])

    def share_by_mean(self, mesh: Mesh, plan: shapely.Geometry) -> float:
        """Share of a body that lies below the mean height of the terrain over it."""
        points = shapely.get_coordinates(shapely.segmentize(plan, 0.25))
        return _trimmed(mesh, float(self.heights.at(points)[0].mean()))

    def _beyond(self, plan: shapely.Geometry, covering: NDArray[np.object_]) -> Floats:
        """Triangles (t, 3, 3) at the nearest heights over what of a plan the terrain does not cover."""
        covered = planar.intersection(covering, plan)
        if float(shapely.area(covered).sum()) >= plan.area * (1.0 - 1e-6) and len(covering) == 1:
            return np.zeros((0, 3, 3))
        bare = (
            planar.difference(plan, planar.union_all(covered, grid_size=ROUNDING)) if len(covered) else plan
        )
        parts = [
            part for part in shapely.get_parts(bare) if part.geom_type == "Polygon" and part.area > ROUNDING
        ]
        if not parts:
            return np.zeros((0, 3, 3))
        cut = shapely.get_parts(shapely.constrained_delaunay_triangles(shapely.segmentize(parts, _BARE)))
        corners = shapely.get_coordinates(cut).reshape(-1, 4, 2)[:, :3]
        heights = self.heights.at(corners.reshape(-1, 2))[0].reshape(-1, 3, 1)
        return np.concatenate([corners, heights], axis=2)

    def _corners(self, plan: shapely.Geometry) -> Floats:
        found = self.heights.near(plan, 2.0 * BEFORE)
        points = shapely.get_coordinates(plan)
        reached = self.heights.at(points)[0] if len(points) else np.zeros(0)
        return np.concatenate([self.heights.corners[found, :, 2].ravel(), reached])

    def _around(
        self, surfaces: Surfaces, row: int, first: float, last: float
    ) -> list[tuple[float, float, float, float]]:
        """The terrain before a round surface, by angle and height."""
        ticks = np.linspace(first, last, max(2, int((last - first) / ARC) + 2))
        radius = float(surfaces.radius[row]) + (-BEFORE if surfaces.hollow[row] else BEFORE)
        points = surfaces.axis_point[row] + radius * np.column_stack([np.cos(ticks), np.sin(ticks)])
        heights, _ = self.heights.at(points)
        return [
            (float(a), float(za), float(b), float(zb))
            for (a, za), (b, zb) in itertools.pairwise(zip(ticks, heights, strict=True))
        ]

    def _before(
        self, surfaces: Surfaces, row: int, first: float, last: float
    ) -> list[tuple[float, float, float, float]]:
        """The terrain before a flat surface, in the frame of its polygon.

        A face that leans meets the terrain elsewhere than over its middle: it is followed there.
        """
        axes = surfaces.axes[row]
        outward = surfaces.normal[row, :2] / np.linalg.norm(surfaces.normal[row, :2])
        offset = float(surfaces.centre[row] @ axes[2])
        lean = np.linalg.norm(axes[1, :2]) > 1e-6
        height = float(surfaces.box[row, :, 2].mean())
        pieces: list[tuple[float, float, float, float]] = []
        for _ in range(_LEAN_ROUNDS if lean else 1):
            up = float(_across(surfaces, row, np.array([height]))[0])
            base = offset * axes[2] + up * axes[1]
            ends = [(base + share * axes[0])[:2] + BEFORE * outward for share in (first, last)]
            pieces = self.heights.along(ends[0], ends[1])
            height = float(np.mean([(za + zb) / 2.0 for _, za, _, zb in pieces]))
        if lean:
            pieces = self._followed(surfaces, row, first, last, outward, pieces)
        long = last - first
        tops = _across(surfaces, row, np.array([(za, zb) for _, za, _, zb in pieces]))
        return [
            (first + a * long, float(va), first + b * long, float(vb))
            for (a, _, b, _), (va, vb) in zip(pieces, tops, strict=True)
        ]

    def _followed(
        self,
        surfaces: Surfaces,
        row: int,
        first: float,
        last: float,
        outward: Floats,
        pieces: list[tuple[float, float, float, float]],
    ) -> list[tuple[float, float, float, float]]:
        """The terrain where it meets a face that leans, at the ends of `pieces` and at every `ARC` between."""
        axes = surfaces.axes[row]
        offset = float(surfaces.centre[row] @ axes[2])
        ticks = np.unique([*(share for a, _, b, _ in pieces for share in (a, b)), *np.linspace(0, 1, 21)])
        heights = np.full(len(ticks), float(np.mean([za for _, za, _, _ in pieces])))
        for _ in range(_LEAN_ROUNDS * 2):
            up = _across(surfaces, row, heights)
            points = (
                offset * axes[2] + up[:, None] * axes[1] + (first + ticks * (last - first))[:, None] * axes[0]
            )
            heights, _ = self.heights.at(points[:, :2] + BEFORE * outward)
        return [
            (float(a), float(za), float(b), float(zb))
            for (a, za), (b, zb) in itertools.pairwise(zip(ticks, heights, strict=True))
        ]


def _across(surfaces: Surfaces, row: int, heights: Floats) -> Floats:
    """Second coordinates in the frame of an upright surface at some heights, m."""
    if surfaces.frame[row] < 0:
        return heights
    axes = surfaces.axes[row]
    offset = float(surfaces.centre[row] @ axes[2])
    found: Floats = (heights - offset * float(axes[2, 2])) / float(axes[1, 2])
    return found


def _trimmed(mesh: Mesh, height: float) -> float:
    """Share of a body below a height."""
    low, high = mesh.box()[:, 2]
    if high <= height + ROUNDING:
        return 1.0
    if low >= height - ROUNDING:
        return 0.0
    below = manifold(mesh).trim_by_plane((0.0, 0.0, -1.0), -height)
    return min(max(below.volume() / volume(mesh), 0.0), 1.0)
