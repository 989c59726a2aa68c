"""Bodies cut into slices: by parallel planes, or by cylinders about one axis where the body is curved."""

from collections.abc import Sequence
from typing import Any, Protocol, TypeAlias

import manifold3d
import numpy as np
from msgspec import Struct

from takeoff.geometry.booleans import BooleanFailed, proved, split
from takeoff.geometry.extrusions import prism
from takeoff.geometry.mesh import Floats, Mesh, areas, normals
from takeoff.geometry.solids import Slicing
from takeoff.told import Quantity, told

Manifold: TypeAlias = Any
Remarks = list[tuple[str, str]]

FIT = 1e-3
"""A stack of layers fits a body when their ends differ by no more than this, metres."""

THINNEST = 1e-4
"""Slices thinner than this, metres, are none."""


class Ruler(Protocol):
    """A direction along which a body is sliced: where the body begins and ends, and how to cut there."""

    @property
    def low(self) -> float:
        """Where the layered part begins."""
        ...

    @property
    def high(self) -> float:
        """Where the layered part ends."""
        ...

    def cut(self, solid: Manifold, position: float) -> tuple[Manifold, Manifold]:
        """The solid before and after a position."""
        ...


class Straight(Struct, frozen=True):
    """Parallel planes across a unit `normal` (3,).

    `low` and `high` are where the layered part of the body begins and ends; `beyond` tells that other parts
    of it reach further (they count to the outer slices).
    """

    normal: Floats
    low: float
    high: float
    beyond: bool = False

    def cut(self, solid: Manifold, position: float) -> tuple[Manifold, Manifold]:
        """The solid below and above the plane at `position`, proved. Raises BooleanFailed."""
        whole = solid.volume()
        for shift in (0.0, 1e-7, -1e-7):
            above, below = solid.split_by_plane(tuple(self.normal), position + shift)
            if proved(whole, above.volume(), below.volume()):
                return below, above
        raise BooleanFailed("slices do not add up")


class Concentric(Struct, frozen=True):
    """Cylinders about an axis along `up` (local axis number) through `centre` (2,) in the other two axes."""

    centre: Floats
    up: int
    angles: Floats
    bottom: float
    top: float
    low: float
    high: float

    def cut(self, solid: Manifold, position: float) -> tuple[Manifold, Manifold]:
        """The solid within and without the cylinder of radius `position`, proved. Raises BooleanFailed."""
        outline = self.centre + position * np.column_stack([np.cos(self.angles), np.sin(self.angles)])
        column = prism([outline], np.array([0.0, 0.0, self.top - self.bottom + 2.0]))
        vertices = column.vertices + np.array([0.0, 0.0, self.bottom - 1.0])
        vertices = vertices[:, np.argsort([(self.up + 1) % 3, (self.up + 2) % 3, self.up])]
        mesh = manifold3d.Mesh64(np.ascontiguousarray(vertices), column.faces.astype(np.uint64))
        return split(solid, manifold3d.Manifold(mesh))


class Across(Struct, frozen=True):
    """How layers lie across a body: the ruler, the way (1 or -1) in which they follow, the stated beginning.

    `start` is the position on the ruler at which the model says layer 1 begins, None where it does not.
    """

    ruler: Ruler
    sense: int
    start: float | None
    remarks: Remarks


def across(mesh: Mesh, slicing: Slicing, home: Floats) -> Across:
    """Choose the direction across which the layers lie.

    The stated axis where the body is as thick as the layers along it; else the local axis, else the direction
    of the largest pair of faces, that has this thickness; else a curved wall; else a direction in which large
    faces lie that far apart although the body reaches further; else the stated axis (or the thinnest
    direction) although nothing fits. `home` (3,) is where the element's own origin lies.
    """
    total, axis = slicing.total, slicing.axis
    units = np.eye(3)
    local = [_straight(mesh, unit) for unit in units]
    faced = _faced_directions(mesh)
    fitting = [number for number in range(3) if _fits(local[number], total)]
    fitting.sort(key=lambda number: -_area_along(faced, units[number]))
    if fitting and (axis is None or axis in fitting):
        return _stated(local[fitting[0] if axis is None else axis], slicing)
    for normal, _ in faced:
        toward = units[axis] if axis is not None else units[int(np.argmax(np.abs(normal)))]
        straight = _straight(mesh, normal if float(normal @ toward) >= 0.0 else -normal)
        if _fits(straight, total):
            remarks = []
            if axis is not None and abs(float(normal @ toward)) < 0.5:
                message = (
                    "the body has the thickness of its layers in another direction than stated: taken there"
                )
                remarks.append(("layers-turned", message))
            return _stated(straight, slicing, remarks)
    curved = _concentric(mesh, total)
    if curved is not None:
        return _stated_round(curved, slicing, home)
    for number in [axis] if axis is not None else range(3):
        main = _main_faces(mesh, units[number], total)
        if main is not None:
            message = "parts of the body reach beyond its layers: they were counted to the outer ones"
            return _stated(main, slicing, [("body-beyond-layers", message)])
    if axis is None:
        axis = min(range(3), key=lambda number: local[number].high - local[number].low)
    return _stated(local[axis], slicing)


