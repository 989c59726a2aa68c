"""Panelling: a long wall or a whole floor that is one body is divided into pieces by rule."""

from collections.abc import Callable, Sequence
from itertools import pairwise
from math import ceil

import numpy as np
import shapely
from msgspec import Struct

from takeoff.geometry import planar
from takeoff.geometry.booleans import BooleanFailed, apart, labelled, mesh_of
from takeoff.geometry.mesh import Floats, Mesh, together, volume
from takeoff.geometry.slicing import Straight
from takeoff.measuring.cut_places import (
    Line,
    blocked_stretches,
    equal_cuts,
    find_cuts,
    module_cuts,
)
from takeoff.measuring.handling import within
from takeoff.measuring.panelling_rules import SlabRule, WallRule
from takeoff.measuring.piece_sizes import joined
from takeoff.measuring.shapes import largest_plane
from takeoff.measuring.silhouettes import silhouette

DEEPEST = 0.8
"""A body deeper than this, m, across its largest face is no panel: angled and curved walls are left whole."""
SMALLEST_HOLE = 0.04
"""Openings under this area, m2, do not drive joints away."""
LEAST_STEP = 0.2
"""Lower steps of an outline, m, do not drive joints away."""
CRUMB = 1e-4
"""Cuttings under this volume, m3, are left out."""
EASE = 1e-3
"""Bodies may be this much larger than a rule allows, m, before they are divided."""


class Panel(Struct, frozen=True, eq=False):
    """One piece of a division: its bodies, and the outline of its face (k, 3), metres, in the bodies' frame."""

    bodies: list[Mesh]
    corners: Floats


class PanelSolid(Struct, frozen=True, eq=False):
    """A piece of a division for whoever draws it: of which element, its number, and its closed bodies.

    `parts` are the parts (model, GlobalId, number) whose bodies were divided; meshes are in the bodies' frame.
    """

    model: str
    global_id: str
    panel: int
    parts: tuple[tuple[str, str, int], ...]
    bodies: tuple[Mesh, ...]


class Cut(Struct, frozen=True):
    """A joint that the division makes: its length along the face and its area through the bodies, m and m2.

    `kind` is `vertical`, `bed` (lying) or `slab`.
    """

    kind: str
    length: float
    area: float


class Division(Struct, frozen=True, eq=False):
    """Pieces of one body in their order, the joints between them, and what a person must know of it."""

    panels: tuple[Panel, ...]
    cuts: tuple[Cut, ...]
    note: str = ""


class _Face(Struct, frozen=True, eq=False):
    """A flat body seen across its face: axes (3, 3) along, up, across; `shape` in (along, up); t per m2."""

    axes: Floats
    shape: shapely.Geometry
    depth: float
    thickness: float
    middle: float

    def span(self) -> tuple[float, float, float, float]:
        """Lowest and highest place along, lowest and highest place up."""
        left, low, right, high = self.shape.bounds
        return float(left), float(right), float(low), float(high)

    def sides(self) -> tuple[float, float]:
        """Sides of the least rectangle around it, the shorter first; a panel may stand turned in its plane."""
        corners = shapely.get_coordinates(shapely.oriented_envelope(self.shape))
        first, second = np.linalg.norm(np.diff(corners[:3], axis=0), axis=1).tolist()
        return min(first, second), max(first, second)

    def part(self, left: float, right: float, low: float, high: float) -> shapely.Geometry:
        """The face between limits."""
        return planar.intersection(self.shape, shapely.box(left, low, right, high))

    def corners(self, shape: shapely.Geometry) -> Floats:
        """Outline of the largest sheet of a shape in the face, as points (k, 3) in the middle of the body."""
        sheet = max(shapely.get_parts(shape), key=lambda part: float(part.area))
        flat = shapely.get_coordinates(shapely.get_exterior_ring(sheet))[:-1]
        return np.asarray(flat @ self.axes[:2] + self.middle * self.axes[2])


def divide(
    bodies: Sequence[Mesh], rule: WallRule | SlabRule, density: float, weight: float | None = None
) -> Division | None:
    """Divide the closed bodies of one element (metres) by a rule; None where it is within the limits.

    `density` is in kg/m3; `weight` in t where it is known otherwise. A body that is larger and cannot be divided
    comes back whole with a note.
    """
    total = sum(volume(body) for body in bodies)
    weight = total * density / 1e3 if weight is None else weight
    face = _face(list(bodies), total, isinstance(rule, SlabRule))
    if face is None:
        return None
    most = rule.as_one if isinstance(rule, SlabRule) else rule.most_height
    short, long = face.sides()
    if short <= most + EASE and long <= rule.most_length + EASE and within(weight, rule.most_weight):
        return None
    if face.depth > DEEPEST:
        return Division((), (), "it is angled or curved in plan: not divided by rule")
    per_area = weight / face.shape.area
    if isinstance(rule, SlabRule):
        rows = _floor_cells(face, rule, per_area)
        note = _through_holes(face, rows)
    else:
        rows, note = _wall_cells(face, rule, per_area)
    if sum(len(row) for row in rows) < 2:
        return Division((), (), note or "no division keeps the limits")
    try:
        panels = [panel for row in rows for cell in row for panel in _panels(bodies, face, cell)]
    except BooleanFailed:
        return Division((), (), "cutting it gave volumes that do not add up: not divided")
    return Division(tuple(panels), tuple(_cuts(face, rows, isinstance(rule, SlabRule))), note)


