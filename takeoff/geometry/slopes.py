"""Facets of curved surfaces cut where the true slope passes a limit, so that no limit depends on the tessellation."""

from collections.abc import Sequence

import numpy as np
import shapely
from msgspec.structs import replace

from takeoff.geometry import planar
from takeoff.geometry.mesh import Floats, Ints
from takeoff.geometry.surfaces import Surfaces

LEAST = 1e-6
"""A piece under this area, m2, is not cut off."""
PER_SURFACE = (
    "part", "normal", "rise", "centre", "area", "box", "label", "rim", "polygon", "scale", "frame", "side", "axes",
    "curved", "patch", "radius", "axis_point", "hollow",
)  # fmt: skip
"""Arrays of Surfaces with one entry a surface, which a piece takes over from its facet."""


def split_by_rise(surfaces: Surfaces, limits: Sequence[float]) -> Surfaces:
    """The surfaces with facets of curves cut at `limits` (degrees above level, ascending); pieces stand at the end.

    Within a facet the rise of the true normal is taken to change evenly, by what the neighbours on the curve show.
    `rise` of every piece is that of the true surface at its middle; `edges` stay with the first piece.
    """
    steep = _steepness(surfaces)
    cuts = np.sin(np.radians(np.asarray(limits, dtype=float)))
    new: list[tuple[int, shapely.Geometry, float]] = []
    polygon, rise = surfaces.polygon.copy(), surfaces.rise.copy()
    for row in np.flatnonzero(np.abs(steep).sum(axis=1) > 1e-9).tolist():
        middle = surfaces.axes[row, :2] @ surfaces.centre[row]
        level, slope = float(surfaces.normal[row, 2]), steep[row]
        corners = level + (shapely.get_coordinates(polygon[row]) - middle) @ slope
        crossed = cuts[(cuts > corners.min()) & (cuts < corners.max())]
        pieces = _cut(polygon[row], middle, level, slope, crossed) if len(crossed) else []
        if len(pieces) < 2:
            continue
        polygon[row], rise[row] = pieces[0]
        new += [(row, shape, up) for shape, up in pieces[1:]]
    if not new:
        return surfaces
    rows = np.array([row for row, _, _ in new], dtype=np.int64)
    grown = {
        name: np.concatenate([getattr(surfaces, name), getattr(surfaces, name)[rows]]) for name in PER_SURFACE
    }
    shapes = np.empty(len(new), dtype=object)
    shapes[:] = [shape for _, shape, _ in new]
    grown["polygon"] = np.concatenate([polygon, shapes])
    grown["rise"] = np.concatenate([rise, [up for _, _, up in new]])
    touched = np.unique(np.concatenate([rows, np.arange(len(surfaces), len(surfaces) + len(new))]))
    return _measured(replace(surfaces, **grown), touched)


def _steepness(surfaces: Surfaces) -> Floats:
    """How the vertical part of the true normal grows over each facet of a curve, per metre in its plane, (s, 2)."""
    steep = np.zeros((len(surfaces), 2))
    a, b = surfaces.edges[:, 0], surfaces.edges[:, 1]
    same = (surfaces.patch[a] >= 0) & (surfaces.patch[a] == surfaces.patch[b]) & (surfaces.frame[a] >= 0)
    a, b = a[same], b[same]
    if not len(a):
        return steep
    bend = surfaces.normal[b] - surfaces.normal[a]
    turned = np.einsum("ijk,ik->ij", surfaces.axes[a][:, :2], bend)
    size = np.linalg.norm(turned, axis=1)
    a, b, bend = a[size > 1e-6], b[size > 1e-6], bend[size > 1e-6]
    way = turned[size > 1e-6] / size[size > 1e-6, None]
    apart = np.einsum("ijk,ik->ij", surfaces.axes[a][:, :2], surfaces.centre[b] - surfaces.centre[a])
    step = way * np.einsum("ij,ij->i", apart, way)[:, None]
    square, right = np.zeros((len(surfaces), 2, 2)), np.zeros((len(surfaces), 2))
    np.add.at(square, a, step[:, :, None] * step[:, None, :])
    np.add.at(right, a, step * bend[:, 2:])
    rows = np.unique(a)
    inverse = np.linalg.pinv(square[rows], rcond=1e-3, hermitian=True)
    steep[rows] = np.einsum("ijk,ik->ij", inverse, right[rows])
    return steep


def _cut(
    polygon: shapely.Geometry, middle: Floats, level: float, slope: Floats, cuts: Floats
) -> list[tuple[shapely.Geometry, float]]:
    """Pieces of a facet between lines on which the normal's vertical part has the values `cuts`, with their rise.

    The vertical part is `level` at `middle` (2,) and grows by `slope` (2,) a metre.
    """
    size = 10.0 * max(polygon.bounds[2] - polygon.bounds[0], polygon.bounds[3] - polygon.bounds[1])
    steepest = float(np.linalg.norm(slope))
    up = slope / steepest
    along = np.array([-up[1], up[0]]) * size
    pieces = []
    rest = polygon
    for value in cuts:
        foot = middle + up * (value - level) / steepest
        below = shapely.Polygon(
            [foot - along, foot + along, foot + along - up * size, foot - along - up * size]
        )
        pieces.append(planar.intersection(rest, below))
        rest = planar.difference(rest, below)
    pieces.append(rest)
    found = []
    for piece in pieces:
        if piece.area > LEAST:
            centre = shapely.get_coordinates(piece.centroid)[0]
            height = level + float((centre - middle) @ slope)
            found.append((piece, float(np.degrees(np.arcsin(np.clip(height, -1.0, 1.0))))))
    return found


def _measured(surfaces: Surfaces, rows: Ints) -> Surfaces:
    """The surfaces with area, middle and box of some flat ones taken anew from their polygons."""
    area, centre, box = surfaces.area.copy(), surfaces.centre.copy(), surfaces.box.copy()
    for row in rows.tolist():
        shape, axes = surfaces.polygon[row], surfaces.axes[row]
        offset = float(surfaces.centre[row] @ axes[2])
        points = np.vstack([shapely.get_coordinates(shape), shapely.get_coordinates(shape.centroid)])
        space = points @ axes[:2] + offset * axes[2]
        area[row] = shape.area * surfaces.scale[row]
        centre[row] = space[-1]
        box[row] = space[:-1].min(axis=0), space[:-1].max(axis=0)
    return replace(surfaces, area=area, centre=centre, box=box)
