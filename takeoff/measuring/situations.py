"""Bodies in equal situations: what is measured of one is true of all, so it is measured once.

The figures of a body follow from its own surfaces, from what its element says, from what touches it, and from the
floors that its soffits look down upon. Typical storeys repeat all of that. Everything is compared exactly, in steps of
`geometry.patterns.STEP`, from a corner of the body that moves along; what cannot be compared stands alone.
"""

from collections import defaultdict
from collections.abc import Hashable, Iterable, Mapping, Sequence

import numpy as np
from msgspec import Struct

from takeoff.geometry.mesh import Floats, Ints
from takeoff.geometry.patterns import body_patterns, outlines, steps, traits
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.bodies import Body
from takeoff.measuring.finishes import Finishes
from takeoff.measuring.relief import Touches
from takeoff.measuring.soffits import Floors

EDGE = 1e-7
"""Floors that reach under a body by less than this, m, or stand up to its soffit this closely, are not looked upon."""
DEPTHS = (4.0, 16.0, 64.0, np.inf)
"""How far down floors are compared at first, m, and then: most that differ do so under the next storey."""


class Situations(Struct, frozen=True, eq=False):
    """`groups` are bodies in situations that are equal but for what their soffits look down upon, in their order.

    `anchor` (b, 3) is the corner of each body from which its situation is told; `touching` its neighbours, each as
    often as it touches, in the order in which they are compared.
    """

    groups: tuple[tuple[int, ...], ...]
    anchor: Floats
    touching: Mapping[int, Sequence[int]]


def find_situations(
    surfaces: Surfaces,
    bodies: Sequence[Body],
    rows_of: Sequence[Ints],
    touches: Touches,
    grounded: Sequence[bool],
    finishes: Finishes,
    singular: Iterable[int],
) -> Situations:
    """Groups of bodies by all that their figures follow from. `singular` bodies stand alone."""
    bound = np.cumsum([0, *(len(rows) for rows in rows_of)])
    if not len(bodies) or (np.diff(bound) == 0).any():
        return Situations(tuple((number,) for number in range(len(bodies))), np.zeros((len(bodies), 3)), {})
    shapes = body_patterns(surfaces, np.concatenate(rows_of), bound)
    around, touching = _surroundings(surfaces, bodies, rows_of, touches, shapes.anchor)
    lift = steps(
        np.array([np.nan if body.storey_elevation is None else body.storey_elevation for body in bodies])
        - shapes.anchor[:, 2]
    ).tolist()
    net = steps(np.array([body.net for body in bodies])).tolist()
    alone = set(singular)
    groups: dict[Hashable, list[int]] = defaultdict(list)
    for number, body in enumerate(bodies):
        key: Hashable = number
        if number not in alone:
            openings = tuple(steps(np.array(body.openings)).tolist()) if body.openings else ()
            rules = tuple(map(id, finishes.of(body)))  # they live as long as the finishes
            said = (
                _said(body),
                grounded[number],
                number in touches.isolated,
                lift[number],
                net[number],
                openings,
                rules,
            )
            key = shapes.pattern[number], around.get(number), said
        groups[key].append(number)
    return Situations(tuple(tuple(group) for group in groups.values()), shapes.anchor, touching)


def _said(body: Body) -> Hashable:
    """What the element and the part say that has a say in figures."""
    facts, plan = body.element.facts, body.plan
    return (
        body.role, body.element.subrole, facts.ifc_class, body.element.ground,
        plan.method, plan.evidence, plan.permanent_formwork, plan.shell,
    )  # fmt: skip


