"""Bodies given by a few numbers: block, pyramid, cylinder, cone and sphere of constructive solid geometry."""

import math
from typing import Any

import numpy as np

from takeoff.geometry.curves import arc_steps
from takeoff.geometry.extrusions import loft, prism
from takeoff.geometry.mesh import Floats, Mesh
from takeoff.geometry.placements import applied, axis_placement
from takeoff.geometry.refusals import Unread, size

Entity = Any


def primitive(item: Entity, scale: float) -> Mesh:
    """Mesh of an IfcCsgPrimitive3D, metres, in the item's coordinates.

    Raises Unread for other items, Nonsense for sizes that are not more than zero.
    """
    kind = item.is_a()
    if not item.is_a("IfcCsgPrimitive3D"):
        raise Unread(kind)
    matrix = axis_placement(item.Position, scale)
    mesh = _shape(item, kind, scale)
    return Mesh(applied(matrix, mesh.vertices), mesh.faces, mesh.labels)


def _shape(item: Entity, kind: str, scale: float) -> Mesh:
    if kind == "IfcBlock":
        x, y, z = (size(item, name, scale) for name in ("XLength", "YLength", "ZLength"))
        return prism([_corner_box(x, y)], np.array([0.0, 0.0, z]))
    if kind == "IfcRectangularPyramid":
        x, y, z = (size(item, name, scale) for name in ("XLength", "YLength", "Height"))
        return _tip(_corner_box(x, y), np.array([x / 2.0, y / 2.0, z]))
    if kind == "IfcRightCircularCylinder":
        return prism(
            [_circle(size(item, "Radius", scale))], np.array([0.0, 0.0, size(item, "Height", scale)])
        )
    if kind == "IfcRightCircularCone":
        return _tip(
            _circle(size(item, "BottomRadius", scale)), np.array([0.0, 0.0, size(item, "Height", scale)])
        )
    if kind == "IfcSphere":
        return _sphere(size(item, "Radius", scale))
    raise Unread(kind)


def _corner_box(x: float, y: float) -> Floats:
    return np.array([[0.0, 0.0], [x, 0.0], [x, y], [0.0, y]])


def _circle(radius: float) -> Floats:
    count = arc_steps(radius, 2.0 * math.pi)
    angles = np.arange(count) * (2.0 * math.pi / count)
    return radius * np.column_stack([np.cos(angles), np.sin(angles)])


def _tip(outline: Floats, top: Floats) -> Mesh:
    """A convex anticlockwise outline (n, 2) in the plane z = 0 drawn together at a point (3,)."""
    count = len(outline)
    index = np.arange(count)
    sides = np.column_stack([index, np.roll(index, -1), np.full(count, count)])
    base = np.column_stack([np.zeros(count - 2, dtype=np.int64), index[2:], index[1:-1]])
    vertices = np.vstack([np.column_stack([outline, np.zeros(count)]), top])
    return Mesh.of(vertices, np.concatenate([sides, base]))


def _sphere(radius: float) -> Mesh:
    """Rings of latitude, twice as fine as circles are, since both curvatures cost volume; poles are fans."""
    around = arc_steps(radius, 2.0 * math.pi)
    rings = around
    tilt = np.pi * np.arange(1, rings) / rings
    angles = np.arange(around) * (2.0 * math.pi / around)
    flat = np.column_stack([np.cos(angles), np.sin(angles), np.zeros(around)])
    layers = [radius * (np.sin(t) * flat - [0.0, 0.0, np.cos(t)]) for t in tilt]
    return loft(layers, np.array([0.0, 0.0, -radius]), np.array([0.0, 0.0, radius]))
