"""Holes through slabs and walls: counted for boxing out, and left in where the convention lets small ones stay."""

from collections.abc import Sequence

import numpy as np
import shapely
from msgspec import Struct

from takeoff.geometry.mesh import Floats, Ints
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.bodies import Body
from takeoff.measuring.convention import Convention, band
from takeoff.measuring.dimensions import Dimensions
from takeoff.measuring.records import HoleRow

SAME_AXIS = 0.01
"""The two faces of a curved wall have axes this near, m."""
THROUGH = 0.9
"""A hole goes through when the hole in the far face covers this part of the one in the near face."""


class Hole(Struct, frozen=True):
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
    faces = _pierced_faces(surfaces, rows)
    if faces is None:
        return ()
    near, far = faces
    rims = rows[surfaces.rim[rows] | (surfaces.label[rows] > 0)]
    places = _in_face(surfaces, near, surfaces.centre[rims])
    scale = float(surfaces.scale[near])
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
            area = float(hole.area) * scale
            corners = shapely.get_coordinates(ring) * (scale, 1.0)
            girth = float(np.linalg.norm(np.diff(corners, axis=0), axis=1).sum())
            volume = _removed(body, label) or area * dimensions.thickness
            rim = frozenset(int(row) for row in inside)
            holes.append(Hole(area, girth, volume, rim, faces, label))
    doorways = _doorways(surfaces, rows, body, faces) if surfaces.frame[near] >= 0 else []
    return (*holes, *doorways)


def _pierced_faces(surfaces: Surfaces, rows: Ints) -> tuple[int, int] | None:
    """The largest face of a body and the largest that looks the other way: of one plane, or of one axis."""
    own = rows[surfaces.label[rows] == 0]
    if not len(own):
        return None
    near = int(own[np.argmax(surfaces.area[own])])
    if surfaces.frame[near] >= 0:
        opposite = own[
            (surfaces.frame[own] == surfaces.frame[near]) & (surfaces.side[own] != surfaces.side[near])
        ]
    else:
        round_ = own[(surfaces.frame[own] < 0) & (surfaces.hollow[own] != surfaces.hollow[near])]
        apart = np.linalg.norm(surfaces.axis_point[round_] - surfaces.axis_point[near], axis=1)
        opposite = round_[apart < SAME_AXIS]
    if not len(opposite):
        return None
    return near, int(opposite[np.argmax(surfaces.area[opposite])])


def _in_face(surfaces: Surfaces, face: int, points: Floats) -> Floats:
    """Points (k, 3) in the coordinates of a face's polygon, (k, 2)."""
    if surfaces.frame[face] >= 0:
        return points @ surfaces.axes[face, :2].T
    along = points[:, :2] - surfaces.axis_point[face]
    return np.column_stack([np.arctan2(along[:, 1], along[:, 0]), points[:, 2]])


def _removed(body: Body, label: int) -> float:
    return body.openings[label - 1] if 0 < label <= len(body.openings) else 0.0


def _doorways(surfaces: Surfaces, rows: Ints, body: Body, faces: tuple[int, int]) -> list[Hole]:
    """Openings of a wall that reach its foot: their reveal faces are not on the rim of a hole."""
    found: list[Hole] = []
    near, far = faces
    # The wall's own thickness comes from an outline on a grid of 1e-6 m, which is coarse to divide by.
    depth = abs(float((surfaces.centre[near] - surfaces.centre[far]) @ surfaces.normal[near]))
    if body.role != "wall" or depth <= 0:
        return found
    for label in np.unique(surfaces.label[rows]).tolist():
        own = rows[(surfaces.label[rows] == label)]
        if label <= 0 or surfaces.rim[own].any():
            continue
        across = np.abs(surfaces.normal[own] @ surfaces.axes[near, 2]) < 0.7
        if not across.all():
            continue  # a face along the wall is the back of a recess, not a hole through it
        facing = surfaces.normal[own] @ surfaces.normal[own].T
        if facing.min() > -0.9 or surfaces.normal[own, 2].min() > -0.5:
            continue  # without a head between two jambs it cuts an end or the top off
        removed = _removed(body, label)
        girth = float(surfaces.area[own].sum()) / depth
        if removed > 0:
            rim = frozenset(int(row) for row in own)
            found.append(Hole(removed / depth, girth, removed, rim, faces, label))
    return found


def hole_rows(holes: Sequence[Hole], body: Body, convention: Convention) -> tuple[HoleRow, ...]:
    """Rows of holes.csv for the holes of one body."""
    limits = convention.bands.hole_area_m2
    return tuple(
        HoleRow(*body.key, body.role, body.storey, hole.area, hole.girth, band(limits, hole.area))
        for hole in holes
    )


class LeftIn(Struct, frozen=True):
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
