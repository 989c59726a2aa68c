"""Length, width, height, thickness and plan area of bodies, from their surfaces."""

import numpy as np
import shapely
from msgspec import Struct

from takeoff.geometry import planar
from takeoff.geometry.mesh import Ints
from takeoff.geometry.surfaces import Surfaces

LEVEL = 1e-4
LEVEL_AXIS = 1e-12
"""A frame is level when the upward share of its normal is one to within this: its polygons are plans."""


class Dimensions(Struct, frozen=True, eq=False):
    """Overall sizes in metres; `outline` is the plan of the body, `plan_area` its area.

    `thickness` is the wall's or slab's thickness, a beam's depth, the smaller side of a column.
    """

    length: float
    width: float
    height: float
    thickness: float
    plan_area: float
    outline: shapely.Geometry


def plan_polygon(surfaces: Surfaces, row: int, shape: shapely.Geometry | None = None) -> shapely.Geometry:
    """A flat surface's polygon (or a `shape` in its frame) seen from above, in plan coordinates."""
    shape = surfaces.polygon[row] if shape is None else shape
    axes = surfaces.axes[row]
    if 1.0 - abs(axes[2, 2]) < LEVEL_AXIS:
        return shape
    offset = float(surfaces.centre[row] @ axes[2])

    def seen(points: np.ndarray) -> np.ndarray:
        return points @ axes[:2, :2] + offset * axes[2, :2]

    return shapely.transform(shape, seen)


def outline(surfaces: Surfaces, rows: Ints) -> shapely.Geometry:
    """The plan of a body: the union of its surfaces that look down, seen from above."""
    looking_down = [row for row in rows if surfaces.normal[row, 2] < -0.01 and surfaces.frame[row] >= 0]
    shapes = [plan_polygon(surfaces, row) for row in looking_down]
    if len(shapes) == 1:
        return shapes[0]
    return planar.union_all(shapes, grid_size=1e-6) if shapes else shapely.Polygon()


def measure_dimensions(surfaces: Surfaces, rows: Ints, role: str, volume: float) -> Dimensions:
    """Overall sizes of one body from its surface rows; `volume` m3 steadies the thickness of slabs."""
    plan = outline(surfaces, rows)
    low = surfaces.box[rows, 0].min(axis=0)
    high = surfaces.box[rows, 1].max(axis=0)
    height = float(high[2] - low[2])
    long, short = rectangle_sides(plan)
    area = float(plan.area)
    if role == "wall":
        thickness = strip_thickness(plan)
        straight = area > 0.98 * long * short
        length = long if straight or thickness <= 0 else area / thickness
        return Dimensions(length, thickness, height, thickness, area, plan)
    if role == "column":
        return Dimensions(long, short, height, short, area, plan)
    if role == "beam":
        sides = _beam_length(surfaces, rows, plan, long)
        depth = (
            volume / (sides * short)
            if sides * short > 0 and height > 1.05 * volume / (sides * short)
            else height
        )
        return Dimensions(sides, short, depth, depth, area, plan)
    if role == "stair":
        return Dimensions(long, short, height, height, area, plan)
    up = rows[surfaces.normal[rows, 2] > 0.5]
    down = rows[surfaces.normal[rows, 2] < -0.5]
    face = max(float(surfaces.area[up].sum()), float(surfaces.area[down].sum()))
    thickness = volume / face if face > 0 else height
    return Dimensions(long, short, height if height < 1.05 * thickness else thickness, thickness, area, plan)


def rectangle_sides(shape: shapely.Geometry) -> tuple[float, float]:
    """Sides (longer, shorter) of the smallest rectangle around a shape, m."""
    if shape.is_empty:
        return 0.0, 0.0
    corners = shapely.get_coordinates(shapely.oriented_envelope(shape))
    if len(corners) < 4:
        return float(shape.length), 0.0
    a = float(np.linalg.norm(corners[1] - corners[0]))
    b = float(np.linalg.norm(corners[2] - corners[1]))
    return max(a, b), min(a, b)


def strip_length(shape: shapely.Geometry) -> float:
    """Length of a strip along its middle, m: straight, angled, curved or a ring; the longer side of a stub."""
    if shape.area <= 0:
        return 0.0
    long, short = rectangle_sides(shape)
    if shape.area >= 0.999 * long * short:
        return long
    thickness = strip_thickness(shape)
    return float(shape.area) / thickness if thickness > 0 else long


def strip_thickness(plan: shapely.Geometry) -> float:
    """Thickness of a wall from its plan, m: of a strip with length l and thickness t, area is l*t, girth 2(l+t).

    Solved for t this holds for straight, angled and curved walls alike; a rectangle gives its shorter side.
    """
    total, weighted = 0.0, 0.0
    for piece in shapely.get_parts(plan):
        area = float(piece.area)
        if area <= 0:
            continue
        long, short = rectangle_sides(piece)
        if area > 0.98 * long * short:
            thickness = short
        else:
            girth = float(piece.length)
            under = girth * girth - 16.0 * area
            thickness = (girth - under**0.5) / 4.0 if under > 0 else area**0.5
            if len(getattr(piece, "interiors", ())):
                thickness = 2.0 * area / girth
        total += area
        weighted += area * thickness
    return weighted / total if total else 0.0


def _beam_length(surfaces: Surfaces, rows: Ints, plan: shapely.Geometry, plan_length: float) -> float:
    """Length of a beam along its own slope, m, from how its underside rises along the longer side of its plan.

    Of a straight beam that is its largest face that looks down, of a curved one all facets of the curve: an arch is
    as long as its curve, a round beam as its axis. A face that leans across the beam makes it no longer.
    """
    down = rows[(surfaces.normal[rows, 2] < -0.5) & (surfaces.frame[rows] >= 0)]
    if not len(down):
        return plan_length
    main = down[np.argmax(surfaces.area[down])]
    faces = down[surfaces.curved[down]] if surfaces.curved[main] else np.array([main])
    normal = surfaces.normal[faces]
    climb = (normal[:, :2] @ _long_way(plan)) / normal[:, 2]
    weight = surfaces.area[faces] * np.abs(normal[:, 2])
    longer = float((weight * np.hypot(1.0, climb)).sum() / weight.sum())
    return plan_length * longer if longer > 1.0 + LEVEL else plan_length


def _long_way(plan: shapely.Geometry) -> np.ndarray:
    """Direction (2,) of the longer side of the smallest rectangle around a plan with an area."""
    corners = shapely.get_coordinates(shapely.oriented_envelope(plan))
    sides = np.diff(corners[:3], axis=0)
    lengths = np.linalg.norm(sides, axis=1)
    way: np.ndarray = sides[int(np.argmax(lengths))] / lengths.max()
    return way
