"""Solids made of solids: bodies grown together, stretched, and cut into layers. Meshes in, meshes out."""

from collections.abc import Sequence
from typing import Any, TypeAlias

import numpy as np
from msgspec import Struct

from takeoff.geometry.booleans import BooleanFailed, labelled, mesh_of, proved, split
from takeoff.geometry.flush import Planes, aligned
from takeoff.geometry.mesh import Floats, Mesh, areas, normals, volume
from takeoff.geometry.slicing import across, cuts, sliced
from takeoff.geometry.solids import Slicing

Manifold: TypeAlias = Any


class Layers(Struct, frozen=True, eq=False):
    """The layers of a body, None where one is empty; remarks are (kind, message) pairs."""

    meshes: tuple[Mesh | None, ...]
    remarks: tuple[tuple[str, str], ...]


def grown_together(meshes: Sequence[Mesh], label_shifts: Sequence[int] | None = None) -> Mesh:
    """The union of closed meshes that touch or overlap, faces between them gone. Face labels are kept.

    `label_shifts` are added to the labels above 0 of each mesh, so that the openings of several elements stay
    apart. Raises BooleanFailed when no way of joining gives volumes that add up.
    """
    shifts = label_shifts or [0] * len(meshes)
    moved = [
        Mesh(mesh.vertices, mesh.faces, np.where(mesh.labels > 0, mesh.labels + shift, mesh.labels))
        for mesh, shift in zip(meshes, shifts, strict=True)
    ]
    if len(moved) == 1:
        return moved[0]
    order = sorted(moved, key=volume, reverse=True)
    whole, labels = labelled(order[0])
    left = order[1:]
    while left:
        # What touches the whole is joined first, so that a row of bodies grows from one end to the other.
        nearest = min(left, key=lambda mesh: _distance(whole, mesh))
        left = [mesh for mesh in left if mesh is not nearest]
        whole, more = _joined(whole, nearest, mesh_of(whole, labels))
        labels |= more
    return mesh_of(whole, labels)


def _distance(whole: Manifold, mesh: Mesh) -> float:
    """Distance between two boxes, m; negative where they overlap."""
    box = np.array(whole.bounding_box()).reshape(2, 3)
    low, high = mesh.box()
    return float(np.maximum(low - box[1], box[0] - high).max())


def _joined(whole: Manifold, mesh: Mesh, shape: Mesh) -> tuple[Manifold, dict[int, int]]:
    """`whole` (whose mesh is `shape`) with one more body, and the labels of that body's original ids.

    As it is where that makes one lump of two that touch; else with its flush faces moved a little into the
    whole, so that no slit of rounding stays between them.
    """
    lumps = len(whole.decompose())
    for part in (mesh, aligned(mesh, Planes(shape), into=True)):
        solid, labels = labelled(part)
        _, rest = split(solid, whole)
        both = whole + solid
        adds_up = proved(both.volume(), whole.volume(), rest.volume())
        if adds_up and (part is not mesh or len(both.decompose()) <= lumps):
            return both, labels
    raise BooleanFailed("no way of joining gives volumes that add up")


def main_direction(mesh: Mesh, upright: bool) -> Floats:
    """The unit normal (3,) across a plate: of the faces with the largest area, opposite ones together.

    `upright` True looks among level directions only (walls), False among those nearer to the vertical than to
    the level (slabs); where there is none of the kind, among all. It points to the larger coordinate.
    """
    corners = mesh.corners
    size, normal = areas(corners), normals(corners)
    rise = np.abs(normal[:, 2])
    kind = rise < 0.5 if upright else rise >= 0.5
    if not kind.any() or size[kind].sum() <= 0:
        kind = np.ones(len(size), dtype=bool)
    lead = np.argmax(np.abs(normal), axis=1)
    normal = np.where(normal[np.arange(len(normal)), lead][:, None] < 0, -normal, normal)[kind]
    _, first, inverse = np.unique(
        np.round(normal / 1e-5).astype(np.int64), axis=0, return_index=True, return_inverse=True
    )
    total = np.bincount(inverse.reshape(-1), weights=size[kind])
    best: Floats = normal[first[int(np.argmax(total))]]
    return best


def extent(mesh: Mesh, direction: Floats) -> tuple[float, float]:
    """Where a body begins and ends along a unit direction (3,), m."""
    reach = mesh.vertices @ direction
    return float(reach.min()), float(reach.max())


def stretched(mesh: Mesh, direction: Floats, target: tuple[float, float]) -> Mesh:
    """The body with its extent along a unit direction (3,) made that of `target`, all else kept.

    Exact for bodies with two parallel faces across the direction; what lies between moves in proportion.
    """
    low, high = extent(mesh, direction)
    if high - low < 1e-6:
        raise BooleanFailed("the body has no extent to change")
    factor = (target[1] - target[0]) / (high - low)
    reach = mesh.vertices @ direction
    shift = target[0] + (reach - low) * factor - reach
    return Mesh(mesh.vertices + shift[:, None] * direction, mesh.faces, mesh.labels)


def in_layers(mesh: Mesh, thicknesses: Sequence[float], upright: bool, sense: int) -> Layers:
    """The body cut into layers of given thicknesses (m) across its main direction, the first at one face.

    For `sense` 1 that is the face with the smaller coordinate along the main direction, for -1 the other. A
    difference to the body's own thickness goes to the thickest layer, with a remark. Curved walls are cut by
    cylinders, from the inner face outward. Raises BooleanFailed.
    """
    bounds, start = [], 0.0
    for thickness in thicknesses:
        bounds.append((start, start + thickness))
        start += thickness
    slicing = Slicing(None if upright else 2, sense, None, tuple(bounds), start)
    lie = across(mesh, slicing, np.zeros(3))
    spans, remarks = cuts(lie, slicing)
    solid, labels = labelled(mesh)
    parts = sliced(solid, lie.ruler, spans)
    return Layers(
        tuple(None if part is None else mesh_of(part, labels) for part in parts),
        (*lie.remarks, *remarks),
    )
