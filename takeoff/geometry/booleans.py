"""Solids added to and cut from each other, every result proved by volumes.

A boolean is believed only when volume(A) = volume(A and B) + volume(A without B). Faces of cutters that are
flush with the body's are moved first (see `flush`), so that no skin of rounding remains.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, TypeAlias

import manifold3d
import numpy as np
from msgspec import Struct

from takeoff.geometry.edges import parted, shells
from takeoff.geometry.flush import NEAR, Planes, aligned
from takeoff.geometry.mesh import BODY, Mesh, volume

Manifold: TypeAlias = Any

GROWTH = 1e-7
"""How far a cutter is grown or shifted when a boolean failed its proof, metres."""

CRUMB = 1e-6
"""Loose lumps of less than this, m3, and than a thousandth of the whole are dropped."""


class BooleanFailed(Exception):
    """No way of computing a boolean passed its proof."""


def manifold(mesh: Mesh) -> Manifold:
    """The kernel's solid of a closed mesh, with an original id of its own.

    Where shells touch along an edge they are parted there first: the kernel would pair their faces at random.
    Raises BooleanFailed when the kernel refuses the mesh or makes another volume of it.
    """
    mesh = parted(mesh)
    solid = bare(mesh)
    if not proved(volume(mesh), solid.volume(), 0.0):
        raise BooleanFailed("the kernel makes another volume of the solid")
    return solid


def bare(mesh: Mesh) -> Manifold:
    """The kernel's solid of a mesh that is one valid shell by construction. Raises BooleanFailed if refused."""
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(
            np.ascontiguousarray(mesh.vertices), np.ascontiguousarray(mesh.faces.astype(np.uint64))
        )
    )
    if solid.status() != manifold3d.Error.NoError:
        raise BooleanFailed(f"the solid is not valid ({solid.status().name})")
    return solid.as_original()


def labelled(mesh: Mesh) -> tuple[Manifold, dict[int, int]]:
    """The kernel's solid of a closed mesh, and the face label of each of its original ids."""
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


def mesh_of(solid: Manifold, labels: Mapping[int, int] | None = None) -> Mesh:
    """The mesh of a solid; `labels` tells the face label for original ids, `BODY` for all others."""
    raw = solid.to_mesh64()
    faces = np.asarray(raw.tri_verts, dtype=np.int64).reshape(-1, 3)
    marks = np.full(len(faces), BODY, dtype=np.int64)
    if labels:
        bounds = np.asarray(raw.run_index, dtype=np.int64) // 3
        for number, origin in enumerate(raw.run_original_id):
            marks[bounds[number] : bounds[number + 1]] = labels.get(int(origin), BODY)
    return Mesh(np.array(raw.vert_properties, dtype=np.float64)[:, :3], faces, marks)


def lumps(mesh: Mesh) -> list[Manifold]:
    """The separate outward shells of a mesh as solids, each without the cavities that lie in it.

    Shells that overlap stay separate: joining them is the caller's decision.
    """
    whole = manifold(mesh)
    parts = whole.decompose()
    if len(parts) < 2:
        return [whole]
    volumes = [part.volume() for part in parts]
    outer = [part for part, size in zip(parts, volumes, strict=True) if size > 0.0]
    for void in [_space(part) for part, size in zip(parts, volumes, strict=True) if size < 0.0]:
        met = {number: split(part, void) for number, part in enumerate(outer) if meet(part, void)}
        around = [number for number, cut in met.items() if proved(void.volume(), cut[0].volume(), 0.0)]
        # A cavity is one of the lump about it: a lump that lies within the cavity has nothing to lose.
        chosen = [min(around, key=lambda number: outer[number].volume())] if around else list(met)
        outer = [met[number][1] if number in chosen else part for number, part in enumerate(outer)]
    return [part.as_original() for part in outer]


class Lump(Struct, frozen=True, eq=False):
    """A connected part of a solid: its outer shell, and those of its cavities, whose volumes are negative."""

    outer: Manifold
    cavities: list[Manifold]

    @property
    def shells(self) -> list[Manifold]:
        """All shells."""
        return [self.outer, *self.cavities]

    @property
    def volume(self) -> float:
        """Volume, m3."""
        return float(sum(shell.volume() for shell in self.shells))


def apart(solid: Manifold) -> list[Lump]:
    """The connected parts of a solid. Raises BooleanFailed.

    The kernel hands out the shell of a cavity as a solid of its own, turned inside out: left out, it fills the cavity.
    """
    shells = solid.decompose()
    found = [Lump(shell, []) for shell in shells if shell.volume() > 0.0]
    for cavity in shells:
        if cavity.volume() >= 0.0:
            continue
        void = _space(cavity)
        around = [lump for lump in found if meet(lump.outer, void)]
        if len(around) > 1:
            around = [
                lump for lump in around if proved(void.volume(), split(lump.outer, void)[0].volume(), 0.0)
            ]
        if not around:
            raise BooleanFailed("a cavity lies in no part of the solid")
        # A cavity is one of the lump about it: a lump that lies within the cavity has nothing to lose.
        min(around, key=lambda lump: lump.outer.volume()).cavities.append(cavity)
    return found


