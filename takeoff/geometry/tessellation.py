"""The geometry kernel: tessellation of what is not read directly, and second opinions."""

from typing import Any

import numpy as np

from takeoff.geometry.mesh import Mesh

Entity = Any

KERNELS = ("opencascade", "cgal")
"""The kernels of the library, in the order in which they are asked."""

ANGLE = 0.05
"""Angular deflection, radians: a cylinder of 0.3 m radius comes out 0.04 % short or less."""

DEFLECTION = 0.0002
"""Linear deflection, metres."""


def tessellate(
    entity: Entity,
    kernel: str = KERNELS[0],
    representation: Entity = None,
    cut: bool = False,
    scale: float | None = None,
) -> Mesh:
    """Mesh of a representation item, or of a product with one of its representations, in its own coordinates.

    `cut` lets the kernel subtract the product's openings. Metres, by `scale` (metres in a file unit) where given:
    of a file that names its units doubtfully the kernel may take another. Raises RuntimeError when the kernel fails
    or comes back with nothing.
    """
    import ifcopenshell.geom

    settings = ifcopenshell.geom.settings()
    settings.set("mesher-angular-deflection", ANGLE)
    settings.set("mesher-linear-deflection", DEFLECTION)
    settings.set("disable-opening-subtractions", not cut)
    settings.set("convert-back-units", scale is not None)
    settings.set("no-normals", True)
    settings.set("apply-default-materials", False)
    try:
        create: Any = ifcopenshell.geom.create_shape
        shape = create(settings, entity, representation, geometry_library=kernel)
    except (RuntimeError, TypeError, ValueError) as problem:
        raise RuntimeError(f"{kernel}: {problem}") from problem
    triangulation = shape.geometry if hasattr(shape, "geometry") else shape
    vertices = np.frombuffer(triangulation.verts_buffer, dtype=np.float64).reshape(-1, 3)
    faces = np.frombuffer(triangulation.faces_buffer, dtype=np.int32).reshape(-1, 3)
    if not len(faces):
        raise RuntimeError(f"{kernel}: an empty shape")
    return Mesh.of(vertices * (1.0 if scale is None else scale), faces.astype(np.int64))
