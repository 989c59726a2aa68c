"""Height to soffit: how far a form hangs over the next concrete below, found by looking down."""

import math
from collections.abc import Sequence

import numpy as np
import shapely
from msgspec import Struct
from numpy.typing import NDArray

from takeoff.geometry import planar
from takeoff.geometry.clipping import differences, intersections
from takeoff.geometry.mesh import Ints
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.dimensions import LEVEL_AXIS, plan_polygon
from takeoff.measuring.height_bands import between_heights

SHEET = 256
"""Floors are searched in sheets of this many, from the top down, so that a tall tower is not searched whole."""
LEFT = 1e-6
"""A share of a soffit under this is nothing."""

TILED_CORNERS = 60
TILED_WORK = 10_000
"""A soffit of more corners than the first is looked at in tiles where corners times floors are more than the second:
every floor that is taken off it costs the time of all of its corners."""

CROWDED = 32
"""A soffit over more floors of one sheet than this is asked first which of them lie below it at all."""

AT_ONCE = 64
"""Floors of a crowded soffit that are taken together."""

HAIR = 1e-7
"""Metres."""

CLEAR = 1e-3
"""What is nearer to a soffit than this, m, is not below it."""

PROPPED = 0.5
"""The level of a storey is taken for the floor that is not shown where a soffit is higher above it than this, m."""

PARALLEL = 1e-6
"""A soffit and a floor whose slopes differ by less than this, m a metre, are parallel."""

TILE_FLOORS = 8
MOST_TILES = 32
"""Floors that a tile should have, and the most tiles along either side of a soffit."""


class Below(Struct, frozen=True, eq=False):
    """A piece of a soffit with one surface below it, within one band of heights.

    `share` of the soffit's area, mean `height` m to what is below, None where nothing is.
    """

    share: float
    height: float | None


class Outlook(Struct, frozen=True, eq=False):
    """What one soffit looks down upon, nearest first.

    Nothing lower than `reach` m has a say in it: -inf where the soffit hangs over nothing with a part, inf where
    nothing is left of it.
    """

    below: tuple[Below, ...]
    reach: float


