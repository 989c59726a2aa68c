"""Curved patches: runs of narrow facets that stand for a smooth surface, and upright cylinders among them."""

import numpy as np
import shapely
from msgspec import Struct
from numpy.typing import NDArray

from takeoff.geometry import planar
from takeoff.geometry.edges import connected
from takeoff.geometry.facets import Facets
from takeoff.geometry.mesh import Floats, Ints
from takeoff.geometry.neighbours import ragged_product

SMOOTH = np.cos(np.radians(16.0))
"""Neighbouring facets that turn by less than this are one curved surface (22 to 24 sides or more a circle)."""
FINE = np.cos(np.radians(8.0))
"""Below this turn the facets are a tessellation, and the area is the cylinder's, not the facets'."""
ROUND = 2e-4
"""A run is an upright cylinder when its corners lie within this, m, plus a thousandth of the radius, of it."""


class Cylinder(Struct, frozen=True, eq=False):
    """An upright cylindrical patch: its facets, the axis in plan, radius, and its shape unrolled.

    `polygon` has coordinates (angle in radians, height in metres), so its area times `radius` is the true area.
    `hollow` is true where the body lies outside the cylinder (the wall of a hole).
    """

    facets: Ints
    centre: Floats
    radius: float
    hollow: bool
    polygon: shapely.Geometry


class Curves(Struct, frozen=True, eq=False):
    """`patch` (f,) number of the curved patch of each facet, -1 for flat ones; the upright cylinders found."""

    patch: Ints
    cylinders: tuple[Cylinder, ...]


def find_curves(facets: Facets) -> Curves:
    """Curved patches of a table of facets."""
    patch = _patches(facets)
    cylinders = []
    if (patch >= 0).any():
        order = np.argsort(patch, kind="stable")
        order = order[patch[order] >= 0]
        triangles = np.argsort(facets.triangle_facet, kind="stable")
        bounds = np.searchsorted(facets.triangle_facet[triangles], np.arange(len(facets) + 1))
        for members in np.split(order, np.flatnonzero(np.diff(patch[order])) + 1):
            _, position = ragged_product(bounds[members], bounds[members + 1])
            cylinder = _upright_cylinder(facets, members, triangles[position])
            if cylinder is not None:
                cylinders.append(cylinder)
    return Curves(patch, tuple(cylinders))


def _patches(facets: Facets) -> Ints:
    count = len(facets)
    none = np.full(count, -1, dtype=np.int64)
    if not len(facets.edges):
        return none
    a, b = facets.edges[:, 0], facets.edges[:, 1]
    turn = np.einsum("ij,ij->i", facets.normal[a], facets.normal[b])
    # a hair's breadth of turn is a flat face cut in two by a label, not a curve
    smooth = (turn > SMOOTH) & (turn < 1.0 - 1e-7)
    extent = np.linalg.norm(facets.box[:, 1] - facets.box[:, 0], axis=1)
    width = facets.area / np.maximum(extent, 1e-9)
    group = connected(facets.edges[smooth], count)
    wide = np.zeros(count, dtype=bool)
    sizes = np.bincount(group)
    large = sizes[group] >= 3
    order = np.lexsort((width, group))
    start = np.searchsorted(group[order], np.arange(len(sizes)))
    median = width[order[start + (sizes - 1) // 2]]
    wide[large] = width[large] > 3.0 * median[group[large]]
    smooth &= ~(wide[a] | wide[b])
    group = connected(facets.edges[smooth], count)
    sizes = np.bincount(group)
    return np.where(sizes[group] >= 3, group, -1)


def _upright_cylinder(facets: Facets, members: Ints, triangles: Ints) -> Cylinder | None:
    """The upright cylinder that a patch (its facets, their triangles) lies on, or None."""
    if np.abs(facets.normal[members, 2]).max() > 1e-3:
        return None
    corners = facets.vertices[facets.triangles[triangles]]
    plan = corners[:, :, :2].reshape(-1, 2)
    centre, radius = fit_circle(plan)
    stray = np.abs(np.linalg.norm(plan - centre, axis=1) - radius)
    if not np.isfinite(radius) or radius > 1e4 or stray.max() > ROUND + 1e-3 * radius:
        return None
    outward = np.einsum("ij,ij->i", facets.centre[members, :2] - centre, facets.normal[members, :2])
    hollow = outward < 0
    if hollow.any() != hollow.all():
        return None
    angles = np.sort(np.arctan2(facets.normal[members, 1], facets.normal[members, 0]))
    steps = np.diff(np.unique(np.round(angles, 4)))
    if not len(steps) or np.cos(np.median(steps)) < FINE:
        return None
    polygon = _unrolled(corners, centre)
    return Cylinder(members, centre, float(radius), bool(hollow.all()), polygon)


def fit_circle(points: Floats) -> tuple[Floats, float]:
    """Least-squares circle through (n, 2) points (Kasa's linear fit): centre (2,) and radius."""
    middle = points.mean(axis=0)
    local = points - middle
    matrix = np.column_stack([2.0 * local, np.ones(len(local))])
    solution, *_ = np.linalg.lstsq(matrix, (local**2).sum(axis=1), rcond=None)
    squared = solution[2] + solution[0] ** 2 + solution[1] ** 2
    return middle + solution[:2], float(np.sqrt(squared)) if squared > 0 else float("nan")


def _unrolled(corners: Floats, centre: Floats) -> shapely.Geometry:
    """Union of the triangles (t, 3, 3) in (angle, height), angles from -pi to pi."""
    angle = np.arctan2(corners[:, :, 1] - centre[1], corners[:, :, 0] - centre[0])
    base = angle[:, :1]
    angle = base + (angle - base + np.pi) % (2.0 * np.pi) - np.pi
    points = np.stack([angle, corners[:, :, 2]], axis=2)
    shape = planar.union_all(shapely.polygons(points), grid_size=1e-9)
    low, high = float(angle.min()), float(angle.max())
    pieces = []
    for turn in (-1, 0, 1):
        left, right = -np.pi + 2.0 * np.pi * turn, np.pi + 2.0 * np.pi * turn
        if low < right and high > left:
            window = shapely.box(left, -1e7, right, 1e7)
            part = planar.intersection(shape, window)
            pieces.append(shapely.transform(part, _shift(-2.0 * np.pi * turn)))
    return planar.union_all(pieces, grid_size=1e-9)


def _shift(by: float):  # type: ignore[no-untyped-def]
    """A function that shifts (n, 2) coordinates along the first axis."""

    def moved(points: NDArray[np.float64]) -> NDArray[np.float64]:
        return points + np.array([by, 0.0])

    return moved
