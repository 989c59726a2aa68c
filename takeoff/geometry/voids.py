"""Voids cut from a body: as many at once as keep apart, each with the volume that it removes."""

from collections.abc import Sequence
from typing import Any, TypeAlias

import manifold3d
import numpy as np
from msgspec import Struct

from takeoff.geometry.booleans import bare, lumps, mesh_of, proved, split
from takeoff.geometry.flush import NEAR, Planes, aligned
from takeoff.geometry.items import EXTRUSION, Solid
from takeoff.geometry.mesh import Floats, Mesh

Manifold: TypeAlias = Any


class Cut(Struct):
    """A body with voids cut so far: what is left, the void of each cutter's faces, the volumes removed."""

    net: Manifold
    labels: dict[int, int]
    volumes: list[float]


def cut_voids(whole: Manifold, gross: Mesh, voids: Sequence[Sequence[Solid]]) -> Cut:
    """Cut voids, each of some solids, from a body given as solid and as mesh. Void i has the face label i + 1.

    Where voids overlap, what they share counts to the first. Every cut is proved by its volumes; raises
    BooleanFailed when one cannot be. Cutters that keep apart are cut together: a face with a hundred holes is
    then laid out once, not a hundred times.
    """
    cut = Cut(whole, {}, [0.0] * len(voids))
    planes = Planes(gross)
    wave: list[tuple[int, Manifold]] = []
    fresh: list[Floats] = []
    gone: list[Floats] = []
    for number, solids in enumerate(voids):
        for mesh in (part for solid in solids for part in _parts(solid)):
            box = mesh.box()
            if _touches(box, fresh):
                _cut_wave(cut, wave)
                gone, wave, fresh = gone + fresh, [], []
            if _touches(box, gone):
                # Faces that earlier cutters left are faces of the body now, to be flush with.
                _cut_wave(cut, wave)
                planes, gone, wave, fresh = Planes(mesh_of(cut.net)), [], [], []
            cutter = bare(aligned(mesh, planes))
            cut.labels[cutter.original_id()] = number + 1
            wave.append((number, cutter))
            fresh.append(box)
    _cut_wave(cut, wave)
    return cut


def _parts(solid: Solid) -> list[Mesh]:
    if solid.way == EXTRUSION:
        return [solid.mesh]
    return [mesh_of(lump) for lump in lumps(solid.mesh)]


def _touches(box: Floats, others: list[Floats]) -> bool:
    if not others:
        return False
    boxes = np.array(others)
    near = (boxes[:, 0] <= box[1] + NEAR).all(axis=1) & (boxes[:, 1] >= box[0] - NEAR).all(axis=1)
    return bool(near.any())


def _cut_wave(cut: Cut, wave: list[tuple[int, Manifold]]) -> None:
    """Cut solids that keep apart; together and, where that cannot be proved, one by one."""
    if len(wave) > 1:
        taken = [(cut.net ^ cutter).volume() for _, cutter in wave]
        every = [cut.net, *(cutter for _, cutter in wave)]
        rest = manifold3d.Manifold.batch_boolean(every, manifold3d.OpType.Subtract)
        if rest.status() == manifold3d.Error.NoError and proved(cut.net.volume(), sum(taken), rest.volume()):
            for (number, _), volume in zip(wave, taken, strict=True):
                cut.volumes[number] += volume
            cut.net = rest
            return
    for number, cutter in wave:
        within, cut.net = split(cut.net, cutter)
        cut.volumes[number] += within.volume()
