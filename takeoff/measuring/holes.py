"""Holes through slabs and walls, counted for boxing out, whether cut by an opening or drawn in the profile."""

import numpy as np
import shapely

from takeoff.geometry.mesh import Ints
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.bodies import Body
from takeoff.measuring.convention import Convention, band
from takeoff.measuring.dimensions import Dimensions
from takeoff.measuring.records import HoleRow

THROUGH = 0.9
"""A hole goes through when the hole in the far face covers this part of the one in the near face."""


def measure_holes(
    surfaces: Surfaces,
    rows: Ints,
    body: Body,
    dimensions: Dimensions,
    convention: Convention,
) -> tuple[HoleRow, ...]:
    """Holes through one wall or slab: area of the opening and girth of its rim.

    The largest two opposite flat faces are compared: what is missing in both, inside their outlines, is a
    hole. Door openings at a wall's foot are notches in the outline and are found by the opening that cut them.
    """
    if body.role not in ("wall", "slab"):
        return ()
    flat = rows[(surfaces.frame[rows] >= 0) & (surfaces.label[rows] == 0)]
    if not len(flat):
        return ()
    near = flat[np.argmax(surfaces.area[flat])]
    opposite = flat[
        (surfaces.frame[flat] == surfaces.frame[near]) & (surfaces.side[flat] != surfaces.side[near])
    ]
    if not len(opposite):
        return ()
    far = opposite[np.argmax(surfaces.area[opposite])]
    holes = []
    away = [
        shapely.Polygon(ring)
        for piece in shapely.get_parts(surfaces.polygon[far])
        for ring in piece.interiors
    ]
    for piece in shapely.get_parts(surfaces.polygon[near]):
        for ring in piece.interiors:
            hole = shapely.Polygon(ring)
            through = sum(hole.intersection(other).area for other in away)
            if through > THROUGH * hole.area:
                holes.append((float(hole.area), float(ring.length)))
    holes += _notches(surfaces, rows, body, dimensions, near)
    model, global_id, part = body.key
    return tuple(
        HoleRow(
            model,
            global_id,
            part,
            body.role,
            body.storey,
            area,
            girth,
            band(convention.bands.hole_area_m2, area),
        )
        for area, girth in holes
    )


def _notches(
    surfaces: Surfaces, rows: Ints, body: Body, dimensions: Dimensions, near: int
) -> list[tuple[float, float]]:
    """Openings of a wall that reach its foot: their reveal faces are not on the rim of a hole."""
    found: list[tuple[float, float]] = []
    if body.role != "wall":
        return found
    for label in np.unique(surfaces.label[rows]):
        own = rows[(surfaces.label[rows] == label)]
        if label <= 0 or surfaces.rim[own].any():
            continue
        across = np.abs(surfaces.normal[own] @ surfaces.axes[near, 2]) < 0.7
        if not across.all() or dimensions.thickness <= 0:
            continue  # a face along the wall is the back of a recess, not a hole through it
        facing = surfaces.normal[own] @ surfaces.normal[own].T
        if facing.min() > -0.9 or surfaces.normal[own, 2].min() > -0.5:
            continue  # without a head between two jambs it cuts an end or the top off
        removed = body.openings[int(label) - 1] if int(label) <= len(body.openings) else 0.0
        girth = float(surfaces.area[own].sum()) / dimensions.thickness
        if removed > 0:
            found.append((removed / dimensions.thickness, girth))
    return found
