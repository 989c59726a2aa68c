"""Extruded areas meshed exactly, without the geometry kernel."""

from typing import Any

import manifold3d
import numpy as np

from takeoff.geometry.curves import Unread
from takeoff.geometry.mesh import Floats, Ints, Mesh
from takeoff.geometry.placements import applied, axis_placement, unit
from takeoff.geometry.profiles import Area, profile_areas, signed_area

Entity = Any

_BOX_CAP = np.array([[0, 1, 2], [0, 2, 3]], dtype=np.int64)


def cap(area: Area) -> Ints:
    """Triangles (m, 3) that fill an area, over its points in order; anticlockwise.

    Raises Unread where they do not fill it (an outline that crosses itself, a hole outside of it).
    """
    if len(area) == 1 and len(area[0]) == 4 and _convex(area[0]):
        return _BOX_CAP
    faces = np.asarray(
        manifold3d.triangulate([np.ascontiguousarray(points) for points in area]), dtype=np.int64
    )
    points = np.concatenate(area)
    a, b, c = points[faces[:, 0]], points[faces[:, 1]], points[faces[:, 2]]
    doubled = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    wanted = sum(signed_area(ring) for ring in area)
    if wanted <= 0.0 or abs(float(np.abs(doubled).sum()) / 2.0 - wanted) > 1e-9 * max(wanted, 1e-3):
        raise Unread("an outline that crosses itself")
    return faces


def _convex(points: Floats) -> bool:
    step = np.roll(points, -1, axis=0) - points
    following = np.roll(step, -1, axis=0)
    return bool((step[:, 0] * following[:, 1] - step[:, 1] * following[:, 0] > 0.0).all())


def prism(area: Area, way: Floats) -> Mesh:
    """Mesh of an area in the plane z = 0 swept along the (3,) vector `way` (metres, not in the plane)."""
    count = sum(len(points) for points in area)
    bottom = np.zeros((count, 3))
    bottom[:, :2] = np.concatenate(area)
    lid = cap(area)
    sides = []
    start = 0
    for points in area:
        index = np.arange(start, start + len(points))
        after = np.roll(index, -1)
        sides.append(np.column_stack([index, after, after + count]))
        sides.append(np.column_stack([index, after + count, index + count]))
        start += len(points)
    faces = np.concatenate([lid[:, ::-1], lid + count, *sides])
    if way[2] < 0.0:
        faces = faces[:, ::-1]
    return Mesh.of(np.concatenate([bottom, bottom + way]), faces)


def extrusion(item: Entity, scale: float, angle: float) -> list[Mesh]:
    """Meshes of an IfcExtrudedAreaSolid (one for each area of its profile), in the item's coordinates.

    Raises Unread for what the kernel has to do.
    """
    if item.is_a() != "IfcExtrudedAreaSolid":
        raise Unread(item.is_a())
    try:
        matrix = axis_placement(item.Position, scale)
        way = unit(item.ExtrudedDirection[0]) * (item.Depth * scale)
    except ValueError as problem:
        raise Unread(str(problem)) from problem
    if abs(way[2]) < 1e-9:
        raise Unread("an extrusion within its own plane")
    solids = (prism(area, way) for area in profile_areas(item.SweptArea, scale, angle))
    return [Mesh(applied(matrix, solid.vertices), solid.faces, solid.labels) for solid in solids]
