"""Bodies that share space: each cubic metre is left to one of them."""

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from msgspec import Struct

from takeoff.geometry.booleans import BooleanFailed
from takeoff.geometry.cutting import CUT, SHALLOW, Answer, Cut, Remains, Share, Shared, Task, work
from takeoff.geometry.likeness import Likeness, likeness
from takeoff.geometry.mesh import Floats, Ints, Mesh, boxes_of, volume

__all__ = ["CUT", "Overlap", "Resolved", "here", "resolve_overlaps"]

COARSE = 1e-3
"""Places are told apart to this, m, when keepers are put in order."""
SAME = 0.999
"""Two bodies are the same thing twice when they share more than this part of both volumes."""

Crew = Callable[[Sequence[Task]], Sequence[Answer | None]]
"""Does tasks and gives their answers in order; None for a task that could not be done at all."""


class Overlap(Struct, frozen=True):
    """Space, m3, that body `keeper` keeps from body `other`; `same`: the two are one thing twice.

    Space that several bodies share is told once, of the one that keeps it. `cut` is false where both keep their
    shape: then it is all that they share.
    """

    keeper: int
    other: int
    volume: float
    same: bool
    cut: bool


class Resolved(Struct, frozen=True, eq=False):
    """`lumps` has for each body the separate solids that remain of it (none when it was swallowed whole).

    `doubts` lists (keeper, other) where no way of cutting passed its proof: the other kept the shared space.
    """

    lumps: tuple[tuple[Mesh, ...], ...]
    overlaps: tuple[Overlap, ...]
    doubts: tuple[tuple[int, int], ...]


def here(tasks: Sequence[Task]) -> list[Answer | None]:
    """Do tasks in this process."""
    answers: list[Answer | None] = []
    for task in tasks:
        try:
            answers.append(work(task))
        except BooleanFailed:
            answers.append(None)
    return answers


def resolve_overlaps(
    meshes: Sequence[Mesh],
    rank: Sequence[tuple],
    whole: Sequence[bool],
    pairs: Ints,
    apart: Sequence[bool],
    crew: Crew = here,
) -> Resolved:
    """Subtract from every body what higher-ranked bodies share with it.

    `rank` orders the bodies: the lower tuple keeps. Two bodies that are both `whole` keep their shape, unless
    they are the same thing twice: then the second is dropped. `pairs` (k, 2) are the bodies that may meet.
    `apart` says whether the lumps of a body that was cut are wanted one by one. Arrangements that repeat (the
    same column under the same slab, storey after storey) are worked out once; `crew` does the work.
    """
    if not len(meshes):
        return Resolved((), (), ())
    like = likeness(meshes)
    sizes = _volumes(meshes, like)
    meeting = [(i, j) if rank[i] <= rank[j] else (j, i) for i, j in _meeting(meshes, pairs).tolist()]
    doubtful = [
        (keeper, other)
        for keeper, other in meeting
        if (whole[keeper] and whole[other])
        or abs(sizes[keeper] - sizes[other]) <= (1.0 - SAME) * sizes[keeper]
    ]
    shared = dict(zip(doubtful, _shares(meshes, like, doubtful, crew), strict=True))
    keepers_of: dict[int, list[int]] = {}
    overlaps: list[Overlap] = []
    doubts: list[tuple[int, int]] = []
    swallowed: set[int] = set()
    for keeper, other in meeting:
        both = shared.get((keeper, other))
        if both is not None and both.volume > SAME * sizes[keeper]:
            overlaps.append(Overlap(keeper, other, both.volume, same=True, cut=True))
            swallowed.add(other)
        elif whole[keeper] and whole[other]:
            if both is None:
                doubts.append((keeper, other))
            elif not both.film:
                overlaps.append(Overlap(keeper, other, both.volume, same=False, cut=False))
        else:
            keepers_of.setdefault(other, []).append(keeper)
    lumps: list[tuple[Mesh, ...]] = [() if body in swallowed else (mesh,) for body, mesh in enumerate(meshes)]
    met: dict[int, list[int]] = {}
    for keeper, other in meeting:
        met.setdefault(keeper, []).append(other)
        met.setdefault(other, []).append(keeper)
    steps = np.round(like.place / COARSE).astype(np.int64).tolist()
    places = [(shape, *step) for shape, step in zip(like.shape.tolist(), steps, strict=True)]
    cuts = [
        (other, _in_turn([keeper for keeper in keepers if keeper not in swallowed], rank, met, places))
        for other, keepers in keepers_of.items()
        if other not in swallowed
    ]
    cuts = [(other, keepers) for other, keepers in cuts if keepers]
    for (other, keepers), remains in zip(cuts, _remains(meshes, like, cuts, apart, crew), strict=True):
        for keeper, taken in zip(keepers, remains.taken, strict=True):
            if taken is None:
                doubts.append((keeper, other))
            elif taken:
                overlaps.append(Overlap(keeper, other, taken, same=False, cut=True))
        if remains.lumps is not None:
            lumps[other] = remains.lumps
    return Resolved(tuple(lumps), tuple(overlaps), tuple(doubts))


