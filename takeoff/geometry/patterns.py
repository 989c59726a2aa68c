"""Patterns: what surfaces are like wherever they stand, as whole numbers that compare exactly.

Whatever is measured of a body moves with it: two bodies whose surfaces are equal but for a shift have equal figures.
A pattern holds all that a surface is, with every length taken from a place that moves along, in steps of `STEP`.
"""

import numpy as np
import shapely
from msgspec import Struct
from numpy.typing import NDArray

from takeoff.geometry.mesh import Floats, Ints
from takeoff.geometry.surfaces import Surfaces

STEP = 1e-9
"""Lengths, m, and shares that differ by less than about this are equal: above rounding, below any drawing."""


def steps(values: Floats) -> Ints:
    """Numbers in whole steps; what is no number has a value of its own."""
    with np.errstate(invalid="ignore"):
        counted = np.rint(values / STEP)
    counted[~np.isfinite(counted)] = -(2.0**60)
    out: Ints = counted.astype(np.int64)
    return out


class Outlines(Struct, frozen=True, eq=False):
    """Polygons as whole numbers: `corners` (c, 2) of all, those of polygon k from `bound[k]` to `bound[k + 1]`."""

    corners: Ints
    bound: Ints


def outlines(surfaces: Surfaces, rows: Ints, polygons: NDArray[np.object_], anchor: Floats) -> Outlines:
    """Patterns of `polygons` (k,) that lie in the frames of the surfaces `rows` (k,), from places `anchor` (k, 3)."""
    corners, owner = shapely.get_coordinates(polygons, return_index=True)
    flat = surfaces.frame[rows] >= 0
    shift = np.einsum("kij,kj->ki", surfaces.axes[rows, :2], anchor)
    shift[~flat] = np.column_stack([np.zeros(int((~flat).sum())), anchor[~flat, 2]])
    return Outlines(steps(corners - shift[owner]), np.searchsorted(owner, np.arange(len(rows) + 1)))


def traits(surfaces: Surfaces, rows: Ints, anchor: Floats) -> Ints:
    """All but the polygons of the surfaces `rows` (k,), from places `anchor` (k, 3): (k, n) whole numbers."""
    polygons = surfaces.polygon[rows]
    kinds = (
        surfaces.frame[rows],
        surfaces.side[rows],
        surfaces.label[rows],
        surfaces.rim[rows],
        surfaces.curved[rows],
        surfaces.hollow[rows],
        shapely.get_type_id(polygons),
        shapely.get_num_geometries(polygons),
        shapely.get_num_coordinates(polygons),
    )
    sizes = (
        surfaces.normal[rows],
        surfaces.box[rows, 0] - anchor,
        surfaces.box[rows, 1] - anchor,
        surfaces.centre[rows] - anchor,
        surfaces.axis_point[rows] - anchor[:, :2],
        surfaces.area[rows, None],
        surfaces.scale[rows, None],
        surfaces.radius[rows, None],
        np.sin(np.radians(surfaces.rise[rows, None])),
    )
    whole = [np.asarray(kind, dtype=np.int64) for kind in kinds]
    return np.column_stack([*whole, steps(np.concatenate(sizes, axis=1))])


class BodyPatterns(Struct, frozen=True, eq=False):
    """`anchor` (b, 3) is the lowest corner of the box of each body, `pattern` (b,) what it is like from there."""

    anchor: Floats
    pattern: list[tuple[bytes, bytes, bytes]]


def body_patterns(surfaces: Surfaces, rows: Ints, bound: Ints) -> BodyPatterns:
    """Patterns of bodies; `rows` are the surfaces body by body, those of body b from `bound[b]` to `bound[b + 1]`.

    Every body has a surface. The order of its surfaces and of their corners counts.
    """
    if len(bound) < 2:
        return BodyPatterns(np.empty((0, 3)), [])
    anchor = np.minimum.reduceat(surfaces.box[rows, 0], bound[:-1])
    place = np.repeat(anchor, np.diff(bound), axis=0)
    fixed = traits(surfaces, rows, place)
    shape = outlines(surfaces, rows, surfaces.polygon[rows], place)
    local = np.empty(len(surfaces), dtype=np.int64)
    local[rows] = np.arange(len(rows)) - np.repeat(bound[:-1], np.diff(bound))
    owner = surfaces.part[surfaces.edges[:, 0]]
    edges = np.column_stack(
        [
            local[surfaces.edges],
            surfaces.edge_convex,
            steps(np.column_stack([surfaces.edge_length, surfaces.edge_height - anchor[owner, 2]])),
        ]
    )
    ends = surfaces.edge_bound
    corner_bound = shape.bound[bound].tolist()
    bounds, edge_bounds = bound.tolist(), ends.tolist()
    return BodyPatterns(
        anchor,
        [
            (
                fixed[bounds[b] : bounds[b + 1]].tobytes(),
                shape.corners[corner_bound[b] : corner_bound[b + 1]].tobytes(),
                edges[edge_bounds[b] : edge_bounds[b + 1]].tobytes(),
            )
            for b in range(len(bounds) - 1)
        ],
    )
