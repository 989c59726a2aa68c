"""What neighbours, forms that stay and the ground take off the faces that need a form."""

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from takeoff.geometry import planar
from takeoff.geometry.contacts import Contacts, covered
from takeoff.geometry.mesh import Floats, Ints, boxes_of
from takeoff.geometry.shadows import joined, shadow
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.bodies import PIECES, Body, noted
from takeoff.measuring.convention import Convention

CASTING = ("foundation", "column", "wall", "beam", "slab", "stair")
"""Order of casting: a later part is relieved by the one that stands already."""
CONTACT, LOST_FORM, AGAINST = "contact", "permanent-formwork", "against-ground"
"""Why a part of a face that would be formed needs no form."""
BROAD = 0.5
"""A shell is a form with its broad faces, those of this part of its largest face at least."""
CLOSED = 1e-4
"""Faces nearer to each other than this, m, touch without any tolerance."""
SPECK = 1e-6
"""Strips beside a contact under this area, m2, are rounding."""
REACH = 0.8
"""Piles and profiled sheets hold concrete with what lies within this of a face, m: more than a pile's radius."""


class Touch(Struct, frozen=True):
    """A neighbour at a face: `body` its position (-1: the ground itself), `state` why no form is needed, m2.

    `gap` m between the two faces; `closed`: no body lies there, it is a gap between two that is closed.
    """

    body: int
    state: str
    area: float
    gap: float = 0.0
    closed: bool = False


class Relief(Struct, frozen=True, eq=False):
    """For a surface: the region that needs no form, in its own coordinates, and who takes how much of it."""

    region: Mapping[int, shapely.Geometry]
    touching: Mapping[int, Sequence[Touch]]


class Touches(Struct, frozen=True, eq=False):
    """Contacts from the side of each face that would be formed and needs no form there; entries (k,), by contact.

    `own` surface is relieved by the surface `other`, over `area` m2, a `gap` m apart; `polygon` in the coordinates of
    `own`, `state` why no form is needed. `beside` (by body) are the sheets that stay, and the piles, near a body that
    is formed: they are forms for what no contact shows. `isolated` are the beams that no slab touches.
    """

    own: Ints
    other: Ints
    area: Floats
    gap: Floats
    polygon: NDArray[np.object_]
    state: list[str]
    beside: Mapping[int, Sequence[int]]
    isolated: frozenset[int] = frozenset()


def find_touches(
    surfaces: Surfaces,
    bodies: Sequence[Body],
    rows_of: Sequence[Ints],
    contacts: Contacts,
    convention: Convention,
) -> Touches:
    """What neighbours take off the faces of all bodies that are formed."""
    own = np.concatenate([contacts.first, contacts.second])
    other = np.concatenate([contacts.second, contacts.first])
    relieved = np.flatnonzero(_relieved(bodies, surfaces.part[own], surfaces.part[other], convention))
    twice = relieved % len(contacts) if len(contacts) else relieved
    other = other[relieved]
    state = _states(surfaces, bodies, other, convention)
    gap = np.abs(contacts.gap[twice])
    beside = _standing_near(surfaces, bodies, rows_of)
    return Touches(
        own[relieved], other, contacts.area[twice], gap, contacts.on_both()[relieved], state, beside,
        _isolated(bodies, surfaces.part[contacts.first], surfaces.part[contacts.second]),
    )  # fmt: skip


def _isolated(bodies: Sequence[Body], first: Ints, second: Ints) -> frozenset[int]:
    """Beams of concrete that no slab touches; bodies `first[k]` and `second[k]` are in contact."""
    beams = {n for n, body in enumerate(bodies) if body.concrete and body.role == "beam"}
    if not beams:
        return frozenset()
    slab = np.array([body.concrete and body.role == "slab" for body in bodies], dtype=bool)
    under = {*first[slab[second]].tolist(), *second[slab[first]].tolist()}
    return frozenset(beams - under)


