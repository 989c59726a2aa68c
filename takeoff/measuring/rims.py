"""Rims of a solid: the runs of sharp edges between its corners, as chords and arcs that no tessellation changes.

A curved face is cut into more or fewer flat ones by whoever exports it, and its volume, area and outermost points
change with that. The points of its rims lie on the true curve, so the circle through them does not.
"""

import numpy as np
from msgspec import Struct

from takeoff.geometry.mesh import Floats, Ints, Mesh
from takeoff.measuring.shapes import SMOOTH, Shape

BENT = float(np.radians(1.0))
"""Turns from this on between neighbouring faces, up to those that count as sharp, make a surface curved."""
OFF_CIRCLE = 3e-4
"""A run whose points lie further off the circle through them, m, is no arc."""


class Run(Struct, frozen=True):
    """A run of sharp edges: its `chord` from end to end and how far its middle is off it (`rise`, None where it is
    no arc), m; for a closed one the chord is 0 and the rise the diameter. `middle` (3,) of the chord or circle."""

    chord: float
    rise: float | None
    middle: Floats


def is_curved(mesh: Mesh) -> bool:
    """Whether a closed mesh has faces that turn smoothly into each other."""
    corners = mesh.corners
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normal, axis=1)
    sides = np.linalg.norm(corners - corners[:, [1, 2, 0]], axis=2)
    sound = size > 1e-4 * sides.max(axis=1)  # lower than 0.1 mm a triangle has no normal to speak of
    normal[sound] /= size[sound, None]
    start, end = mesh.faces.ravel(), mesh.faces[:, [1, 2, 0]].ravel()
    own = np.repeat(np.arange(len(mesh.faces)), 3)
    one_way = np.lexsort((np.maximum(start, end), np.minimum(start, end)))
    pairs = np.sort(np.stack([start, end], axis=1), axis=1)[one_way]
    same = np.all(pairs[1:] == pairs[:-1], axis=1)
    first, second = own[one_way][:-1][same], own[one_way][1:][same]
    turn = np.einsum("ij,ij->i", normal[first], normal[second])
    known = sound[first] & sound[second]
    return bool((known & (turn < np.cos(BENT)) & (turn > np.cos(SMOOTH))).any())


def rim_runs(shape: Shape) -> list[Run]:
    """All runs of a shape's sharp edges; coordinates about its centre."""
    if not len(shape.edges):
        return []
    points, ends = np.unique(shape.edges.reshape(-1, 3), axis=0, return_inverse=True)
    pairs = ends.reshape(-1, 2)
    near: list[list[int]] = [[] for _ in points]
    for number, (a, b) in enumerate(pairs.tolist()):
        near[a].append(number)
        near[b].append(number)
    at_corner = {n for n in range(len(points)) if _is_corner(n, points, pairs, near)}
    used: set[int] = set()
    runs = []
    for start in (*sorted(at_corner), *range(len(points))):
        for number in near[start]:
            if number not in used:
                runs.append(_run(points[_walk(start, number, pairs, near, at_corner, used)]))
    return runs


def _is_corner(point: int, points: Floats, pairs: Ints, near: list[list[int]]) -> bool:
    if len(near[point]) != 2:
        return True
    first, second = (points[pairs[number].sum() - point] - points[point] for number in near[point])
    cosine = -float(first @ second) / float(np.linalg.norm(first) * np.linalg.norm(second))
    return cosine < np.cos(SMOOTH)


def _walk(
    start: int, number: int, pairs: Ints, near: list[list[int]], at_corner: set[int], used: set[int]
) -> list[int]:
    """Points of the run that begins at `start` with an edge; a closed one ends where it began."""
    path = [start]
    while True:
        used.add(number)
        path.append(int(pairs[number].sum()) - path[-1])
        further = [other for other in near[path[-1]] if other not in used]
        if path[-1] in at_corner or not further:
            return path
        number = further[0]


def _run(points: Floats) -> Run:
    chord = float(np.linalg.norm(points[-1] - points[0]))
    closed = chord < 1e-9
    if closed:
        points = points[:-1]
    elif len(points) == 2:
        return Run(chord, 0.0, (points[0] + points[1]) / 2.0)
    middle = (points[0] + points[-1]) / 2.0
    centre = points.mean(axis=0)
    axes = np.linalg.svd(points - centre, full_matrices=False)[2]
    flat = (points - centre) @ axes[:2].T
    if np.abs((points - centre) @ axes[2]).max() > OFF_CIRCLE:
        return Run(chord, None, middle)
    if not closed and np.abs(flat[:, 1]).max() < OFF_CIRCLE / 10.0:
        return Run(chord, 0.0, middle)
    # Circle by least squares: x^2 + y^2 = 2ax + 2by + c is linear in a, b, c.
    square = (flat**2).sum(axis=1)
    fit, *_ = np.linalg.lstsq(np.column_stack([2.0 * flat, np.ones(len(flat))]), square, rcond=None)
    radius = float(np.sqrt(max(fit[2] + fit[0] ** 2 + fit[1] ** 2, 0.0)))
    rays = flat - fit[:2]
    if np.abs(np.linalg.norm(rays, axis=1) - radius).max() > OFF_CIRCLE:
        return Run(chord, None, middle)
    if closed:
        return Run(0.0, 2.0 * radius, centre + fit[:2] @ axes[:2])
    angle = np.arctan2(rays[:, 1], rays[:, 0])
    turns = np.abs((np.diff(angle) + np.pi) % (2.0 * np.pi) - np.pi)
    return Run(chord, radius * (1.0 - float(np.cos(turns.sum() / 2.0))), middle)
