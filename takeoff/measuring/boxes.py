"""The tightest box round a piece, and distances between points, edges and triangles."""

import math

import numpy as np

from takeoff.geometry.mesh import Floats

MOST_CANDIDATES = 32
"""Hull faces tried as a side of the box, largest first: enough for flat work, bounded for curved."""


def tightest_box(points: Floats, upright: Floats | None = None) -> tuple[Floats, Floats]:
    """The smallest box with a face in a face of the convex hull of points (n, 3), or upright.

    Returns unit axes (3, 3), one a row, and extents (3,) in metres along them. `upright` is one more
    direction to try (default the vertical). For a given direction the least rectangle has a side along an
    edge of the hull of the projected points. Raises ValueError where the points lie in a plane.
    """
    from scipy.spatial import ConvexHull, QhullError

    middle = (points.min(axis=0) + points.max(axis=0)) / 2.0
    try:
        hull = ConvexHull(points - middle)
    except QhullError as fault:
        raise ValueError("the points lie in a plane") from fault
    corners = hull.points[hull.vertices]
    best: tuple[float, Floats, Floats] | None = None
    vertical = np.array([0.0, 0.0, 1.0]) if upright is None else upright
    directions = _hull_directions(hull.points[hull.simplices])
    if all(abs(float(normal @ vertical)) < 1.0 - 1e-12 for normal in directions):
        directions.append(vertical)
    for normal in directions:
        across, along = _plane_axes(normal)
        flat = np.stack([corners @ across, corners @ along], axis=1)
        try:
            ring = flat[ConvexHull(flat).vertices]
        except QhullError:
            continue  # seen from here the points are a line: too thin to tell a width
        sides = np.roll(ring, -1, axis=0) - ring
        length = np.linalg.norm(sides, axis=1)
        sides = sides[length > 1e-9] / length[length > 1e-9, None]
        turned = np.stack([sides, np.stack([-sides[:, 1], sides[:, 0]], axis=1)], axis=1)
        spans = np.einsum("ijk,nk->ijn", turned, ring)
        extents = spans.max(axis=2) - spans.min(axis=2)
        pick = int(np.argmin(extents[:, 0] * extents[:, 1]))
        depth = corners @ normal
        size = np.array([*extents[pick], depth.max() - depth.min()])
        if best is None or size.prod() < best[0] * (1.0 - 1e-9):
            axes = np.array(
                [turned[pick, i, 0] * across + turned[pick, i, 1] * along for i in (0, 1)] + [normal]
            )
            best = float(size.prod()), axes, size
    if best is None:
        raise ValueError("the points lie in a plane")
    return best[1], best[2]


def _hull_directions(triangles: Floats) -> list[Floats]:
    """Distinct directions (3,) of the hull's faces, opposite ones alike, the largest faces first."""
    cross = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    size = np.linalg.norm(cross, axis=1)
    sound = size > 1e-9
    normal = cross[sound] / size[sound, None]
    size = size[sound]
    found: list[Floats] = []
    left = np.ones(len(size), dtype=bool)
    while left.any() and len(found) < MOST_CANDIDATES:
        lead = normal[np.argmax(np.where(left, size, -1.0))]
        found.append(lead)
        left &= np.abs(normal @ lead) < 1.0 - 1e-12
    return found


def _plane_axes(normal: Floats) -> tuple[Floats, Floats]:
    """Two unit vectors (3,) that complete `normal` to a right-handed frame."""
    x, y, z = normal.tolist()
    # Square to the normal in the coordinate plane where it is longest, so that nothing cancels out.
    size = math.hypot(y, z) if abs(x) <= abs(y) else math.hypot(x, z)
    a, b, c = (0.0, z / size, -y / size) if abs(x) <= abs(y) else (-z / size, 0.0, x / size)
    return np.array([a, b, c]), np.array([y * c - z * b, z * a - x * c, x * b - y * a])


def to_segments(points: Floats, segments: Floats) -> Floats:
    """Distance (n,) of each of (n, 3) points to the nearest of (e, 2, 3) segments, metres."""
    way = segments[:, 1] - segments[:, 0]
    square = np.maximum(np.einsum("ij,ij->i", way, way), 1e-24)
    reach = points[:, None] - segments[None, :, 0]
    share = np.clip(np.einsum("nek,ek->ne", reach, way) / square, 0.0, 1.0)
    gap = np.linalg.norm(reach - share[..., None] * way, axis=2)
    return gap.min(axis=1, initial=np.inf)


def to_triangles(points: Floats, triangles: Floats) -> Floats:
    """Distance (n,) of each of (n, 3) points to the nearest of (m, 3, 3) triangles, metres."""
    first = triangles[:, 1] - triangles[:, 0]
    second = triangles[:, 2] - triangles[:, 0]
    normal = np.cross(first, second)
    square = np.maximum(np.einsum("ij,ij->i", normal, normal), 1e-24)
    reach = points[:, None] - triangles[None, :, 0]
    share_2 = np.einsum("nmk,mk->nm", np.cross(first[None], reach), normal) / square
    share_1 = np.einsum("nmk,mk->nm", np.cross(reach, second[None]), normal) / square
    inside = (share_1 >= 0.0) & (share_2 >= 0.0) & (share_1 + share_2 <= 1.0)
    height = np.abs(np.einsum("nmk,mk->nm", reach, normal)) / np.sqrt(square)
    over = np.where(inside, height, np.inf).min(axis=1, initial=np.inf)
    borders = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    return np.minimum(over, to_segments(points, borders))