def find_relief(
    surfaces: Surfaces,
    bodies: Sequence[Body],
    rows_of: Sequence[Ints],
    formed: Sequence[int],
    touches: Touches,
    convention: Convention,
    against: Mapping[int, shapely.Geometry],
) -> Relief:
    """What needs no form of the faces of the bodies `formed`; `against` are regions cast against the ground."""
    asked = np.zeros(len(bodies), dtype=bool)
    asked[list(formed)] = True
    chosen = np.flatnonzero(asked[surfaces.part[touches.own]])
    own = touches.own[chosen]
    touching: dict[int, list[Touch]] = defaultdict(list)
    for k, row, by, size, wide in zip(
        chosen.tolist(),
        own.tolist(),
        surfaces.part[touches.other[chosen]].tolist(),
        touches.area[chosen].tolist(),
        touches.gap[chosen].tolist(),
        strict=True,
    ):
        touching[row].append(Touch(by, touches.state[k], size, wide))
    region = covered(own, touches.polygon[chosen])
    for row, by, shape, closed in _shadows(surfaces, bodies, rows_of, formed, touches.beside, convention):
        why = LOST_FORM if bodies[by].plan.permanent_formwork else AGAINST
        _add(surfaces, region, touching, row, Touch(by, why, 0.0, 0.0, closed), shape)
    for row, shape in against.items():
        if asked[surfaces.part[row]]:
            _add(surfaces, region, touching, row, Touch(-1, AGAINST, 0.0), shape)
    return Relief(_to_the_edges(surfaces, region, touching, convention.contacts.gap_mm / 1e3), touching)


def _to_the_edges(
    surfaces: Surfaces,
    region: Mapping[int, shapely.Geometry],
    touching: Mapping[int, Sequence[Touch]],
    gap: float,
) -> dict[int, shapely.Geometry]:
    """The regions with what a contact across a gap leaves beside itself that is no wider than such a gap.

    A column in a hole a little wider than itself covers the sides of the hole but for strips at their corners.
    """
    out = dict(region)
    rows = [
        row
        for row in region
        if surfaces.scale[row] == 1.0 and any(touch.gap > CLOSED for touch in touching.get(row, ()))
    ]
    if not rows:
        return out
    regions = np.array([region[row] for row in rows], dtype=object)
    rest = planar.difference(surfaces.polygon[rows], regions)
    half = gap / 2.0 + 1e-6
    wide = shapely.buffer(shapely.buffer(rest, -half, join_style="mitre"), half, join_style="mitre")
    for row, known, thin in zip(rows, regions, planar.difference(rest, wide), strict=True):
        parts = shapely.get_parts(thin)
        beside = parts[(shapely.area(parts) > SPECK) & (shapely.distance(parts, known) < 1e-6)]
        if len(beside):
            out[row] = planar.union_all([known, *beside])
    return out


def _add(
    surfaces: Surfaces,
    region: dict[int, shapely.Geometry],
    touching: dict[int, list[Touch]],
    row: int,
    touch: Touch,
    shape: shapely.Geometry,
) -> None:
    """Add what `shape` covers of a face beyond what is relieved already."""
    known = region.get(row)
    new = planar.intersection(surfaces.polygon[row], shape)
    if known is not None:
        new = planar.difference(new, known)
    area = float(new.area) * float(surfaces.scale[row])
    if area <= 1e-9:
        return
    region[row] = new if known is None else shapely.union(known, new)
    touching[row].append(replace(touch, area=area))


def _states(surfaces: Surfaces, bodies: Sequence[Body], other: Ints, convention: Convention) -> list[str]:
    """Why the body of each surface of `other` relieves what touches it there."""
    if not len(other):
        return []
    largest = np.zeros(len(bodies))
    np.maximum.at(largest, surfaces.part, surfaces.area)
    limit = convention.contacts.shell_mm / 1e3 + 1e-6
    shell = [
        body.method in PIECES and large > 0 and (body.plan.shell or body.net / large <= limit)
        for body, large in zip(bodies, largest.tolist(), strict=True)
    ]
    broad = surfaces.area[other] >= BROAD * largest[surfaces.part[other]]
    states = []
    for by, wide in zip(surfaces.part[other].tolist(), broad.tolist(), strict=True):
        body = bodies[by]
        if body.plan.permanent_formwork or (shell[by] and wide):
            states.append(LOST_FORM)
        else:
            states.append(AGAINST if body.holds_ground else CONTACT)
    return states