def _stated(ruler: Straight, slicing: Slicing, remarks: Remarks | None = None) -> Across:
    along = slicing.axis is not None and ruler.normal[slicing.axis] > 1.0 - 1e-9
    return Across(ruler, slicing.sense, slicing.offset if along else None, remarks or [])


def _stated_round(ruler: Concentric, slicing: Slicing, home: Floats) -> Across:
    """Layers about an axis: outward where the stated local axis looks outward at the element's own origin."""
    first, second = (ruler.up + 1) % 3, (ruler.up + 2) % 3
    away = home[[first, second]] - ruler.centre
    radius = float(np.linalg.norm(away))
    share = float(away[int(slicing.axis == second)]) / max(radius, 1e-9)
    if slicing.axis not in (first, second) or radius < ruler.low / 2.0 or abs(share) < 0.2:
        message = "layers of a curved body were counted from its inner face outward"
        return Across(ruler, slicing.sense, None, [("layers-curved", message)])
    sign = 1 if share > 0.0 else -1
    start = None if slicing.offset is None or abs(share) < 0.99 else radius + sign * slicing.offset
    return Across(ruler, slicing.sense * sign, start, [])


def cuts(lie: Across, slicing: Slicing) -> tuple[list[tuple[float, float]], Remarks]:
    """Positions (start, end), start < end, of every slice along the ruler, and what was assumed."""
    ruler, sense = lie.ruler, 1 if lie.sense > 0 else -1
    thickness, total = ruler.high - ruler.low, slicing.total
    face = ruler.low if sense > 0 else ruler.high
    remarks: Remarks = []
    fits = abs(thickness - total) <= FIT
    begin = face
    if lie.start is not None:
        start, end = lie.start, lie.start + sense * total
        if fits and abs(start - face) > FIT:
            other = ruler.high if sense > 0 else ruler.low
            if abs(start - other) <= FIT:
                sense, begin = -sense, other
                remarks.append(("layers-mirrored", "the body lies on the other side of its reference line"))
            else:
                text = told(
                    "the layers lie at {}, the body at {}: moved",
                    _range(min(start, end), max(start, end)), _range(ruler.low, ruler.high),
                )  # fmt: skip
                remarks.append(("layers-moved", text))
    spans = list(slicing.bounds)
    if not fits:
        spans, message = _stretched(spans, thickness, total)
        remarks.append(("layers-do-not-fit", message))
    ends = [(begin + sense * start, begin + sense * end) for start, end in spans]
    return [(min(pair), max(pair)) for pair in ends], remarks


def _stretched(
    spans: list[tuple[float, float]], thickness: float, total: float
) -> tuple[list[tuple[float, float]], str]:
    """Give the difference between body and layers to the thickest slice, when that leaves it positive."""
    extra = thickness - total
    text = told("the body is {} thick, its layers {}", _thick(thickness), _thick(total))
    thickest = max(range(len(spans)), key=lambda number: spans[number][1] - spans[number][0])
    if spans[thickest][1] - spans[thickest][0] + extra <= THINNEST:
        return spans, told("{}: layers counted from the first, those beyond the body left out", text)
    edge = spans[thickest][1]
    out = []
    for number, (start, end) in enumerate(spans):
        if number == thickest:
            out.append((start, end + extra))
        elif start >= edge - 1e-9:
            out.append((start + extra, end + extra))
        else:
            out.append((start, end))
    went = "{}: the difference of {} went to slice {}, the thickest"
    return out, told(went, text, _thick(extra, "+.4f"), thickest + 1)


def _thick(metres: float, form: str = ".4f") -> Quantity:
    return Quantity(metres, "m", form, size=True)


def _range(low: float, high: float) -> str:
    return told("{} to {}", Quantity(low, "m", bare=True, size=True), Quantity(high, "m", size=True))


def sliced(solid: Manifold, ruler: Ruler, spans: Sequence[tuple[float, float]]) -> list[Manifold | None]:
    """The solid's slices, None where one is empty. Slices may overlap or leave gaps. Raises BooleanFailed."""
    out: list[Manifold | None] = []
    for start, end in spans:
        if end - start < THINNEST or start > ruler.high - THINNEST or end < ruler.low + THINNEST:
            out.append(None)
            continue
        part = solid
        if start > ruler.low + 1e-6:
            part = ruler.cut(part, start)[1]
        if end < ruler.high - 1e-6:
            part = ruler.cut(part, end)[0]
        out.append(None if part.is_empty() or part.volume() < 1e-9 else part)
    return out


def _straight(mesh: Mesh, normal: Floats) -> Straight:
    reach = mesh.vertices @ normal
    return Straight(normal, float(reach.min()), float(reach.max()))


def _fits(ruler: Straight, total: float) -> bool:
    return abs(ruler.high - ruler.low - total) <= FIT


