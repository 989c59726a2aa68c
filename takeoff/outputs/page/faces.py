"""The faces of all bodies as flat polygons in space, each with what became of it, packed for drawing."""

from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from msgspec import Struct
from numpy.typing import NDArray

from takeoff.geometry import planar
from takeoff.geometry.mesh import Floats, Ints, Mesh
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.formwork import FormedBody

STATES = (
    "formed",
    "contact",
    "permanent-formwork",
    "free",
    "ground",
    "against-ground",
    "seated",
    "not-formed",
)
"""What a face can be; `not-formed` are the faces of parts that come ready-made."""

STRIP = np.radians(7.5)
"""Width of the flat strips by which a cylinder is drawn; the measured area is the cylinder's own."""
SMALLEST = 1e-6
"""Faces under this area, m2, are not drawn."""
STEPS = 65_535
"""Corners are told apart in this many steps along each side of their body's box: 0.1 mm in 6.5 m."""

FILLED, OUTLINED, CURVED = 1, 2, 4


class Faces(Struct, frozen=True, eq=False):
    """Polygons of all bodies, sorted by body. Each has its outer ring first, then its holes; seen from outside the
    body the outer ring turns anticlockwise.

    `box` (b, 6) lowest corner and size of each body, m; `body`, `state`, `category`, `area`, `flags`, `rings`
    (p,) one entry a polygon: its body, place in `STATES`, place in `categories` (0: none), m2, `FILLED`,
    `OUTLINED` and `CURVED` bits, number of rings; `ring` (r,) corners of each ring; `corners` (c, 3) steps in the box.
    """

    box: NDArray[np.float32]
    body: NDArray[np.uint32]
    state: NDArray[np.uint8]
    category: NDArray[np.uint8]
    area: NDArray[np.float32]
    flags: NDArray[np.uint8]
    rings: NDArray[np.uint16]
    ring: NDArray[np.uint16]
    corners: NDArray[np.uint16]
    categories: tuple[str, ...]


class _Sheets(Struct):
    """Polygons in their surfaces' coordinates, before they are laid out in space."""

    row: list[int]
    state: list[int]
    category: list[int]
    flags: list[int]
    polygon: list[shapely.Geometry]

    def add(self, row: int, state: str, category: int, flags: int, polygon: shapely.Geometry) -> None:
        self.row.append(row)
        self.state.append(STATES.index(state))
        self.category.append(category)
        self.flags.append(flags)
        self.polygon.append(polygon)


def make_faces(surfaces: Surfaces, meshes: Sequence[Mesh], formed: Mapping[int, FormedBody]) -> Faces:
    """Lay out every surface of bodies, the formed ones split into what is formed and what is in contact."""
    sheets, categories = _sheets(surfaces, formed)
    rows = np.array(sheets.row, dtype=np.int64)
    polygons, source = _polygons(surfaces, rows, np.array(sheets.polygon, dtype=object))
    rows = rows[source]
    order = np.argsort(surfaces.part[rows], kind="stable")
    polygons, source, rows = polygons[order], source[order], rows[order]
    inward = np.where(surfaces.frame[rows] >= 0, surfaces.side[rows] < 0, surfaces.hollow[rows])
    polygons[~inward] = shapely.orient_polygons(polygons[~inward])
    polygons[inward] = shapely.orient_polygons(polygons[inward], exterior_cw=True)
    rings, ring_polygon = shapely.get_rings(polygons, return_index=True)
    points, ring_of = shapely.get_coordinates(rings, return_index=True)
    last = np.ones(len(points), dtype=bool)
    last[:-1] = ring_of[1:] != ring_of[:-1]
    points, ring_of = points[~last], ring_of[~last]  # a ring ends where it began
    owner = rows[ring_polygon[ring_of]]
    box = np.array([mesh.box() for mesh in meshes]).reshape(-1, 2, 3)
    part = surfaces.part[owner]
    low, size = box[part, 0], np.maximum(box[part, 1] - box[part, 0], 1e-9)
    steps = np.clip(np.rint((_in_space(surfaces, owner, points) - low) / size * STEPS), 0, STEPS)
    return Faces(
        box=np.column_stack([box[:, 0], box[:, 1] - box[:, 0]]).astype(np.float32),
        body=surfaces.part[rows].astype(np.uint32),
        state=np.array(sheets.state, dtype=np.uint8)[source],
        category=np.array(sheets.category, dtype=np.uint8)[source],
        area=(shapely.area(polygons) * surfaces.scale[rows]).astype(np.float32),
        flags=np.array(sheets.flags, dtype=np.uint8)[source],
        rings=np.bincount(ring_polygon, minlength=len(polygons)).astype(np.uint16),
        ring=np.bincount(ring_of, minlength=len(rings)).astype(np.uint16),
        corners=steps.astype(np.uint16),
        categories=categories,
    )


