"""Pieces of a plan between heights: where a height that varies over it lies within one band each."""

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from takeoff.geometry import planar

AT = 1e-6
"""A height is reached by what comes within this of it, m."""


def between_heights(
    plan: shapely.Geometry, offset: float, gradient: NDArray[np.float64], limits: Sequence[float]
) -> list[tuple[shapely.Geometry, float]]:
    """Pieces of `plan` cut where its height passes one of `limits` m, ascending, each with its mean height, m.

    The height over a point p (2,) of the plan is `offset + gradient @ p`: linear, so that the mean over a piece is the
    height over its centroid.
    """
    steep = float(np.linalg.norm(gradient))
    heights = offset + shapely.get_coordinates(plan) @ gradient
    low, high = float(heights.min()), float(heights.max())
    cuts = [limit for limit in limits if low + AT < limit < high - AT]
    if not cuts:
        return [(plan, _over_centroid(plan, offset, gradient))]
    up = gradient / steep
    along = np.array([-up[1], up[0]])
    across = shapely.get_coordinates(plan) @ along
    left, right = float(across.min()) - 1.0, float(across.max()) + 1.0
    found = []
    for bottom, top in zip([low - 1.0, *cuts], [*cuts, high + 1.0], strict=True):
        foot, head = (bottom - offset) / steep, (top - offset) / steep
        corners = [(foot, left), (head, left), (head, right), (foot, right)]
        strip = shapely.Polygon([tuple(t * up + s * along) for t, s in corners])
        piece = planar.intersection(plan, strip)
        if shapely.area(piece) > 0.0:
            found.append((piece, _over_centroid(piece, offset, gradient)))
    return found


def _over_centroid(plan: shapely.Geometry, offset: float, gradient: NDArray[np.float64]) -> float:
    return offset + float(shapely.get_coordinates(shapely.centroid(plan))[0] @ gradient)
