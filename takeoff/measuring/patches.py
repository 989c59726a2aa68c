"""Patches: contacts of pieces with each other and with cast concrete, by the pair and the kind of joint."""

from collections import defaultdict
from collections.abc import Iterable, Sequence

import shapely
from msgspec import Struct

from takeoff.geometry.contacts import ROUNDING, Contacts
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.bodies import PIECES, Body
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.records import PieceRow

PatchKey = tuple[ElementKey, ElementKey, str]
"""The element that is set, what it meets, and the kind of joint."""


class Member(Struct, frozen=True):
    """A body as the joint rules see it."""

    method: str
    role: str
    subrole: str


class Patch(Struct, frozen=True, eq=False):
    """One contact: the surface of the piece that is set and that of the other, the bodies `own` and `other` and how
    rules see them; `polygon` is in the frame of the first surface, `opposite` in that of the other."""

    row: int
    other_row: int
    own: int
    other: int
    piece: Member
    met: Member
    polygon: shapely.Geometry
    opposite: shapely.Geometry
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
    surfaces: Surfaces, bodies: Sequence[Body], contacts: Contacts, pieces: Iterable[PieceRow], reach: float
) -> dict[PatchKey, list[Patch]]:
    """Contacts by the piece that is set, what it meets and the kind of joint; those within a piece are none.

    Bodies that reach into each other by more than `reach` m, the greatest width of a joint, do not stand beside
    each other there.
    """
    pieces_of = pieces_by_element(pieces)
    gathered: dict[PatchKey, list[Patch]] = defaultdict(list)
    for k in range(len(contacts)):
        if contacts.gap[k] < -reach - ROUNDING:
            continue
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
        polygon, opposite = contacts.polygon[k], contacts.opposite[k]
        if _set_after(faced, theirs, float(surfaces.normal[other_row, 2]), seen, mine):
            row, other_row, own, other, mine, theirs = other_row, row, other, own, theirs, mine
            seen, faced = faced, seen
            polygon, opposite = opposite, polygon
        kind = _kind(float(surfaces.normal[row, 2]), seen, faced)
        gathered[mine, theirs, kind].append(
            Patch(
                row, other_row, own, other, seen, faced,
                polygon, opposite, float(contacts.area[k]), abs(float(contacts.gap[k])),
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
