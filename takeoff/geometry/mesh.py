"""Triangle meshes: the one form in which solids pass between stages."""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BODY = 0
"""Face label of the element's own surface; openings carry 1, 2, ... in the order of the request."""


class Mesh(Struct, frozen=True, eq=False):
    """A triangle mesh: `vertices` (n, 3) metres, `faces` (m, 3) vertex indices, `labels` (m,) origin of a face.

    Triangles turn anticlockwise seen from outside. `labels` tells which body cut the face: `BODY` or the
    number of the opening.
    """

    vertices: Floats
    faces: Ints
    labels: Ints

    @staticmethod
    def of(vertices: Floats, faces: Ints, labels: Ints | None = None) -> "Mesh":
        """Make a mesh from arrays, with labels `BODY` where none are given."""
        faces = np.asarray(faces, dtype=np.int64).reshape(-1, 3)
        if labels is None:
            labels = np.zeros(len(faces), dtype=np.int64)
        return Mesh(np.asarray(vertices, dtype=np.float64).reshape(-1, 3), faces, labels)

    @property
    def corners(self) -> Floats:
        """Triangle corners, (m, 3, 3)."""
        return self.vertices[self.faces]

    def moved(self, shift: Floats) -> "Mesh":
        """The mesh shifted by a (3,) vector."""
        return Mesh(self.vertices + shift, self.faces, self.labels)

    def box(self) -> Floats:
        """Bounds as (2, 3): lowest and highest corner."""
        return np.array([self.vertices.min(axis=0), self.vertices.max(axis=0)])


def boxes_of(meshes: Sequence[Mesh]) -> Floats:
    """Bounds (n, 2, 3) of meshes, each with a corner at least."""
    if not meshes:
        return np.empty((0, 2, 3))
    corners = np.concatenate([mesh.vertices for mesh in meshes])
    starts = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes[:-1])])
    return np.stack([np.minimum.reduceat(corners, starts), np.maximum.reduceat(corners, starts)], axis=1)


def crossed(first: Floats, second: Floats) -> Floats:
    """Cross products (m, 3) of (m, 3) vectors; numpy's own costs ten times as much on few of them."""
    a, b, c = first[:, 0], first[:, 1], first[:, 2]
    x, y, z = second[:, 0], second[:, 1], second[:, 2]
    out = np.empty((len(first), 3))
    out[:, 0] = b * z - c * y
    out[:, 1] = c * x - a * z
    out[:, 2] = a * y - b * x
    return out


def volume(mesh: Mesh) -> float:
    """Signed volume, m3, by the divergence theorem; the reference point is a corner, for precision."""
    if not len(mesh.faces):
        return 0.0
    corners = mesh.corners - mesh.vertices[mesh.faces[0, 0]]
    return float((corners[:, 0] * crossed(corners[:, 1], corners[:, 2])).sum() / 6.0)


def volumes_of(meshes: Sequence[Mesh]) -> list[float]:
    """Signed volume, m3, of each mesh, as `volume` has it."""
    solid = [mesh for mesh in meshes if len(mesh.faces)]
    if not solid:
        return [0.0] * len(meshes)
    vertices, faces = stacked(solid)
    starts = np.cumsum([0, *(len(mesh.faces) for mesh in solid[:-1])])
    reference = np.repeat(vertices[faces[starts, 0]], [len(mesh.faces) for mesh in solid], axis=0)
    a, b, c = (vertices[faces[:, corner]] - reference for corner in range(3))
    sums = iter((np.add.reduceat((a * crossed(b, c)).sum(axis=1), starts) / 6.0).tolist())
    return [next(sums) if len(mesh.faces) else 0.0 for mesh in meshes]


def stacked(meshes: Sequence[Mesh]) -> tuple[Floats, Ints]:
    """Vertices and faces of one mesh or more in one table: (n, 3) and (m, 3)."""
    starts = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes[:-1])])
    faces = np.concatenate([mesh.faces for mesh in meshes])
    faces = faces + np.repeat(starts, [len(mesh.faces) for mesh in meshes])[:, None]
    return np.concatenate([mesh.vertices for mesh in meshes]), faces


def together(meshes: Sequence[Mesh]) -> Mesh:
    """One mesh of one or more."""
    if len(meshes) == 1:
        return meshes[0]
    return Mesh(*stacked(meshes), np.concatenate([mesh.labels for mesh in meshes]))


def areas(corners: Floats) -> Floats:
    """Area of each triangle, m2: (m, 3, 3) in, (m,) out."""
    cross = crossed(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    out: Floats = np.sqrt((cross * cross).sum(axis=1)) / 2.0
    return out


def normals(corners: Floats) -> Floats:
    """Unit normal of each triangle: (m, 3, 3) in, (m, 3) out; zero for a triangle without area."""
    cross = crossed(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.sqrt((cross * cross).sum(axis=1))[:, None]
    return np.divide(cross, length, out=np.zeros_like(cross), where=length > 0)


def welded(vertices: Floats, faces: Ints, tolerance: float = 1e-6) -> tuple[Floats, Ints, Ints]:
    """Merge vertices that lie within `tolerance` metres (by rounding) and drop triangles that collapse.

    Returns vertices (k, 3), faces (j, 3) and the (j,) indices of the faces that remain.
    """
    origin = vertices.min(axis=0) if len(vertices) else np.zeros(3)
    keys = np.round((vertices - origin) / tolerance).astype(np.int64)
    _, first, inverse = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    faces = inverse.reshape(-1)[faces]
    keep = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    return vertices[first], faces[keep], np.flatnonzero(keep)


def is_closed(faces: Ints) -> bool:
    """Whether every directed edge of (m, 3) faces has its opposite exactly once for each time it occurs."""
    if not len(faces):
        return False
    start = faces[:, [0, 1, 2]].ravel()
    end = faces[:, [1, 2, 0]].ravel()
    size = int(faces.max()) + 1
    forward = np.sort(start * size + end)
    backward = np.sort(end * size + start)
    return bool(np.array_equal(forward, backward))
