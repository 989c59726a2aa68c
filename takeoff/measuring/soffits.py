"""Height to soffit: how far a form hangs over the next concrete below, found by looking down."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from takeoff.geometry.clipping import differences, intersections
from takeoff.geometry.mesh import Ints
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.dimensions import LEVEL_AXIS, plan_polygon

SHEET = 256
"""Floors are searched in sheets of this many, from the top down, so that a tall tower is not searched whole."""
LEFT = 1e-6
"""A share of a soffit under this is nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class Below:
    """A piece of a soffit with one surface below it.

    `share` of the soffit's area, `height` m to what is below, None where nothing is.
    """

    share: float
    height: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """What one soffit looks down upon, nearest first.

    Nothing lower than `reach` m has a say in it: -inf where the soffit hangs over nothing with a part, inf where
    nothing is left of it.
    """

    below: tuple[Below, ...]
    reach: float


class Floors:
    """The surfaces on which props can stand, ready to be looked down upon."""

    def __init__(self, surfaces: Surfaces, rows: Ints) -> None:
        """`rows` are the surfaces of concrete bodies; those that look up are kept, ordered by height."""
        self.surfaces = surfaces
        rows = rows[(surfaces.normal[rows, 2] > 0.5) & (surfaces.frame[rows] >= 0)]
        self.rows = rows[np.argsort(surfaces.box[rows, 1, 2], kind="stable")]
        self.plans = _plans(surfaces, self.rows, surfaces.polygon[self.rows])
        self.foot, self.top = surfaces.box[self.rows, 0, 2], surfaces.box[self.rows, 1, 2]
        sheets = range(0, len(self.rows), SHEET)
        self.trees = [shapely.STRtree(self.plans[start : start + SHEET]) for start in sheets]
        self.lowest = np.array([self.foot[start : start + SHEET].min() for start in sheets])

    def below(self, rows: Sequence[int], remaining: Sequence[shapely.Geometry]) -> list[Outlook]:
        """What lies under the part `remaining` (in its frame) of each of the soffits `rows`, nearest first."""
        surfaces = self.surfaces
        numbers = np.asarray(rows, dtype=np.int64)
        shapes = np.full(len(numbers), None, dtype=object)
        shapes[:] = list(remaining)
        plans = _plans(surfaces, numbers, shapes)
        total = shapely.area(plans)
        found: list[list[Below]] = [[] for _ in plans]
        top = surfaces.box[numbers, 1, 2] - 1e-3
        open_ = total > 0
        reach = np.full(len(numbers), np.inf)
        sheets = range(len(self.trees) - 1, -1, -1)
        for sheet in sheets:
            looking = np.flatnonzero(open_ & (top > self.lowest[sheet]))
            if not len(looking):
                continue
            soffit, floor = self.trees[sheet].query(plans[looking], predicate="intersects")
            soffit, floor = looking[soffit], floor + sheet * SHEET
            under = self.foot[floor] < top[soffit]
            self._take(numbers, plans, total, open_, reach, soffit[under], floor[under], found)
        reach[open_] = -np.inf
        rest = np.where(open_, shapely.area(plans), 0.0)
        for i in np.flatnonzero(rest > LEFT * total).tolist():
            found[i].append(Below(float(rest[i] / total[i]), None))
        return [
            Outlook(tuple(entries or [Below(1.0, None)]), to)
            for entries, to in zip(found, reach.tolist(), strict=True)
        ]

    def under(self, boxes: NDArray[np.float64]) -> tuple[Ints, Ints]:
        """(box, place in `rows`) of the floors in plan within boxes (k, 2, 3) or at their edge.

        Those that stand wholly above a box, or end below it, are left out.
        """
        plans = shapely.box(boxes[:, 0, 0], boxes[:, 0, 1], boxes[:, 1, 0], boxes[:, 1, 1])
        empty = np.empty(0, dtype=np.int64)
        found = [(empty, empty)]
        for sheet, tree in enumerate(self.trees):
            highest = self.top[min(len(self.rows), (sheet + 1) * SHEET) - 1]
            looking = np.flatnonzero((boxes[:, 1, 2] > self.lowest[sheet]) & (boxes[:, 0, 2] <= highest))
            if len(looking):
                box, floor = tree.query(plans[looking])
                box, floor = looking[box], floor + sheet * SHEET
                within = (self.foot[floor] < boxes[box, 1, 2]) & (self.top[floor] >= boxes[box, 0, 2])
                found.append((box[within], floor[within]))
        return np.concatenate([box for box, _ in found]), np.concatenate([floor for _, floor in found])

    def _take(
        self,
        rows: Ints,
        plans: NDArray[np.object_],
        total: NDArray[np.float64],
        open_: NDArray[np.bool_],
        reach: NDArray[np.float64],
        soffit: Ints,
        floor: Ints,
        found: list[list[Below]],
    ) -> None:
        """Take off the open soffits what stands on the given floors, each soffit's highest floor first.

        All soffits go through their first floor together, then through their second, and so on.
        """
        order = np.lexsort((-floor, soffit))
        soffit, floor = soffit[order], floor[order]
        starts = (
            np.flatnonzero(np.concatenate([[True], soffit[1:] != soffit[:-1]])) if len(soffit) else soffit
        )
        turn = np.arange(len(soffit)) - np.repeat(starts, np.diff(np.append(starts, len(soffit))))
        for this in range(int(turn.max()) + 1 if len(turn) else 0):
            now = np.flatnonzero((turn == this) & open_[soffit])
            who, under = soffit[now], floor[now]
            reach[who] = self.top[under]
            pieces = intersections(plans[who], self.plans[under])
            share = shapely.area(pieces) / total[who]
            solid = share > LEFT
            who, under, share = who[solid], under[solid], share[solid]
            middle = shapely.get_coordinates(shapely.centroid(pieces[solid]))
            height = self._heights(rows[who], middle) - self._heights(self.rows[under], middle)
            clear = height >= 1e-3
            who, under = who[clear], under[clear]
            for i, part, gap in zip(who.tolist(), share[clear].tolist(), height[clear].tolist(), strict=True):
                found[i].append(Below(part, gap))
            plans[who] = differences(plans[who], self.plans[under])
            open_[who] = shapely.area(plans[who]) > LEFT * total[who]

    def _heights(self, rows: Ints, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Height of the plane of each surface over its point (k, 2) of the plan, m."""
        normal, centre = self.surfaces.normal[rows], self.surfaces.centre[rows]
        along = ((points - centre[:, :2]) * normal[:, :2]).sum(axis=1)
        out: NDArray[np.float64] = centre[:, 2] - along / normal[:, 2]
        return out


def _plans(surfaces: Surfaces, rows: Ints, shapes: NDArray[np.object_]) -> NDArray[np.object_]:
    """`shapes` (k,) in the frames of the surfaces `rows`, seen from above: as they are where the frame is level."""
    plans = shapes.copy()
    for i in np.flatnonzero(1.0 - np.abs(surfaces.axes[rows, 2, 2]) >= LEVEL_AXIS).tolist():
        plans[i] = plan_polygon(surfaces, int(rows[i]), shapes[i])
    return plans
