"""Direction classes: facets whose planes are parallel share one plane frame, so that polygons compare."""

import numpy as np
from msgspec import Struct

from takeoff.geometry.edges import connected
from takeoff.geometry.mesh import Floats, Ints
from takeoff.geometry.neighbours import near_pairs

PARALLEL = 2e-4
"""Normals closer than this (a chord, about radians) count as parallel."""


class Frames(Struct, frozen=True, eq=False):
    """Plane frames of the direction classes.

    `axes` is (c, 3, 3): rows u, v, n. For a plane that is not level, u is level and v points upwards, so the
    extent along v is a height over the slope. `of_facet` (f,) is the class of each facet and `side` (f,) +1
    or -1: whether its normal points along n or against it.
    """

    axes: Floats
    of_facet: Ints
    side: Ints


def make_frames(normals: Floats, weights: Floats) -> Frames:
    """Group (f, 3) unit normals into classes of parallel planes; `weights` (f,) areas steer the mean."""
    if not len(normals):
        return Frames(np.empty((0, 3, 3)), np.empty(0, np.int64), np.empty(0, np.int64))
    millionths = np.round(normals, 6)
    x, y, z = (np.rint(millionths * 1e6).astype(np.int64) + 2_000_000).T
    # one number a normal, in the order of its three: numbers sort many times faster than rows
    _, first, inverse = np.unique((x << 46) | (y << 23) | z, return_index=True, return_inverse=True)
    rounded, inverse = millionths[first], inverse.reshape(-1)
    count = len(rounded)
    both = np.concatenate([rounded, -rounded])
    near = near_pairs(np.stack([both, both], axis=1), PARALLEL)
    component = connected(near, 2 * count)
    plus, minus = component[:count], component[count:]
    pair = np.minimum(plus, minus)
    classes, of_unique = np.unique(pair, return_inverse=True)
    of_unique = of_unique.reshape(-1)
    side_of_unique = np.where(plus == pair, 1, -1)
    of_facet = of_unique[inverse]
    side = side_of_unique[inverse]
    mean = np.zeros((len(classes), 3))
    np.add.at(mean, of_facet, normals * (side * np.maximum(weights, 1e-12))[:, None])
    mean /= np.linalg.norm(mean, axis=1, keepdims=True)
    flip = _points_down(mean)
    mean[flip] *= -1.0
    side = np.where(flip[of_facet], -side, side)
    return Frames(_axes(mean), of_facet, side)


def _points_down(normals: Floats) -> np.ndarray:
    """Which of the (c, 3) normals to turn, so that a class has one sense whatever its first facet was."""
    x, y, z = normals.T
    small = 1e-6
    return np.where(np.abs(z) > small, z < 0, np.where(np.abs(x) > small, x < 0, y < 0))


def _axes(normals: Floats) -> Floats:
    """Right-handed frames (c, 3, 3) with rows u, v, n for (c, 3) unit normals."""
    level = np.hypot(normals[:, 0], normals[:, 1]) < 1e-4
    u = np.column_stack([-normals[:, 1], normals[:, 0], np.zeros(len(normals))])
    u[level] = (1.0, 0.0, 0.0)
    u -= normals * np.einsum("ij,ij->i", u, normals)[:, None]
    u /= np.linalg.norm(u, axis=1, keepdims=True)
    v = np.cross(normals, u)
    return np.stack([u, v, normals], axis=1)
