"""Strips of joints: the straight parts of contacts, and which of them are one joint that several pieces share.

A panel whose end stands at the joint between two others meets both, and still there is one joint to fill along it; the
side of the joint between the two that it covers is not sealed.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import shapely
from msgspec import Struct, field

from takeoff.geometry.mesh import Floats
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.dimensions import rectangle_sides
from takeoff.measuring.joint_rules import JointRule
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.patches import Patch, PatchKey

SHARING = ("bed", "vertical", "slab", "wall-to-slab")
"""Kinds that are filled or sealed along their length; bearings are counted for each support."""
STEP = 0.10
"""Contact planes of one joint (a rebate, a key) lie within this, m; further apart they are two joints."""
SQUARE = 0.9
"""Share of the surrounding rectangle from which a strip is straight."""
STUBBY = 2.0
"""Strips less than this many times as long as wide run the way of the longest joint of their piece and plane."""
PARALLEL = 0.996
"""Cosine between directions of strips that run along each other."""
OVERLAP = 0.01
"""Strips that lie beside each other for less than this, m, only touch; those that share more than this of their width
follow one another."""


class Sharing(Struct, frozen=True):
    """What a pair of pieces has less, or more, because a third one is at the joint.

    `less` is the length, m, that the pair's strips share with those of others, its part of it; `between` the area, m2,
    of the space between the strips, its part of it; `covered` the length, m, along which others cover a side of the
    pair's own joint.
    """

    less: float = 0.0
    between: float = 0.0
    covered: float = 0.0


class _Tally(Struct):
    less: float = 0.0
    between: float = 0.0
    covered: float = 0.0


class _Strip(Struct, frozen=True, eq=False):
    """A straight part of a contact: its points (n, 2) and unit direction (2,) in the frame, the same direction (3,) in
    space, and the surface of each of the two elements."""

    key: PatchKey
    rows: Mapping[ElementKey, int]
    points: Floats
    way: Floats
    course: Floats

    def along(self, way: Floats) -> tuple[float, float]:
        """Lowest and highest place along a direction (2,)."""
        places = self.points @ way
        return float(places.min()), float(places.max())


class _Joint(Struct):
    """Strips that are one joint, on their way: what each pair covers of it."""

    spans: dict[PatchKey, list[tuple[float, float]]] = field(default_factory=lambda: defaultdict(list))


def direction_of(part: shapely.Geometry) -> Floats:
    """Unit direction (2,) of the longer side of the rectangle around a part."""
    corners = shapely.get_coordinates(shapely.oriented_envelope(part))
    sides = np.diff(corners[:3], axis=0)
    long = sides[int(np.argmax(np.linalg.norm(sides, axis=1)))]
    return np.asarray(long / np.linalg.norm(long))


def straight_way(part: shapely.Geometry, way: Floats | None) -> Floats | None:
    """The direction (2,) in which a straight part runs, None for a bent one; stubby ones run along `way`."""
    long, short = rectangle_sides(part)
    if part.area < SQUARE * long * short:
        return None
    return way if way is not None and long < STUBBY * short else direction_of(part)


def covered_length(spans: Sequence[tuple[float, float]]) -> float:
    """Length, m, that spans (low, high) cover together."""
    total, end = 0.0, -np.inf
    for low, high in sorted(spans):
        total += max(high - max(low, end), 0.0)
        end = max(end, high)
    return float(total)


def shared_joints(
    surfaces: Surfaces,
    patches: Mapping[PatchKey, Sequence[Patch]],
    ways: Mapping[tuple[ElementKey, str], Mapping[int, Floats]],
    rules: Mapping[PatchKey, JointRule | None],
    reach: float,
) -> dict[PatchKey, Sharing]:
    """What pairs share with others: strips of one kind and rule on one face of a piece, side by side within `reach` m.

    `ways` has for a piece and kind the direction (2,) of its longest strip, by plane frame.
    """
    faces: dict[tuple[ElementKey, str, int, int], list[_Strip]] = defaultdict(list)
    courses: dict[PatchKey, list[Floats]] = defaultdict(list)
    for key, own in patches.items():
        if key[2] in SHARING:
            for strip, frame in _strips(surfaces, key, own, ways.get((key[0], key[2]), {})):
                courses[key].append(strip.course)
                for element, row in strip.rows.items():
                    faces[element, key[2], frame, int(surfaces.side[row])].append(strip)
    beside: dict[_Strip, list[_Strip]] = defaultdict(list)
    found: dict[PatchKey, _Tally] = defaultdict(_Tally)
    for (element, *_), strips in faces.items():
        if len({strip.key for strip in strips}) > 1:
            for one, other, gap, length in _side_by_side(surfaces, element, strips, rules, reach):
                beside[one].append(other)
                beside[other].append(one)
                found[one.key].between += gap * length / 2.0
                found[other.key].between += gap * length / 2.0
                for key in _of_the_two(one, other, element, courses):
                    found[key].covered += length
    for joint in _joints(beside):
        lengths = {key: covered_length(spans) for key, spans in joint.spans.items()}
        whole = covered_length([span for spans in joint.spans.values() for span in spans])
        for key, length in lengths.items():
            found[key].less += length * (1.0 - whole / sum(lengths.values()))
    return {key: Sharing(tally.less, tally.between, tally.covered) for key, tally in found.items()}


def _strips(
    surfaces: Surfaces, key: PatchKey, patches: Sequence[Patch], ways: Mapping[int, Floats]
) -> Iterator[tuple[_Strip, int]]:
    """The straight strips of a pair's contacts between flat faces, with their plane frame."""
    for patch in patches:
        frame = int(surfaces.frame[patch.row])
        if frame < 0 or frame != int(surfaces.frame[patch.other_row]):
            continue
        rows = {key[0]: patch.row, key[1]: patch.other_row}
        for part in shapely.get_parts(patch.polygon):
            way = straight_way(part, ways.get(frame)) if part.area > 1e-7 else None
            if way is not None:
                course = np.asarray(way @ surfaces.axes[patch.row, :2])
                yield _Strip(key, rows, shapely.get_coordinates(part), way, course), frame


