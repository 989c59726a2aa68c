"""The terrain along the outlines of the concrete."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import shapely

from takeoff.findings import Finding
from takeoff.measuring.ground_bounds import Ground, Terrain
from takeoff.measuring.site_terrain import ReadTerrain, SiteTerrain, doubt_findings, near_terrain
from takeoff.told import counted, told

if TYPE_CHECKING:
    from takeoff.measuring.bodies import Body
    from takeoff.measuring.dimensions import Dimensions

SPACING = 1.0
"""Longest step along the outline of a body at which the terrain is asked for its height, m."""


class TerrainWalk:
    """The terrain along the outlines of all concrete: who stands on it, how high it is there, what is doubtful.

    `covers[b]`: body b stands on the terrain or within `reach` m of it; `ground` is the terrain as ground.
    """

    def __init__(
        self,
        terrains: Sequence[ReadTerrain],
        bodies: "Sequence[Body]",
        sizes: "Sequence[Dimensions]",
        reach: float,
    ) -> None:
        self.reach = reach
        self.covers = np.zeros(len(bodies), dtype=bool)
        self.terrain = SiteTerrain(None, "", "")
        self.ground: Ground | None = None
        self.points = np.zeros((0, 2))
        self.away = self.heights = np.zeros(0)
        self.owner = np.zeros(0, dtype=np.int64)
        self.missed = 0
        concrete = [n for n, body in enumerate(bodies) if body.concrete and not sizes[n].outline.is_empty]
        if not concrete or not any(terrain.result.mesh is not None for terrain in terrains):
            return
        outlines = np.array([sizes[n].outline for n in concrete], dtype=object)
        low_x, low_y, high_x, high_y = shapely.total_bounds(outlines)
        self.terrain = near_terrain(terrains, np.array([[low_x, low_y], [high_x, high_y]]))
        if self.terrain.heights is None:
            self.missed = len(concrete)
            return
        # only what may lie in the ground has to know where it is
        top = float(self.terrain.heights.corners[:, :, 2].max())
        bottoms = np.array([bodies[n].mesh.box()[0, 2] for n in concrete])
        outlines, members = outlines[bottoms < top], np.array(concrete)[bottoms < top]
        lines, which = shapely.get_coordinates(shapely.segmentize(outlines, SPACING), return_index=True)
        heights, away = self.terrain.heights.at(lines)
        nearest = np.full(len(members), np.inf)
        np.minimum.at(nearest, which, away)
        self.covers[members[nearest <= reach]] = True
        highest = np.full(len(members), -np.inf)
        np.maximum.at(highest, which, heights)
        deep = bottoms[bottoms < top] < highest
        self.missed = int(np.count_nonzero(deep & (nearest > reach)))
        kept = (deep & (nearest <= reach))[which]
        self.points, self.away, self.heights, self.owner = (
            lines[kept],
            away[kept],
            heights[kept],
            members[which[kept]],
        )
        self.ground = Terrain(self.terrain.heights)

    def span(self, members: Sequence[int]) -> tuple[float, float] | None:
        """Lowest and highest terrain, relative to the origin, along those of some bodies that reach into it."""
        here = np.isin(self.owner, members)
        return (float(self.heights[here].min()), float(self.heights[here].max())) if here.any() else None

    def findings(self, apart: float) -> list[Finding]:
        """What is doubtful."""
        found = []
        if self.missed and self.terrain.heights is not None:
            text = told(
                "the terrain ({}) does not reach {}; ask for the terrain around the whole building",
                self.terrain.said,
                counted(
                    self.missed, "element that may lie in the ground", "elements that may lie in the ground"
                ),
            )
            found.append(
                Finding(
                    "warning",
                    "terrain-not-used",
                    self.terrain.model,
                    "",
                    text,
                    "the other sources of the level there",
                )
            )
        elif self.missed:
            text = "the terrain of the models lies far from all concrete; ask whether the models sit together"
            found.append(
                Finding("warning", "terrain-not-used", "", "", text, "the other sources of the level")
            )
        beyond = len(np.unique(self.owner[self.away > self.reach]))
        found += doubt_findings(self.terrain, self.points, self.away, beyond, self.reach, apart)
        return found
