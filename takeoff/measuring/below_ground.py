"""Below ground: outer faces to keep water and cold out, joints to seal, and concrete placed in the pit.

A face is an outer one when it looks away from everything that the walls enclose at its height. What they
enclose is found from their plans with the gaps of doors closed, so a light well or a sump is part of the
envelope and its inside is not outside.
"""

from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from takeoff.geometry import planar
from takeoff.geometry.booleans import manifold
from takeoff.geometry.contacts import Contacts, covered
from takeoff.geometry.mesh import Ints, volume
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.bodies import FORMED, Body
from takeoff.measuring.convention import Convention
from takeoff.measuring.dimensions import Dimensions, plan_polygon, strip_length
from takeoff.measuring.enclosure import STEP, Enclosure, bottom_of, outside_part
from takeoff.measuring.name_patterns import fits_any
from takeoff.measuring.records import EnvelopeRow

SMALLEST = 1e-3
"""Faces and joints under this size, m2 or m, are not listed."""


def measure_below_ground(
    surfaces: Surfaces,
    bodies: Sequence[Body],
    sizes: Sequence[Dimensions],
    rows_of: Sequence[Ints],
    contacts: Contacts,
    level: float,
    convention: Convention,
) -> tuple[EnvelopeRow, ...]:
    """Outer faces and joints of concrete below `level` (m, in the meshes' own heights).

    Only bodies that bound an enclosed room count: a garden wall or a free pad keeps no water out. Blinding is no
    part of the structure: what lies on it is measured through it. Kinds: `wall-face` and `edge` (upright),
    `underside` (to the ground), `top` (a toe or a buried roof outside the walls above), `joint-base` (wall on slab
    or foundation), `joint-wall` (upright, wall to wall): joints by length, of cast walls with an outer face.
    """
    low = [
        number
        for number, body in enumerate(bodies)
        if body.concrete
        and not is_blinding(body, convention)
        and bottom_of(surfaces, rows_of[number]) < level
    ]
    if not low:
        return ()
    counted = np.zeros(len(bodies), dtype=bool)
    counted[low] = True
    region = _covered(surfaces, counted, contacts)
    enclosure = Enclosure(sizes, surfaces, rows_of, low)
    # a leaf of a wall is part of the envelope when any part of that wall is
    bounding = {bodies[n].key[:2] for n in low if enclosure.bounds_a_room(n, sizes[n], level)}
    low = [number for number in low if bodies[number].key[:2] in bounding]
    rows: list[EnvelopeRow] = []
    outer: set[int] = set()
    for number in low:
        body = bodies[number]
        for row in rows_of[number].tolist():
            found = _face(surfaces, row, region.get(row), body, enclosure, level)
            if found is None or found[1] < SMALLEST:
                continue
            kind, area = found
            if kind == "wall-face":
                outer.add(number)
            rows.append(EnvelopeRow(*body.key, body.role, body.storey, kind, area, None))
    rows += _joints(surfaces, bodies, contacts, outer, level)
    return tuple(rows)


def below_ground_volumes(bodies: Sequence[Body], level: float) -> dict[int, float]:
    """Net volume, m3, below `level` of each concrete body that reaches below it."""
    result = {}
    for number, body in enumerate(bodies):
        if not body.concrete:
            continue
        low, high = body.mesh.box()[:, 2]
        if high <= level + 1e-6:
            result[number] = body.net
        elif low < level - 1e-6:
            below = manifold(body.mesh).trim_by_plane((0.0, 0.0, -1.0), -level)
            share = below.volume() / volume(body.mesh)
            result[number] = body.net * min(max(share, 0.0), 1.0)
    return result


def is_blinding(body: Body, convention: Convention) -> bool:
    """Whether a body is a layer of blinding, by the words that name it."""
    facts = body.element.facts
    return fits_any(
        tuple(convention.ground.blinding_words), (facts.name, facts.type_name, body.plan.material)
    )


