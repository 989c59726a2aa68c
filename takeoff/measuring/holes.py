"""Holes through slabs and walls: counted for boxing out, and left in where the convention lets small ones stay."""

from collections.abc import Sequence
from dataclasses import dataclass

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


@dataclass(frozen=True, slots=True)
class Hole:
    """A hole through a body: `area` m2, `girth` m, `volume` m3 that it takes.

    `rim` are the surfaces inside it, `faces` the two surfaces that it pierces; `label` the opening that cut it,
    0 where it is drawn in the body's own shape.
    """

    area: float
    girth: float
    volume: float
    rim: frozenset[int]
    faces: tuple[int, int]
    label: int


def find_holes(surfaces: Surfaces, rows: Ints, body: Body, dimensions: Dimensions) -> tuple[Hole, ...]:
    """Holes through one wall or slab.

    The largest two opposite flat faces are compared: what is missing in both, inside their outlines, is a
    hole. Door openings at a wall's foot are notches in the outline and are found by the opening that cut them.
    """
    if body.role not in ("wall", "slab"):
        return ()
    flat = rows[(surfaces.frame[rows] >= 0) & (surfaces.label[rows] == 0)]
    if not len(flat):
        return ()
    near = int(flat[np.argmax(surfaces.area[flat])])
    opposite = flat[
        (surfaces.frame[flat] == surfaces.frame[near]) & (surfaces.side[flat] != surfaces.side[near])
    ]
    if not len(opposite):
        return ()
    far = int(opposite[np.argmax(surfaces.area[opposite])])
    rims = rows[surfaces.rim[rows] | (surfaces.label[rows] > 0)]
    places = surfaces.centre[rims] @ surfaces.axes[near, :2].T
    holes = []
    away = [shapely.Polygon(r) for p in shapely.get_parts(surfaces.polygon[far]) for r in p.interiors]
    for piece in shapely.get_parts(surfaces.polygon[near]):
        for ring in piece.interiors:
            hole = shapely.Polygon(ring)
            if sum(hole.intersection(other).area for other in away) <= THROUGH * hole.area:
                continue
            inside = rims[shapely.contains_xy(hole.buffer(1e-3), places[:, 0], places[:, 1])]
            labels = surfaces.label[inside]
            label = int(labels.max()) if len(labels) else 0
            volume = _removed(body, label) or hole.area * dimensions.thickness
            rim = frozenset(int(row) for row in inside)
            holes.append(Hole(float(hole.area), float(ring.length), volume, rim, (near, far), label))
    return (*holes, *_doorways(surfaces, rows, body, dimensions, (near, far)))


def _removed(body: Body, label: int) -> float:
    return body.openings[label - 1] if 0 < label <= len(body.openings) else 0.0


def _doorways(
    surfaces: Surfaces, rows: Ints, body: Body, dimensions: Dimensions, faces: tuple[int, int]
) -> list[Hole]:
    """Openings of a wall that reach its foot: their reveal faces are not on the rim of a hole."""
    found: list[Hole] = []
    if body.role != "wall" or dimensions.thickness <= 0:
        return found
    for label in np.unique(surfaces.label[rows]).tolist():
        own = rows[(surfaces.label[rows] == label)]
        if label <= 0 or surfaces.rim[own].any():
            continue
        across = np.abs(surfaces.normal[own] @ surfaces.axes[faces[0], 2]) < 0.7
        if not across.all():
            continue  # a face along the wall is the back of a recess, not a hole through it
        facing = surfaces.normal[own] @ surfaces.normal[own].T
        if facing.min() > -0.9 or surfaces.normal[own, 2].min() > -0.5:
            continue  # without a head between two jambs it cuts an end or the top off
        removed = _removed(body, label)
        girth = float(surfaces.area[own].sum()) / dimensions.thickness
        if removed > 0:
            rim = frozenset(int(row) for row in own)
            found.append(Hole(removed / dimensions.thickness, girth, removed, rim, faces, label))
    return found


def hole_rows(holes: Sequence[Hole], body: Body, convention: Convention) -> tuple[HoleRow, ...]:
    """Rows of holes.csv for the holes of one body."""
    limits = convention.bands.hole_area_m2
    return tuple(
        HoleRow(*body.key, body.role, body.storey, hole.area, hole.girth, band(limits, hole.area))
        for hole in holes
    )


@dataclass(frozen=True, slots=True)
class LeftIn:
    """Voids of one body that the convention leaves in: m3 of concrete, m2 of floor, and holes in formwork."""

    concrete: float
    floor: float
    formwork: tuple[Hole, ...]
    count: int


def voids_left_in(holes: Sequence[Hole], body: Body, convention: Convention) -> LeftIn | None:
    """What the convention's thresholds leave in of a body's voids; None where they change nothing."""
    limits = convention.voids
    drawn = [hole.volume for hole in holes if hole.label == 0]
    small = [v for v in (*body.openings, *drawn) if 1e-9 < v <= limits.leave_in_concrete_m3]
    floor = [h.area for h in holes if body.role == "slab" and h.area <= limits.leave_in_floor_m2]
    formed = tuple(hole for hole in holes if hole.area <= limits.leave_in_formwork_m2)
    if not (small or floor or formed):
        return None
    count = max(len(small), len(floor), len(formed))
    return LeftIn(sum(small), sum(floor), formed, count)
