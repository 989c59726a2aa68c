"""Meshes for geometry tests, made by the solid kernel."""

import manifold3d
import numpy as np

from takeoff.geometry.mesh import Mesh

Manifold = manifold3d.Manifold


def mesh(solid: manifold3d.Manifold) -> Mesh:
    raw = solid.to_mesh64()
    return Mesh.of(np.array(raw.vert_properties)[:, :3], np.array(raw.tri_verts, dtype=np.int64))


def box(low: tuple[float, float, float], size: tuple[float, float, float]) -> manifold3d.Manifold:
    return Manifold.cube(size).translate(low)


def cylinder(
    centre: tuple[float, float, float], radius: float, height: float, sides: int = 128, turn: float = 0.0
) -> manifold3d.Manifold:
    return Manifold.cylinder(height, radius, radius, sides).rotate((0, 0, turn)).translate(centre)
