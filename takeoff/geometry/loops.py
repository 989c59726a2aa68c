"""Outlines of facets: closed loops of border edges, traced in bulk."""

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from takeoff.geometry.mesh import Floats, Ints


class Loops(Struct, frozen=True, eq=False):
    """Border loops of facets, as half-edges in walking order.

    `facet` (l,) the facet of each loop; for the (k,) half-edges, loop by loop: `loop` its loop, `half` its
    number (3 * triangle + corner), `vertex` its start, `last` whether it closes the loop. `first_index` (l,)
    is where each loop begins. `tangled` (f,) marks facets whose outline meets itself at a corner.
    """

    facet: Ints
    loop: Ints
    half: Ints
    vertex: Ints
    last: NDArray[np.bool_]
    first_index: Ints
    tangled: NDArray[np.bool_]

    def outer(self, vertices: Floats, normal: Floats) -> NDArray[np.bool_]:
        """Which loops (l,) run around their facet rather than around a hole; `normal` (f, 3)."""
        points = vertices[self.vertex]
        start = points[self.first_index[self.loop]]
        following = np.where(self.last, self.first_index[self.loop], np.arange(len(points)) + 1)
        cross = np.cross(points - start, points[following] - start)
        signed = np.einsum("ij,ij->i", cross, normal[self.facet[self.loop]])
        return np.bincount(self.loop, signed, len(self.facet)) > 0


def trace_loops(faces: Ints, facet_of: Ints, twin: Ints) -> Loops:
    """Loops of the half-edges whose other side is another facet.

    `faces` (m, 3), `facet_of` (m,) with -1 for slivers, `twin` (3m,). Loops are found by pointer doubling,
    so the work is vectorised and grows with the logarithm of the longest loop.
    """
    count = int(facet_of.max()) + 1 if len(facet_of) else 0
    own = np.repeat(facet_of, 3)
    other = np.where(twin >= 0, facet_of[np.maximum(twin, 0) // 3], -2)
    half = np.flatnonzero((own >= 0) & (own != other))
    start = faces.ravel()[half]
    end = faces[:, [1, 2, 0]].ravel()[half]
    facet = own[half]
    size = int(faces.max()) + 1 if len(faces) else 1
    code = facet * size + start
    order = np.argsort(code, kind="stable")
    half, start, end, facet, code = half[order], start[order], end[order], facet[order], code[order]
    tangled = np.zeros(count, dtype=bool)
    tangled[facet[1:][code[1:] == code[:-1]]] = True
    target = np.searchsorted(code, facet * size + end)
    target = np.minimum(target, max(len(code) - 1, 0))
    astray = code[target] != facet * size + end if len(code) else np.empty(0, bool)
    tangled[facet[astray]] = True
    sound = ~tangled[facet]
    keep = np.flatnonzero(sound)
    position = np.cumsum(sound) - 1
    following = position[target[keep]]
    half, start, facet = half[keep], start[keep], facet[keep]

    head = np.arange(len(half))
    pointer = following.copy()
    while True:
        better = np.minimum(head, head[pointer])
        if np.array_equal(better, head):
            break
        head, pointer = better, pointer[pointer]
    ends = following == head
    pointer = np.where(ends, np.arange(len(half)), following)
    left = np.where(ends, 0, 1)
    while True:
        step = left[pointer]
        if not step.any():
            break
        left = left + step
        pointer = pointer[pointer]
    heads, loop = np.unique(head, return_inverse=True)
    loop = loop.reshape(-1)
    walk = np.lexsort((-left, loop))
    loop = loop[walk]
    first = np.searchsorted(loop, np.arange(len(heads)))
    return Loops(
        facet=facet[heads],
        loop=loop,
        half=half[walk],
        vertex=start[walk],
        last=ends[walk],
        first_index=first,
        tangled=tangled,
    )
