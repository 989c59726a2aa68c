"""Pipes: a disk, or a ring, swept along a line; mitred at corners, round where the line is.

The geometry kernels take seconds for a bend, give up on closed ones, and let one bend into itself without a word.
"""

import math
from typing import Any

import numpy as np

from takeoff.geometry.curves import arc_steps
from takeoff.geometry.lines import apart, is_ring, line_points
from takeoff.geometry.mesh import Floats, Ints, Mesh
from takeoff.geometry.refusals import Nonsense, Sheet, Unread, radius, size
from takeoff.geometry.sweeps import part_of

Entity = Any

_SAMPLES = 3000
"""Places along a pipe at most that are compared with each other, to see whether it meets itself."""


def pipe(item: Entity, sheet: Sheet) -> Mesh:
    """Mesh of an IfcSweptDiskSolid in the item's coordinates, metres.

    Chords in place of arcs make it 0.05 % small at most. Raises Unread for other items and for lines not known here,
    Nonsense for a pipe that bends into itself. One that meets itself further on is told.
    """
    if not item.is_a("IfcSweptDiskSolid"):
        raise Unread(item.is_a())
    outer, inner = size(item, "Radius", sheet.scale), radius(item, "InnerRadius", sheet.scale)
    if inner >= outer:
        raise Nonsense(f"a pipe with InnerRadius of {item.InnerRadius:g} in a Radius of {item.Radius:g}")
    points = apart(part_of(item, line_points(item.Directrix, sheet), sheet))
    fillet = radius(item, "FilletRadius", sheet.scale)
    if fillet:
        points = _filleted(points, fillet)
    closed = is_ring(points)
    _tell_meeting(points, outer, closed, sheet)
    skin = _rings(points, outer, closed)
    tubes = [_tube(skin, closed)]
    if inner:
        bore = _rings(points, inner, closed, len(skin[0]))
        tubes.append(_tube(bore, closed)[:, ::-1] + skin.shape[0] * skin.shape[1])
        skin = np.concatenate([skin, bore])
    faces = np.concatenate(tubes)
    if not closed:
        faces = np.concatenate([faces, *_ends(len(points), skin.shape[1], bool(inner))])
    return Mesh.of(skin.reshape(-1, 3), faces)


def _rings(points: Floats, r: float, closed: bool, count: int = 0) -> Floats:
    """Corners (k, n, 3) of the rings of a pipe at the points of its line, each in the plane that halves the corner.

    The last point of a closed line has no ring of its own. Raises Nonsense where a bend is tighter than the pipe.
    """
    count = count or arc_steps(r, 2.0 * math.pi)
    steps = np.diff(points, axis=0)
    ways = steps / np.linalg.norm(steps, axis=1, keepdims=True)
    before = np.concatenate([ways[-1:] if closed else ways[:1], ways])
    after = np.concatenate([ways, ways[:1] if closed else ways[-1:]])
    halves = before + after
    lengths = np.linalg.norm(halves, axis=1, keepdims=True)
    if (lengths < 1e-3).any():
        raise Nonsense("a pipe that runs back into itself")
    halves /= lengths
    frames = _frames(ways)
    angles = np.arange(count) * (2.0 * math.pi / count)
    round_ = r * (np.cos(angles)[:, None] * frames[:, 0, None] + np.sin(angles)[:, None] * frames[:, 1, None])
    starts, ends = (
        _on_plane(round_, ways, halves[rows]) + points[rows][:, None]
        for rows in (np.arange(len(ways)), np.arange(1, len(ways) + 1))
    )
    if (np.einsum("skd,sd->sk", ends - starts, ways) <= 0.0).any():
        raise Nonsense("a pipe that bends into itself: its radius is larger than a bend's")
    if not closed:
        return np.concatenate([starts, ends[-1:]])
    # About a closed line in space the frame comes back turned: whole corners are shifted, the rest is shared out.
    twist = _twist(frames[0], frames[-1], ways[-1], ways[0])
    turned = twist * np.arange(len(ways)) / len(ways)
    if abs(twist) > 1e-9:
        both = angles[None, :] + turned[:, None]
        cos, sin = np.cos(both)[..., None], np.sin(both)[..., None]
        round_ = r * (cos * frames[:, 0, None] + sin * frames[:, 1, None])
        starts = _on_plane(round_, ways, halves[:-1]) + points[:-1, None]
    rings: Floats = starts
    return rings


def _on_plane(round_: Floats, ways: Floats, halves: Floats) -> Floats:
    """Points (s, n, 3) of rings moved along their pipe's ways (s, 3) into planes of normals (s, 3)."""
    reach = np.einsum("skd,sd->sk", round_, halves) / np.einsum("sd,sd->s", ways, halves)[:, None]
    moved: Floats = round_ - reach[..., None] * ways[:, None]
    return moved


