"""Contacts: where surfaces of different bodies lie on each other, within a gap."""

import numpy as np
import shapely
from msgspec import Struct
from numpy.typing import NDArray

from takeoff.geometry import planar
from takeoff.geometry.bent import bent_contacts, may_bend
from takeoff.geometry.clipping import intersections
from takeoff.geometry.mesh import Floats, Ints
from takeoff.geometry.neighbours import ragged_product
from takeoff.geometry.surfaces import Surfaces

SMALLEST = 1e-7
"""Contacts under this area, m2, are noise."""
CHUNK = 4_000_000
ROUNDING = 2e-5
"""Gaps this much over the tolerance, m, are drawn to it: a place far from the origin, turned or given in feet is not
exact."""


class Contacts(Struct, frozen=True, eq=False):
    """Pairs of surfaces that touch, each pair once.

    `first`, `second` (k,) surface numbers; `area` m2; `gap` m between the two, negative where they overlap a
    little; `polygon` in the frame that both surfaces share (plane frame, or unrolled). Facets of curves that share
    none (`bent`) have it in the frame of the first, and `opposite` in that of the second.
    """

    first: Ints
    second: Ints
    area: Floats
    gap: Floats
    polygon: NDArray[np.object_]
    opposite: NDArray[np.object_]
    bent: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.first)

    def on_both(self) -> NDArray[np.object_]:
        """The polygons in the frames of the first surfaces, then those in the frames of the second, (2k,)."""
        return np.concatenate([self.polygon, self.opposite])


def find_contacts(surfaces: Surfaces, pairs: Ints, gap: float, lean: float = 0.0) -> Contacts:
    """Contacts between the bodies of `pairs` (k, 2), body i's surfaces first; `gap` metres of tolerance.

    Flat faces count where they are parallel, or lean to each other by up to `lean` degrees and come within the gap
    in the middle of what they share.
    """
    gap += ROUNDING
    first, second = _candidates(surfaces, pairs, gap, lean)
    flat = _face_in_plane(surfaces, first, second)
    both_round = (surfaces.frame[first] < 0) & (surfaces.frame[second] < 0)
    bent = ~flat & ~both_round
    parts = [
        _flat_contacts(surfaces, first[flat], second[flat], gap),
        _round_contacts(surfaces, first[both_round], second[both_round], gap),
        _kept(*bent_contacts(surfaces, first[bent], second[bent], gap)),
    ]
    return Contacts(
        first=np.concatenate([part.first for part in parts]),
        second=np.concatenate([part.second for part in parts]),
        area=np.concatenate([part.area for part in parts]),
        gap=np.concatenate([part.gap for part in parts]),
        polygon=np.concatenate([part.polygon for part in parts]),
        opposite=np.concatenate([part.opposite for part in parts]),
        bent=np.repeat([False, False, True], [len(part) for part in parts]),
    )


def _face_in_plane(surfaces: Surfaces, a: Ints, b: Ints) -> NDArray[np.bool_]:
    """Which pairs are flat, in one plane frame and look opposite ways."""
    out: NDArray[np.bool_] = (
        (surfaces.frame[a] >= 0)
        & (surfaces.frame[a] == surfaces.frame[b])
        & (surfaces.side[a] != surfaces.side[b])
    )
    return out


def _leaning(surfaces: Surfaces, a: Ints, b: Ints, lean: float) -> NDArray[np.bool_]:
    """Which pairs are flat, in two plane frames and face each other but for a few degrees."""
    flat = (surfaces.frame[a] >= 0) & (surfaces.frame[b] >= 0) & (surfaces.frame[a] != surfaces.frame[b])
    facing = np.einsum("ij,ij->i", surfaces.normal[a], surfaces.normal[b]) < -np.cos(np.radians(lean))
    out: NDArray[np.bool_] = flat & facing
    return out


