"""What is left of faces when their contacts are taken off, worked out for all faces of a model at once."""

from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from msgspec import Struct
from numpy.typing import NDArray
from shapely.affinity import scale as scaled

from takeoff.geometry import planar
from takeoff.geometry.clipping import bounds_and_boxes
from takeoff.geometry.mesh import Floats, Ints
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.edge_depths import Portion, depth_portions

NOISE = 1e-6
"""Remainders of a face under this area, m2, are rounding."""
SPECK = 1e-9
"""What is left of a face is nothing under this area, in its own coordinates: a thousandth of what counts as noise."""

SLIT = 1e-4
"""Slits up to twice this, m, are left by rounding between contacts: they hang on strips and make them look longer."""
SHARPEST = 25.0
"""Corners that run out to a point keep it to this many times the slit: down to 4.6 degrees."""


class Strip(Struct, frozen=True):
    """What is left of an edge within one band of depths: `area` m2, `length` m along it, mean `depth` m across it.

    `part` is the place of the connected piece that it is of, among those that are more than noise.
    """

    area: float
    length: float
    depth: float
    part: int


class Remains(Struct, frozen=True, eq=False):
    """`rest` (s,) is what is left of each surface in its own coordinates, `area` (s,) its true area, m2.

    Surfaces that were not asked for have None and 0.
    """

    rest: NDArray[np.object_]
    area: Floats

    def strips(self, surfaces: Surfaces, limits: Mapping[int, Sequence[float]]) -> dict[int, list[Strip]]:
        """The connected pieces of what is left of surfaces, divided where their depth passes their `limits` m."""
        found: dict[int, list[Strip]] = {row: [] for row in limits}
        if not limits:
            return found
        numbers = np.fromiter(limits, dtype=np.int64)
        parts, place = shapely.get_parts(
            without_slits(surfaces, numbers, self.rest[numbers]), return_index=True
        )
        owner = numbers[place]
        area = shapely.area(parts)
        whole = np.bincount(place, area, len(numbers))
        truly = (self.area[numbers] / np.maximum(whole, 1e-300))[place]
        bounds, box = bounds_and_boxes(parts)
        width, depth = bounds[:, 2] - bounds[:, 0], bounds[:, 3] - bounds[:, 1]
        parts_of = dict.fromkeys(limits, 0)
        entries = zip(
            owner.tolist(), (area * truly).tolist(), truly.tolist(), box.tolist(), width.tolist(), depth.tolist(),
            parts, strict=True,
        )  # fmt: skip
        for row, size, true, plain, wide, deep, part in entries:
            if size <= NOISE:
                continue
            number, parts_of[row] = parts_of[row], parts_of[row] + 1
            portions = [Portion(size / true, wide, deep)] if plain else depth_portions(part, limits[row])
            found[row] += [Strip(one.area * true, one.length, one.depth, number) for one in portions]
        return found


def without_slits(surfaces: Surfaces, rows: Ints, shapes: NDArray[np.object_]) -> NDArray[np.object_]:
    """What is left of the faces `rows` (k,), its `shapes` in true measure and without what is thinner than a slit."""
    clean = shapes.copy()
    for i in np.flatnonzero(surfaces.scale[rows] != 1.0).tolist():
        clean[i] = scaled(shapes[i], float(surfaces.scale[rows[i]]), 1.0, origin=(0.0, 0.0))
    cut = np.flatnonzero(~bounds_and_boxes(clean)[1])
    thinner = shapely.buffer(clean[cut], -SLIT, join_style="mitre", mitre_limit=SHARPEST)
    clean[cut] = shapely.buffer(thinner, SLIT, join_style="mitre", mitre_limit=SHARPEST)
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
