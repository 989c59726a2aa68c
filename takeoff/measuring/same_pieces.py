"""One thing in two models: a designer's and a supplier's bodies that fill nearly the same space."""

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from takeoff.geometry.booleans import manifold
from takeoff.geometry.mesh import Ints, Mesh, boxes_of
from takeoff.geometry.neighbours import near_pairs

BOXES = 0.5
"""Bodies are compared where their boxes share this part of the smaller one."""


def same_pieces(
    meshes: Sequence[Mesh], model: Sequence[int], piece: NDArray[np.bool_], share: float, rest: float
) -> dict[int, tuple[int, float]]:
    """For each body that another model shows too, and keeps, the largest body that stands for it and the m3 shared.

    `model` is the place of each body's model, the one that keeps first; `piece` (n,) marks those that are set, not
    cast. Two sets of bodies of one sort are the same when each body of either is covered to `share` by those of the
    other: a piece within a larger thing of another model is none. Cast concrete is the same as the pieces of another
    model, which keep, when they leave no more than `rest` of it: that is their joints.
    """
    place = np.asarray(model)
    if len(np.unique(place)) < 2:
        return {}
    shared = _shared(meshes, place)
    size = {
        number: float(manifold(meshes[number]).volume()) for number in {n for pair in shared for n in pair}
    }
    alike = {pair: volume for pair, volume in shared.items() if piece[pair[0]] == piece[pair[1]]}
    found = _doubles(alike, place, size, share)
    unlike = {
        pair: volume
        for pair, volume in shared.items()
        if piece[pair[0]] != piece[pair[1]] and pair[0] not in found and pair[1] not in found
    }
    return found | _doubles(unlike, np.where(piece, 0, 1), size, 1.0 - rest)


def _doubles(
    shared: Mapping[tuple[int, int], float], place: Ints, size: Mapping[int, float], share: float
) -> dict[int, tuple[int, float]]:
    """Those of some pairs that are the same, by the one that does not keep; the lower `place` keeps."""
    covered: dict[int, float] = defaultdict(float)
    for (one, other), volume in shared.items():
        covered[one] += volume
        covered[other] += volume
    same = {number for number, volume in covered.items() if volume >= share * size[number]}
    by_keepers: dict[int, list[tuple[float, int]]] = defaultdict(list)
    for (one, other), volume in shared.items():
        if one in same and other in same:
            keeper, double = (one, other) if place[one] < place[other] else (other, one)
            by_keepers[double].append((volume, keeper))
    found: dict[int, tuple[int, float]] = {}
    for double in sorted(by_keepers, key=lambda number: (place[number], number)):
        kept = [(volume, keeper) for volume, keeper in by_keepers[double] if keeper not in found]
        total = sum(volume for volume, _ in kept)
        if kept and total >= share * size[double]:
            found[double] = max(kept)[1], total
    return found


def _shared(meshes: Sequence[Mesh], place: Ints) -> dict[tuple[int, int], float]:
    """Volumes, m3, that bodies of different models share, where their boxes share much."""
    boxes = boxes_of(list(meshes))
    pairs = near_pairs(boxes)
    if not len(pairs):
        return {}
    a, b = pairs[:, 0], pairs[:, 1]
    extent = np.minimum(boxes[a, 1], boxes[b, 1]) - np.maximum(boxes[a, 0], boxes[b, 0])
    room = np.prod(np.maximum(extent, 0.0), axis=1)
    own = np.prod(boxes[:, 1] - boxes[:, 0], axis=1)
    close = (place[a] != place[b]) & (room >= BOXES * np.minimum(own[a], own[b]))
    found = {}
    for one, other in pairs[close].tolist():
        volume = float((manifold(meshes[one]) ^ manifold(meshes[other])).volume())
        if volume > 0.0:
            found[one, other] = volume
    return found
