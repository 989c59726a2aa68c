"""Round rods drawn as meshes: their diameter, their length along all bends, and lines along which they lie."""

import math

import numpy as np
from msgspec import Struct

from takeoff.geometry.edges import shells
from takeoff.geometry.mesh import Floats, Ints, Mesh, areas, is_closed, normals, volume, welded

FEWEST_SIDES, MOST_SIDES = 5, 72
"""Sides by which a circle is drawn."""

SLENDER = 3.0
"""A rod is longer than this times its diameter; what is shorter is a coupler, a washer, a head."""


class Rod(Struct, frozen=True, eq=False):
    """A round rod: `diameter` m of the circle through its corners, `length` m, and lines (k, 2, 3) along its sides."""

    diameter: float
    length: float
    lines: Floats


def rods(mesh: Mesh) -> tuple[Rod, ...]:
    """The rods of which a mesh consists, one for each of its shells; none where any of them is no rod."""
    vertices, faces, _ = welded(mesh.vertices, mesh.faces)
    if not len(faces) or not is_closed(faces):
        return ()
    shell = shells(faces, len(vertices))
    found = [_rod(Mesh.of(vertices, faces[shell == number])) for number in np.unique(shell).tolist()]
    return tuple(rod for rod in found if rod is not None) if None not in found else ()


def _rod(mesh: Mesh) -> Rod | None:
    """A shell as a rod; None where its sides are not those of a round, slender one.

    A prism over a regular polygon of n sides with its corners on a circle of radius r, however it is bent, has the
    section k r^2 and the girth q r, where k = n/2 sin(2 pi/n) and q = 2 n sin(pi/n). With the length l, its volume is
    V = k r^2 l and its surface A = q r l + 2 k r^2, so that r = q V / (k (A - 2 k r^2)), found by iteration.
    """
    ends, turn = _creases(mesh)
    if not len(ends):
        return None
    lengths = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    sides = round(2.0 * math.pi / _middle(turn, lengths))
    if not FEWEST_SIDES <= sides <= MOST_SIDES:
        return None
    section = sides / 2.0 * math.sin(2.0 * math.pi / sides)
    girth = 2.0 * sides * math.sin(math.pi / sides)
    size, surface = abs(volume(mesh)), float(areas(mesh.corners).sum())
    radius = girth * size / (section * surface)
    for _ in range(20):
        side = surface - 2.0 * section * radius**2
        if side <= 0.0:
            return None
        radius = girth * size / (section * side)
    length = size / (section * radius**2)
    if length <= SLENDER * 2.0 * radius:
        return None
    # Rings are drawn in edges of one side each; whatever is longer runs along the rod.
    along = ends[lengths > 2.0 * 2.0 * radius * math.sin(math.pi / sides)]
    return Rod(2.0 * radius, length, along if len(along) else ends)


def _creases(mesh: Mesh) -> tuple[Floats, Floats]:
    """Ends (k, 2, 3) of the edges at which a mesh turns by less than a right angle, and by how much, radians (k,)."""
    faces: Ints = mesh.faces
    start, end = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    face = np.repeat(np.arange(len(faces)), 3)
    key = np.minimum(start, end) * len(mesh.vertices) + np.maximum(start, end)
    order = np.argsort(key, kind="stable")
    first, second = order[::2], order[1::2]
    normal = normals(mesh.corners)
    cosine = (normal[face[first]] * normal[face[second]]).sum(axis=1)
    turn = np.arccos(np.clip(cosine, -1.0, 1.0))
    wanted = (turn > 2.0 * math.pi / MOST_SIDES * 0.9) & (turn < 2.0 * math.pi / FEWEST_SIDES * 1.1)
    corners = mesh.vertices[np.column_stack([start[first[wanted]], end[first[wanted]]])]
    return corners, turn[wanted]


def _middle(values: Floats, weights: Floats) -> float:
    """Weighted median."""
    order = np.argsort(values)
    run = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(run, run[-1] / 2.0)])