class Floors:
    """The surfaces on which props can stand, ready to be looked down upon."""

    def __init__(self, surfaces: Surfaces, rows: Ints, limits: Sequence[float] = ()) -> None:
        """`rows` are the surfaces of concrete bodies; those that look up are kept, ordered by height.

        What is looked down from is divided where its height passes one of `limits` m.
        """
        self.surfaces = surfaces
        self.limits = sorted(limits)
        rows = rows[(surfaces.normal[rows, 2] > 0.5) & (surfaces.frame[rows] >= 0)]
        self.rows = rows[np.argsort(surfaces.box[rows, 1, 2], kind="stable")]
        self.plans = _plans(surfaces, self.rows, surfaces.polygon[self.rows])
        self.foot, self.top = surfaces.box[self.rows, 0, 2], surfaces.box[self.rows, 1, 2]
        sheets = range(0, len(self.rows), SHEET)
        self.trees = [shapely.STRtree(self.plans[start : start + SHEET]) for start in sheets]
        self.lowest = np.array([self.foot[start : start + SHEET].min() for start in sheets])

    def below(
        self, rows: Sequence[int], remaining: Sequence[shapely.Geometry], levels: Sequence[float | None]
    ) -> list[Outlook]:
        """What lies under the part `remaining` (in its frame) of each of the soffits `rows`, nearest first.

        `levels` m are the floors to assume where nothing lies below, None where none may be.
        """
        surfaces = self.surfaces
        numbers = np.asarray(rows, dtype=np.int64)
        shapes = np.full(len(numbers), None, dtype=object)
        shapes[:] = list(remaining)
        plans = _plans(surfaces, numbers, shapes)
        tiles = self._tiles(plans, surfaces.box[numbers, 1, 2])
        if not tiles:
            return self._below(numbers, plans, levels)
        whole = [i for i in range(len(plans)) if i not in tiles]
        of = np.array([*whole, *(i for i, cut in tiles.items() for _ in cut)], dtype=np.int64)
        every = np.full(len(of), None, dtype=object)
        every[:] = [*plans[whole], *(tile for cut in tiles.values() for tile in cut)]
        looks = self._below(numbers[of], every, [levels[i] for i in of.tolist()])
        out = dict(zip(whole, looks, strict=False))
        start = len(whole)
        for i, cut in tiles.items():
            out[i] = _together(looks[start : start + len(cut)], shapely.area(cut))
            start += len(cut)
        return [out[i] for i in range(len(plans))]

    def _tiles(self, plans: NDArray[np.object_], top: NDArray[np.float64]) -> dict[int, NDArray[np.object_]]:
        """Pieces of the soffits of many corners that hang over many floors, by the soffit's place."""
        out = {}
        corners = shapely.get_num_coordinates(plans)
        for i in np.flatnonzero(corners > TILED_CORNERS).tolist():
            trees = [tree for tree, low in zip(self.trees, self.lowest, strict=True) if low < top[i]]
            floors = sum(len(tree.query(plans[i])) for tree in trees)
            if floors * corners[i] > TILED_WORK:
                out[i] = _cut_up(plans[i], min(MOST_TILES, math.ceil(math.sqrt(floors / TILE_FLOORS))))
        return {i: cut for i, cut in out.items() if len(cut) > 1}

    def _below(
        self, numbers: Ints, plans: NDArray[np.object_], levels: Sequence[float | None]
    ) -> list[Outlook]:
        """What lies under the soffits `numbers`, of which `plans` are looked at."""
        surfaces = self.surfaces
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
            found[i] += self._assumed(int(numbers[i]), plans[i], levels[i], float(total[i]))
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
        if len(soffit) > CROWDED:
            many = np.bincount(soffit)[soffit] > CROWDED
            keep = ~many
            keep[many] = self._somewhere_below(rows[soffit[many]], floor[many])
            soffit, floor = soffit[keep], floor[keep]
        order = np.lexsort((-floor, soffit))
        soffit, floor = soffit[order], floor[order]
        if len(soffit) > CROWDED:
            counts = np.bincount(soffit)
            many = counts[soffit] > CROWDED
            for i in np.flatnonzero(counts > CROWDED).tolist():
                self._take_many(i, rows, plans, total, open_, reach, floor[soffit == i], found)
            soffit, floor = soffit[~many], floor[~many]
        starts = (
            np.flatnonzero(np.concatenate([[True], soffit[1:] != soffit[:-1]])) if len(soffit) else soffit
        )
        turn = np.arange(len(soffit)) - np.repeat(starts, np.diff(np.append(starts, len(soffit))))
        for this in range(int(turn.max()) + 1 if len(turn) else 0):
            now = np.flatnonzero((turn == this) & open_[soffit])
            who, under = soffit[now], floor[now]
            reach[who] = self.top[under]
            pieces = intersections(plans[who], self.plans[under])
            solid = shapely.area(pieces) > LEFT * total[who]
            who, under = who[solid], under[solid]
            of, height, parts, taken = self._hung(rows[who], under, pieces[solid])
            share = shapely.area(parts) / total[who[of]]
            for i, part, gap in zip(who[of].tolist(), share.tolist(), height.tolist(), strict=True):
                found[i].append(Below(part, gap))
            held = np.unique(of)
            who = who[held]
            plans[who] = differences(plans[who], taken[held])
            open_[who] = shapely.area(plans[who]) > LEFT * total[who]

    def _take_many(
        self,
        i: int,
        rows: Ints,
        plans: NDArray[np.object_],
        total: NDArray[np.float64],
        open_: NDArray[np.bool_],
        reach: NDArray[np.float64],
        floors: Ints,
        found: list[list[Below]],
    ) -> None:
        """Take off one open soffit what stands on many floors, highest first; what does not overlap goes at once.

        One by one, each of the thousand facets of a curved floor would cost the time of all corners that are left.
        """
        for start in range(0, len(floors), AT_ONCE):
            for under in self._apart(floors[start : start + AT_ONCE]):
                if not open_[i]:
                    return
                reach[i] = self.top[under].min()
                pieces = planar.intersection(plans[i], self.plans[under])
                solid = shapely.area(pieces) > LEFT * total[i]
                under = under[solid]
                of, height, parts, taken = self._hung(np.full(len(under), rows[i]), under, pieces[solid])
                share = shapely.area(parts) / total[i]
                found[i].extend(
                    Below(part, gap) for part, gap in zip(share.tolist(), height.tolist(), strict=True)
                )
                if len(of):
                    whole = planar.union_all(taken[np.unique(of)])
                    # A hair more, so that no slits of rounding are left between facets that touch.
                    plans[i] = planar.difference(plans[i], shapely.buffer(whole, HAIR, join_style="mitre"))
                open_[i] = shapely.area(plans[i]) > LEFT * total[i]

    def _hung(
        self, rows: Ints, floors: Ints, pieces: NDArray[np.object_]
    ) -> tuple[Ints, NDArray[np.float64], NDArray[np.object_], NDArray[np.object_]]:
        """Where the planes of the soffits `rows` (k,) hang over those of `floors` (k,), within `pieces` (k,).

        Gives place of the pair, mean height m and plan of each part, and what each pair takes off its soffit (k,).
        """
        middle = shapely.get_coordinates(shapely.centroid(pieces))
        height = self._heights(rows, middle) - self._heights(self.rows[floors], middle)
        taken = self.plans[floors]
        gradient = self._gradients(rows) - self._gradients(self.rows[floors])
        lean = np.flatnonzero(np.linalg.norm(gradient, axis=1) > PARALLEL)
        if not len(lean):
            of = np.flatnonzero(height >= CLEAR)
            return of, height[of], pieces[of], taken
        taken = taken.copy()
        parts = {k: [(pieces[k], height[k])] for k in range(len(pieces)) if height[k] >= CLEAR}
        for k in lean.tolist():
            offset = float(height[k] - middle[k] @ gradient[k])
            cut = between_heights(pieces[k], offset, gradient[k], [0.0, *self.limits])
            parts[k] = [part for part in cut if part[1] >= CLEAR]
            if len(parts[k]) < len(cut):
                taken[k] = planar.union_all([part for part, _ in parts[k]])
        of = np.array([k for k in sorted(parts) for _ in parts[k]], dtype=np.int64)
        flat = [part for k in sorted(parts) for part in parts[k]]
        plans = np.full(len(flat), None, dtype=object)
        plans[:] = [plan for plan, _ in flat]
        return of, np.array([high for _, high in flat]), plans, taken

    def _assumed(self, row: int, plan: shapely.Geometry, level: float | None, total: float) -> list[Below]:
        """What a soffit hangs over with the part `plan` under which nothing lies: the floor of its storey, if any."""
        if level is None:
            return [Below(float(plan.area) / total, None)]
        gradient = self._gradients(np.array([row]))[0]
        offset = float(self._heights(np.array([row]), np.zeros((1, 2)))[0]) - level
        limits = [PROPPED, *(limit for limit in self.limits if limit > PROPPED)]
        return [
            Below(float(part.area) / total, height if height > PROPPED else None)
            for part, height in between_heights(plan, offset, gradient, limits)
        ]

    def _gradients(self, rows: Ints) -> NDArray[np.float64]:
        """By how much the plane of each surface rises along x and y, (k, 2)."""
        normal = self.surfaces.normal[rows]
        out: NDArray[np.float64] = -normal[:, :2] / normal[:, 2:]
        return out

    def _apart(self, floors: Ints) -> list[Ints]:
        """Floors in their order, in groups of such as do not overlap in plan."""
        plans = self.plans[floors]
        whole = float(shapely.area(plans).sum())
        if len(floors) < 2 or shapely.area(planar.union_all(plans)) >= whole * (1.0 - 1e-9):
            return [floors]
        half = len(floors) // 2
        return [*self._apart(floors[:half]), *self._apart(floors[half:])]

    def _somewhere_below(self, rows: Ints, floors: Ints) -> NDArray[np.bool_]:
        """Whether the planes of `floors` (k,) lie below those of the soffits `rows` (k,) at one of their corners."""
        if not len(floors):
            return np.ones(0, dtype=bool)
        corners, place = shapely.get_coordinates(self.plans[floors], return_index=True)
        clear = self._heights(rows[place], corners) - self._heights(self.rows[floors][place], corners)
        starts = np.flatnonzero(np.append(True, place[1:] != place[:-1]))
        out = np.ones(len(floors), dtype=bool)
        out[place[starts]] = np.maximum.reduceat(clear, starts) >= 1e-3
        return out

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


