"""Silhouettes: what bodies cover, seen from one side."""

from collections.abc import Sequence

import numpy as np
import shapely

from takeoff.geometry import planar
from takeoff.geometry.mesh import Floats, Mesh, normals

SLIT = 2e-5
"""Slits up to twice this, m, that rounding leaves between triangles are closed: they make the outline longer and open
holes to the outside."""


def silhouette(bodies: Sequence[Mesh], axes: Floats) -> shapely.Geometry:
    """Outline of closed bodies in the first two of `axes` (3, 3), rows of unit length: what looks along the third.

    Corners are projected once a body, so that triangles share their edges to the last digit: rounded to a grid one by
    one, the thin triangles of a fan would part or fold over.
    """
    seen = [
        (body.vertices @ axes[:2].T)[body.faces[normals(body.corners) @ axes[2] > 1e-6]] for body in bodies
    ]
    whole = planar.union_all(shapely.polygons(np.concatenate(seen)))
    return shapely.buffer(shapely.buffer(whole, SLIT, join_style="mitre"), -SLIT, join_style="mitre")
