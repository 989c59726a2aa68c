"""The formwork rule: which face of which role is what. One face in, one category out.

| face | rule |
|---|---|
| looks up, flatter than the convention's limit | free |
| looks up, steeper | top-slope |
| within the convention's angle of plumb | a side, named by the role |
| looks down | a soffit, or on ground, or the seat of a wall or column |
| any face of a pile, or of what a rule says is cast in the ground, but its head | cast against the ground |
"""

import numpy as np
from msgspec import Struct

from takeoff.geometry.mesh import Ints
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.bodies import Body
from takeoff.measuring.convention import Convention
from takeoff.measuring.dimensions import Dimensions

FREE, GROUND, AGAINST, SEAT = "free", "ground", "against-ground", "seat"
"""Faces that need no form of themselves; every other category is formed."""
SIDES = {"column": "column-side", "beam": "beam-side", "slab": "slab-edge", "foundation": "foundation-side"}
TOLERANCE = 1e-3
RISER = 0.30
"""No step is higher than this, m: a taller face between a tread and another is the side of a landing."""


class Face(Struct, frozen=True):
    """Category of one surface and whether it lies inside an opening."""

    category: str
    opening: bool


def classify_faces(
    surfaces: Surfaces,
    rows: Ints,
    body: Body,
    dimensions: Dimensions,
    convention: Convention,
    on_ground: bool,
) -> list[Face]:
    """Category of each surface row of a body. `on_ground`: its underside lies on the ground."""
    rise = surfaces.rise[rows]
    free_above = 90.0 - convention.slopes.free_below_deg
    plumb = convention.slopes.side_within_deg
    inside = (surfaces.label[rows] > 0) | surfaces.rim[rows]
    lowest = float(surfaces.box[rows, 0, 2].min())
    role = body.role
    sides, under = _in_ground(body)
    heads = _heads(surfaces, rows, rise, plumb, lowest) if role == "wall" else np.zeros(len(rows), bool)
    ends = (
        _wall_ends(surfaces, rows, rise, plumb, dimensions) if role == "wall" else np.zeros(len(rows), bool)
    )
    inside = inside | heads | (ends & _beside(surfaces, rows, heads))
    risers = _risers(surfaces, rows, rise, plumb) if role == "stair" else np.zeros(len(rows), bool)
    seats = _seats(surfaces, rows, role, rise, plumb, lowest)
    faces = []
    for i in range(len(rows)):
        opening = bool(inside[i])
        if rise[i] > free_above - 1e-6:
            category = FREE
        elif rise[i] > plumb + 1e-6:
            category = "top-slope"
        elif rise[i] >= -plumb - 1e-6:
            if sides:
                category = AGAINST
            elif role == "wall":
                reveal = opening and bool(
                    ends[i] or (surfaces.curved[rows[i]] and not _along(surfaces, rows[i]))
                )
                category = "opening-reveal" if reveal else "wall-end" if ends[i] else "wall-side"
                opening = reveal
            elif role == "stair":
                category = "stair-riser" if risers[i] else "stair-side"
            else:
                category = SIDES[role]
        elif under:
            category = AGAINST
        elif role == "foundation" or on_ground:
            category = GROUND
        elif seats[i]:
            category = SEAT
        elif role == "wall" and opening:
            category = "opening-reveal"
        else:
            category = f"{role}-soffit"
        faces.append(Face(category, opening))
    return faces


def _in_ground(body: Body) -> tuple[bool, bool]:
    """Whether the ground is the form of all sides of a body, and of its underside."""
    if body.element.facts.ifc_class == "IfcPile":  # bored or driven
        return True, True
    ground = body.element.ground
    if ground is None:
        return False, False
    outer = ground.faces == "outside" and body.role != "wall"
    return ground.faces in ("all", "sides") or outer, ground.faces == "all"


def _heads(surfaces: Surfaces, rows: Ints, rise: np.ndarray, plumb: float, lowest: float) -> np.ndarray:
    """Faces of a wall that look down above its lowest level: heads of openings and notches."""
    return (rise < -plumb) & (surfaces.box[rows, 0, 2] > lowest + TOLERANCE)


