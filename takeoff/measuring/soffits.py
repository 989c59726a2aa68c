"""Height to soffit: how far a form hangs over the next concrete below, found by looking down."""

from dataclasses import dataclass

import numpy as np
import shapely

from takeoff.geometry.mesh import Ints
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.dimensions import plan_polygon


@dataclass(frozen=True, slots=True, eq=False)
class Below:
    """A piece of a soffit with one surface below it.

    `share` of the soffit's area, `height` m to what is below, None where nothing is.
    """

    share: float
    height: float | None


class Floors:
    """The surfaces on which props can stand, ready to be looked down upon."""

    def __init__(self, surfaces: Surfaces, rows: Ints) -> None:
        """`rows` are the surfaces of concrete bodies; those that look up are kept."""
        self.surfaces = surfaces
        self.rows = rows[(surfaces.normal[rows, 2] > 0.5) & (surfaces.frame[rows] >= 0)]
        self.plans = np.array([plan_polygon(surfaces, row) for row in self.rows], dtype=object)
        self.tree = shapely.STRtree(self.plans)

    def below(self, row: int, remaining: shapely.Geometry) -> list[Below]:
        """What lies under the part `remaining` (in its frame) of soffit `row`, nearest first."""
        surfaces = self.surfaces
        plan = plan_polygon(surfaces, row, remaining)
        total = plan.area
        if total <= 0:
            return [Below(1.0, None)]
        hits = self.tree.query(plan, predicate="intersects")
        candidates = []
        for hit in hits:
            floor = self.rows[hit]
            if surfaces.box[floor, 0, 2] < surfaces.box[row, 1, 2] - 1e-3:
                candidates.append((float(surfaces.box[floor, 1, 2]), int(hit)))
        result = []
        for _, hit in sorted(candidates, reverse=True):
            piece = shapely.intersection(plan, self.plans[hit])
            if piece.area <= 1e-6 * total:
                continue
            middle = piece.centroid
            height = surfaces.height_at(row, middle.x, middle.y) - surfaces.height_at(
                int(self.rows[hit]), middle.x, middle.y
            )
            if height < 1e-3:
                continue
            result.append(Below(piece.area / total, height))
            plan = shapely.difference(plan, self.plans[hit])
            if plan.area <= 1e-6 * total:
                break
        if plan.area > 1e-6 * total:
            result.append(Below(plan.area / total, None))
        return result
