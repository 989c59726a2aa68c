"""Areas turned about an axis, meshed without the geometry kernel."""

import math
from typing import Any

import numpy as np

from takeoff.geometry.curves import arc_steps
from takeoff.geometry.extrusions import Crossing, all_untangled, cap
from takeoff.geometry.mesh import Floats, Ints, Mesh, volume, welded
from takeoff.geometry.placements import applied, axis_placement, unit
from takeoff.geometry.profiles import Area, profile_areas
from takeoff.geometry.refusals import Nonsense, Sheet, number

Entity = Any

TURN = 2.0 * math.pi
"""A full turn, radians."""

_ON_AXIS = 1e-7
"""Points this near the axis, metres, lie on it."""


def revolution(item: Entity, sheet: Sheet) -> list[Mesh]:
    """Meshes of an IfcRevolvedAreaSolid, one for each area of its profile, in the item's coordinates.

    Chords in place of arcs make it 0.04 % small at most. Raises Nonsense for an axis that does not lie in the
    profile's plane or runs through the profile, and for more than a full turn.
    """
    matrix = axis_placement(item.Position, sheet.scale)
    place = np.zeros(3)
    coordinates = item.Axis.Location[0]
    place[: len(coordinates)] = coordinates
    place *= sheet.scale
    along = unit(item.Axis.Axis[0]) if item.Axis.Axis is not None else np.array([0.0, 0.0, 1.0])
    if abs(along[2]) > 1e-6 or abs(place[2]) > 1e-6:
        raise Nonsense("an axis of revolution that does not lie in the plane of the profile")
    angle = number(item.Angle, "IfcRevolvedAreaSolid with Angle") * sheet.angle
    if abs(angle) > TURN * (1.0 + 1e-6):
        raise Nonsense(
            f"a revolution of {angle:.6g} radians, more than a full turn: is the unit of angles wrong?"
        )
    if abs(angle) < 1e-9:
        raise Nonsense("a revolution without an angle")
    if angle < 0.0:
        sheet.doubt("depth-negative", f"a revolution has an angle of {angle:g}: it was made the other way")
    areas = profile_areas(item.SweptArea, sheet)
    try:
        solids = [_turned(area, place[:2], along[:2], angle) for area in areas]
    except Crossing:
        solids = [_turned(area, place[:2], along[:2], angle) for area in all_untangled(areas, sheet)]
    return [Mesh(applied(matrix, solid.vertices), solid.faces, solid.labels) for solid in solids]


def _turned(area: Area, place: Floats, along: Floats, angle: float) -> Mesh:
    """Mesh of an area in the plane z = 0 turned about an axis in that plane, through `place` (2,)."""
    points = np.concatenate(area) - place
    across = np.array([-along[1], along[0]])
    far, height = points @ across, points @ along
    far[np.abs(far) < _ON_AXIS] = 0.0
    if far.min() < 0.0 < far.max():
        raise Nonsense("a profile through which its axis of revolution runs")
    lid = cap(area)
    closed = abs(abs(angle) - TURN) < 1e-6 * TURN
    count = max(arc_steps(float(np.abs(far).max()), angle), 3 if closed else 1)
    angles = np.linspace(0.0, angle, count + 1)[: count if closed else None]
    up = np.array([0.0, 0.0, 1.0])
    out, axis = np.append(across, 0.0), np.append(along, 0.0)
    beside = np.cross(axis, out)
    assert abs(abs(beside @ up) - 1.0) < 1e-6
    radial = np.cos(angles)[:, None] * out + np.sin(angles)[:, None] * beside
    vertices = far[None, :, None] * radial[:, None] + (height[:, None] * axis + np.append(place, 0.0))[None]
    faces = _between(area, len(angles), closed)
    if not closed:
        faces = np.concatenate([faces, lid[:, ::-1], lid + (len(angles) - 1) * len(points)])
    joined, kept, _ = welded(vertices.reshape(-1, 3), faces, _ON_AXIS)
    mesh = Mesh.of(joined, kept)
    return mesh if volume(mesh) > 0.0 else Mesh.of(joined, kept[:, ::-1])


def _between(area: Area, sections: int, closed: bool) -> Ints:
    """Triangles between consecutive sections (and from the last to the first), each the points of an area."""
    total = sum(len(ring) for ring in area)
    after = np.empty(total, dtype=np.int64)
    start = 0
    for ring in area:
        after[start : start + len(ring)] = start + np.roll(np.arange(len(ring)), -1)
        start += len(ring)
    index = np.arange(total)
    base = np.arange(sections if closed else sections - 1)[:, None] * total
    top = (base + total) % (sections * total)
    one = np.stack([base + index, base + after, top + after], axis=-1)
    other = np.stack([base + index, top + after, top + index], axis=-1)
    return np.concatenate([one.reshape(-1, 3), other.reshape(-1, 3)])