def _main_faces(mesh: Mesh, normal: Floats, total: float) -> Straight | None:
    """The pair of large faces across `normal` that lie `total` apart, None where there is none.

    Large: each at least a third of all the face area that looks its way.
    """
    corners = mesh.corners
    size = areas(corners)
    facing = normals(corners) @ normal
    position = corners.mean(axis=1) @ normal
    sides = []
    for sign in (-1.0, 1.0):
        own = facing * sign > 1.0 - 1e-6
        places, inverse = np.unique(np.round(position[own], 4), return_inverse=True)
        sums = np.bincount(inverse.reshape(-1), weights=size[own], minlength=len(places))
        sides.append(
            [(float(p), float(a)) for p, a in zip(places, sums, strict=True) if a > sums.sum() / 3.0]
        )
    pairs = [(a + b, p, q) for p, a in sides[0] for q, b in sides[1] if abs(q - p - total) <= FIT]
    if not pairs:
        return None
    _, low, high = max(pairs)
    return Straight(normal, low, high, True)


def _faced_directions(mesh: Mesh) -> list[tuple[Floats, float]]:
    """Directions of the faces, opposite ones as one, with their area, largest first."""
    corners = mesh.corners
    size = areas(corners)
    normal = normals(corners)
    lead = np.take_along_axis(normal, np.argmax(np.abs(normal) > 1e-6, axis=1)[:, None], axis=1)
    normal = np.where(lead < 0.0, -normal, normal)
    _, first, inverse = np.unique(
        np.round(normal / 1e-5).astype(np.int64), axis=0, return_index=True, return_inverse=True
    )
    total = np.bincount(inverse.reshape(-1), weights=size)
    order = np.argsort(-total)[:12]
    return [(normal[first[index]], float(total[index])) for index in order]


def _area_along(faced: list[tuple[Floats, float]], axis: Floats) -> float:
    return sum(area for normal, area in faced if abs(float(normal @ axis)) > 0.9999)


def _concentric(mesh: Mesh, total: float) -> Concentric | None:
    """The cylinders that bound a body of thickness `total` with all corners on two circles about one axis."""
    for up in (2, 1, 0):
        first, second = (up + 1) % 3, (up + 2) % 3
        flat = np.unique(np.round(mesh.vertices[:, [first, second]], 7), axis=0)
        if len(flat) < 8:
            continue
        centre = _centre(flat)
        if centre is None:
            continue
        radius = np.linalg.norm(flat - centre, axis=1)
        low, high = float(radius.min()), float(radius.max())
        on_ring = np.minimum(radius - low, high - radius) < FIT
        if on_ring.all() and abs(high - low - total) <= FIT and low > total:
            around = _angles(flat[radius - low < FIT] - centre)
            reach = mesh.vertices[:, up]
            return Concentric(centre, up, around, float(reach.min()), float(reach.max()), low, high)
    return None


def _angles(points: Floats) -> Floats:
    """Angles at which the chords of cutting cylinders begin: those of the inner face's corners (n, 2).

    So the slices are short of true cylinders by as much on both of their faces. The wide gap that a body
    leaves open is filled with corners of its own.
    """
    angles = np.sort(np.arctan2(points[:, 1], points[:, 0]) % (2.0 * np.pi))
    angles = angles[np.diff(angles, append=angles[0] + 2.0 * np.pi) > 1e-5]
    gaps = np.diff(angles, append=angles[0] + 2.0 * np.pi)
    widest = int(np.argmax(gaps))
    if gaps[widest] > np.pi / 3.0:
        fill = angles[widest] + np.linspace(0.0, gaps[widest], 65)[1:-1]
        angles = np.sort(np.concatenate([angles, fill % (2.0 * np.pi)]))
    return angles


def _centre(points: Floats) -> Floats | None:
    """The common centre of points (n, 2) on two concentric circles whose difference of radii is unknown.

    On circles of radii r and R about c, |p|2 - 2 p.c = r2 - |c|2 or R2 - |c|2: for points taken as inner or
    outer by their distance from a first guess, this is linear in c and the two right sides.
    """
    guess = _circle_guess(points)
    for _ in range(20):
        distance = np.linalg.norm(points - guess, axis=1)
        outer = distance > (distance.min() + distance.max()) / 2.0
        if outer.all() or not outer.any():
            return None
        system = np.column_stack([2.0 * points, outer, ~outer])
        answer, _, rank, _ = np.linalg.lstsq(system, (points**2).sum(axis=1), rcond=None)
        if rank < 4:
            return None
        if np.abs(answer[:2] - guess).max() < 1e-9:
            return answer[:2]
        guess = answer[:2]
    return None


def _circle_guess(points: Floats) -> Floats:
    """Centre (2,) of the circle that fits points (n, 2) best in the algebraic sense."""
    system = np.column_stack([2.0 * points, np.ones(len(points))])
    answer = np.linalg.lstsq(system, (points**2).sum(axis=1), rcond=None)[0]
    centre: Floats = answer[:2]
    return centre
