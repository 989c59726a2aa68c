"""Equal shapes found by their content, so that what is true of one is worked out once."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from msgspec import Struct

from takeoff.geometry.mesh import Floats, Ints, Mesh

FINE = 1e-8
"""Corners that differ by less than about this, m, count as equal: far above rounding, far below any drawing."""


class Likeness(Struct, frozen=True, eq=False):
    """`shape` (n,) is the same number for meshes that are equal but for a shift; `place` (n, 3) their first corner.

    Equal means the same corners, within `FINE`, in the same order, with the same faces and labels.
    """

    shape: Ints
    place: Floats

    def beside(self, bases: Sequence[int], others: Sequence[Sequence[int]]) -> list[bytes]:
        """For each mesh of `bases` the shapes of its `others` and where they stand from it, in `FINE`: a key."""
        count = [len(own) for own in others]
        flat = np.array([other for own in others for other in own], dtype=np.int64)
        apart = np.round((self.place[flat] - np.repeat(self.place[list(bases)], count, axis=0)) / FINE)
        keys = np.column_stack([self.shape[flat], apart.astype(np.int64)])
        bounds = np.cumsum([0, *count]).tolist()
        return [keys[low:high].tobytes() for low, high in pairwise(bounds)]


def likeness(meshes: Sequence[Mesh]) -> Likeness:
    """Number the shapes of meshes; every mesh must have a corner."""
    if not len(meshes):
        return Likeness(np.empty(0, np.int64), np.empty((0, 3)))
    count = np.array([len(mesh.vertices) for mesh in meshes])
    place = np.array([mesh.vertices[0] for mesh in meshes])
    corners = np.concatenate([mesh.vertices for mesh in meshes]) - np.repeat(place, count, axis=0)
    steps = np.round(corners / FINE).astype(np.int64)
    bounds = np.concatenate([[0], np.cumsum(count)]).tolist()
    known: dict[tuple[bytes, bytes, bytes], int] = {}
    shape = [
        known.setdefault(
            (steps[bounds[i] : bounds[i + 1]].tobytes(), mesh.faces.tobytes(), mesh.labels.tobytes()),
            len(known),
        )
        for i, mesh in enumerate(meshes)
    ]
    return Likeness(np.array(shape, dtype=np.int64), place)