def _beside(surfaces: Surfaces, rows: Ints, chosen: np.ndarray) -> np.ndarray:
    """Faces that share a hollow edge with a chosen one: the jambs below the head of a notch."""
    members = set(rows[chosen].tolist())
    if not members:
        return np.zeros(len(rows), bool)
    own = surfaces.edges_of(int(surfaces.part[rows[0]]))
    hollow = surfaces.edges[own][~surfaces.edge_convex[own]]
    partners = {int(a) for a, b in hollow if int(b) in members}
    return np.array([int(row) in partners for row in rows])


def _wall_ends(
    surfaces: Surfaces, rows: Ints, rise: np.ndarray, plumb: float, dimensions: Dimensions
) -> np.ndarray:
    """Upright faces across the wall: not wider than it is thick, or across its one direction."""
    upright = np.abs(rise) <= plumb + 1e-6
    thickness = dimensions.thickness
    width = np.array([_level_width(surfaces, row) for row in rows])
    flat = upright & (surfaces.frame[rows] >= 0) & ~surfaces.curved[rows]
    long = flat & (width > 1.5 * thickness) & (surfaces.label[rows] == 0) & ~surfaces.rim[rows]
    along = np.unique(surfaces.frame[rows[long]])
    narrow = width <= 1.05 * thickness + TOLERANCE
    if len(along) == 1:
        main = surfaces.axes[rows[np.flatnonzero(long)[0]], 2, :2]
        across = np.abs(surfaces.normal[rows, :2] @ (main / np.linalg.norm(main)))
        return upright & (across < 0.7)
    curved_reveal = upright & surfaces.curved[rows] & narrow & (surfaces.label[rows] > 0)
    return (flat & narrow) | curved_reveal


def _along(surfaces: Surfaces, row: int) -> bool:
    """Whether a curved surface is an upright cylinder, the face of a curved wall rather than of a round hole."""
    return bool(surfaces.frame[row] < 0)


def _level_width(surfaces: Surfaces, row: int) -> float:
    """Level extent of an upright surface, m; an arc's length for a cylinder."""
    low_u, _, high_u, _ = surfaces.polygon[row].bounds
    return float((high_u - low_u) * surfaces.scale[row])


def _risers(surfaces: Surfaces, rows: Ints, rise: np.ndarray, plumb: float) -> np.ndarray:
    """Upright faces of a stair that climb to a tread: low, and going up from a tread or from the floor.

    A riser shares its upper edge with a tread (convex) and, but for the first, its lower edge with the tread
    below (hollow). The first riser stands at the foot and faces the way that the others do.
    """
    upright = np.abs(rise) <= plumb + 1e-6
    tread = set(rows[rise > 60.0].tolist())
    height = surfaces.box[rows, 1, 2] - surfaces.box[rows, 0, 2]
    low = upright & (height <= RISER + TOLERANCE)
    position = {int(row): i for i, row in enumerate(rows)}
    climbs = np.zeros(len(rows), bool)
    topped = np.zeros(len(rows), bool)
    own = surfaces.edges_of(int(surfaces.part[rows[0]]))
    along = zip(surfaces.edges[own], surfaces.edge_convex[own], surfaces.edge_height[own], strict=True)
    for (a, b), convex, level in along:
        i = position.get(int(a))
        if i is None or not low[i] or int(b) not in tread:
            continue
        if not convex and level < surfaces.box[a, 0, 2] + TOLERANCE:
            climbs[i] = True
        elif convex and level > surfaces.box[a, 1, 2] - TOLERANCE:
            topped[i] = True
    if not climbs.any():
        return low & topped
    facing = surfaces.normal[rows][climbs]
    alike = (surfaces.normal[rows] @ facing.T).max(axis=1) > 0.98
    return climbs | (low & topped & alike)


def _seats(
    surfaces: Surfaces, rows: Ints, role: str, rise: np.ndarray, plumb: float, lowest: float
) -> np.ndarray:
    """Faces on which a wall, a column or the foot of a stair stands: level, lowest."""
    level = (rise < -75.0) & (surfaces.box[rows, 1, 2] < lowest + TOLERANCE)
    if role in ("wall", "column"):
        return level
    if role == "stair":
        other = (rise < -plumb) & ~level
        return level & other.any() & (surfaces.area[rows] < 0.5 * surfaces.area[rows][other].sum())
    return np.zeros(len(rows), bool)
