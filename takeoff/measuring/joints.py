"""Joints: where pieces meet each other or cast concrete, from contacts within the joint width."""

from collections.abc import Sequence

import shapely

from takeoff.geometry.contacts import Contacts
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.bodies import PIECES, Body
from takeoff.measuring.dimensions import rectangle_sides
from takeoff.measuring.records import JointRow

SHORTEST = 0.05
"""Contacts shorter than this, m, are touches, not joints."""


def measure_joints(surfaces: Surfaces, bodies: Sequence[Body], contacts: Contacts) -> tuple[JointRow, ...]:
    """One row for each pair of parts and kind of joint; `contacts` were found with the joint width as gap.

    Kinds: `bed` under a piece or on it, `vertical` beside walls and columns, `slab` between slab edges, `topping`
    where concrete is cast on a piece. Length is that of the contact's longer side, gap the mean distance.
    """
    gathered: dict[tuple[int, int, str], list[float]] = {}
    for k in range(len(contacts)):
        a, b = int(contacts.first[k]), int(contacts.second[k])
        first, second = int(surfaces.part[a]), int(surfaces.part[b])
        one, two = bodies[first], bodies[second]
        if one.key[:2] == two.key[:2] or not (one.concrete and two.concrete):
            continue
        if one.method not in PIECES and two.method not in PIECES:
            continue
        if one.method not in PIECES:
            a, first, second, one, two = b, second, first, two, one
        kind = _kind(float(surfaces.normal[a, 2]), one, two)
        polygon = contacts.polygon[k]
        length = _length(polygon, float(surfaces.scale[a]))
        if length < SHORTEST:
            continue
        entry = gathered.setdefault((first, second, kind), [0.0, 0.0, 0.0])
        entry[0] += float(contacts.area[k])
        entry[1] += length
        entry[2] += abs(float(contacts.gap[k])) * float(contacts.area[k])
    rows = []
    for (first, second, kind), (area, length, gap) in gathered.items():
        one, two = bodies[first], bodies[second]
        model, global_id, part = one.key
        rows.append(
            JointRow(
                model, global_id, part, two.key[1], two.key[2], kind, area, length, gap / area, one.storey
            )
        )
    return tuple(rows)


def _kind(upward: float, piece: Body, other: Body) -> str:
    """Kind of a joint at a face of `piece` whose normal has the vertical part `upward`."""
    if abs(upward) > 0.7:
        cast_on = upward > 0 and other.method not in PIECES and other.role in ("slab", "beam")
        return "topping" if cast_on and piece.role in ("slab", "beam") else "bed"
    return "slab" if piece.role == "slab" and other.role == "slab" else "vertical"


def _length(polygon: shapely.Geometry, scale: float) -> float:
    if scale != 1.0:
        low, bottom, high, top = polygon.bounds
        return float(max((high - low) * scale, top - bottom))
    return float(sum(rectangle_sides(piece)[0] for piece in shapely.get_parts(polygon) if piece.area > 0))
