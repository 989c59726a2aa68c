"""Below ground: outer faces to keep water and cold out, joints to seal, and concrete placed in the pit.

A face is an outer one when it looks away from everything that the walls enclose at its height. What they
enclose is found from their plans with the gaps of doors closed, so a light well or a sump is part of the
envelope and its inside is not outside.
"""

from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from takeoff.findings import Finding
from takeoff.geometry import planar
from takeoff.geometry.booleans import BooleanFailed
from takeoff.geometry.contacts import Contacts, covered
from takeoff.geometry.mesh import Ints
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.bodies import FORMED, Body, noted
from takeoff.measuring.convention import Convention
from takeoff.measuring.dimensions import Dimensions, plan_polygon, strip_length
from takeoff.measuring.enclosure import STEP, Enclosure, bottom_of, outside_part
from takeoff.measuring.ground_bounds import Ground
from takeoff.measuring.name_patterns import fits_any
from takeoff.measuring.records import EnvelopeRow
from takeoff.told import Quantity, told

SMALLEST = 1e-3
"""Faces and joints under this size, m2 or m, are not listed."""


def measure_below_ground(
    surfaces: Surfaces,
    bodies: Sequence[Body],
    sizes: Sequence[Dimensions],
    rows_of: Sequence[Ints],
    contacts: Contacts,
    grounds: Sequence[Ground | None],
    grounded: Sequence[bool],
    convention: Convention,
) -> tuple[EnvelopeRow, ...]:
    """Outer faces and joints of concrete below the ground at each body (`grounds`, None where it is not known).

    Only bodies that bound an enclosed room count: a garden wall, a free pad, or a foundation wall beside earth under a
    slab on the ground (`grounded[b]`: body b is one) keeps no water out. Blinding is no part of the structure: what
    lies on it is measured through it. Kinds: `wall-face` and `edge` (upright),
    `underside` (to the ground), `top` (a toe or a buried roof outside the walls above), `joint-base` (wall on slab
    or foundation), `joint-wall` (upright, wall to wall): joints by length, of cast walls with an outer face.
    """
    low: dict[int, Ground] = {}
    for number, body in enumerate(bodies):
        ground = grounds[number]
        if ground is None or not body.concrete or is_blinding(body, convention):
            continue
        if bottom_of(surfaces, rows_of[number]) < ground.highest(sizes[number].outline):
            low[number] = ground
    if not low:
        return ()
    # a room in a slope is closed by walls on the valley side that have no ground before them
    top = max(ground.highest(sizes[number].outline) for number, ground in low.items())
    near = [
        number
        for number, body in enumerate(bodies)
        if body.concrete and not is_blinding(body, convention) and bottom_of(surfaces, rows_of[number]) < top
    ]
    counted = np.zeros(len(bodies), dtype=bool)
    counted[near] = True
    region = _covered(surfaces, counted, contacts)
    enclosure = Enclosure(sizes, surfaces, rows_of, near, np.flatnonzero(grounded).tolist())
    # a leaf of a wall is part of the envelope when any part of that wall is
    bounding = {
        bodies[n].key[:2]
        for n, ground in low.items()
        if enclosure.bounds_a_room(n, sizes[n], ground.highest(sizes[n].outline))
    }
    rows: list[EnvelopeRow] = []
    outer: dict[int, Ground] = {}
    for number in noted(low, bodies):
        ground = low[number]
        body = bodies[number]
        if body.key[:2] not in bounding:
            continue
        for row in rows_of[number].tolist():
            found = _face(surfaces, row, region.get(row), body, enclosure, ground)
            if found is None or found[1] < SMALLEST:
                continue
            kind, area = found
            if kind == "wall-face":
                outer[number] = ground
            rows.append(EnvelopeRow(*body.key, body.role, body.storey, kind, area, None))
    rows += _joints(surfaces, bodies, contacts, outer)
    return tuple(rows)


