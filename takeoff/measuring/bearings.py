"""Bearings: how far planks, hollow-core units, stairs and beams reach onto their supports."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import shapely

from takeoff.findings import Finding
from takeoff.geometry import planar
from takeoff.geometry.mesh import Floats
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.bodies import Body
from takeoff.measuring.dimensions import plan_polygon, rectangle_sides
from takeoff.measuring.joint_rules import JointRules
from takeoff.measuring.joints import Patch
from takeoff.measuring.piece_records import BearingRow
from takeoff.measuring.records import PieceRow
from takeoff.measuring.units import ElementKey
from takeoff.told import Quantity, counted, told

SPANNING = ("slab", "stair", "beam")
ALONGSIDE = 0.5
SLENDER = 3.0
"""Contact over more than the share `ALONGSIDE` of the span, or this many times as long along it as across, is a
support along the side, not a bearing at an end."""
SMALLEST = 1e-4
"""Contacts under this area, m2, carry nothing."""
TOUCH = 1e-3
"""Pieces whose middle lies within this, m, of what their supports span are held."""
ROUNDING = 5e-4
"""Bearings this much under the least, m, are drawn to it."""


def measure_bearings(
    surfaces: Surfaces,
    bodies: Sequence[Body],
    outlines: Sequence[shapely.Geometry],
    patches: Mapping[tuple[ElementKey, ElementKey, str], Sequence[Patch]],
    pieces: Iterable[PieceRow],
    rules: JointRules,
) -> tuple[tuple[BearingRow, ...], tuple[Finding, ...]]:
    """A row for each place where a spanning piece lies on a support; `outlines` are the plans of the bodies.

    Bearing is the area of contact over its width across the span, so that a skew or notched end gives the mean.
    Pieces set by hand are left out. Findings: short bearings, pieces that lie on nothing shown, and pieces whose
    supports do not reach around their centre of gravity in plan.
    """
    spanning = {
        (piece.model, piece.global_id): piece
        for piece in pieces
        if piece.role in SPANNING and piece.setting != "small"
    }
    plans: dict[ElementKey, list[shapely.Geometry]] = defaultdict(list)
    for body, outline in zip(bodies, outlines, strict=True):
        if body.key[:2] in spanning:
            plans[body.key[:2]].append(outline)
    rows: list[BearingRow] = []
    carried: dict[ElementKey, list[shapely.Geometry]] = defaultdict(list)
    for (mine, _, kind), own in patches.items():
        piece = spanning.get(mine)
        if piece is None or kind not in ("bearing", "bed"):
            continue
        span, length = _span(plans[mine])
        contact = planar.union_all([plan_polygon(surfaces, patch.row, patch.polygon) for patch in own])
        carried[mine].append(contact)
        largest = max(own, key=lambda patch: patch.area)
        main = bodies[largest.other]
        least = rules.least_bearing(largest.piece, largest.met)
        for part in shapely.get_parts(contact):
            depth, width = _sides(part, span)
            if part.area < SMALLEST or depth > min(ALONGSIDE * length, SLENDER * width):
                continue
            bearing = float(part.area) / width
            short = least is not None and bearing < least - ROUNDING
            rows.append(
                BearingRow(
                    piece.model, piece.global_id, piece.mark, piece.role, piece.storey,
                    main.key[1], main.role, main.method, bearing, width, float(part.area), least,
                    told("short: {} of {}", _depth(bearing), _depth(least)) if short else "",
                    main.key[0],
                )
            )  # fmt: skip
    tipping = [key for key, contacts in carried.items() if _tips(plans[key], contacts)]
    return tuple(rows), (
        *_short(rows),
        *_on_nothing(spanning, carried),
        *_on_one_side(spanning, tipping),
    )


def _tips(outlines: Sequence[shapely.Geometry], contacts: Sequence[shapely.Geometry]) -> bool:
    """Whether the middle of a piece in plan lies outside all that its supports span."""
    middle = planar.union_all(list(outlines)).centroid
    held = shapely.convex_hull(shapely.geometrycollections(list(contacts)))
    return float(shapely.distance(middle, held)) > TOUCH


def _span(outlines: Sequence[shapely.Geometry]) -> tuple[Floats, float]:
    """Direction (2,) and length of the longer side of a piece in plan."""
    shape = planar.union_all(list(outlines))
    corners = shapely.get_coordinates(shapely.oriented_envelope(shape))
    sides = np.diff(corners[:3], axis=0)
    long = sides[int(np.argmax(np.linalg.norm(sides, axis=1)))]
    size = float(np.linalg.norm(long))
    return long / size, size


def _sides(part: shapely.Geometry, span: Floats) -> tuple[float, float]:
    """Sides of the rectangle around a contact: the one along the span, the one across it."""
    corners = shapely.get_coordinates(shapely.oriented_envelope(part))
    if len(corners) < 4:
        return 0.0, max(rectangle_sides(part)[0], 1e-9)
    sides = np.diff(corners[:3], axis=0)
    size = np.maximum(np.linalg.norm(sides, axis=1), 1e-9)
    along = int(np.argmax(np.abs(sides @ span) / size))
    return float(size[along]), float(size[1 - along])


def _depth(metres: float | None) -> Quantity:
    return Quantity((metres or 0.0) * 1e3, "mm", ".0f", size=True)


def _short(rows: Sequence[BearingRow]) -> list[Finding]:
    """One warning a model and role for all short bearings, naming the shortest."""
    short: dict[tuple[str, str], list[BearingRow]] = defaultdict(list)
    for row in rows:
        if row.check:
            short[row.model, row.role].append(row)
    findings = []
    for (model, role), members in sorted(short.items()):
        worst = min(members, key=lambda row: (row.bearing_m, row.global_id))
        one = len(members) == 1
        findings.append(
            Finding(
                "warning", "short-bearing", model, worst.global_id,
                told(
                    "{} of {} pieces {} shorter than the joints file asks, {} {} with {} of {} on {}: ask the engineer",
                    counted(len(members), "bearing"), role, "is" if one else "are",
                    "that of" if one else "the shortest of", worst.mark, _depth(worst.bearing_m),
                    _depth(worst.least_m), worst.support_id,
                ),
                "measured as modelled", float(len(members)), "pieces",
            )
        )  # fmt: skip
    return findings


def _on_nothing(
    spanning: Mapping[ElementKey, PieceRow], carried: Mapping[ElementKey, object]
) -> list[Finding]:
    """One note a model and role for pieces that span and lie on nothing that the model shows as concrete."""
    loose = _by_role(piece for key, piece in spanning.items() if key not in carried)
    return [
        Finding(
            "note", "bearing-not-shown", model, members[0].global_id if len(members) == 1 else "",
            f"1 {role} piece lies on nothing that the model shows as concrete: its bearings are not measured"
            if len(members) == 1
            else f"{len(members)} {role} pieces lie on nothing that the model shows as concrete: their bearings "
            "are not measured",
            "no bed or bearing counted for them", float(len(members)), "pieces",
        )
        for (model, role), members in sorted(loose.items())
    ]  # fmt: skip


def _on_one_side(spanning: Mapping[ElementKey, PieceRow], tipping: Iterable[ElementKey]) -> list[Finding]:
    """One note a model and role for pieces that would tip over off the supports that the model shows."""
    return [
        Finding(
            "note", "bearing-on-one-side", model, members[0].global_id,
            f"{counted(len(members), f'{role} piece')} {'lies' if len(members) == 1 else 'lie'} on concrete at one "
            f"end or side only, {members[0].mark} for one: the model does not show what holds the other",
            "bearing counted where it is shown", float(len(members)), "pieces",
        )
        for (model, role), members in sorted(_by_role(spanning[key] for key in tipping).items())
    ]  # fmt: skip


def _by_role(pieces: Iterable[PieceRow]) -> dict[tuple[str, str], list[PieceRow]]:
    """Pieces by model and role."""
    found: dict[tuple[str, str], list[PieceRow]] = defaultdict(list)
    for piece in pieces:
        found[piece.model, piece.role].append(piece)
    return found