def _relieved(
    bodies: Sequence[Body], body: Ints, neighbour: Ints, convention: Convention
) -> NDArray[np.bool_]:
    """Whether a face of body `body[k]` would be formed but for body `neighbour[k]` that touches it, (k,)."""
    formed = np.array([one.formed for one in bodies], dtype=bool)
    concrete = np.array([one.concrete for one in bodies], dtype=bool)
    stays = np.array([one.plan.permanent_formwork or one.holds_ground for one in bodies], dtype=bool)
    order = {role: place for place, role in enumerate(CASTING)}
    turn = np.array([order.get(one.role, len(order)) for one in bodies], dtype=np.int64)
    first = ~formed[neighbour] | (turn[body] >= turn[neighbour])
    cast = concrete[neighbour] & (first | (convention.contacts.relieve == "both"))
    out: NDArray[np.bool_] = formed[body] & (stays[neighbour] | cast)
    return out


def stands_later(one: Body, other: Body) -> bool:
    """Whether `other` is cast after `one`, so that it alone is relieved where a convention says so."""
    return CASTING.index(other.role) > CASTING.index(one.role)


def _standing_near(
    surfaces: Surfaces, bodies: Sequence[Body], rows_of: Sequence[Ints]
) -> dict[int, list[int]]:
    """The sheets that stay, and the piles, near each body that is formed; bodies with none near are left out."""
    stands = np.array(
        [
            number
            for number, body in enumerate(bodies)
            if (body.plan.permanent_formwork or body.holds_ground)
            and (not body.concrete or bool(surfaces.curved[rows_of[number]].any()))
        ],
        dtype=np.int64,
    )
    if not len(stands):
        return {}
    boxes = boxes_of([body.mesh for body in bodies])
    low, high = boxes[stands, 0] - REACH, boxes[stands, 1] + REACH
    found = {}
    for number, body in enumerate(bodies):
        if body.formed:
            near = stands[np.all((low <= boxes[number, 1]) & (high >= boxes[number, 0]), axis=1)]
            found[number] = [by for by in near.tolist() if by != number]
    return {number: near for number, near in found.items() if near}


def _shadows(
    surfaces: Surfaces,
    bodies: Sequence[Body],
    rows_of: Sequence[Ints],
    formed: Sequence[int],
    beside: Mapping[int, Sequence[int]],
    convention: Convention,
) -> list[tuple[int, int, shapely.Geometry, bool]]:
    """(surface, body, region, whether a closed gap) of flat faces where sheets that stay, or piles, stand as forms."""
    gap, close = convention.contacts.gap_mm / 1e3, convention.contacts.close_mm / 1e3
    found: list[tuple[int, int, shapely.Geometry, bool]] = []
    for number in noted(formed if beside else (), bodies):
        near = beside.get(number, ())
        for row in rows_of[number].tolist() if near else ():
            if surfaces.frame[row] >= 0 and surfaces.rise[row] < 60.0:
                found += _at_face(surfaces, row, bodies, near, gap, close)
    return found


def _at_face(
    surfaces: Surfaces, row: int, bodies: Sequence[Body], near: Sequence[int], gap: float, close: float
) -> list[tuple[int, int, shapely.Geometry, bool]]:
    """Shadows on one face; what closes the gaps between them goes to the last."""
    offset = float(surfaces.centre[row] @ surfaces.normal[row])
    cast: dict[bool, list[tuple[int, NDArray[np.object_]]]] = {True: [], False: []}
    for by in near:
        shape = shadow(bodies[by].mesh, surfaces.axes[row], surfaces.normal[row], offset, gap, REACH)
        if len(shape):
            cast[bodies[by].plan.permanent_formwork].append((by, shape))
    found = []
    for shapes in cast.values():
        found += [(row, by, joined(shape, 0.0), False) for by, shape in shapes]
        if shapes and close > 0:
            whole = joined(np.concatenate([shape for _, shape in shapes]), close)
            found.append((row, shapes[-1][0], whole, True))
    return found