def _in_turn(
    keepers: Sequence[int],
    rank: Sequence[tuple],
    met: Mapping[int, Sequence[int]],
    places: Sequence[tuple[int, ...]],
) -> tuple[int, ...]:
    """Keepers in the order in which they cut: those that meet each other by rank, the rest by shape and `places`.

    Where keepers keep apart, their order changes nothing; by place it repeats where an arrangement does.
    """
    if len(keepers) == 1:
        return tuple(keepers)
    depth: dict[int, int] = {}
    for keeper in sorted(keepers, key=lambda body: rank[body]):
        depth[keeper] = max([depth.get(other, -1) for other in met[keeper]], default=-1) + 1
    return tuple(sorted(keepers, key=lambda keeper: (depth[keeper], *places[keeper])))


def _shares(
    meshes: Sequence[Mesh], like: Likeness, pairs: Sequence[tuple[int, int]], crew: Crew
) -> list[Shared | None]:
    """What each pair shares, each arrangement asked once; None where it cannot be told."""
    numbers: dict[tuple, int] = {}
    tasks: list[Task] = []
    asked = []
    besides = like.beside([first for first, _ in pairs], [(second,) for _, second in pairs])
    for (first, second), beside in zip(pairs, besides, strict=True):
        key = int(like.shape[first]), beside
        if key not in numbers:
            numbers[key] = len(tasks)
            tasks.append(Share(meshes[first], meshes[second]))
        asked.append(numbers[key])
    answers = crew(tasks) if tasks else []
    found = [answer if isinstance(answer, Shared) else None for answer in answers]
    return [found[number] for number in asked]


def _remains(
    meshes: Sequence[Mesh],
    like: Likeness,
    cuts: Sequence[tuple[int, tuple[int, ...]]],
    apart: Sequence[bool],
    crew: Crew,
) -> list[Remains]:
    """What remains of each (body, cutters): each arrangement is worked out where it first occurs."""
    numbers: dict[tuple, int] = {}
    tasks: list[Task] = []
    firsts: list[int] = []
    asked = []
    besides = like.beside([body for body, _ in cuts], [cutters for _, cutters in cuts])
    for (body, cutters), beside in zip(cuts, besides, strict=True):
        key = int(like.shape[body]), bool(apart[body]), beside
        if key not in numbers:
            numbers[key] = len(tasks)
            firsts.append(body)
            tasks.append(Cut(meshes[body], tuple(meshes[cutter] for cutter in cutters), bool(apart[body])))
        asked.append(numbers[key])
    answers = crew(tasks) if tasks else []
    return [
        (answer if firsts[number] == body else answer.moved(like.place[body] - like.place[firsts[number]]))
        if isinstance(answer := answers[number], Remains)
        else Remains(None, (None,) * len(cutters))
        for (body, cutters), number in zip(cuts, asked, strict=True)
    ]


def _volumes(meshes: Sequence[Mesh], like: Likeness) -> Floats:
    """Volume of each mesh, m3, worked out once a shape."""
    _, first, inverse = np.unique(like.shape, return_index=True, return_inverse=True)
    each = np.array([volume(meshes[number]) for number in first.tolist()])
    out: Floats = each[inverse.reshape(-1)]
    return out


def _meeting(meshes: Sequence[Mesh], pairs: Ints) -> Ints:
    """The pairs whose boxes share more than a film."""
    if not len(pairs):
        return pairs
    boxes = boxes_of(meshes)
    low = np.maximum(boxes[pairs[:, 0], 0], boxes[pairs[:, 1], 0])
    high = np.minimum(boxes[pairs[:, 0], 1], boxes[pairs[:, 1], 1])
    return pairs[(high - low).min(axis=1) > SHALLOW]