def _frames(ways: Floats) -> Floats:
    """Two directions (s, 2, 3) across each of (s, 3) ways, turned from one to the next no more than need be."""
    wish = np.eye(3)[int(np.argmin(np.abs(ways[0])))]
    first = np.cross(wish, ways[0])
    first /= np.linalg.norm(first)
    out = np.empty((len(ways), 2, 3))
    for number, way in enumerate(ways):
        if number:
            first = _carried(first, ways[number - 1], way)
        out[number] = first, np.cross(way, first)
    return out


def _carried(across: Floats, before: Floats, after: Floats) -> Floats:
    """A direction across one way turned with it into the next way."""
    # The same place of the ellipse in the plane that halves the corner, seen from the other side: mirrored there.
    half = before + after
    half /= np.linalg.norm(half)
    mirrored = across - 2.0 * half * float(across @ half)
    mirrored = mirrored - after * float(mirrored @ after)
    out: Floats = mirrored / np.linalg.norm(mirrored)
    return out


def _twist(first: Floats, last: Floats, before: Floats, after: Floats) -> float:
    """The angle by which the last frame, carried over the closing corner, has to be turned to be the first."""
    carried = _carried(last[0], before, after)
    return math.atan2(float(np.cross(carried, first[0]) @ after), float(carried @ first[0]))


def _tube(rings: Floats, closed: bool) -> Ints:
    """Outward triangles between consecutive rings (k, n, 3)."""
    sections, count = rings.shape[:2]
    index = np.arange(count)
    after = np.roll(index, -1)
    base = np.arange(sections if closed else sections - 1)[:, None] * count
    top = (base + count) % (sections * count)
    one = np.stack([base + index, base + after, top + after], axis=-1)
    other = np.stack([base + index, top + after, top + index], axis=-1)
    return np.concatenate([one.reshape(-1, 3), other.reshape(-1, 3)])


def _ends(sections: int, count: int, hollow: bool) -> list[Ints]:
    """Triangles that close the first and the last ring: a disk, or the ring between two."""
    index = np.arange(count)
    after = np.roll(index, -1)
    faces = []
    for first, is_last in ((0, False), ((sections - 1) * count, True)):
        if hollow:
            within = first + sections * count
            lid = np.concatenate(
                [
                    np.column_stack([first + index, first + after, within + after]),
                    np.column_stack([first + index, within + after, within + index]),
                ]
            )
        else:
            lid = first + np.column_stack([np.zeros(count - 2, dtype=np.int64), index[1:-1], index[2:]])
        faces.append(lid if is_last else lid[:, ::-1])
    return faces


def _filleted(points: Floats, fillet: float) -> Floats:
    """The line with arcs of a radius at its corners. Raises Nonsense where they do not fit between the corners."""
    steps = np.diff(points, axis=0)
    lengths = np.linalg.norm(steps, axis=1)
    ways = steps / lengths[:, None]
    turns = np.arccos(np.clip((ways[:-1] * ways[1:]).sum(axis=1), -1.0, 1.0))
    taken = np.concatenate([[0.0], fillet * np.tan(turns / 2.0), [0.0]])
    if (taken[:-1] + taken[1:] > lengths + 1e-9).any():
        raise Nonsense("a pipe with bends larger than the legs between them")
    parts = [points[:1]]
    for number, turn in enumerate(turns.tolist()):
        corner, before, after = points[number + 1], ways[number], ways[number + 1]
        if turn < 1e-6:
            parts.append(corner[None])
            continue
        across = after - before * math.cos(turn)
        across /= np.linalg.norm(across)
        angles = np.linspace(0.0, turn, arc_steps(fillet, turn) + 1)
        start = corner - before * taken[number + 1]
        parts.append(
            start + fillet * (np.sin(angles)[:, None] * before + (1.0 - np.cos(angles))[:, None] * across)
        )
    return apart(np.concatenate([*parts, points[-1:]]))


def _tell_meeting(points: Floats, r: float, closed: bool, sheet: Sheet) -> None:
    """Doubt a pipe that comes nearer to itself than it is thick, further on along its line than a bend takes."""
    lengths = np.linalg.norm(np.diff(points, axis=0), axis=1)
    along = np.append(0.0, np.cumsum(lengths))
    whole = float(along[-1])
    if whole <= math.pi * r:
        return
    at = np.linspace(0.0, whole, min(_SAMPLES, max(2, math.ceil(2.0 * whole / r))))
    places = np.column_stack([np.interp(at, along, points[:, axis]) for axis in range(3)])
    for start in range(0, len(places), 500):
        rows = slice(start, start + 500)
        away = np.abs(at[rows, None] - at)
        if closed:
            away = np.minimum(away, whole - away)
        near = ((places[rows, None] - places) ** 2).sum(axis=2) < (1.99 * r) ** 2
        if (near & (away > 1.05 * math.pi * r)).any():
            sheet.doubt(
                "surface-folded", "a pipe meets itself: what lies within it twice counts twice; check it"
            )
            return