def _space(cavity: Manifold) -> Manifold:
    """The space that the shell of a cavity encloses, as a solid."""
    shape = mesh_of(cavity)
    return manifold(Mesh(shape.vertices, np.ascontiguousarray(shape.faces[:, ::-1]), shape.labels))


def meet(one: Manifold, other: Manifold, gap: float = 0.0) -> bool:
    """Whether the boxes of two solids touch, within `gap` metres."""
    a, b = np.array(one.bounding_box()), np.array(other.bounding_box())
    return bool((a[:3] <= b[3:] + gap).all() and (b[:3] <= a[3:] + gap).all())


def proved(whole: float, first: float, second: float) -> bool:
    """Whether two volumes make up a whole, within a ten-millionth."""
    return abs(whole - first - second) <= max(1e-9, 1e-7 * abs(whole)) and min(first, second) > -1e-9


def split(body: Manifold, cutter: Manifold) -> tuple[Manifold, Manifold]:
    """The body within and without the cutter, proved. Raises BooleanFailed when no way passes the proof."""
    whole = body.volume()
    for attempt in _ways(body, cutter):
        within, without = attempt
        if (
            within.status() == without.status() == manifold3d.Error.NoError
            and proved(whole, within.volume(), without.volume())
            and within.volume() <= cutter.volume() * (1.0 + 1e-6) + 1e-9
        ):
            return within, without
    raise BooleanFailed("no way of cutting gives volumes that add up")


def _ways(body: Manifold, cutter: Manifold) -> Iterator[tuple[Manifold, Manifold]]:
    yield body.split(cutter)
    parts = cutter.decompose()
    if len(parts) > 1 and all(part.volume() > 0.0 for part in parts):
        rest, taken = body, []
        for part in parts:
            inner, rest = rest.split(part)
            taken.append(inner)
        yield manifold3d.Manifold.batch_boolean(taken, manifold3d.OpType.Add), rest
    middle = np.array(cutter.bounding_box()).reshape(2, 3).mean(axis=0)
    size = float(np.ptp(np.array(cutter.bounding_box()).reshape(2, 3), axis=0).max()) or 1.0
    for factor in (1.0 + GROWTH / size, 1.0 - GROWTH / size):
        yield body.split(cutter.translate(-middle).scale((factor, factor, factor)).translate(middle))
    for shift in (np.array([1.0, 0.7, 0.4]), np.array([-0.6, 1.0, -0.3])):
        yield body.split(cutter.translate(shift * GROWTH))


def join(parts: Sequence[Manifold]) -> Manifold:
    """The union of solids, each step proved. Raises BooleanFailed when a step fails."""
    groups: list[Manifold] = []
    for part in sorted(parts, key=lambda part: -part.volume()):
        near = [group for group in groups if meet(group, part, NEAR)]
        groups = [group for group in groups if not any(group is other for other in near)]
        groups.append(_joined(_together(near), part) if near else part)
    return _together(groups)


def _together(apart: Sequence[Manifold]) -> Manifold:
    """One solid of several that do not meet."""
    return apart[0] if len(apart) == 1 else manifold3d.Manifold.batch_boolean(apart, manifold3d.OpType.Add)


def _joined(whole: Manifold, part: Manifold) -> Manifold:
    moved = manifold(aligned(mesh_of(part), Planes(mesh_of(whole)), into=True))
    _, rest = split(moved, whole)
    both = whole + moved
    if proved(both.volume(), whole.volume(), rest.volume()):
        return both
    both = manifold(mesh_of(moved)) + whole
    if proved(both.volume(), whole.volume(), rest.volume()):
        return both
    raise BooleanFailed("no way of joining gives volumes that add up")


def without_crumbs(mesh: Mesh) -> Mesh:
    """The mesh without loose shells too small to be anything but rounding."""
    number = shells(mesh.faces, len(mesh.vertices))
    pieces = np.unique(number)
    if len(pieces) < 2:
        return mesh
    whole = abs(volume(mesh))
    keep = np.ones(len(mesh.faces), dtype=bool)
    for piece in pieces.tolist():
        part = number == piece
        if abs(volume(Mesh.of(mesh.vertices, mesh.faces[part]))) < min(CRUMB, 1e-3 * whole):
            keep &= ~part
    return Mesh(mesh.vertices, mesh.faces[keep], mesh.labels[keep])