def _cut_up(plan: shapely.Geometry, count: int) -> NDArray[np.object_]:
    """The pieces of a plan in a grid of `count` by `count`: in columns first, so that each cell meets few corners."""
    low_x, low_y, high_x, high_y = shapely.bounds(plan).tolist()
    at_x, at_y = np.linspace(low_x, high_x, count + 1), np.linspace(low_y, high_y, count + 1)
    columns = planar.intersection(plan, shapely.box(at_x[:-1], low_y, at_x[1:], high_y))
    cells = planar.intersection(
        np.repeat(columns, count),
        shapely.box(low_x, np.tile(at_y[:-1], count), high_x, np.tile(at_y[1:], count)),
    )
    pieces: NDArray[np.object_] = cells[shapely.area(cells) > 0.0]
    return pieces


def _together(looks: Sequence[Outlook], areas: NDArray[np.float64]) -> Outlook:
    """What a soffit looks down upon, from what its pieces of some areas do."""
    parts = areas / areas.sum()
    entries = [
        Below(entry.share * part, entry.height)
        for look, part in zip(looks, parts.tolist(), strict=True)
        for entry in look.below
    ]
    entries.sort(key=lambda entry: np.inf if entry.height is None else entry.height)
    return Outlook(tuple(entries), min(look.reach for look in looks))