def below_ground_volumes(
    bodies: Sequence[Body], sizes: Sequence[Dimensions], grounds: Sequence[Ground | None]
) -> tuple[dict[int, float], list[Finding]]:
    """Net volume, m3, below the ground of each concrete body that reaches below it, and what could not be cut."""
    result: dict[int, float] = {}
    findings: list[Finding] = []
    for number in noted(range(len(bodies)), bodies):
        body, ground = bodies[number], grounds[number]
        if ground is None or not body.concrete:
            continue
        outline = sizes[number].outline
        try:
            share = ground.share_below(body.mesh, outline)
        except BooleanFailed:
            share = ground.share_by_mean(body.mesh, outline)
            findings.append(_by_mean(body, share))
        if share > 0.0:
            result[number] = body.net * share
    return result, findings


def _by_mean(body: Body, share: float) -> Finding:
    """That a body could not be cut along the terrain."""
    facts, below = body.element.facts, Quantity(body.net * share, "m3")
    return Finding(
        "warning", "terrain-not-cut", facts.model, facts.global_id,
        told("{} could not be cut along the terrain; check its volume below ground", facts.name or facts.ifc_class),
        told("{} below ground, by the mean height of the terrain over it", below), body.net, "m3",
    )  # fmt: skip


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
    ground: Ground,
) -> tuple[str, float] | None:
    """Kind and area of what is an outer face below ground of one surface, None where nothing is."""
    low, high = float(surfaces.box[row, 0, 2]), float(surfaces.box[row, 1, 2])
    shape = surfaces.polygon[row]
    rest = shape if taken is None else planar.difference(shape, taken)
    upward = float(surfaces.normal[row, 2])
    if abs(upward) < 0.7:
        rest = ground.of_upright(surfaces, row, rest)
        if rest.is_empty:
            return None
        middle = (low + min(high, _top_of(surfaces, row, rest))) / 2.0
        rest = outside_part(surfaces, row, rest, enclosure.at(middle))
        kind = "wall-face" if body.role in ("wall", "column") else "edge"
        return kind, float(rest.area) * float(surfaces.scale[row])
    plan = plan_polygon(surfaces, row, rest)
    if plan.area <= 0:
        return None
    # above: a ledge under the ground outside the walls (a toe, the roof of a buried room)
    kind, height = ("top", high + STEP) if upward > 0 else ("underside", low - STEP)
    open_part = planar.difference(ground.of_flat(surfaces, row, plan), enclosure.at(height))
    return kind, float(rest.area) * float(open_part.area / plan.area)


def _top_of(surfaces: Surfaces, row: int, shape: shapely.Geometry) -> float:
    """Height, m, of the top of a shape on an upright surface."""
    top = float(shape.bounds[3])
    if surfaces.frame[row] < 0:
        return top
    axes = surfaces.axes[row]
    return float(surfaces.centre[row] @ axes[2]) * float(axes[2, 2]) + top * float(axes[1, 2])


def _joints(
    surfaces: Surfaces, bodies: Sequence[Body], contacts: Contacts, outer: Mapping[int, Ground]
) -> list[EnvelopeRow]:
    """Joints of outer cast walls with what they stand on, and with other cast walls, below the ground."""
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
        ground = outer[wall]
        shape = contacts.polygon[k] if first else contacts.opposite[k]
        upward = float(surfaces.normal[face, 2])
        if upward < -0.7 and bodies[base].role in ("slab", "foundation"):
            kind = "joint-base"
            plan = plan_polygon(surfaces, face, shape)
            if plan.area <= 0:
                continue
            share = float(ground.of_flat(surfaces, face, plan).area / plan.area)
            long = share * sum(strip_length(piece) for piece in shapely.get_parts(shape))
        elif abs(upward) < 0.3 and bodies[base].role in ("wall", "column"):
            kind = "joint-wall"
            if shape.area <= 0:
                continue
            _, low, _, high = shape.bounds
            # on average over the thickness of the wall, in the middle of which the seal lies
            long = (high - low) * float(ground.of_upright(surfaces, face, shape).area / shape.area)
        else:
            continue
        lengths[wall, kind] = lengths.get((wall, kind), 0.0) + float(long)
    return [
        EnvelopeRow(*bodies[wall].key, bodies[wall].role, bodies[wall].storey, kind, None, length)
        for (wall, kind), length in lengths.items()
        if length > SMALLEST
    ]