Cell = tuple[float, float, float, float]
"""Left, right, low, high in the face."""


def _face(bodies: list[Mesh], total: float, flat: bool) -> _Face | None:
    """The face of a panel, for walls with the first axis level, for floors with it along the longer side."""
    whole = joined(bodies)
    _, normal = largest_plane(whole)
    if flat == (abs(float(normal[2])) < 0.7):
        return None
    if flat:
        across = normal if normal[2] > 0 else -normal
        helper = np.array([1.0, 0.0, 0.0]) if abs(across[0]) < 0.9 else np.array([0.0, 1.0, 0.0])
        first = helper - (helper @ across) * across
    else:
        across = normal
        first = np.cross([0.0, 0.0, 1.0], across)
    first /= np.linalg.norm(first)
    axes = np.stack([first, np.cross(across, first), across])
    shape = silhouette(bodies, axes)
    if flat:
        corners = shapely.get_coordinates(shapely.oriented_envelope(shape))
        sides = np.diff(corners[:3], axis=0)
        long = sides[int(np.argmax(np.linalg.norm(sides, axis=1)))]
        long /= np.linalg.norm(long)
        first = long[0] * axes[0] + long[1] * axes[1]
        axes = np.stack([first, np.cross(across, first), across])
        shape = silhouette(bodies, axes)
    depth = whole.vertices @ axes[2]
    return _Face(
        axes, shape, float(np.ptp(depth)), total / shape.area, float(depth.min() + depth.max()) / 2.0
    )


def _wall_cells(face: _Face, rule: WallRule, per_area: float) -> tuple[list[list[Cell]], str]:
    """Rows of cells of a wall from the bottom up; `per_area` is its weight, t/m2 of the net face."""
    left, right, low, high = face.span()
    standing = high - low > rule.most_height + EASE
    most = rule.most_height if standing else rule.most_length
    levels: tuple[float, ...] = ()
    notes = []
    if high - low > rule.most_length + EASE:
        line = Line(
            low,
            high,
            rule.most_length,
            rule.least_width,
            rule.from_end,
            _openings(face, 1),
            rule.from_opening,
        )
        found = find_cuts(line, lambda places: np.zeros(len(places)), rule.most_weight)
        if found is not None:
            levels = found.places
            notes += [] if found.clear else ["a level joint runs through an opening"]
    rows = []
    bounds = (low, *levels, high)
    for bottom, top in pairwise(bounds):
        part = face.part(left, right, bottom, top)
        row = _Face(face.axes, part, face.depth, face.thickness, face.middle)
        line = Line(left, right, most, rule.least_width, rule.from_end, _openings(row, 0), rule.from_opening)
        cuts = find_cuts(line, _weigher(row, per_area), rule.most_weight)
        if cuts is None:
            return [], "no joints keep its pieces within the weight"
        notes += [] if cuts.clear else ["a joint lies in an opening or nearer to one than the rule says"]
        edges = (left, *cuts.places, right)
        rows.append([(a, b, bottom, top) for a, b in pairwise(edges)])
    return rows, "; ".join(dict.fromkeys(notes))


def _floor_cells(face: _Face, rule: SlabRule, per_area: float) -> list[list[Cell]]:
    """Rows of cells of a floor: strips of a module across its shorter side, each cut where too long or heavy.

    A floor no wider than one piece is only cut across its length.
    """
    left, right, low, high = face.span()
    if high - low <= rule.as_one + EASE:
        weight = per_area * float(face.shape.area)
        ends = (left, *equal_cuts(left, right, _number(right - left, weight, rule)), right)
        return [[(a, b, low, high) for a, b in pairwise(ends)]]
    edges = (left, *module_cuts(left, right, rule.module, rule.least_width).places, right)
    rows = []
    for a, b in pairwise(edges):
        weight = per_area * float(face.part(a, b, low, high).area)
        ends = (low, *equal_cuts(low, high, _number(high - low, weight, rule)), high)
        rows.append([(a, b, c, d) for c, d in pairwise(ends)])
    return rows


def _through_holes(face: _Face, rows: Sequence[Sequence[Cell]]) -> str:
    """A note on the holes of a floor that lie in no cell as a whole."""
    cells = [shapely.box(a, c, b, d).buffer(EASE) for row in rows for a, b, c, d in row]
    rings = [ring for part in shapely.get_parts(face.shape) for ring in part.interiors]
    holes = [hole for hole in map(shapely.Polygon, rings) if hole.area >= SMALLEST_HOLE]
    cut = sum(not any(cell.contains(hole) for cell in cells) for hole in holes)
    if not cut:
        return ""
    return f"joints run through {cut} opening{'s' if cut > 1 else ''}: what carries the ends there is not divided for"


