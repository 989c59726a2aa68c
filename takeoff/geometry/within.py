"""Which points lie within a closed mesh."""

import numpy as np
from numpy.typing import NDArray

from takeoff.geometry.mesh import Floats, Mesh

CHUNK = 2_000_000
"""Pairs of points and triangles looked at in one go."""


def points_within(points: Floats, mesh: Mesh) -> NDArray[np.bool_]:
    """Which of the points (n, 3) a closed mesh holds.

    By the solid angles of its triangles seen from the point (van Oosterom and Strackee, 1983), which add up to a whole
    turn inside and to nothing outside, wherever edges lie.
    """
    low, high = mesh.box()
    held: NDArray[np.bool_] = np.all((points > low) & (points < high), axis=1)
    near = np.flatnonzero(held)
    corners = mesh.vertices[mesh.faces]
    for some in np.array_split(near, max(1, len(near) * len(corners) // CHUNK)):
        held[some] = np.abs(_turns(points[some], corners)) > 0.5
    return held


def _turns(points: Floats, corners: Floats) -> Floats:
    """Share of the whole sphere that triangles (t, 3, 3) cover as seen from points (n, 3), signed, (n,)."""
    a, b, c = (corners[None, :, k] - points[:, None] for k in range(3))
    la, lb, lc = (np.linalg.norm(side, axis=2) for side in (a, b, c))
    volume = np.einsum("ntk,ntk->nt", a, np.cross(b, c))
    dot_ab, dot_bc, dot_ca = (np.einsum("ntk,ntk->nt", x, y) for x, y in ((a, b), (b, c), (c, a)))
    angle = 2.0 * np.arctan2(volume, la * lb * lc + dot_ab * lc + dot_bc * la + dot_ca * lb)
    out: Floats = angle.sum(axis=1) / (4.0 * np.pi)
    return out
