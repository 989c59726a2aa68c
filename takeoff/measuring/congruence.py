"""Which solids have the same shape under rotation and shift, and which are mirror images.

Two shapes are the same where a rigid motion brings their true corners, and the middles of their round rims, onto
each other so that no two of them stand to one another differently by more than the tolerance (a window moved, a
panel longer), the rims have the same diameters, and the sharp edges lie on each other. A motion with determinant
+1 makes them congruent, one with -1 mirror images. A solid with an upper side is the same as another only with
that side up: a plank laid face down is no plank, so one with a hole at its left end and one with it at the
right are mirror images. Candidates are found in a grid over the second moments, so that the time grows with
the number of solids, not with its square.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import permutations, product

import numpy as np
from msgspec import Struct

from takeoff.geometry.mesh import Floats, Ints, Mesh, volume
from takeoff.measuring.boxes import to_segments
from takeoff.measuring.rims import rim_runs
from takeoff.measuring.shapes import Shape, shape_of

TOLERANCE = 1e-3
"""Sizes of congruent pieces, and places on them, may differ by this, metres."""
EASE = 4e-5
"""By this more, m: what is drawn with just the tolerance is within it in every unit, place and turn."""
EXACT = 2e-5
"""Solids that differ by this, m, and the ease, are of exactly one shape, drawn twice."""
RANK = 1e-5
"""Steps, m, m2 or m3, in which shapes that lead as many others are put in order."""
CELL = 8e-3
"""Grid over the spreads, metres: more than spreads can change when the surface moves by the tolerance."""
MOST_SAMPLES = 400
UPRIGHT = 0.999
"""Cosine between upper sides that count as one."""


class Grouping(Struct, frozen=True):
    """`groups` has a group number for each solid, from 0 in order of appearance; `leaders` the solid that each
    group is compared with and `shapes` its shape; `mirrors` (group, earlier group that it is the mirror image of)."""

    groups: tuple[int, ...]
    leaders: tuple[int, ...]
    mirrors: dict[int, int]
    shapes: tuple[Shape, ...]


def group_congruent(
    meshes: Sequence[Mesh], tolerance: float = TOLERANCE, ups: Sequence[Floats | None] | None = None
) -> Grouping:
    """Group closed meshes by shape: which solids are together does not depend on their order.

    Solids of exactly one shape are one variant. The variant that most solids are within the tolerance of leads a
    group and takes all of them, then the next of what is left; of two that take as many the one that has more solids
    itself, then the larger. So in a chain, where A is like B and B like C but A is not like C, all are one group if
    B leads, else B is with whichever of A and C leads, and the other is apart.

    `ups` has the direction (3,) of the upper side for each mesh that must not be turned over, else None.
    """
    ups = [None] * len(meshes) if ups is None else ups
    variants = _Variants(EXACT)
    of_solid = [
        variants.number(index, mesh, up) for index, (mesh, up) in enumerate(zip(meshes, ups, strict=True))
    ]
    shapes, own_ups = variants.shapes, [ups[first] for first in variants.firsts]
    alike = [{number} for number in range(len(shapes))]
    twins: list[set[int]] = [set() for _ in shapes]
    for one, other in variants.near_pairs():
        pair = (own_ups[one], own_ups[other])
        if same_shape(shapes[one], shapes[other], tolerance, ups=pair):
            alike[one].add(other)
            alike[other].add(one)
        elif same_shape(shapes[one], shapes[other], tolerance, True, pair):
            twins[one].add(other)
            twins[other].add(one)
    leader_of = _leaders(alike, Counter(of_solid), shapes)
    numbers: dict[int, int] = {}
    groups = [numbers.setdefault(leader_of[variant], len(numbers)) for variant in of_solid]
    mirrors: dict[int, int] = {}
    for leader, number in numbers.items():
        images = [numbers[twin] for twin in twins[leader] if numbers.get(twin, number) < number]
        if images:
            mirrors[number] = min(images)
    leaders = tuple(variants.firsts[leader] for leader in numbers)
    return Grouping(tuple(groups), leaders, mirrors, tuple(shapes[leader] for leader in numbers))


class _Variants:
    """Solids of exactly one shape, each known by its first: numbers from 0 in order of appearance."""

    def __init__(self, tolerance: float) -> None:
        self.shapes: list[Shape] = []
        self.firsts: list[int] = []
        self._ups: list[Floats | None] = []
        self._tolerance = tolerance
        self._cells: dict[tuple[int, int, int], list[int]] = defaultdict(list)
        self._copies: dict[tuple[bytes, int], list[tuple[Floats, Floats | None, int]]] = defaultdict(list)

    def number(self, index: int, mesh: Mesh, up: Floats | None) -> int:
        """The number of the variant of solid `index`."""
        copies = self._copies[mesh.faces.tobytes(), round(volume(mesh) * 1e6)]
        known = next((n for points, own, n in copies if _is_copy(points, mesh.vertices, own, up)), None)
        if known is not None:
            return known
        shape = shape_of(mesh)
        same = (
            n
            for n in sorted(_near(shape, self._cells))
            if same_shape(self.shapes[n], shape, self._tolerance, ups=(self._ups[n], up))
        )
        number = next(same, len(self.shapes))
        if number == len(self.shapes):
            self.shapes.append(shape)
            self.firsts.append(index)
            self._ups.append(up)
            self._cells[_cell(shape)].append(number)
        copies.append((mesh.vertices, up, number))
        return number

    def near_pairs(self) -> Iterator[tuple[int, int]]:
        """Pairs of variants, the earlier first, that may be alike."""
        for number, shape in enumerate(self.shapes):
            for other in sorted(_near(shape, self._cells)):
                if other > number:
                    yield number, other


def _leaders(alike: Sequence[set[int]], counts: Mapping[int, int], shapes: Sequence[Shape]) -> dict[int, int]:
    """The variant that leads the group of each variant, by the rule of `group_congruent`."""
    found: dict[int, int] = {}
    for start in range(len(alike)):
        if start in found:
            continue
        left, waiting = {start}, [start]
        while waiting:
            further = alike[waiting.pop()] - left
            left |= further
            waiting += further
        while left:
            leader = min(
                left, key=lambda n: (-sum(counts[m] for m in alike[n] & left), -counts[n], *_rank(shapes[n]))
            )
            taken = alike[leader] & left
            found.update(dict.fromkeys(taken, leader))
            left -= taken
    return found


def _rank(shape: Shape) -> tuple[float, ...]:
    """The larger first, in steps above what rounding does to a shape that is turned or far away."""
    figures = (shape.volume, shape.area, *shape.spreads.tolist(), float(shape.radii.sum()))
    return tuple(-round(figure / RANK + 0.37) for figure in figures)


def same_shape(
    one: Shape,
    other: Shape,
    tolerance: float = TOLERANCE,
    mirrored: bool = False,
    ups: tuple[Floats | None, Floats | None] = (None, None),
) -> bool:
    """Whether a rotation and shift (with `mirrored`: and a reflection) brings `other` onto `one`.

    `ups` are their upper sides (3,) where they have one; the motion must bring them together.
    """
    if not _alike(one, other, tolerance):
        return False
    return any(
        _fits(one, other, motion, tolerance, mirrored)
        for motion in _motions(one, other, mirrored)
        if _stays_up(motion, *ups)
    )


def _stays_up(motion: Floats, one: Floats | None, other: Floats | None) -> bool:
    """Whether a motion (3, 3) turns the upper side of `other` to that of `one`; a piece without one may lie
    as it likes."""
    return one is None or other is None or float(one @ (motion @ other)) > UPRIGHT


def _is_copy(
    one: Floats, other: Floats, up: Floats | None, other_up: Floats | None, tolerance: float = 1e-5
) -> bool:
    """Whether points (n, 3) are the others (n, 3), in the same order, rotated and shifted."""
    one, other = one - one.mean(axis=0), other - other.mean(axis=0)
    motion = _best_rotation(one, other, mirrored=False)
    fits = bool(np.abs(other @ motion.T - one).max(initial=0.0) < tolerance)
    return fits and _stays_up(motion, up, other_up)


def _cell(shape: Shape) -> tuple[int, int, int]:
    first, second, third = np.floor(shape.spreads / CELL).astype(int).tolist()
    return first, second, third


def _near(shape: Shape, cells: dict[tuple[int, int, int], list[int]]) -> Iterator[int]:
    first, second, third = _cell(shape)
    for i, j, k in product((-1, 0, 1), repeat=3):
        yield from cells.get((first + i, second + j, third + k), ())


def _alike(one: Shape, other: Shape, tolerance: float) -> bool:
    """The quick test by what no motion changes; the allowances are what moving the surface can do to them."""
    if len(one.corners) != len(other.corners) or len(_circles(one)) != len(_circles(other)):
        return False
    rims = max(np.linalg.norm(s.edges[:, 1] - s.edges[:, 0], axis=1).sum() for s in (one, other))
    area = max(one.area, other.area)
    if abs(one.volume - other.volume) > tolerance * area:
        return False
    if abs(one.area - other.area) > 2.0 * tolerance * rims + 2e-3 * area:
        return False
    return bool(np.abs(one.radii - other.radii).max(initial=0.0) <= 3.0 * tolerance)


def _motions(one: Shape, other: Shape, mirrored: bool) -> Iterator[Floats]:
    """Candidate matrices (3, 3) that turn `other` onto `one` about their centres.

    From two corners that are not in line with the centre, chosen so that few pairs of the other shape can
    match them; where a shape has no such corners (round work), from the axes of its second moments.
    """
    loose = 6.0 * TOLERANCE
    pair = _landmarks(one, loose)
    if pair is None:
        for order in permutations(range(3)):
            for signs in product((1.0, -1.0), repeat=3):
                motion = one.axes.T @ (np.array(signs)[:, None] * other.axes[list(order)])
                if (np.linalg.det(motion) < 0) == mirrored:
                    yield motion
        return
    first, second = one.corners[pair[0]], one.corners[pair[1]]
    home = _frame(first, second)
    reach = np.linalg.norm(other.corners, axis=1)
    starts = np.flatnonzero(np.abs(reach - np.linalg.norm(first)) <= loose)
    for start in starts:
        gap = np.linalg.norm(other.corners - other.corners[start], axis=1)
        ends = (np.abs(reach - np.linalg.norm(second)) <= loose) & (
            np.abs(gap - np.linalg.norm(second - first)) <= loose
        )
        for end in np.flatnonzero(ends):
            frame = _frame(other.corners[start], other.corners[end])
            if mirrored:
                frame[2] *= -1.0
            yield home.T @ frame


def _landmarks(shape: Shape, loose: float) -> tuple[int, int] | None:
    """Two corners not in line with the centre, of distances that few corners share, if there are any."""
    reach = np.linalg.norm(shape.corners, axis=1)
    if len(reach) < 2:
        return None
    shared = (np.abs(reach[:, None] - reach[None]) <= loose).sum(axis=1)
    order = np.lexsort((-reach, shared))
    order = order[reach[order] > 0.02]
    for place, first in enumerate(order):
        for second in order[place + 1 :]:
            sine = np.linalg.norm(np.cross(shape.corners[first], shape.corners[second]))
            if sine > 0.05 * reach[first] * reach[second]:
                return int(first), int(second)
    return None


def _frame(first: Floats, second: Floats) -> Floats:
    """Right-handed unit axes (3, 3), one a row: along `first`, in the plane of both, square to it."""
    x = first / np.linalg.norm(first)
    z = np.cross(first, second)
    z /= max(float(np.linalg.norm(z)), 1e-12)
    return np.stack([x, np.cross(z, x), z])


def _fits(one: Shape, other: Shape, motion: Floats, tolerance: float, mirrored: bool) -> bool:
    """Whether the motion, refined over all corners, brings corners and edges onto each other."""
    shift = np.zeros(3)
    off = np.zeros((0, 3))
    if len(one.corners):
        match = _matched(other.corners @ motion.T, one.corners, 10.0 * tolerance)
        if match is None:
            return False
        if len(match) > 3:
            target, source = one.corners[match], other.corners
            motion = _best_rotation(target - target.mean(axis=0), source - source.mean(axis=0), mirrored)
            shift = target.mean(axis=0) - motion @ source.mean(axis=0)
        off = other.corners @ motion.T + shift - one.corners[match]
    own, circles = _circles(one), _circles(other)
    if len(own):
        middles = circles[:, :3] @ motion.T + shift
        match = _matched(np.column_stack([middles, circles[:, 3]]), own, 10.0 * tolerance)
        if match is None or np.abs(circles[:, 3] - own[match, 3]).max() > tolerance + EASE:
            return False
        off = np.concatenate([off, middles - own[match, :3]])
    if _range(off) > tolerance + EASE:
        return False
    moved = other.edges @ motion.T + shift
    return _on_edges(moved, one.edges, tolerance) and _on_edges(one.edges, moved, tolerance)


@lru_cache(maxsize=1024)
def _circles(shape: Shape) -> Floats:
    """Round rims of a shape (k, 4): middle and diameter, metres."""
    runs = [run for run in rim_runs(shape) if run.chord == 0.0 and run.rise is not None]
    return np.array([[*run.middle, run.rise] for run in runs]).reshape(-1, 4)


def _matched(points: Floats, others: Floats, reach: float) -> Ints | None:
    """For each of points (k, n) the nearest of as many others, each once; None where one is not within reach."""
    gaps = np.linalg.norm(points[:, None] - others[None], axis=2)
    match = gaps.argmin(axis=1)
    if len(np.unique(match)) != len(match) or gaps.min(axis=1).max() > reach:
        return None
    return match


def _range(off: Floats) -> float:
    """How far apart the farthest two of displacements (k, 3) are: found by two sweeps, from the middle out."""
    if not len(off):
        return 0.0
    first = off[np.linalg.norm(off - off.mean(axis=0), axis=1).argmax()]
    return float(np.linalg.norm(off - first, axis=1).max())


def _on_edges(edges: Floats, others: Floats, tolerance: float) -> bool:
    """Whether ends and middles of edges (e, 2, 3) lie on the others; chords may differ by their rise."""
    if not len(edges) or not len(others):
        return len(edges) == len(others)
    points = np.concatenate([edges[:, 0], edges.mean(axis=1)])
    points = points[:: max(1, len(points) // MOST_SAMPLES)]
    return bool(to_segments(points, others).max() <= 2.0 * tolerance)


def _best_rotation(target: Floats, source: Floats, mirrored: bool) -> Floats:
    """The matrix (3, 3) of determinant +1 (-1 where mirrored) that best turns source onto target (n, 3).

    Least squares by singular values (Kabsch 1976); both sets are centred.
    """
    left, _, right = np.linalg.svd(target.T @ source)
    wanted = -1.0 if mirrored else 1.0
    flip = np.array([1.0, 1.0, wanted * np.linalg.det(left) * np.linalg.det(right)])
    return (left * flip) @ right
