"""Bearings: how far planks, hollow-core units, stairs and beams reach onto their supports."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import shapely
from msgspec import Struct

from takeoff.findings import Finding
from takeoff.geometry import planar
from takeoff.geometry.mesh import Floats
from takeoff.geometry.surfaces import Surfaces
from takeoff.isolation import notes
from takeoff.measuring.bodies import Body
from takeoff.measuring.dimensions import plan_polygon
from takeoff.measuring.joint_rules import JointRules
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.patches import Patch
from takeoff.measuring.piece_records import BearingRow
from takeoff.measuring.records import PieceRow
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


class _Support(Struct, frozen=True, eq=False):
    """What a piece lies on: their contact in plan, and the largest patch of it."""

    contact: shapely.Geometry
    main: Patch


class _Bearing(Struct, frozen=True):
    """One place of a support: along the span and across it, m, and its area, m2."""

    depth: float
    width: float
    area: float


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
    supports: dict[ElementKey, list[_Support]] = defaultdict(list)
    for (mine, _, kind), own in notes.each(patches.items(), lambda entry: entry[0][0]):
        if mine in spanning and kind in ("bearing", "bed"):
            contact = planar.union_all([plan_polygon(surfaces, patch.row, patch.polygon) for patch in own])
            supports[mine].append(_Support(contact, max(own, key=lambda patch: patch.area)))
    carried = {key: [support.contact for support in own] for key, own in supports.items()}
    rows: list[BearingRow] = []
    for key, lain_on in notes.each(supports.items(), lambda entry: entry[0]):
        for support, bearing in _bearings(plans[key], lain_on):
            rows.append(_row(spanning[key], support, bodies[support.main.other], bearing, rules))
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


def _bearings(
    outlines: Sequence[shapely.Geometry], supports: Sequence[_Support]
) -> list[tuple[_Support, _Bearing]]:
    """Bearings of a piece at its ends; where nothing lies under its ends, it spans the short way."""
    corners = shapely.get_coordinates(shapely.oriented_envelope(planar.union_all(list(outlines))))
    sides = np.diff(corners[:3], axis=0)
    length = np.linalg.norm(sides, axis=1)
    for side in np.argsort(-length, kind="stable").tolist():
        span = sides[side] / length[side]
        found = []
        for support in supports:
            for part in shapely.get_parts(support.contact):
                along, across = np.ptp(shapely.get_coordinates(part) @ _turned_to(span), axis=0).tolist()
                if part.area >= SMALLEST and along <= min(ALONGSIDE * float(length[side]), SLENDER * across):
                    found.append((support, _Bearing(float(part.area) / across, across, float(part.area))))
        if found:
            return found
    return []


def _turned_to(span: Floats) -> Floats:
    """Matrix (2, 2) that gives of points (n, 2) their places along a direction (2,) and across it."""
    return np.array([[span[0], -span[1]], [span[1], span[0]]])


def _row(piece: PieceRow, support: _Support, body: Body, bearing: _Bearing, rules: JointRules) -> BearingRow:
    least = rules.least_bearing(support.main.piece, support.main.met)
    short = least is not None and bearing.depth < least - ROUNDING
    return BearingRow(
        piece.model, piece.global_id, piece.mark, piece.role, piece.storey,
        body.key[1], body.role, body.method, bearing.depth, bearing.width, bearing.area, least,
        told("short: {} of {}", _depth(bearing.depth), _depth(least)) if short else "",
        body.key[0],
    )  # fmt: skip


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
