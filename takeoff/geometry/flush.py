"""Faces of one body that lie on faces of another, and how far to move them so that booleans leave no skins."""

import numpy as np
from numpy.typing import NDArray

from takeoff.geometry.mesh import Floats, Ints, Mesh, areas, normals

NEAR = 1e-5
"""Faces closer than this, metres, are taken to lie on each other."""

BEYOND = 2e-6
"""How far such faces are moved, metres."""

_PLANES_AND_CORNERS = 10_000_000
"""Planes of a body times corners of a cutter up to which all of the planes are looked at."""

_PAIRS_AT_ONCE = 500_000
_TRIED_AT_ONCE = 300
"""Pairs of boxes, and of triangles, that are looked at in one go."""


_ACROSS = (np.array([1, 2]), np.array([0, 2]), np.array([0, 1]))
"""The two axes across each of the three."""


class Planes:
    """The planes of a mesh's faces: `normals` (k, 3) outward, `offsets` (k,), `on` the faces on each of them."""

    def __init__(self, mesh: Mesh) -> None:
        corners = mesh.corners
        corners = corners[areas(corners) > 1e-10]
        normal = normals(corners)
        offset = np.einsum("ij,ij->i", normal, corners[:, 0])
        keys = np.round(np.column_stack([normal / 1e-6, offset / 1e-6])).astype(np.int64)
        order = np.lexsort(keys.T)
        begins = np.flatnonzero((keys[order[1:]] != keys[order[:-1]]).any(axis=1)) + 1
        self.on: list[Ints] = np.split(order, begins) if len(order) else []
        first = np.array([faces[0] for faces in self.on], dtype=np.int64)
        self.areas: Floats = np.array([areas(corners[faces]).sum() for faces in self.on])
        self.normals: Floats = normal[first]
        self.offsets: Floats = offset[first]
        self.corners: Floats = corners


def aligned(mesh: Mesh, planes: Planes, into: bool = False) -> Mesh:
    """Move faces of a cutter that are flush with faces of a body, and look the same way, a little out of it.

    Else a cutter that ends a rounding error before the body's face leaves a skin there. With `into`, faces that
    touch the body from outside are moved, and into it: to join, so that no slit remains.
    """
    if not len(mesh.faces) or not len(planes.offsets):
        return mesh
    most = max(1, _PLANES_AND_CORNERS // len(mesh.vertices))
    if len(planes.offsets) > most:
        # Of finely curved bodies the largest faces only: facets that are equal leave no skin to speak of.
        large = np.argpartition(planes.areas, -most)[-most:]
        return _aligned(mesh, planes, np.sort(large), into)
    return _aligned(mesh, planes, np.arange(len(planes.offsets)), into)


def _aligned(mesh: Mesh, planes: Planes, chosen: Ints, into: bool) -> Mesh:
    close = np.abs(mesh.vertices @ planes.normals[chosen].T - planes.offsets[chosen]) < NEAR
    enough = np.flatnonzero(np.count_nonzero(close, axis=0) > 2)
    if not len(enough):
        return mesh
    on_plane: NDArray[np.bool_] = np.asarray(close[:, enough][mesh.faces].all(axis=1))
    enough = chosen[enough]
    some = np.flatnonzero(on_plane.any(axis=1))
    corners = mesh.corners
    facing = np.zeros(on_plane.shape)
    facing[some] = normals(corners[some]) @ planes.normals[enough].T
    on_plane &= facing < -0.9 if into else facing > 0.9
    vertices = mesh.vertices.copy()
    goal = -BEYOND if into else BEYOND
    for place in np.flatnonzero(on_plane.any(axis=0)).tolist():
        plane = int(enough[place])
        normal = planes.normals[plane]
        faces = np.flatnonzero(on_plane[:, place])
        keep = _ACROSS[int(np.argmax(np.abs(normal)))]
        if overlap(corners[faces][:, :, keep], planes.corners[planes.on[plane]][:, :, keep]):
            # All faces of the mesh on this plane move together, so that they stay flat.
            index = np.unique(mesh.faces[faces])
            vertices[index] += np.outer(goal - (vertices[index] @ normal - planes.offsets[plane]), normal)
    return Mesh(vertices, mesh.faces, mesh.labels)


def overlap(first: Floats, second: Floats) -> bool:
    """Whether any of (n, 3, 2) triangles overlaps any of (m, 3, 2) others by more than `NEAR`, metres.

    Pairs whose boxes meet are tried by separating axes, some hundred at a time until one overlaps.
    """
    low, high = second.min(axis=1), second.max(axis=1)
    rows = max(1, _PAIRS_AT_ONCE // len(second))
    for start in range(0, len(first), rows):
        part = first[start : start + rows]
        reach = np.minimum(part.max(axis=1)[:, None], high) - np.maximum(part.min(axis=1)[:, None], low)
        one, other = np.nonzero((reach > NEAR).all(axis=2))
        for number in range(0, len(one), _TRIED_AT_ONCE):
            chosen = slice(number, number + _TRIED_AT_ONCE)
            if _overlap(part[one[chosen]], second[other[chosen]]).any():
                return True
    return False


def _overlap(first: Floats, second: Floats) -> NDArray[np.bool_]:
    """Which of (k, 3, 2) triangles overlap the (k, 3, 2) ones beside them: no side of either parts them."""
    across = np.concatenate([_across(first), _across(second)], axis=1)
    own, other = first @ across.transpose(0, 2, 1), second @ across.transpose(0, 2, 1)
    reach = np.minimum(own.max(axis=1), other.max(axis=1)) - np.maximum(own.min(axis=1), other.min(axis=1))
    return np.asarray((reach > NEAR).all(axis=1))


def _across(triangles: Floats) -> Floats:
    """Unit normals (n, 3, 2) of the sides of (n, 3, 2) triangles."""
    side = triangles[:, [1, 2, 0]] - triangles
    across = np.stack([-side[:, :, 1], side[:, :, 0]], axis=2)
    length = np.sqrt((across**2).sum(axis=2, keepdims=True))
    out: Floats = np.divide(across, length, out=np.zeros_like(across), where=length > 0)
    return out
