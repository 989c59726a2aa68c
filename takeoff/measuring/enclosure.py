"""What bodies enclose in plan at a height, and which side of a face lies outside of it."""

from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from takeoff.geometry import planar
from takeoff.geometry.mesh import Ints
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.dimensions import Dimensions

DOORWAY = 1.3
"""Gaps up to this width, m, do not open an enclosure (a doorway, a window down to the floor)."""
STEP = 0.02
"""How far outside a face the test point lies, m."""
NARROW = 0.6
"""What slabs on the ground leave of a space between walls is a room when it is wider than this, m."""
ARC = 0.05
"""Step along a round face at which it is tested, radians."""


def bottom_of(surfaces: Surfaces, rows: Ints) -> float:
    """Lowest height of a body's surfaces, m."""
    return float(surfaces.box[rows, 0, 2].min()) if len(rows) else np.inf


class Enclosure:
    """What the bodies enclose in plan at a height: their own plans, the rooms between them, doorways.

    What lies under a slab on the ground (`grounded`) between foundation walls is earth, no room.
    """

    def __init__(
        self,
        sizes: Sequence[Dimensions] | Mapping[int, Dimensions],
        surfaces: Surfaces,
        rows_of: Sequence[Ints],
        low: Sequence[int],
        grounded: Sequence[int] = (),
    ) -> None:
        self.outlines = np.array([sizes[number].outline for number in low], dtype=object)
        self.bottom = np.array([bottom_of(surfaces, rows_of[number]) for number in low])
        self.top = np.array([float(surfaces.box[rows_of[number], 1, 2].max()) for number in low])
        self.place = {number: place for place, number in enumerate(low)}
        self._on_earth = [
            (bottom_of(surfaces, rows_of[number]), sizes[number].outline) for number in grounded
        ]
        self._known: dict[bytes, tuple[shapely.Geometry, shapely.Geometry]] = {}

    def at(self, height: float) -> shapely.Geometry:
        """All that is enclosed at a height."""
        return self._plans(height)[0]

    def bounds_a_room(self, number: int, size: Dimensions, level: float) -> bool:
        """Whether a body stands at, under or over a room that lies below `level`."""
        bottom, top = self.bottom[self.place[number]], self.top[self.place[number]]
        near = size.outline.buffer(STEP)
        heights = ((bottom + min(top, level)) / 2.0, top + STEP, bottom - STEP)
        return any(self._plans(height)[1].intersects(near) for height in heights if height < level)

    def _plans(self, height: float) -> tuple[shapely.Geometry, shapely.Geometry]:
        there = (self.bottom < height) & (height < self.top)
        over = [k for k, (bottom, _) in enumerate(self._on_earth) if bottom >= height]
        key = there.tobytes() + bytes(f" {over}", "ascii")
        if key not in self._known:
            whole, rooms = self._filled(self.outlines[there])
            self._known[key] = whole, self._hollow(rooms, [self._on_earth[k][1] for k in over])
        return self._known[key]

    @staticmethod
    def _hollow(rooms: shapely.Geometry, earth: Sequence[shapely.Geometry]) -> shapely.Geometry:
        """What of the rooms is no earth under slabs on the ground."""
        if rooms.is_empty or not earth:
            return rooms
        left = planar.difference(rooms, planar.union_all(list(earth), grid_size=1e-4))
        if left.area == rooms.area:
            return rooms
        return planar.union_all(
            [piece for piece in _polygons(left) if not piece.buffer(-NARROW / 2.0).is_empty]
        )

    @staticmethod
    def _filled(outlines: NDArray[np.object_]) -> tuple[shapely.Geometry, shapely.Geometry]:
        joined = planar.union_all(outlines, grid_size=1e-4)
        closed = joined.buffer(DOORWAY / 2.0, join_style="mitre").buffer(-DOORWAY / 2.0, join_style="mitre")
        own = [shapely.Polygon(piece.exterior) for piece in _polygons(joined)]
        rooms = [shapely.Polygon(ring) for piece in _polygons(closed) for ring in piece.interiors]
        known = planar.union_all([*own, *rooms])
        if not rooms:
            return known, shapely.Polygon()
        # what the closing filled counts where it leads to a room (a doorway), not where it is a niche outside
        inside = planar.union_all(rooms)
        inner = inside.buffer(1e-3)
        doors = [piece for piece in _polygons(planar.difference(closed, known)) if piece.intersects(inner)]
        return planar.union_all([known, *doors]), planar.union_all([inside, *doors])


def _polygons(shape: shapely.Geometry) -> list[shapely.Geometry]:
    return [piece for piece in shapely.get_parts(shape) if piece.geom_type == "Polygon"]


def outside_part(
    surfaces: Surfaces, row: int, rest: shapely.Geometry, inside: shapely.Geometry
) -> shapely.Geometry:
    """The part of an upright surface whose points, moved a step outwards, lie outside what is enclosed."""
    low, _, high, _ = rest.bounds
    if surfaces.frame[row] < 0:
        radius = float(surfaces.radius[row]) + (-STEP if surfaces.hollow[row] else STEP)
        ticks = np.linspace(low, high, max(2, int((high - low) / ARC) + 2))
        points = surfaces.axis_point[row] + radius * np.column_stack([np.cos(ticks), np.sin(ticks)])
    else:
        axes = surfaces.axes[row]
        normal = surfaces.normal[row, :2] / np.linalg.norm(surfaces.normal[row, :2])
        offset = float(surfaces.centre[row] @ axes[2])
        ticks = np.array([low, high])
        points = (ticks[:, None] * axes[0] + offset * axes[2])[:, :2] + STEP * normal
    line = shapely.LineString(points)
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    windows = []
    for piece in shapely.get_parts(planar.difference(line, inside)):
        if piece.length <= STEP:
            continue  # the corner that the step itself cuts off
        # by its middle: on a whole circle the two ends are one point
        middle = shapely.line_locate_point(line, piece.interpolate(0.5, normalized=True))
        half = piece.length / 2.0
        start, end = np.interp([middle - half, middle + half], along, ticks)
        windows.append(shapely.box(start, -1e7, end, 1e7))
    return planar.intersection(rest, planar.union_all(windows)) if windows else shapely.Polygon()
