"""How much of a solid lies under a surface of triangles."""

import manifold3d
import numpy as np
import shapely

from takeoff.geometry import planar
from takeoff.geometry.booleans import BooleanFailed, manifold, proved, split
from takeoff.geometry.mesh import Floats, Mesh, volume

BATCH = 24
"""Triangles that cut a piece of a solid one by one; over more the piece is halved first, so that each cut is small."""

_GRID = 1e-7
"""Grid on which plans of triangles are joined to see whether any lie one above the other, m."""

_DEEP = 1.0
"""How far prisms reach below all that they cut, m."""


def share_under(mesh: Mesh, triangles: Floats) -> float:
    """Share of a solid under triangles (t, 3, 3), of sheets one above the other under any. Raises BooleanFailed.

    A sheet cuts at once, and so do the two sides of a block, which are turned against each other. Where that fails,
    the prism under each triangle cuts, a solid under many being halved in plan until each piece has few.
    """
    if not len(triangles):
        return 0.0
    solid = manifold(mesh)
    below = _under_sheets(solid, triangles)
    if below is None:
        below = _under(solid, triangles)
    return min(max(below / volume(mesh), 0.0), 1.0)


def _under_sheets(solid: manifold3d.Manifold, triangles: Floats) -> float | None:
    """Volume, m3, of a solid under the one or two sheets that triangles make; None where they make others."""
    bottom = _bottom(solid, triangles)
    a, b = (triangles[:, k, :2] - triangles[:, 0, :2] for k in (1, 2))
    up = a[:, 0] * b[:, 1] > a[:, 1] * b[:, 0]
    rest, below = solid, 0.0
    for own in (triangles[up], triangles[~up]):
        if not len(own):
            continue
        sheet = _sheet(own, bottom)
        if sheet is None:
            return None
        try:
            shared, rest = split(rest, sheet)
        except BooleanFailed:
            return None
        below += shared.volume()
    return below


def _bottom(solid: manifold3d.Manifold, triangles: Floats) -> float:
    return min(float(solid.bounding_box()[2]), float(triangles[:, :, 2].min())) - _DEEP


def _sheet(triangles: Floats, bottom: float) -> manifold3d.Manifold | None:
    """The solid under triangles of one turn down to a height; None where they are not one sheet of whole edges."""
    plans = shapely.polygons(triangles[:, :, :2])
    area = shapely.area(plans)
    if planar.union_all(plans, grid_size=_GRID).area < area.sum() * (1.0 - 1e-6):
        return None
    corners, faces = np.unique(triangles.reshape(-1, 3), axis=0, return_inverse=True)
    faces = faces.reshape(-1, 3)
    a, b = (corners[faces[0, k], :2] - corners[faces[0, 0], :2] for k in (1, 2))
    if a[0] * b[1] < a[1] * b[0]:
        faces = faces[:, ::-1]
    edges = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    number = len(corners)
    there, back = edges[:, 0] * number + edges[:, 1], edges[:, 1] * number + edges[:, 0]
    rim = edges[~np.isin(there, back)]
    sides = [np.column_stack([rim[:, 1], rim[:, 0], rim[:, 0] + number])]
    sides.append(np.column_stack([rim[:, 1], rim[:, 0] + number, rim[:, 1] + number]))
    base = np.column_stack([corners[:, :2], np.full(number, bottom)])
    whole = np.concatenate([faces, faces[:, ::-1] + number, *sides])
    solid = manifold3d.Manifold(manifold3d.Mesh64(np.concatenate([corners, base]), whole.astype(np.uint64)))
    if solid.status() != manifold3d.Error.NoError:
        return None
    stated = float((area * (triangles[:, :, 2].mean(axis=1) - bottom)).sum())
    return solid if proved(stated, solid.volume(), 0.0) else None


def _under(solid: manifold3d.Manifold, triangles: Floats) -> float:
    """Volume, m3, of a solid under triangles."""
    if not len(triangles) or solid.is_empty():
        return 0.0
    halves = _halves(solid, triangles)
    if halves is not None:
        return sum(_under(half, own) for half, own in halves)
    bottom = _bottom(solid, triangles)
    rest, below = solid, 0.0
    for corners in triangles:
        # what lies under two sheets counts once
        shared, rest = split(rest, _prism(corners, bottom))
        below += shared.volume()
    return below


def _halves(
    solid: manifold3d.Manifold, triangles: Floats
) -> tuple[tuple[manifold3d.Manifold, Floats], ...] | None:
    """A solid halved in plan, each half with the triangles over it; None where it needs not or cannot be halved."""
    if len(triangles) <= BATCH:
        return None
    low, high = triangles[:, :, :2].min(axis=1), triangles[:, :, :2].max(axis=1)
    box = np.array(solid.bounding_box()).reshape(2, 3)[:, :2]
    middles = np.clip((low + high) / 2.0, box[0], box[1])
    axis = int(np.ptp(middles, axis=0).argmax())
    at = float(np.median(middles[:, axis]))
    before, after = low[:, axis] < at, high[:, axis] > at
    if max(before.sum(), after.sum()) > 0.9 * len(triangles):
        return None
    normal = (1.0, 0.0, 0.0) if axis == 0 else (0.0, 1.0, 0.0)
    front, behind = solid.split_by_plane(normal, at)
    return (front, triangles[after]), (behind, triangles[before])


def _prism(corners: Floats, bottom: float) -> manifold3d.Manifold:
    """The solid under a triangle (3, 3) down to a height below all of its corners."""
    a, b = corners[1] - corners[0], corners[2] - corners[0]
    top = corners if a[0] * b[1] > a[1] * b[0] else corners[::-1]
    base = np.column_stack([top[:, :2], np.full(3, bottom)])
    faces = [[2, 1, 0], [3, 4, 5], [0, 1, 4], [0, 4, 3], [1, 2, 5], [1, 5, 4], [2, 0, 3], [2, 3, 5]]
    solid = manifold3d.Mesh64(np.concatenate([base, top]), np.array(faces, dtype=np.uint64))
    return manifold3d.Manifold(solid)