def _surroundings(
    surfaces: Surfaces, bodies: Sequence[Body], rows_of: Sequence[Ints], touches: Touches, anchor: Floats
) -> tuple[dict[int, Hashable], dict[int, list[int]]]:
    """What touches each body that anything touches: how, where and by whom, and the neighbours in that order.

    Two neighbours of one GlobalId are told apart from two of different ones, because rows name them.
    """
    if not len(touches.own):
        return {}, {}
    body = surfaces.part[touches.own]
    order = np.argsort(body, kind="stable")
    own, body, by = touches.own[order], body[order], surfaces.part[touches.other[order]]
    places = np.flatnonzero(np.concatenate([[True], body[1:] != body[:-1], [True]]))
    local = np.empty(len(surfaces), dtype=np.int64)
    for number in body[places[:-1]].tolist():
        local[rows_of[number]] = np.arange(len(rows_of[number]))
    known: dict[Hashable, int] = {}
    who = np.array([known.setdefault(_said(one), len(known)) for one in bodies], dtype=np.int64)
    names: dict[str, int] = {}
    name = np.array([names.setdefault(one.key[1], len(names)) for one in bodies], dtype=np.int64)
    pair = body * len(names) + name[by]
    _, first, inverse = np.unique(pair, return_index=True, return_inverse=True)
    start = np.repeat(places[:-1], np.diff(places))
    states: dict[str, int] = {}
    state = [states.setdefault(touches.state[k], len(states)) for k in order.tolist()]
    shape = outlines(surfaces, own, touches.polygon[order], anchor[body])
    fixed = np.column_stack(
        [
            local[own], state, who[by], first[inverse.reshape(-1)] - start, np.diff(shape.bound),
            steps(touches.area[order]), steps(touches.gap[order]),
        ]
    )  # fmt: skip
    listed, bounds = by.tolist(), places.tolist()
    corners = shape.bound[places].tolist()
    around: dict[int, Hashable] = {}
    touching = {}
    for turn, number in enumerate(body[places[:-1]].tolist()):
        low, high = bounds[turn], bounds[turn + 1]
        around[number] = fixed[low:high].tobytes(), shape.corners[corners[turn] : corners[turn + 1]].tobytes()
        touching[number] = listed[low:high]
    return around, touching


class Outlooks:
    """Compares the floors that bodies look down upon."""

    def __init__(self, surfaces: Surfaces, rows_of: Sequence[Ints], floors: Floors, anchor: Floats) -> None:
        """`anchor` (b, 3) is the corner of each body from which floors are told."""
        self.surfaces, self.rows_of, self.floors, self.anchor = surfaces, rows_of, floors, anchor
        self.place = surfaces.box[floors.rows, 0]
        fixed = traits(surfaces, floors.rows, self.place)
        shape = outlines(surfaces, floors.rows, surfaces.polygon[floors.rows], self.place)
        bound = shape.bound.tolist()
        known: dict[tuple[bytes, bytes], int] = {}
        self.kind = np.array(
            [
                known.setdefault(
                    (fixed[k].tobytes(), shape.corners[bound[k] : bound[k + 1]].tobytes()), len(known)
                )
                for k in range(len(fixed))
            ],
            dtype=np.int64,
        )

    def equal(self, first: Sequence[int], groups: Sequence[Sequence[int]], reach: Floats) -> list[list[int]]:
        """Of each group the bodies that look down upon the same as the body `first` of it.

        Nothing lower than `reach` (g,) m has a say in what the first of a group looks down upon.
        """
        chosen: list[list[int]] = [list(group) for group in groups]
        decided = reach == np.inf
        for depth in DEPTHS:
            open_ = [g for g in np.flatnonzero(~decided).tolist() if chosen[g]]
            if not open_:
                break
            seen = self._seen(first, chosen, reach, open_, depth)
            for g in open_:
                own = seen.get(first[g], b"")
                chosen[g] = [number for number in chosen[g] if seen.get(number, b"") == own]
            decided |= reach >= self._high(first) - depth
        return chosen

    def _high(self, numbers: Sequence[int]) -> Floats:
        """The highest point of each body, m."""
        return np.array([self.surfaces.box[self.rows_of[number], 1, 2].max() for number in numbers])

    def _seen(
        self,
        first: Sequence[int],
        groups: Sequence[Sequence[int]],
        reach: Floats,
        open_: Sequence[int],
        depth: float,
    ) -> dict[int, bytes]:
        """What the bodies of the groups `open_`, and the first of each, look down upon, as far as `depth` m."""
        numbers, relative = [], []
        for g in open_:
            rows = self.rows_of[first[g]]
            down = rows[self.surfaces.normal[rows, 2] < 0.0]
            corner = self.anchor[first[g]]
            low = self.surfaces.box[down, 0].min(axis=0) + EDGE
            high = self.surfaces.box[down, 1].max(axis=0) - EDGE
            low[2] = max(reach[g], high[2] - depth) - EDGE
            own = [first[g], *groups[g]]
            numbers += own
            relative += [np.stack([low - corner, high - corner])] * len(own)
        listed = np.array(numbers)
        corners = self.anchor[listed]
        box, floor = self.floors.under(np.array(relative) + corners[:, None])
        entries = np.column_stack([self.kind[floor], steps(self.place[floor] - corners[box])])
        order = np.lexsort((*entries.T[::-1], box))
        box, entries = box[order], entries[order]
        bound = np.searchsorted(box, np.arange(len(listed) + 1)).tolist()
        return {number: entries[bound[k] : bound[k + 1]].tobytes() for k, number in enumerate(numbers)}
