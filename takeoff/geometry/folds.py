"""Surfaces that pass through themselves: closed and turned outward, yet some of the space within counts twice."""

from typing import Any, TypeAlias

import numpy as np

from takeoff.geometry.mesh import Mesh, areas, normals

Manifold: TypeAlias = Any

RAYS = 48
"""Rays sent through a body, from faces spread over its surface."""

FEW = 24
"""Faces up to which a mesh is looked at for being convex, which costs less than rays do."""

_SKEW = np.array([0.137, 0.071, -0.113])
"""Added to a face's normal, so that rays do not run along edges and faces of upright bodies."""


def is_box_like(mesh: Mesh) -> bool:
    """Whether a closed mesh of few faces is convex, as boxes are: then it cannot pass through itself."""
    if len(mesh.faces) > FEW:
        return False
    corners = mesh.corners
    outward = normals(corners)
    above = np.einsum("vfk,fk->vf", mesh.vertices[:, None] - corners[None, :, 0], outward)
    return bool(above.max() <= 1e-9 * max(1.0, float(np.ptp(mesh.vertices, axis=0).max())))


def folded(solid: Manifold, mesh: Mesh) -> bool:
    """Whether some place within a solid lies inside its surface more than once, or inside out.

    Rays through the middle of faces count how deep they are: 1 within, 0 without, anything else is a fold. A ray
    that does not come out at 0 ran along an edge and does not count; two others must agree. Finds folds of the
    size of a face, not every small one. `mesh` is the solid's.
    """
    if is_box_like(mesh):
        return False
    corners = mesh.corners
    order = np.argsort(-areas(corners))
    chosen = order[np.unique(np.linspace(0, len(order) - 1, RAYS).astype(np.int64))]
    way = normals(corners[chosen]) + _SKEW
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    middle = corners[chosen].mean(axis=1)
    reach = float(np.linalg.norm(np.ptp(mesh.vertices, axis=0))) + 1.0
    seen = 0
    for start, end, along in zip(middle - way * reach, middle + way * reach, way, strict=True):
        seen += _folded_along(solid, start, end, along)
        if seen > 1:
            return True
    return False


def _folded_along(solid: Manifold, start: np.ndarray, end: np.ndarray, along: np.ndarray) -> bool:
    hits = solid.ray_cast(tuple(start), tuple(end))
    if len(hits) < 2:
        return False
    steps = [-1 if float(np.dot(hit.normal, along)) > 0.0 else 1 for hit in hits]
    places = [hit.distance for hit in hits]
    depth, worst = 0, 0
    for number, step in enumerate(steps):
        depth += step
        last = number + 1 == len(steps) or places[number + 1] - places[number] > 1e-7
        if last and depth not in (0, 1):
            worst = depth
    return depth == 0 and worst != 0
