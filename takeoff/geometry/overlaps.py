"""Bodies that share space: each cubic metre is left to one of them."""

from collections.abc import Sequence
from dataclasses import dataclass

import manifold3d
import numpy as np

from takeoff.geometry.booleans import BooleanFailed, Planes, aligned, manifold, split
from takeoff.geometry.mesh import Ints, Mesh

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
    """Space, m3, that body `keeper` and body `other` share; `same`: the two are one thing twice.

    `cut` is false where both keep their shape.
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
    solids: dict[int, manifold3d.Manifold] = {}
    taken: dict[int, list[int]] = {}
    overlaps: list[Overlap] = []
    boxes = np.array([mesh.box() for mesh in meshes])
    if len(pairs):
        low = np.maximum(boxes[pairs[:, 0], 0], boxes[pairs[:, 1], 0])
        high = np.minimum(boxes[pairs[:, 0], 1], boxes[pairs[:, 1], 1])
        pairs = pairs[(high - low).min(axis=1) > SHALLOW]
    for i, j in pairs.tolist():
        keeper, other = (i, j) if rank[i] <= rank[j] else (j, i)
        for body in (keeper, other):
            if body not in solids:
                solids[body] = manifold(meshes[body])
        shared = solids[keeper] ^ solids[other]
        volume = shared.volume()
        if volume <= 0 or 2.0 * volume < SHALLOW * shared.surface_area():
            continue
        same = volume > SAME * max(solids[keeper].volume(), solids[other].volume())
        cut = same or not (whole[keeper] and whole[other])
        overlaps.append(Overlap(keeper, other, volume, same, cut))
        if cut:
            taken.setdefault(other, []).append(keeper)
    swallowed = {overlap.other for overlap in overlaps if overlap.same}
    lumps: list[tuple[Mesh, ...]] = [() if body in swallowed else (mesh,) for body, mesh in enumerate(meshes)]
    doubts = []
    for other, keepers in taken.items():
        if other in swallowed:
            continue
        solid, labels = _labelled(meshes[other])
        planes = Planes(meshes[other])
        for keeper in sorted(keepers, key=lambda body: rank[body]):
            if keeper in swallowed:
                continue
            try:
                solid = split(solid, manifold(aligned(meshes[keeper], planes)))[1]
            except BooleanFailed:
                doubts.append((keeper, other))
        pieces = [piece for piece in solid.decompose() if _is_solid(piece)]
        if not apart[other] and len(pieces) > 1:
            pieces = [manifold3d.Manifold.compose(pieces)]
        lumps[other] = tuple(_mesh(piece, labels) for piece in pieces)
    return Resolved(tuple(lumps), tuple(overlaps), tuple(doubts))


def _is_solid(piece: manifold3d.Manifold) -> bool:
    """Whether a lump is more than a sliver: large enough, and not a film along a face."""
    volume = piece.volume()
    return volume > SPECK and 2.0 * volume > SHALLOW * piece.surface_area()


def _labelled(mesh: Mesh) -> tuple[manifold3d.Manifold, dict[int, int]]:
    """The kernel's solid of a mesh and the face label of each of its original ids."""
    order = np.argsort(mesh.labels, kind="stable")
    values, first = np.unique(mesh.labels[order], return_index=True)
    base = manifold3d.Manifold.reserve_ids(len(values))
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(
            np.ascontiguousarray(mesh.vertices),
            np.ascontiguousarray(mesh.faces[order].astype(np.uint64)),
            run_index=np.append(first, len(order)).astype(np.uint64) * 3,
            run_original_id=np.arange(base, base + len(values), dtype=np.uint32),
        )
    )
    return solid, {base + i: int(value) for i, value in enumerate(values)}


def _mesh(solid: manifold3d.Manifold, labels: dict[int, int]) -> Mesh:
    """The mesh of a solid with its face labels; faces of other origin are marked `CUT`."""
    raw = solid.to_mesh64()
    faces = np.asarray(raw.tri_verts, dtype=np.int64).reshape(-1, 3)
    ends = np.asarray(raw.run_index, dtype=np.int64) // 3
    runs = ends[1:] - ends[:-1]
    marks = np.repeat([labels.get(int(origin), CUT) for origin in raw.run_original_id], runs)
    return Mesh(np.array(raw.vert_properties, dtype=np.float64)[:, :3], faces, marks.astype(np.int64))