def _candidates(surfaces: Surfaces, pairs: Ints, gap: float, lean: float) -> tuple[Ints, Ints]:
    """Surface pairs with near boxes that face each other: in one plane frame, nearly so, both round, or of a curve."""
    empty = np.empty(0, dtype=np.int64)
    if not len(pairs) or not len(surfaces):
        return empty, empty
    order = np.argsort(surfaces.part, kind="stable")
    bodies = int(max(surfaces.part.max(), pairs.max())) + 1
    start = np.searchsorted(surfaces.part[order], np.arange(bodies + 1))
    body_box = np.empty((bodies, 2, 3))
    body_box[:, 0], body_box[:, 1] = np.inf, -np.inf
    np.minimum.at(body_box[:, 0], surfaces.part, surfaces.box[:, 0])
    np.maximum.at(body_box[:, 1], surfaces.part, surfaces.box[:, 1])
    near_first = _near_body(surfaces, order, start, pairs[:, 0], body_box[pairs[:, 1]], gap)
    near_second = _near_body(surfaces, order, start, pairs[:, 1], body_box[pairs[:, 0]], gap)
    begin = np.searchsorted(near_second[0], np.arange(len(pairs) + 1))
    first_of, second_of = [empty], [empty]
    any_curved = bool(surfaces.curved.any())
    row, item = near_first
    number = begin[row + 1] - begin[row]
    for piece in np.array_split(np.arange(len(row)), max(1, int(number.sum()) // CHUNK)):
        position, other = ragged_product(begin[row[piece]], begin[row[piece] + 1])
        a, b = item[piece][position], near_second[1][other]
        facing = _face_in_plane(surfaces, a, b)
        both_round = (
            (surfaces.frame[a] < 0) & (surfaces.frame[b] < 0) & (surfaces.hollow[a] != surfaces.hollow[b])
        )
        facing |= both_round
        if any_curved:
            facing |= may_bend(surfaces, a, b)
        if lean > 0.0:
            facing |= _leaning(surfaces, a, b, lean)
        a, b = a[facing], b[facing]
        keep = np.all(surfaces.box[a, 0] <= surfaces.box[b, 1] + gap, axis=1)
        keep &= np.all(surfaces.box[b, 0] <= surfaces.box[a, 1] + gap, axis=1)
        first_of.append(a[keep])
        second_of.append(b[keep])
    return np.concatenate(first_of), np.concatenate(second_of)


def _near_body(
    surfaces: Surfaces, order: Ints, start: Ints, bodies: Ints, boxes: Floats, gap: float
) -> tuple[Ints, Ints]:
    """For each row, the surfaces of a body that come near a box (rows, 2, 3): (row, surface), sorted by row."""
    row, position = ragged_product(start[bodies], start[bodies + 1])
    item = order[position]
    near = np.all(surfaces.box[item, 0] <= boxes[row, 1] + gap, axis=1)
    near &= np.all(surfaces.box[item, 1] >= boxes[row, 0] - gap, axis=1)
    return row[near], item[near]


def _flat_contacts(surfaces: Surfaces, a: Ints, b: Ints, gap: float) -> Contacts:
    low = np.maximum(surfaces.box[a, 0], surfaces.box[b, 0])
    high = np.minimum(surfaces.box[a, 1], surfaces.box[b, 1])
    middle = (low + high) / 2.0
    normal = surfaces.normal[a]
    own = np.einsum("ij,ij->i", surfaces.centre[a] - middle, normal)
    other = -np.einsum("ij,ij->i", surfaces.centre[b] - middle, surfaces.normal[b])
    apart = other - own
    near = np.abs(apart) <= gap
    a, b, apart = a[near], b[near], apart[near]
    polygon = intersections(surfaces.polygon[a], surfaces.polygon[b])
    return _kept(a, b, shapely.area(polygon), apart, polygon, polygon)


def _round_contacts(surfaces: Surfaces, a: Ints, b: Ints, gap: float) -> Contacts:
    offset = np.linalg.norm(surfaces.axis_point[a] - surfaces.axis_point[b], axis=1)
    apart = np.where(surfaces.hollow[a], -1.0, 1.0) * (surfaces.radius[b] - surfaces.radius[a])
    near = (offset <= gap) & (np.abs(apart) <= gap)
    a, b, apart = a[near], b[near], apart[near]
    polygon = planar.intersection(surfaces.polygon[a], surfaces.polygon[b])
    area = shapely.area(polygon) * (surfaces.radius[a] + surfaces.radius[b]) / 2.0
    return _kept(a, b, area, apart, polygon, polygon)


def _kept(
    a: Ints, b: Ints, area: Floats, apart: Floats, polygon: NDArray[np.object_], opposite: NDArray[np.object_]
) -> Contacts:
    keep = area > SMALLEST
    bent = np.zeros(int(keep.sum()), dtype=bool)
    return Contacts(a[keep], b[keep], area[keep], apart[keep], polygon[keep], opposite[keep], bent)


def covered(rows: Ints, polygons: NDArray[np.object_]) -> dict[int, shapely.Geometry]:
    """Union of the given polygons for each surface that occurs in `rows` (k,)."""
    if not len(rows):
        return {}
    order = np.argsort(rows, kind="stable")
    surface, first, count = np.unique(rows[order], return_index=True, return_counts=True)
    shapes = polygons[order]
    union = np.full(len(surface), None, dtype=object)
    for number in np.unique(count).tolist():
        group = np.flatnonzero(count == number)
        stacked = shapes[first[group][:, None] + np.arange(number)]
        union[group] = stacked[:, 0] if number == 1 else planar.union_all(stacked, axis=1)
    return dict(zip(surface.tolist(), union.tolist(), strict=True))
