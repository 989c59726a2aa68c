"""What is left of faces when their contacts are taken off, worked out for all faces of a model at once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.affinity import scale as scaled

from takeoff.geometry import planar
from takeoff.geometry.clipping import bounds_and_boxes
from takeoff.geometry.mesh import Floats, Ints
from takeoff.geometry.surfaces import Surfaces

SPECK = 1e-9
"""What is left of a face is nothing under this area, in its own coordinates: a thousandth of what counts as noise."""


SLIT = 1e-4
"""Slits up to twice this, m, are left by rounding between contacts: they hang on strips and make them look longer."""


@dataclass(frozen=True, slots=True)
class Strip:
    """A connected piece of what is left of a face: `area` m2 and `depth` m up its slope."""

    area: float
    depth: float


@dataclass(frozen=True, slots=True, eq=False)
class Remains:
    """`rest` (s,) is what is left of each surface in its own coordinates, `area` (s,) its true area, m2.

    Surfaces that were not asked for have None and 0.
    """

    rest: NDArray[np.object_]
    area: Floats

    def strips(self, surfaces: Surfaces, rows: Sequence[int]) -> dict[int, list[Strip]]:
        """The connected pieces of what is left of each of `rows`."""
        found: dict[int, list[Strip]] = {row: [] for row in rows}
        if not rows:
            return found
        numbers = np.asarray(rows, dtype=np.int64)
        parts, place = shapely.get_parts(
            without_slits(surfaces, numbers, self.rest[numbers]), return_index=True
        )
        owner = numbers[place]
        area = shapely.area(parts)
        whole = np.bincount(place, area, len(numbers))
        area *= (self.area[numbers] / np.maximum(whole, 1e-300))[place]
        bounds = shapely.bounds(parts)
        depth = bounds[:, 3] - bounds[:, 1]
        for row, size, deep in zip(owner.tolist(), area.tolist(), depth.tolist(), strict=True):
            found[row].append(Strip(size, deep))
        return found


def without_slits(surfaces: Surfaces, rows: Ints, shapes: NDArray[np.object_]) -> NDArray[np.object_]:
    """What is left of the faces `rows` (k,), its `shapes` in true measure and without what is thinner than a slit."""
    clean = shapes.copy()
    for i in np.flatnonzero(surfaces.scale[rows] != 1.0).tolist():
        clean[i] = scaled(shapes[i], float(surfaces.scale[rows[i]]), 1.0, origin=(0.0, 0.0))
    cut = np.flatnonzero(~bounds_and_boxes(clean)[1])
    thinner = shapely.buffer(clean[cut], -SLIT, join_style="mitre")
    clean[cut] = shapely.buffer(thinner, SLIT, join_style="mitre")
    return clean


def find_remains(surfaces: Surfaces, rows: Ints, region: Mapping[int, shapely.Geometry]) -> Remains:
    """What is left of `rows` without the `region` of those that have one, given in the surface's coordinates."""
    rest = np.full(len(surfaces), None, dtype=object)
    rest[rows] = surfaces.polygon[rows]
    touched = np.array([row for row in rows.tolist() if row in region], dtype=np.int64)
    if len(touched):
        regions = np.array([region[row] for row in touched.tolist()], dtype=object)
        # A region lies within its face: where it has the face's area nothing is left, which costs no clipping.
        left = shapely.area(rest[touched]) - shapely.area(regions) > SPECK
        rest[touched[~left]] = shapely.Polygon()
        rest[touched[left]] = planar.difference(rest[touched[left]], regions[left])
    area = np.zeros(len(surfaces))
    area[rows] = shapely.area(rest[rows]) * surfaces.scale[rows]
    return Remains(rest, area)
