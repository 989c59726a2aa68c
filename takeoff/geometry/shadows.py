"""Shadows: what a body that stands at a face covers of it, where no flat face of the body lies on it.

A row of round piles touches a wall in lines, a profiled sheet in strips; concrete cast against either is held by
all of it. So the body is projected onto the face, square to it.
"""

import numpy as np
import shapely
from numpy.typing import NDArray

from takeoff.geometry import planar
from takeoff.geometry.mesh import Floats, Mesh, crossed

BROAD = 0.4
"""A body turns its broad side to a face when its shadow there is this part of half its surface; half is a sphere's."""
GRID = 1e-6
"""Shadows are put together on a grid of this size, m, so that triangles that share an edge leave no slit."""


def shadow(
    mesh: Mesh, axes: Floats, normal: Floats, offset: float, gap: float, reach: float
) -> NDArray[np.object_]:
    """Polygons, in the plane's own coordinates, that cover what the body `mesh` covers of a face.

    `axes` (3, 3): rows u, v, n of the face's plane; `normal` (3,) looks out of the face, whose points have `offset`
    along it. Empty where the body does not come within `gap` m of the plane, lies wholly on the inner side of it by
    more than that, or turns a narrow side to it. What lies further than `reach` m from the plane holds nothing.
    """
    away = mesh.vertices @ normal - offset
    if away.min() > gap or away.max() < -gap:
        return np.empty(0, dtype=object)
    corners = mesh.corners
    cross = crossed(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    facing = -(cross @ normal) / 2.0
    if facing[facing > 0].sum() < BROAD * np.linalg.norm(cross, axis=1).sum() / 4.0:
        return np.empty(0, dtype=object)
    near = np.abs(away[mesh.faces]).min(axis=1) <= reach
    seen = near & (np.abs(facing) > 1e-9)
    flat = corners[seen] @ axes[:2].T
    rings = np.concatenate([flat, flat[:, :1]], axis=1)
    return np.asarray(shapely.polygons(rings), dtype=object)


def joined(polygons: NDArray[np.object_], close: float) -> shapely.Geometry:
    """Union of polygons, with gaps up to `close` m between them closed (corners stay square)."""
    whole = planar.union_all(polygons, grid_size=GRID)
    if close <= 0.0:
        return whole
    grown = whole.buffer(close / 2.0 + GRID, join_style="mitre")
    return grown.buffer(-close / 2.0 - GRID, join_style="mitre")