def _covered(
    surfaces: Surfaces, counted: NDArray[np.bool_], contacts: Contacts
) -> Mapping[int, shapely.Geometry]:
    """For each surface the region that other bodies among those `counted` cover."""
    if not len(contacts):
        return {}
    both = counted[surfaces.part[contacts.first]] & counted[surfaces.part[contacts.second]]
    rows = np.concatenate([contacts.first[both], contacts.second[both]])
    return covered(rows, contacts.on_both()[np.concatenate([both, both])])


def _face(
    surfaces: Surfaces,
    row: int,
    taken: shapely.Geometry | None,
    body: Body,
    enclosure: Enclosure,
    level: float,
) -> tuple[str, float] | None:
    """Kind and area of what is an outer face below ground of one surface, None where nothing is."""
    low, high = float(surfaces.box[row, 0, 2]), float(surfaces.box[row, 1, 2])
    if low >= level - 1e-6:
        return None
    shape = surfaces.polygon[row]
    rest = shape if taken is None else planar.difference(shape, taken)
    upward = float(surfaces.normal[row, 2])
    if abs(upward) < 0.7:
        rest = _clipped(surfaces, row, rest, level)
        if rest.is_empty:
            return None
        middle = (low + min(high, level)) / 2.0
        rest = outside_part(surfaces, row, rest, enclosure.at(middle))
        kind = "wall-face" if body.role in ("wall", "column") else "edge"
        return kind, float(rest.area) * float(surfaces.scale[row])
    plan = plan_polygon(surfaces, row, rest)
    if upward > 0:
        above = enclosure.at(high + STEP)
        open_part = planar.difference(plan, above)
        if high >= level - 1e-3 or plan.area <= 0:
            return None
        # a ledge under the ground outside the walls (a toe, the roof of a buried room)
        return "top", float(rest.area) * float(open_part.area / plan.area)
    below = enclosure.at(low - STEP)
    open_part = planar.difference(plan, below)
    if plan.area <= 0:
        return None
    return "underside", float(rest.area) * float(open_part.area / plan.area)


def _clipped(surfaces: Surfaces, row: int, shape: shapely.Geometry, level: float) -> shapely.Geometry:
    """The part of an upright surface's polygon that lies below the level."""
    if surfaces.box[row, 1, 2] <= level + 1e-9:
        return shape
    if surfaces.frame[row] < 0:
        limit = level
    else:
        axes = surfaces.axes[row]
        offset = float(surfaces.centre[row] @ axes[2])
        limit = (level - offset * float(axes[2, 2])) / float(axes[1, 2])
    return planar.intersection(shape, shapely.box(-1e7, -1e7, 1e7, limit))


def _joints(
    surfaces: Surfaces, bodies: Sequence[Body], contacts: Contacts, outer: set[int], level: float
) -> list[EnvelopeRow]:
    """Joints of outer cast walls with what they stand on, and with other cast walls, below the level."""
    lengths: dict[tuple[int, str], float] = {}
    for k in range(len(contacts)):
        a, b = int(contacts.first[k]), int(contacts.second[k])
        one, two = int(surfaces.part[a]), int(surfaces.part[b])
        if one not in outer and two not in outer:
            continue
        first = one in outer
        wall, face, base = (one, a, two) if first else (two, b, one)
        if bodies[wall].method not in FORMED or bodies[base].method not in FORMED:
            continue
        if bodies[wall].role != "wall" or bodies[wall].key[:2] == bodies[base].key[:2]:
            continue
        if float(surfaces.box[face, 0, 2]) >= level:
            continue
        shape = contacts.polygon[k] if first else contacts.opposite[k]
        upward = float(surfaces.normal[face, 2])
        if upward < -0.7 and bodies[base].role in ("slab", "foundation"):
            kind = "joint-base"
            long = sum(strip_length(piece) for piece in shapely.get_parts(shape))
        elif abs(upward) < 0.3 and bodies[base].role in ("wall", "column"):
            kind = "joint-wall"
            _, low, _, high = _clipped(surfaces, face, shape, level).bounds
            long = high - low
        else:
            continue
        lengths[wall, kind] = lengths.get((wall, kind), 0.0) + float(long)
    return [
        EnvelopeRow(*bodies[wall].key, bodies[wall].role, bodies[wall].storey, kind, None, length)
        for (wall, kind), length in lengths.items()
        if length > SMALLEST
    ]