def joined_faces(one: Faces, other: Faces) -> Faces:
    """Both in one, the bodies of `other` after those of `one`; `other` has no formed faces, so no categories."""
    values = {
        name: np.concatenate([getattr(one, name), getattr(other, name)])
        for name in Faces.__struct_fields__
        if name not in ("body", "categories")
    }
    return Faces(
        **values,
        body=np.concatenate([one.body, other.body + np.uint32(len(one.box))]),
        categories=one.categories,
    )


def _sheets(surfaces: Surfaces, formed: Mapping[int, FormedBody]) -> tuple[_Sheets, tuple[str, ...]]:
    sheets = _Sheets([], [], [], [], [])
    categories: dict[str, int] = {"": 0}
    told: set[int] = set()
    for body in formed.values():
        for face in body.faces:
            told.add(face.row)
            outline = CURVED if surfaces.curved[face.row] else OUTLINED
            split = face.relieved is not None and face.rest is not None
            flags = FILLED | (outline & CURVED if split else outline)
            if face.rest is not None:
                state = "formed" if face.formed else face.category
                number = categories.setdefault(face.category, len(categories)) if face.formed else 0
                sheets.add(face.row, state, number, flags, face.rest)
            if face.relieved is not None:
                whole = surfaces.polygon[face.row]
                state = next(iter(face.touching)) if len(face.touching) == 1 else "contact"
                region = planar.intersection(whole, face.relieved) if split else whole
                sheets.add(face.row, state, 0, flags, region)
                if split and outline == OUTLINED:
                    sheets.add(face.row, state, 0, OUTLINED, whole)
    for row in range(len(surfaces)):
        if row not in told and surfaces.area[row] > SMALLEST:
            outline = CURVED if surfaces.curved[row] else OUTLINED
            sheets.add(row, "not-formed", 0, FILLED | outline, surfaces.polygon[row])
    return sheets, tuple(categories)


def _polygons(
    surfaces: Surfaces, rows: Ints, shapes: NDArray[np.object_]
) -> tuple[NDArray[np.object_], Ints]:
    """Single polygons (p,) without slivers, cylinders in strips, and the place that each came from."""
    cuts, places = [], []
    for place in np.flatnonzero(surfaces.frame[rows] < 0):
        left, _, right, _ = shapely.bounds(shapes[place])
        turns = np.arange(np.floor(left / STRIP), np.ceil(right / STRIP)) * STRIP
        cuts.append(planar.intersection(shapes[place], shapely.box(turns, -1e7, turns + STRIP, 1e7)))
        places.append(np.full(len(turns), place))
    flat = np.flatnonzero(surfaces.frame[rows] >= 0)
    shapes = np.concatenate([shapes[flat], *cuts])
    source = np.concatenate([flat, *places])
    pieces, index = shapely.get_parts(shapes, return_index=True)
    source = source[index]
    area = shapely.area(pieces) * surfaces.scale[rows[source]]
    keep = (shapely.get_type_id(pieces) == 3) & (area > SMALLEST)
    return pieces[keep], source[keep]


def _in_space(surfaces: Surfaces, rows: Ints, points: Floats) -> Floats:
    """Points (n, 2) of surfaces `rows` (n,) in space, (n, 3)."""
    axes = surfaces.axes[rows]
    offset = np.einsum("ij,ij->i", surfaces.centre[rows], axes[:, 2])
    placed = np.einsum("ij,ijk->ik", np.column_stack([points, offset]), axes)
    round_ = surfaces.frame[rows] < 0
    own = rows[round_]
    angle, height = points[round_].T
    radius = surfaces.radius[own]
    placed[round_] = np.column_stack(
        [
            surfaces.axis_point[own, 0] + radius * np.cos(angle),
            surfaces.axis_point[own, 1] + radius * np.sin(angle),
            height,
        ]
    )
    return placed
