"""Extruded areas meshed exactly, without the geometry kernel."""

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import manifold3d
import numpy as np

from takeoff.geometry.mesh import Floats, Ints, Mesh, volume
from takeoff.geometry.placements import applied, axis_placement, unit
from takeoff.geometry.profiles import Area, profile_areas, signed_area, turned
from takeoff.geometry.refusals import Nonsense, Sheet, Unread, number
from takeoff.told import Quantity, told

Entity = Any

_BOX_CAP = np.array([[0, 1, 2], [0, 2, 3]], dtype=np.int64)


class Crossing(Unread):
    """An outline crosses or touches itself, runs twice, or a hole is not within it."""


def cap(area: Area) -> Ints:
    """Triangles (m, 3) that fill an area, over its points in order; anticlockwise.

    Raises Crossing where they do not fill it, and where an outline comes back to one of its points (as one does
    that reaches its holes through slits of no width).
    """
    if len(area) == 1 and len(area[0]) == 4 and _convex(area[0]):
        return _BOX_CAP
    for ring in area:
        if len(ring) > 5 and len(set(map(tuple, np.round(ring, 7).tolist()))) < len(ring):
            raise Crossing("an outline that touches itself")
    faces = np.asarray(
        manifold3d.triangulate([np.ascontiguousarray(points) for points in area]), dtype=np.int64
    )
    points = np.concatenate(area)
    a, b, c = points[faces[:, 0]], points[faces[:, 1]], points[faces[:, 2]]
    doubled = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    wanted = sum(signed_area(ring) for ring in area)
    if wanted <= 0.0 or abs(float(np.abs(doubled).sum()) / 2.0 - wanted) > 1e-9 * max(wanted, 1e-3):
        raise Crossing("an outline that crosses itself")
    return faces


def untangled(area: Area) -> list[Area]:
    """Areas without crossings, of an outline that crosses itself or holes that leave it."""
    import shapely

    from takeoff.geometry import planar

    def sound(ring: Floats) -> shapely.Geometry:
        return shapely.make_valid(shapely.Polygon(ring), method="structure", keep_collapsed=False)

    valid = sound(area[0])
    for ring in area[1:]:
        valid = planar.difference(valid, sound(ring))
    out = []
    for polygon in shapely.get_parts(valid):
        if polygon.geom_type == "Polygon" and polygon.area > 1e-9:
            rings = [polygon.exterior, *polygon.interiors]
            corners = [shapely.get_coordinates(ring)[:-1] for ring in rings]
            out.append([turned(points, number > 0) for number, points in enumerate(corners)])
    if not out:
        raise Nonsense("an outline without area")
    return out


def _convex(points: Floats) -> bool:
    corners = points.tolist()
    return all(
        (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0]) > 0.0
        for a, b, c in zip(corners, corners[1:] + corners[:1], corners[2:] + corners[:2], strict=True)
    )


def prism(area: Area, way: Floats) -> Mesh:
    """Mesh of an area in the plane z = 0 swept along the (3,) vector `way` (metres, not in the plane)."""
    count = sum(len(points) for points in area)
    bottom = np.zeros((count, 3))
    bottom[:, :2] = np.concatenate(area)
    lid = cap(area)
    faces = np.concatenate([lid[:, ::-1], lid + count, sides(tuple(len(points) for points in area))])
    if way[2] < 0.0:
        faces = faces[:, ::-1]
    return Mesh.of(np.concatenate([bottom, bottom + way]), faces)


@lru_cache(maxsize=256)
def sides(sizes: tuple[int, ...]) -> Ints:
    """Triangles between a bottom of rings of these sizes and the same points again on top."""
    count = sum(sizes)
    sides = []
    start = 0
    for size in sizes:
        index = np.arange(start, start + size, dtype=np.int64)
        after = np.roll(index, -1)
        sides.append(np.column_stack([index, after, after + count]))
        sides.append(np.column_stack([index, after + count, index + count]))
        start += size
    return np.concatenate(sides)


