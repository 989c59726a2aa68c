"""Sizes of a piece: overall length, width, thickness, largest face, its outline and the openings through it."""

from typing import Any

import numpy as np
from msgspec import Struct

from takeoff.geometry.mesh import BODY, Floats, Mesh, areas, normals
from takeoff.measuring.boxes import tightest_box
from takeoff.measuring.shapes import largest_plane
from takeoff.measuring.silhouettes import silhouette

FACE_SHARE = 0.25
"""A flat face that fills less of its side of the box does not tell which way is across (curved work)."""
BROAD_SIDE = 0.25
"""Openings count in a side whose flat face has this share of the largest: the other wall of an angle, not the end of a
unit with cores."""
LEAST_HOLE = 1e-4
"""Smaller gaps in the outline (m2) are no openings."""


class Section(Struct, frozen=True):
    """A piece seen along one of its sides: area m2, and radii of gyration about its main axes, m."""

    area: float
    spreads: tuple[float, float]


class PieceSizes(Struct, frozen=True):
    """Metres and m2. For walls and slabs the thickness is across the largest face, else the least extent.

    `openings` count in all broad sides, `opening_edges` is the length around them. `outline` is the length around the
    piece seen across its thickness, notches at its edge included, `outline_area` what the outline encloses, holes
    included; `along` is the piece seen along its length, `beside` seen along its width.
    """

    length: float
    width: float
    thickness: float
    largest_face: float
    openings: int
    outline: float
    opening_edges: float
    outline_area: float
    along: Section
    beside: Section


def piece_sizes(bodies: list[Mesh], is_panel: bool) -> PieceSizes:
    """Sizes of the closed bodies that are lifted together. Raises ValueError where they lie in a plane."""
    mesh = joined(bodies)
    axes, extents = tightest_box(mesh.vertices)
    face, normal = largest_plane(mesh)
    across = int(np.argmin(extents))
    if is_panel:
        facing = int(np.argmax(np.abs(axes @ normal)))
        if face >= FACE_SHARE * extents.prod() / extents[facing]:
            across = facing
    rest = sorted((float(extents[i]) for i in range(3) if i != across), reverse=True)
    side = extents.prod() / extents[across]
    bent = is_panel and face < 0.5 * side
    if bent:
        # Curved or much divided: what looks to one side within 60 degrees is the face that a mould makes.
        corners = mesh.corners
        facing_way = normals(corners) @ axes[across]
        area = areas(corners)
        face = max(face, *(float(area[sign * facing_way > 0.5].sum()) for sign in (1.0, -1.0)))
    seen = outline_across(bodies, axes[across])
    further = [
        hole
        for i in range(3)
        if i != across and _flat_side(mesh, axes[i]) >= BROAD_SIDE * face
        for hole in _holes(silhouette(bodies, _axes_across(axes[i])))
    ]
    beside, along = sorted((i for i in range(3) if i != across), key=lambda i: float(extents[i]))
    return PieceSizes(
        rest[0], rest[1], float(extents[across]), face, seen.openings + len(further), seen.length,
        seen.edges + sum(float(hole.length) for hole in further), seen.area,
        _section(bodies, axes[along]), _section(bodies, axes[beside]),
    )  # fmt: skip


def _section(bodies: list[Mesh], along: Floats) -> Section:
    """The outline of bodies in the direction `along` (3,).

    Second moments by the sums over the edges of a polygon (Green's theorem), holes turning the other way.
    """
    import shapely

    outline = silhouette(bodies, _axes_across(along))
    sheets = shapely.orient_polygons([sheet for sheet in shapely.get_parts(outline) if sheet.area > 0])
    home = np.array([outline.centroid.x, outline.centroid.y])
    area, second = 0.0, np.zeros((2, 2))
    for ring in shapely.get_rings(sheets):
        ends = shapely.get_coordinates(ring) - home
        a, b = ends[:-1], ends[1:]
        twice = a[:, 0] * b[:, 1] - b[:, 0] * a[:, 1]
        area += float(twice.sum()) / 2.0
        both = a + b
        second += (np.einsum("n,ni,nj->ij", twice, both, both) + np.einsum("n,ni,nj->ij", twice, a, a)
                   + np.einsum("n,ni,nj->ij", twice, b, b)) / 24.0  # fmt: skip
    least, most = np.sqrt(np.clip(np.linalg.eigvalsh(second) / max(area, 1e-12), 0.0, None)).tolist()
    return Section(area, (most, least))


