"""Joints: where pieces meet each other or cast concrete, from contacts within the joint width."""

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np
import shapely

from takeoff.findings import Finding
from takeoff.geometry.mesh import Floats
from takeoff.geometry.surfaces import Surfaces
from takeoff.isolation import notes
from takeoff.measuring.bodies import PIECES, Body
from takeoff.measuring.dimensions import rectangle_sides, strip_thickness
from takeoff.measuring.joint_rules import CAST_ON, JointRule, JointRules
from takeoff.measuring.joint_strips import (
    STEP,
    Sharing,
    covered_length,
    direction_of,
    shared_joints,
    straight_way,
)
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.patches import Patch, PatchKey
from takeoff.measuring.records import JointRow
from takeoff.told import Quantity, joined, told

JOINT_LEAN = 3.0
"""Faces of a joint may lean to each other by this, degrees: the ends of the panels of a curved wall do."""
SHORTEST = 0.05
"""Joints shorter than this, m, are touches, not joints."""
PARALLEL = 0.60
"""Strips of one joint side by side within this, m, between their middles count once: leaves of a twin wall,
both sides of a groove."""


def measure_joints(
    surfaces: Surfaces,
    bodies: Sequence[Body],
    patches: Mapping[PatchKey, Sequence[Patch]],
    rules: JointRules,
    reach: float,
) -> tuple[tuple[JointRow, ...], tuple[Finding, ...]]:
    """One row for each pair of members and kind of joint; `reach` is the greatest width of a joint, m.

    The length runs along the strips of contact; strips side by side count once. Where a piece meets two others side
    by side, such as a panel at the joint between two, the rows of the two pairs have their parts of one length, and of
    the space between them (see `joint_strips`). Grout is the whole area times the width, sealant the length times its
    lines, less what a third piece covers.
    """
    rows = []
    closed: dict[tuple[str, str], list[JointRow]] = defaultdict(list)
    ways = _ways(surfaces, patches)
    lengths = {
        key: joint_length(surfaces, own, ways.get((key[0], key[2]), {}))
        for key, own in notes.each(patches.items(), lambda entry: entry[0][0])
    }
    joined = {key: own for key, own in patches.items() if lengths[key] >= SHORTEST}
    main_of = {
        key: max(own, key=lambda patch: (bodies[patch.other].method in PIECES, patch.area))
        for key, own in joined.items()
    }
    rule_of = {key: rules.joint_for(key[2], main.piece, main.met) for key, main in main_of.items()}
    shared = shared_joints(surfaces, joined, ways, rule_of, reach)
    for key, own in notes.each(joined.items(), lambda entry: entry[0][0]):
        mine, kind, main = key[0], key[2], main_of[key]
        one, two = bodies[main.own], bodies[main.other]
        sharing = shared.get(key, Sharing())
        area = sum(patch.area for patch in own)
        gap = sum(patch.gap * patch.area for patch in own) / area
        row = joint_row(
            rules, rule_of[key], one, two, kind, area + sharing.between, lengths[key] - sharing.less, gap,
            covered=sharing.covered,
        )  # fmt: skip
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
    covered: float = 0.0,
) -> JointRow:
    """The row of a joint between a piece `one` and `two`; `cut` for one that a division made. Along `covered` m a
    third piece stands before one of the joint's two sides."""
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
        sealant_m=_sealed(length, rule.sealant, covered) if rule is not None else 0.0,
        connections=length * rule.connections_per_metre if rule is not None else 0.0,
        cut=cut,
    )


def _sealed(length: float, lines: int, covered: float) -> float:
    """Length of sealant, m, of a joint with so many lines: one on either side, or both on two; a side that is covered
    has none, and one line goes to the side that is open."""
    open_sides = max(2.0 * length - covered, 0.0)
    return min(float(length), open_sides) if lines == 1 else open_sides * lines / 2.0


def _ways(
    surfaces: Surfaces, patches: Mapping[PatchKey, Sequence[Patch]]
) -> dict[tuple[ElementKey, str], dict[int, Floats]]:
    """For each piece and kind of joint the direction (2,) of its longest strip, by plane frame."""
    longest: dict[tuple[ElementKey, str, int], tuple[float, Floats]] = {}
    for (mine, _, kind), own in patches.items():
        for patch in own:
            frame = int(surfaces.frame[patch.row])
            for part in shapely.get_parts(patch.polygon) if frame >= 0 else ():
                long, _ = rectangle_sides(part)
                if long > longest.get((mine, kind, frame), (0.0, None))[0]:
                    longest[mine, kind, frame] = (long, direction_of(part))
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
            course = straight_way(part, way)
            if course is not None:
                straight.append((course, part))
            else:
                long, thickness = rectangle_sides(part)[0], strip_thickness(part)
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
            total += covered_length(bundle)
            bundle = []
        bundle.append((low, high))
        last = place
    return total + covered_length(bundle)


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