def _number(length: float, weight: float, rule: SlabRule) -> int:
    """Pieces that a length of floor needs."""
    return max(1, ceil(length / rule.most_length - 1e-6), ceil(weight / rule.most_weight - 1e-6))


def _weigher(face: _Face, per_area: float) -> Callable[[Floats], Floats]:
    """The weight, t, of all of a face before places along it, exact for any outline."""
    left, _, low, high = face.span()

    def weight_to(places: Floats) -> Floats:
        boxes = shapely.box(left - 1.0, low - 1.0, np.asarray(places), high + 1.0)
        return np.asarray(shapely.area(planar.intersection(face.shape, boxes)) * per_area)

    return weight_to


def _openings(face: _Face, along: int) -> tuple[tuple[float, float], ...]:
    """Stretches along (0) or up (1) the face that openings and notches take.

    What is missing at a corner of its box is no opening but a step or a gable: of that the steps alone count.
    """
    left, right, low, high = face.span()
    box = shapely.box(left, low, right, high)
    gaps = planar.difference(box, face.shape)
    corners = shapely.points(shapely.get_coordinates(box)[:4])
    spans = []
    for gap in shapely.get_parts(gaps):
        if gap.area < SMALLEST_HOLE:
            continue
        if shapely.distance(corners, gap).min() < EASE:
            spans += _steps(gap, along, (left, low)[along], (right, high)[along])
        else:
            spans.append((float(gap.bounds[along]), float(gap.bounds[along + 2])))
    return blocked_stretches(spans)


def _steps(gap: shapely.Geometry, along: int, low: float, high: float) -> list[tuple[float, float]]:
    """Places along (0) or up (1) a face where the outline of a gap between `low` and `high` steps square to it."""
    ends = shapely.get_coordinates(shapely.get_exterior_ring(gap))
    way = np.diff(ends, axis=0)
    steep = (np.abs(way[:, along]) < EASE) & (np.abs(way[:, 1 - along]) > LEAST_STEP)
    places = ends[:-1, along][steep]
    return [(float(place), float(place)) for place in places if low + EASE < place < high - EASE]


def _panels(bodies: Sequence[Mesh], face: _Face, cell: Cell) -> list[Panel]:
    """What lies in one cell: a piece, or several where the body is apart there; none where it is empty."""
    left, right, low, high = cell
    shape = face.part(left, right, low, high)
    sheets = [sheet for sheet in shapely.get_parts(shape) if sheet.area * face.thickness > CRUMB]
    if not sheets:
        return []
    parts: list[list[Mesh]] = [[] for _ in sheets]
    for body in bodies:
        solid, labels = labelled(body)
        for axis, lower, upper in ((0, left, right), (1, low, high)):
            values = body.vertices @ face.axes[axis]
            ruler = Straight(face.axes[axis], float(values.min()), float(values.max()))
            if upper < ruler.high - 1e-6:
                solid = ruler.cut(solid, upper)[0]
            if lower > ruler.low + 1e-6:
                solid = ruler.cut(solid, lower)[1]
        if solid.volume() <= CRUMB:
            continue
        lumps = (
            [lump.shells for lump in apart(solid) if lump.volume > CRUMB] if len(sheets) > 1 else [[solid]]
        )
        for shells in lumps:
            mesh = together([mesh_of(shell, labels) for shell in shells])
            middle = shapely.Point(mesh.corners.reshape(-1, 3).mean(axis=0) @ face.axes[:2].T)
            nearest = min(range(len(sheets)), key=lambda n: float(shapely.distance(sheets[n], middle)))
            parts[nearest].append(mesh)
    return [Panel(meshes, face.corners(sheet)) for sheet, meshes in zip(sheets, parts, strict=True) if meshes]


def _cuts(face: _Face, rows: Sequence[Sequence[Cell]], flat: bool) -> list[Cut]:
    """The joints between neighbouring cells: lengths of the face along the cutting lines."""
    cells = [cell for row in rows for cell in row]
    lines: dict[tuple[int, float], list[tuple[float, float]]] = {}
    _, right, _, high = face.span()
    for a, b, c, d in cells:
        if b < right - 1e-6:
            lines.setdefault((0, round(b, 6)), []).append((c, d))
        if d < high - 1e-6:
            lines.setdefault((1, round(d, 6)), []).append((a, b))
    cuts = []
    for (axis, place), spans in lines.items():
        for start, end in spans:
            ends = [(place, start), (place, end)] if axis == 0 else [(start, place), (end, place)]
            length = float(planar.intersection(face.shape, shapely.LineString(ends)).length)
            if length > 1e-3:
                kind = "slab" if flat else ("vertical" if axis == 0 else "bed")
                cuts.append(Cut(kind, length, length * face.thickness))
    return cuts
