"""Joints: where pieces meet each other or cast concrete, from contacts within the joint width."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from takeoff.findings import Finding
from takeoff.geometry.contacts import Contacts
from takeoff.geometry.mesh import Floats
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.bodies import PIECES, Body
from takeoff.measuring.dimensions import rectangle_sides, strip_thickness
from takeoff.measuring.joint_rules import CAST_ON, JointRule, JointRules
from takeoff.measuring.records import JointRow, PieceRow
from takeoff.measuring.units import ElementKey
from takeoff.told import Quantity, joined, told

JOINT_LEAN = 3.0
"""Faces of a joint may lean to each other by this, degrees: the ends of the panels of a curved wall do."""
SHORTEST = 0.05
"""Joints shorter than this, m, are touches, not joints."""
STEP = 0.10
"""Contact planes of one joint (a rebate, a key) lie within this, m; further apart they are two joints."""
PARALLEL = 0.60
"""Strips of one joint side by side within this, m, between their middles count once: leaves of a twin wall,
both sides of a groove."""
SQUARE = 0.9
"""Share of the surrounding rectangle from which a strip is straight."""
STUBBY = 2.0
"""Strips less than this many times as long as wide run the way of the longest joint of their piece and plane."""


@dataclass(frozen=True, slots=True)
class Member:
    """A body as the joint rules see it."""

    method: str
    role: str
    subrole: str


@dataclass(frozen=True, slots=True, eq=False)
class Patch:
    """One contact: the surface of the piece that is set, the bodies `own` and `other` and how rules see them."""

    row: int
    own: int
    other: int
    piece: Member
    met: Member
    polygon: shapely.Geometry
    area: float
    gap: float


def pieces_by_element(pieces: Iterable[PieceRow]) -> dict[ElementKey, PieceRow]:
    """The piece of each element (model, GlobalId) that belongs to one; the first where a body was divided."""
    found: dict[ElementKey, PieceRow] = {}
    for piece in pieces:
        for text in piece.parts.split("; "):
            found.setdefault((piece.model, text.rpartition("/")[0] or piece.global_id), piece)
    return found


def member(body: Body, piece: PieceRow | None = None) -> Member:
    """What rules ask of a body: a rim or string of a piece has the role of the piece."""
    if piece is not None and body.method in PIECES:
        return Member(body.method, piece.role, piece.subrole)
    return Member(body.method, body.role, body.element.subrole)


def gather_patches(
    surfaces: Surfaces, bodies: Sequence[Body], contacts: Contacts, pieces: Iterable[PieceRow]
) -> dict[tuple[ElementKey, ElementKey, str], list[Patch]]:
    """Contacts by the piece that is set, what it meets and the kind of joint; those within a piece are none."""
    pieces_of = pieces_by_element(pieces)
    gathered: dict[tuple[ElementKey, ElementKey, str], list[Patch]] = defaultdict(list)
    for k in range(len(contacts)):
        row, own = int(contacts.first[k]), int(surfaces.part[contacts.first[k]])
        other_row, other = int(contacts.second[k]), int(surfaces.part[contacts.second[k]])
        one, two = bodies[own], bodies[other]
        if not (one.concrete and two.concrete) or (one.method not in PIECES and two.method not in PIECES):
            continue
        piece, met = pieces_of.get(one.key[:2]), pieces_of.get(two.key[:2])
        mine = (piece.model, piece.global_id) if piece else one.key[:2]
        theirs = (met.model, met.global_id) if met else two.key[:2]
        if mine == theirs and not _is_topped(one, two, float(surfaces.normal[row, 2])):
            continue
        seen, faced = member(one, piece), member(two, met)
        polygon = contacts.polygon[k]
        if _set_after(faced, theirs, float(surfaces.normal[other_row, 2]), seen, mine):
            row, own, other, mine, theirs = other_row, other, own, theirs, mine
            seen, faced = faced, seen
            polygon = contacts.opposite[k]
        kind = _kind(float(surfaces.normal[row, 2]), seen, faced)
        gathered[mine, theirs, kind].append(
            Patch(
                row, own, other, seen, faced,
                polygon, float(contacts.area[k]), abs(float(contacts.gap[k])),
            )
        )  # fmt: skip
    return gathered


def _is_topped(one: Body, two: Body, upward: float) -> bool:
    """Whether two layers of one element are a plank and its topping, in contact on the plank's upper face.

    `upward` is the vertical part of the normal of the first one's surface.
    """
    if one.role != "slab" or two.role != "slab" or (one.method in PIECES) == (two.method in PIECES):
        return False
    return (upward if one.method in PIECES else -upward) > 0.7


def measure_joints(
    surfaces: Surfaces,
    bodies: Sequence[Body],
    patches: Mapping[tuple[ElementKey, ElementKey, str], Sequence[Patch]],
    rules: JointRules,
) -> tuple[tuple[JointRow, ...], tuple[Finding, ...]]:
    """One row for each pair of members and kind of joint.

    The length runs along the strips of contact; strips side by side count once. Grout is the whole contact
    area times the width, sealant the length times its lines.
    """
    rows = []
    closed: dict[tuple[str, str], list[JointRow]] = defaultdict(list)
    ways = _ways(surfaces, patches)
    for (mine, _, kind), own in patches.items():
        length = joint_length(surfaces, own, ways.get((mine, kind), {}))
        if length < SHORTEST:
            continue
        main = max(own, key=lambda patch: (bodies[patch.other].method in PIECES, patch.area))
        one, two = bodies[main.own], bodies[main.other]
        area = sum(patch.area for patch in own)
        gap = sum(patch.gap * patch.area for patch in own) / area
        rule = rules.joint_for(kind, main.piece, main.met)
        row = joint_row(rules, rule, one, two, kind, area, length, gap)
        rows.append(row)
        if row.width_m != row.gap_m and row.grout_m3 > 0:
            closed[mine[0], kind].append(row)
    return tuple(rows), tuple(_closed_finding(*key, joints) for key, joints in closed.items())


def joint_row(
    rules: JointRules,
    rule: JointRule | None,
    one: Body,
    two: Body,
    kind: str,
    area: float,
    length: float,
    gap: float,
    cut: bool = False,
) -> JointRow:
    """The row of a joint between a piece `one` and `two`; `cut` for one that a division made."""
    width = gap
    if rule is not None and gap < rules.closed_mm / 1e3 and kind not in CAST_ON:
        width = rule.width_mm / 1e3
    return JointRow(
        model=one.key[0],
        global_id=one.key[1],
        part=one.number,
        other_id=two.key[1],
        other_part=two.number,
        kind=kind,
        area_m2=area,
        length_m=length,
        gap_m=gap,
        storey=one.storey,
        other_model=two.key[0],
        width_m=width,
        grout_m3=area * width if rule is not None and rule.fill else 0.0,
        sealant_m=length * rule.sealant if rule is not None else 0.0,
        connections=length * rule.connections_per_metre if rule is not None else 0.0,
        cut=cut,
    )


def _ways(
    surfaces: Surfaces, patches: Mapping[tuple[ElementKey, ElementKey, str], Sequence[Patch]]
) -> dict[tuple[ElementKey, str], dict[int, Floats]]:
    """For each piece and kind of joint the direction (2,) of its longest strip, by plane frame."""
    longest: dict[tuple[ElementKey, str, int], tuple[float, Floats]] = {}
    for (mine, _, kind), own in patches.items():
        for patch in own:
            frame = int(surfaces.frame[patch.row])
            for part in shapely.get_parts(patch.polygon) if frame >= 0 else ():
                long, _ = rectangle_sides(part)
                if long > longest.get((mine, kind, frame), (0.0, None))[0]:
                    longest[mine, kind, frame] = (long, _direction(part))
    ways: dict[tuple[ElementKey, str], dict[int, Floats]] = defaultdict(dict)
    for (mine, kind, frame), (_, way) in longest.items():
        ways[mine, kind][frame] = way
    return ways


def joint_length(surfaces: Surfaces, patches: Sequence[Patch], ways: Mapping[int, Floats]) -> float:
    """Length along the strips of contact, m; strips side by side in nearly one plane count once.

    `ways` has for a plane frame the direction (2,) in which stubby strips run.
    """
    total = 0.0
    round_ones = [patch for patch in patches if surfaces.frame[patch.row] < 0]
    for patch in round_ones:
        low, bottom, high, top = patch.polygon.bounds
        total += max((high - low) * float(surfaces.scale[patch.row]), top - bottom)
    planes: dict[int, list[tuple[float, Patch]]] = defaultdict(list)
    for patch in patches:
        frame = int(surfaces.frame[patch.row])
        if frame >= 0:
            offset = float(surfaces.centre[patch.row] @ surfaces.axes[patch.row, 2])
            planes[frame].append((offset, patch))
    for frame, members in planes.items():
        way = ways.get(frame)
        members.sort(key=lambda member: member[0])
        group: list[Patch] = []
        last = -np.inf
        for offset, patch in members:
            if offset - last > STEP and group:
                total += _strips_length(group, way)
                group = []
            group.append(patch)
            last = offset
        total += _strips_length(group, way)
    return total


def _strips_length(patches: Sequence[Patch], way: Floats | None) -> float:
    """Length of the strips in one plane: straight ones by their spans, others by area over width."""
    straight: list[tuple[Floats, shapely.Geometry]] = []
    bent: dict[tuple[int, int], float] = defaultdict(float)
    for patch in patches:
        for part in shapely.get_parts(patch.polygon):
            if part.area <= 1e-7:
                continue
            long, short = rectangle_sides(part)
            if part.area >= SQUARE * long * short:
                stubby = way is not None and long < STUBBY * short
                straight.append((way if way is not None and stubby else _direction(part), part))
            else:
                thickness = strip_thickness(part)
                bent[patch.own, patch.other] += part.area / thickness if thickness > 0 else long
    length = max(bent.values(), default=0.0)
    while straight:
        first = straight[0][0]
        along = [part for other, part in straight if abs(float(first @ other)) > 0.996]
        straight = [(other, part) for other, part in straight if abs(float(first @ other)) <= 0.996]
        length += _spans_length(along, first)
    return length


def _spans_length(parts: Sequence[shapely.Geometry], way: Floats) -> float:
    """Length covered by parallel strips along `way` (2,): neighbours within `PARALLEL` count once."""
    across = np.array([-way[1], way[0]])
    spans = []
    for part in parts:
        points = shapely.get_coordinates(part)
        spans.append(
            (float((points @ across).mean()), float((points @ way).min()), float((points @ way).max()))
        )
    spans.sort()
    total = 0.0
    bundle: list[tuple[float, float]] = []
    last = -np.inf
    for place, low, high in spans:
        if place - last > PARALLEL and bundle:
            total += _covered(bundle)
            bundle = []
        bundle.append((low, high))
        last = place
    return total + _covered(bundle)


def _covered(spans: Sequence[tuple[float, float]]) -> float:
    total, end = 0.0, -np.inf
    for low, high in sorted(spans):
        total += max(high - max(low, end), 0.0)
        end = max(end, high)
    return total


def _direction(part: shapely.Geometry) -> Floats:
    """Unit direction (2,) of the longer side of the rectangle around a part."""
    corners = shapely.get_coordinates(shapely.oriented_envelope(part))
    sides = np.diff(corners[:3], axis=0)
    long = sides[int(np.argmax(np.linalg.norm(sides, axis=1)))]
    return np.asarray(long / np.linalg.norm(long))


def _set_after(other: Member, other_key: ElementKey, upward: float, one: Member, key: ElementKey) -> bool:
    """Whether of two bodies in contact `other` is the piece that is set; `upward` is of its face.

    The piece against cast concrete; of two pieces the one on top, then tilt-up before precast, then the first
    by name.
    """
    if (other.method in PIECES) != (one.method in PIECES):
        return other.method in PIECES
    if abs(upward) > 0.7:
        return upward < 0
    return (other.method != "tilt-up", other_key) < (one.method != "tilt-up", key)


def _kind(upward: float, piece: Member, other: Member) -> str:
    """Kind of a joint at a face of `piece` whose normal has the vertical part `upward`."""
    if abs(upward) > 0.7:
        if upward < 0:
            return "bearing" if piece.role in ("slab", "stair") else "bed"
        cast_floor = other.role in ("slab", "beam")
        return "topping" if cast_floor and piece.role in ("slab", "beam") else "cast-on"
    roles = {piece.role, other.role}
    if roles <= {"slab", "stair"}:
        return "slab"
    return "wall-to-slab" if "wall" in roles and roles & {"slab", "stair"} else "vertical"


def _closed_finding(model: str, kind: str, joints: Sequence[JointRow]) -> Finding:
    length = sum(joint.length_m for joint in joints)
    volume = sum(joint.grout_m3 for joint in joints)
    widths = sorted({round(joint.width_m * 1e3, 1) for joint in joints})
    wide = [Quantity(width, "mm", "g", bare=width != widths[-1], size=True) for width in widths]
    one = len(joints) == 1
    return Finding(
        "note", "joint-drawn-closed", model, joints[0].global_id if len(joints) == 1 else "",
        told(
            "{} {} ({}) {} drawn without a gap: ask how wide {}",
            len(joints), f"{kind} {'joint' if one else 'joints'}", Quantity(length, "m", ".1f"),
            *(("is", "it is") if one else ("are", "they are")),
        ),
        told("{} wide, {} to fill", joined(" or ", wide), Quantity(volume, "m3")), volume, "m3",
    )  # fmt: skip