def upper_side(mesh: Mesh) -> Floats:
    """The direction (3,) of the largest face of a solid, turned so that it looks up."""
    _, normal = largest_plane(mesh)
    return normal if normal[2] >= 0 else -normal


def joined(bodies: list[Mesh]) -> Mesh:
    """The meshes as one, without merging anything; labels of the i-th body are shifted apart."""
    if len(bodies) == 1:
        return bodies[0]
    starts = np.cumsum([0] + [len(body.vertices) for body in bodies])
    return Mesh(
        np.concatenate([body.vertices for body in bodies]),
        np.concatenate([body.faces + start for body, start in zip(bodies, starts[:-1], strict=True)]),
        np.concatenate([body.labels for body in bodies]),
    )


class Outline(Struct, frozen=True):
    """A piece seen across its thickness: openings through it, the length around it, that around its holes (m),
    and the area within the length around it (m2)."""

    openings: int
    length: float
    edges: float
    area: float


def _axes_across(across: Floats) -> Floats:
    """Axes (3, 3) of which the third is `across` (3,)."""
    helper = np.eye(3)[np.argmin(np.abs(across))]
    x = np.cross(helper, across)
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(across, x), across])


def _flat_side(mesh: Mesh, way: Floats) -> float:
    """Area, m2, of what looks square along `way` (3,), on the side that has more of it."""
    cosine = normals(mesh.corners) @ way
    area = areas(mesh.corners)
    return max(float(area[sign * cosine > 1.0 - 1e-6].sum()) for sign in (1.0, -1.0))


def _holes(outline: Any) -> list[Any]:
    """The holes in an outline, as polygons, but for what is too small for an opening."""
    from shapely import get_parts
    from shapely.geometry import Polygon

    rings = [ring for sheet in get_parts(outline) if isinstance(sheet, Polygon) for ring in sheet.interiors]
    return [hole for hole in (Polygon(ring) for ring in rings) if hole.area > LEAST_HOLE]


def outline_across(bodies: list[Mesh], across: Floats) -> Outline:
    """The outline in the direction `across` (3,).

    Openings are holes in it, and notches at its edge that an opening element cut through the whole thickness.
    Cores along a unit and recesses are none.
    """
    from shapely import MultiPoint
    from shapely.geometry import MultiPolygon, Polygon

    axes = _axes_across(across)
    outline, plane = silhouette(bodies, axes), axes[:2]
    sheets = [p for p in getattr(outline, "geoms", [outline]) if isinstance(p, Polygon)]
    holes = _holes(outline)
    rims = MultiPolygon(holes).boundary if holes else None
    notches = set()
    for label in sorted({int(n) for body in bodies for n in np.unique(body.labels)} - {BODY}):
        for body in bodies:
            cut = body.corners[body.labels == label].reshape(-1, 3)
            if not len(cut):
                continue
            span, depth = np.ptp(cut @ across), np.ptp(body.vertices @ across)
            on_hole = rims is not None and rims.distance(MultiPoint(cut @ plane.T)) < 1e-3
            if span >= 0.95 * depth and not on_hole:
                notches.add(label)
    sheets = [sheet for sheet in sheets if sheet.area > LEAST_HOLE]
    return Outline(
        len(holes) + len(notches),
        sum(float(sheet.exterior.length) for sheet in sheets),
        sum(float(hole.length) for hole in holes),
        sum(float(Polygon(sheet.exterior).area) for sheet in sheets),
    )
