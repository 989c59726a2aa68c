"""Small models for tests: the writer of the sample models, and meshes to make bodies of.

model = Model("IFC4", unit="mm", rotate_deg=33.7, offset=(4.0e6, 0.0, 0.0))
wall = model.wall((0, 0), (5, 0), thickness=0.3, height=3.0, material="Concrete C30/37", made="In-Situ")
model.box_void(wall, (1, -0.2, 1), (2, 0.2, 2))
model.save(tmp_path / "wall.ifc")
"""

import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "sample_models"))

from ifc_writer import CONCRETE, Model, rectangle

__all__ = ["CONCRETE", "Model", "box_mesh", "prism_mesh", "rectangle", "triangulated", "tube_mesh"]

Points = list[tuple[float, float, float]]
Faces = list[list[int]]


def prism_mesh(outline: Sequence[Sequence[float]], low: float, high: float) -> tuple[Points, Faces]:
    """Vertices and outward polygons of an upright prism over an anticlockwise outline."""
    n = len(outline)
    points = [(p[0], p[1], low) for p in outline] + [(p[0], p[1], high) for p in outline]
    sides = [[i, (i + 1) % n, n + (i + 1) % n, n + i] for i in range(n)]
    return points, [list(range(n))[::-1], list(range(n, 2 * n)), *sides]


def box_mesh(low: Sequence[float], high: Sequence[float]) -> tuple[Points, Faces]:
    """Vertices and outward quadrilaterals of a box between two corners."""
    return prism_mesh(rectangle(low[0], low[1], high[0], high[1]), low[2], high[2])


def triangulated(faces: Faces) -> Faces:
    """Convex polygons cut into triangles from their first corner."""
    return [[face[0], face[i], face[i + 1]] for face in faces for i in range(1, len(face) - 1)]


def tube_mesh(line: Sequence[Sequence[float]], diameter: float, sides: int) -> tuple[Points, Faces]:
    """Points and faces of a round bar along a line in a plane of constant y, its corners on the circle."""
    corners = np.array(line)
    ways = np.diff(corners, axis=0)
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    across = np.array([0.0, 1.0, 0.0])
    turns = 2 * np.pi * np.arange(sides) / sides
    points: Points = []
    for i, corner in enumerate(corners):
        before, after = ways[max(i - 1, 0)], ways[min(i, len(ways) - 1)]
        middle = (before + after) / np.linalg.norm(before + after)
        mitred = np.cross(middle, across) / (middle @ before)
        ring = corner + diameter / 2 * (np.outer(np.cos(turns), mitred) + np.outer(np.sin(turns), across))
        points += [(x, y, z) for x, y, z in ring.tolist()]
    faces = [list(range(sides))[::-1], [(len(corners) - 1) * sides + k for k in range(sides)]]
    for i in range(len(corners) - 1):
        for k in range(sides):
            j = (k + 1) % sides
            faces.append([i * sides + k, i * sides + j, (i + 1) * sides + j, (i + 1) * sides + k])
    return points, faces
