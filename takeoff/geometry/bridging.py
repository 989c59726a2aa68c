"""Solids that fill the narrow gaps between faces of different bodies."""

from typing import Any

import manifold3d
import numpy as np
import shapely

from takeoff.geometry.booleans import mesh_of
from takeoff.geometry.contacts import Contacts
from takeoff.geometry.mesh import Mesh
from takeoff.geometry.surfaces import Surfaces

LEAST_GAP = 1e-4
"""Faces nearer than this, m, lie on each other: nothing to fill."""


def fillers(surfaces: Surfaces, contacts: Contacts) -> dict[int, list[Mesh]]:
    """For each contact (by its number) of two flat faces with a gap, the prisms between the two.

    Contacts without a gap, of faces that overlap, and of curved faces have none.
    """
    result: dict[int, list[Mesh]] = {}
    for number in range(len(contacts)):
        first, second = int(contacts.first[number]), int(contacts.second[number])
        curved = surfaces.frame[first] < 0 or contacts.bent[number]
        if curved or float(contacts.gap[number]) < LEAST_GAP:
            continue
        axes = surfaces.axes[first]
        ends = sorted((float(surfaces.centre[first] @ axes[2]), float(surfaces.centre[second] @ axes[2])))
        meshes = [
            _prism(part, axes, ends[0], ends[1])
            for part in shapely.get_parts(contacts.polygon[number])
            if part.geom_type == "Polygon" and part.area > 1e-6
        ]
        if meshes:
            result[number] = meshes
    return result


def _prism(polygon: Any, axes: Any, low: float, high: float) -> Mesh:
    """The prism over a polygon in the frame `axes` (3, 3; rows u, v, n), between two places along n."""
    polygon = shapely.orient_polygons(polygon)
    rings = [np.asarray(ring.coords)[:-1] for ring in (polygon.exterior, *polygon.interiors)]
    section = manifold3d.CrossSection(rings, manifold3d.FillRule.Positive)
    right_handed = axes if np.linalg.det(axes) > 0 else None
    solid = manifold3d.Manifold.extrude(section, high - low)
    mesh = mesh_of(solid)
    vertices = mesh.vertices @ axes + low * axes[2]
    faces = mesh.faces if right_handed is not None else mesh.faces[:, ::-1]
    return Mesh(vertices, np.ascontiguousarray(faces), mesh.labels)