def _side_by_side(
    surfaces: Surfaces,
    element: ElementKey,
    strips: Sequence[_Strip],
    rules: Mapping[PatchKey, JointRule | None],
    reach: float,
) -> Iterator[tuple[_Strip, _Strip, float, float]]:
    """Pairs of strips of different pairs of pieces that lie beside each other, their gap and common length, m."""
    hulls = shapely.convex_hull(np.array([shapely.MultiPoint(strip.points) for strip in strips]))
    first, second = shapely.STRtree(hulls).query(hulls, predicate="dwithin", distance=reach)
    for one, other in (
        (strips[i], strips[j]) for i, j in zip(first.tolist(), second.tolist(), strict=True) if i < j
    ):
        if one.key == other.key or rules[one.key] != rules[other.key] or abs(one.way @ other.way) < PARALLEL:
            continue
        rows = [one.rows[element], other.rows[element]]
        offsets = np.einsum("ij,ij->i", surfaces.centre[rows], surfaces.axes[rows, 2])
        square = np.array([-one.way[1], one.way[0]])
        (low, high), (other_low, other_high) = one.along(one.way), other.along(one.way)
        (left, right), (other_left, other_right) = one.along(square), other.along(square)
        gap = max(left - other_right, other_left - right)
        length = min(high, other_high) - max(low, other_low)
        if np.ptp(offsets) <= STEP and -OVERLAP <= gap <= reach and length >= OVERLAP:
            yield one, other, max(gap, 0.0), length


def _of_the_two(
    one: _Strip, other: _Strip, shared: ElementKey, courses: Mapping[PatchKey, Sequence[Floats]]
) -> list[PatchKey]:
    """The joint between the two elements that meet a third and that runs along it, if there is one; `courses` has the
    directions (3,) of all joints."""
    pair = [element for strip in (one, other) for element in strip.key[:2] if element != shared]
    if len(pair) != 2 or pair[0] == pair[1]:
        return []
    keys = [(*order, kind) for order in ((pair[0], pair[1]), (pair[1], pair[0])) for kind in SHARING[1:]]
    return [
        key for key in keys if any(abs(one.course @ course) > PARALLEL for course in courses.get(key, ()))
    ][:1]


def _joints(beside: Mapping[_Strip, Sequence[_Strip]]) -> Iterator[_Joint]:
    """Strips that are linked by lying side by side, each set of them once."""
    left = dict.fromkeys(beside)
    while left:
        start = next(iter(left))
        del left[start]
        joint, waiting = _Joint(), [start]
        while waiting:
            strip = waiting.pop()
            joint.spans[strip.key].append(strip.along(start.way))
            for other in beside[strip]:
                if other in left:
                    del left[other]
                    waiting.append(other)
        yield joint
