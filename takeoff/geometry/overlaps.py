"""Bodies that share space: each cubic metre is left to one of them."""

from collections.abc import Sequence
from dataclasses import dataclass

import manifold3d
import numpy as np

from takeoff.geometry.booleans import BooleanFailed, labelled, manifold, split
from takeoff.geometry.flush import Planes, aligned
from takeoff.geometry.mesh import Ints, Mesh, volume

SHALLOW = 2.5e-4
"""An overlap with a mean depth under this, m, is a contact drawn without care (or two tessellations of one
curve), not shared space."""
SPECK = 1e-6
"""Lumps under this volume, m3, are slivers that booleans leave at coincident faces."""
CUT = -1
"""Face label of what another body cut."""
SAME = 0.999
"""Two bodies are the same thing twice when they share more than this part of both volumes."""


@dataclass(frozen=True, slots=True)
class Overlap:
    """Space, m3, that body `keeper` keeps from body `other`; `same`: the two are one thing twice.

    Space that several bodies share is told once, of the one that keeps it. `cut` is false where both keep their
    shape: then it is all that they share.
    """

    keeper: int
    other: int
    volume: float
    same: bool
    cut: bool


@dataclass(frozen=True, slots=True, eq=False)
class Resolved:
    """`lumps` has for each body the separate solids that remain of it (none when it was swallowed whole).

    `doubts` lists (keeper, other) where no way of cutting passed its proof: the other kept the shared space.
    """

    lumps: tuple[tuple[Mesh, ...], ...]
    overlaps: tuple[Overlap, ...]
    doubts: tuple[tuple[int, int], ...]


def resolve_overlaps(
    meshes: Sequence[Mesh], rank: Sequence[tuple], whole: Sequence[bool], pairs: Ints, apart: Sequence[bool]
) -> Resolved:
    """Subtract from every body what higher-ranked bodies share with it.

    `rank` orders the bodies: the lower tuple keeps. Two bodies that are both `whole` keep their shape, unless
    they are the same thing twice: then the second is dropped. `pairs` (k, 2) are the bodies that may meet.
    `apart` says whether the lumps of a body that was cut are wanted one by one.
    """
    solids = _Solids(meshes)
    keepers_of: dict[int, list[int]] = {}
    overlaps: list[Overlap] = []
    swallowed: set[int] = set()
    for i, j in _meeting(meshes, pairs).tolist():
        keeper, other = (i, j) if rank[i] <= rank[j] else (j, i)
        alike = abs(solids.volume(i) - solids.volume(j)) <= (1.0 - SAME) * solids.volume(i)
        if alike or (whole[i] and whole[j]):
            shared = solids[i] ^ solids[j]
            size = shared.volume()
            if size > SAME * solids.volume(i):
                overlaps.append(Overlap(keeper, other, size, same=True, cut=True))
                swallowed.add(other)
                continue
            if whole[i] and whole[j]:
                if not _is_film(shared):
                    overlaps.append(Overlap(keeper, other, size, same=False, cut=False))
                continue
        keepers_of.setdefault(other, []).append(keeper)
    lumps: list[tuple[Mesh, ...]] = [() if body in swallowed else (mesh,) for body, mesh in enumerate(meshes)]
    doubts = []
    for other, keepers in keepers_of.items():
        if other in swallowed:
            continue
        solid, labels = labelled(meshes[other])
        planes = Planes(meshes[other])
        touched = False
        for keeper in sorted(keepers, key=lambda body: rank[body]):
            if keeper in swallowed:
                continue
            moved = aligned(meshes[keeper], planes)
            cutter = solids[keeper] if moved is meshes[keeper] else manifold(moved)
            try:
                within, without = split(solid, cutter)
            except BooleanFailed:
                doubts.append((keeper, other))
                continue
            if not _is_film(within):
                overlaps.append(Overlap(keeper, other, within.volume(), same=False, cut=True))
                solid, touched = without, True
        if not touched:
            continue
        pieces = [piece for piece in solid.decompose() if piece.volume() > SPECK and not _is_film(piece)]
        if not apart[other] and len(pieces) > 1:
            pieces = [manifold3d.Manifold.compose(pieces)]
        lumps[other] = tuple(_mesh(piece, labels) for piece in pieces)
    return Resolved(tuple(lumps), tuple(overlaps), tuple(doubts))


def _meeting(meshes: Sequence[Mesh], pairs: Ints) -> Ints:
    """The pairs whose boxes share more than a film."""
    if not len(pairs):
        return pairs
    boxes = np.array([mesh.box() for mesh in meshes])
    low = np.maximum(boxes[pairs[:, 0], 0], boxes[pairs[:, 1], 0])
    high = np.minimum(boxes[pairs[:, 0], 1], boxes[pairs[:, 1], 1])
    return pairs[(high - low).min(axis=1) > SHALLOW]


class _Solids(dict[int, manifold3d.Manifold]):
    """The kernel's solids of bodies and their volumes, made when first asked for."""

    def __init__(self, meshes: Sequence[Mesh]) -> None:
        super().__init__()
        self.meshes = meshes
        self.volumes: dict[int, float] = {}

    def __missing__(self, body: int) -> manifold3d.Manifold:
        self[body] = manifold(self.meshes[body])
        return self[body]

    def volume(self, body: int) -> float:
        """Volume of a body, m3."""
        if body not in self.volumes:
            self.volumes[body] = volume(self.meshes[body])
        return self.volumes[body]


def _is_film(piece: manifold3d.Manifold) -> bool:
    """Whether a solid is nothing or a film along a face: its mean depth is under `SHALLOW`."""
    size = piece.volume()
    return bool(size <= 0 or 2.0 * size < SHALLOW * piece.surface_area())


def _mesh(solid: manifold3d.Manifold, labels: dict[int, int]) -> Mesh:
    """The mesh of a solid with its face labels; faces of other origin are marked `CUT`."""
    raw = solid.to_mesh64()
    faces = np.asarray(raw.tri_verts, dtype=np.int64).reshape(-1, 3)
    ends = np.asarray(raw.run_index, dtype=np.int64) // 3
    runs = ends[1:] - ends[:-1]
    marks = np.repeat([labels.get(int(origin), CUT) for origin in raw.run_original_id], runs)
    return Mesh(np.array(raw.vert_properties, dtype=np.float64)[:, :3], faces, marks.astype(np.int64))
