"""The heavy work behind overlaps, as tasks that stand alone: each can be done in any process, in any order."""

import numpy as np
from msgspec import Struct

from takeoff.geometry.booleans import BooleanFailed, Manifold, apart, labelled, manifold, split
from takeoff.geometry.flush import Planes, aligned
from takeoff.geometry.mesh import Floats, Mesh, together

SHALLOW = 2.5e-4
"""An overlap with a mean depth under this, m, is a contact drawn without care (or two tessellations of one
curve), not shared space."""
SPECK = 1e-6
"""Lumps under this volume, m3, are slivers that booleans leave at coincident faces."""
CUT = -1
"""Face label of what another body cut."""


class Share(Struct, frozen=True, eq=False):
    """How much space do two closed meshes share?"""

    first: Mesh
    second: Mesh


class Shared(Struct, frozen=True):
    """Shared volume, m3, and whether it is no more than a film."""

    volume: float
    film: bool


class Cut(Struct, frozen=True, eq=False):
    """Take `cutters` from `body`, one after the other; `apart`: the lumps that remain are wanted one by one."""

    body: Mesh
    cutters: tuple[Mesh, ...]
    apart: bool


class Remains(Struct, frozen=True, eq=False):
    """What remains of a body, None where nothing was cut, and the volume, m3, that each cutter took.

    0 where a cutter met no more than a film, None where no way of cutting passed its proof: nothing was taken.
    """

    lumps: tuple[Mesh, ...] | None
    taken: tuple[float | None, ...]

    def moved(self, shift: Floats) -> "Remains":
        """The same, shifted by a (3,) vector."""
        lumps = None if self.lumps is None else tuple(lump.moved(shift) for lump in self.lumps)
        return Remains(lumps, self.taken)


Task = Share | Cut
Answer = Shared | Remains


def work(task: Task) -> Answer:
    """Do a task. Raises BooleanFailed when a mesh is none that the kernel of booleans takes."""
    return _share(task) if isinstance(task, Share) else _cut(task)


def _share(task: Share) -> Shared:
    shared = manifold(task.first) ^ manifold(task.second)
    return Shared(float(shared.volume()), is_film(shared))


def _cut(task: Cut) -> Remains:
    solid, labels = labelled(task.body)
    planes = Planes(task.body)
    taken: list[float | None] = []
    touched = False
    for mesh in task.cutters:
        try:
            within, without = split(solid, manifold(aligned(mesh, planes)))
        except BooleanFailed:
            taken.append(None)
            continue
        if is_film(within):
            taken.append(0.0)
            continue
        taken.append(float(within.volume()))
        solid, touched = without, True
    if not touched:
        return Remains(None, tuple(taken))
    lumps = [[_mesh(shell, labels) for shell in shells] for shells in _remaining(solid)]
    if not task.apart and lumps:
        lumps = [[mesh for own in lumps for mesh in own]]
    return Remains(tuple(map(together, lumps)), tuple(taken))


def _remaining(solid: Manifold) -> list[list[Manifold]]:
    """Shells of each lump that is more than a sliver, with those of its cavities that are."""
    found = []
    for lump in apart(solid):
        area = sum(shell.surface_area() for shell in lump.shells)
        if lump.volume > SPECK and not _is_shallow(lump.volume, area):
            sizes = [(cavity, -cavity.volume(), cavity.surface_area()) for cavity in lump.cavities]
            kept = [one for one, size, about in sizes if size > SPECK and not _is_shallow(size, about)]
            found.append([lump.outer, *kept])
    return found


def is_film(piece: Manifold) -> bool:
    """Whether a solid is nothing or a film along a face: its mean depth is under `SHALLOW`."""
    return _is_shallow(piece.volume(), piece.surface_area())


def _is_shallow(size: float, area: float) -> bool:
    return bool(size <= 0 or 2.0 * size < SHALLOW * area)


def _mesh(solid: Manifold, labels: dict[int, int]) -> Mesh:
    """The mesh of a solid with its face labels; faces of other origin are marked `CUT`."""
    raw = solid.to_mesh64()
    faces = np.asarray(raw.tri_verts, dtype=np.int64).reshape(-1, 3)
    ends = np.asarray(raw.run_index, dtype=np.int64) // 3
    runs = ends[1:] - ends[:-1]
    marks = np.repeat([labels.get(int(origin), CUT) for origin in raw.run_original_id], runs)
    return Mesh(np.array(raw.vert_properties, dtype=np.float64)[:, :3], faces, marks.astype(np.int64))