def loft(rings: Sequence[Floats], low: Floats | None, high: Floats | None) -> Mesh:
    """Mesh through rings (n, 3) of equally many points, anticlockwise about the way from first to last.

    `low` and `high` (3,) are tips beyond the first and the last ring; None leaves the end open.
    """
    count = len(rings[0])
    index = np.arange(count)
    after = np.roll(index, -1)
    faces = []
    for step in range(len(rings) - 1):
        base, top = step * count, (step + 1) * count
        faces.append(np.column_stack([base + index, base + after, top + after]))
        faces.append(np.column_stack([base + index, top + after, top + index]))
    vertices = list(rings)
    if low is not None:
        faces.append(np.column_stack([after, index, np.full(count, count * len(rings))]))
        vertices.append(low[None])
    if high is not None:
        last = (len(rings) - 1) * count
        tip = count * len(rings) + (low is not None)
        faces.append(np.column_stack([last + index, last + after, np.full(count, tip)]))
        vertices.append(high[None])
    return Mesh.of(np.concatenate(vertices), np.concatenate(faces))


def extrusion(item: Entity, sheet: Sheet) -> list[Mesh]:
    """Meshes of an IfcExtrudedAreaSolid, one for each area of its profile, in the item's coordinates.

    Tapered ones are read where both ends have the same corners. Raises Unread for what the kernel has to do,
    Nonsense for what is no solid.
    """
    kind = item.is_a()
    if kind not in ("IfcExtrudedAreaSolid", "IfcExtrudedAreaSolidTapered"):
        raise Unread(kind)
    matrix = axis_placement(item.Position, sheet.scale)
    depth = number(item.Depth, f"{kind} with Depth") * sheet.scale
    way = unit(item.ExtrudedDirection[0]) * depth
    if abs(way[2]) < 1e-9:
        raise Nonsense("an extrusion without depth or within its own plane")
    if depth < 0.0:
        said = told("an extrusion has a depth of {}: it was made the other way", Quantity(depth, "m", "g"))
        sheet.doubt("depth-negative", said)
    areas = profile_areas(item.SweptArea, sheet)
    if kind == "IfcExtrudedAreaSolidTapered":
        solids = [_tapered(areas, profile_areas(item.EndSweptArea, sheet), way, sheet)]
    else:
        try:
            solids = [prism(area, way) for area in areas]
        except Crossing:
            solids = [prism(area, way) for area in all_untangled(areas, sheet)]
    return [Mesh(applied(matrix, solid.vertices), solid.faces, solid.labels) for solid in solids]


def all_untangled(areas: list[Area], sheet: Sheet) -> list[Area]:
    """Areas without crossings, with a doubt where that changes what is enclosed."""
    parts = [part for area in areas for part in untangled(area)]
    drawn, counted = _enclosed(areas), _enclosed(parts)
    if abs(drawn - counted) > 1e-6 * counted:
        said = "the outline crosses itself: each enclosed area was counted once ({})"
        sheet.doubt("outline-crosses", told(said, Quantity(counted, "m2", ".4f")))
    return parts


def _enclosed(areas: list[Area]) -> float:
    return sum(signed_area(ring) for area in areas for ring in area)


def _tapered(first: list[Area], last: list[Area], way: Floats, sheet: Sheet) -> Mesh:
    if len(first) != 1 or len(last) != 1 or [len(r) for r in first[0]] != [len(r) for r in last[0]]:
        raise Unread("a taper between different outlines")
    straight = prism(first[0], way)
    cap(last[0])
    vertices = straight.vertices.copy()
    half = len(vertices) // 2
    vertices[half:, :2] = np.concatenate(last[0]) + way[:2]
    mesh = Mesh(vertices, straight.faces, straight.labels)
    least = min(_enclosed(first), _enclosed(last))
    middle = [[(one + other) / 2.0 for one, other in zip(first[0], last[0], strict=True)]]
    # Outlines that are not turned against each other are nowhere smaller than at the smaller end (Brunn, Minkowski).
    if min(volume(mesh) / abs(float(way[2])), _enclosed(middle)) < (1.0 - 1e-6) * least:
        sheet.doubt(
            "taper-twisted", "a taper between outlines that are turned against each other: check its volume"
        )
    return mesh
