"""The shape of a mesh, however it was cut into triangles: moments, sharp edges, true corners.

An edge is sharp where the surface turns by more than `SMOOTH`; a corner is where sharp edges meet or bend.
Vertices inside flat faces, on straight edges and along smooth curves are none, so two exports of one shape
with different triangles have the same corners.
"""

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from takeoff.geometry.mesh import Floats, Ints, Mesh, areas, is_closed, normals

SMOOTH = float(np.radians(13.7))
"""Turns below this count as smooth. Odd on purpose: no usual number of segments of a circle falls on it."""
WELD = 1e-5
"""Vertices closer than this (metres) are one."""
MOST_PLANES = 256
"""Planes tried for the largest face, from the largest triangle down: enough for flat work, bounded for curved."""
SLIVER = 2e-5
"""A triangle lower than this (metres) has no normal of its own to speak of."""


class Shape(Struct, frozen=True, eq=False):
    """What is compared of a solid; coordinates are metres from its centre of volume.

    `centre` (3,) where that is; `volume` m3; `area` m2; `spreads` (3,) edge lengths of the box with the same
    second moments, longest first; `axes` (3, 3) rows in the order of `spreads`; `corners` (k, 3) the true
    corners; `radii` (k,) their distances from the centre, ascending; `edges` (e, 2, 3) sharp edges.
    """

    centre: Floats
    volume: float
    area: float
    spreads: Floats
    axes: Floats
    corners: Floats
    radii: Floats
    edges: Floats


def shape_of(mesh: Mesh) -> Shape:
    """Measure the shape of a closed mesh (several closed bodies in one mesh are allowed)."""
    vertices, faces = _joined(mesh)
    volume, centre, second = moments(vertices[faces])
    spread, axes = np.linalg.eigh(second)
    spreads = np.sqrt(np.clip(12.0 * spread / max(volume, 1e-12), 0.0, None))[::-1]
    around = vertices - centre
    pairs = sharp_edges(around, faces)
    corners = _corners(around, pairs)
    return Shape(
        centre=centre,
        volume=volume,
        area=float(areas(vertices[faces]).sum()),
        spreads=spreads,
        axes=axes.T[::-1],
        corners=corners,
        radii=np.sort(np.linalg.norm(corners, axis=1)),
        edges=around[pairs],
    )


def moments(corners: Floats) -> tuple[float, Floats, Floats]:
    """Volume m3, centre (3,) and second moments (3, 3) m5 about the centre, of triangles (m, 3, 3).

    Exact for flat-faced solids: the sum over the tetrahedra that the triangles make with one point, each with
    integral of x xT = V / 20 (sum of vi viT + (sum vi)(sum vi)T), the second moment of a simplex.
    """
    start = (corners.reshape(-1, 3).min(axis=0) + corners.reshape(-1, 3).max(axis=0)) / 2.0
    rays = corners - start
    parts = np.einsum("ij,ij->i", rays[:, 0], np.cross(rays[:, 1], rays[:, 2])) / 6.0
    volume = float(parts.sum())
    if abs(volume) < 1e-12:
        return 0.0, start, np.zeros((3, 3))
    sums = rays.sum(axis=1)
    offset = (parts[:, None] * sums).sum(axis=0) / (4.0 * volume)
    second = (
        np.einsum("i,ijk,ijl->kl", parts, rays, rays) + np.einsum("i,ik,il->kl", parts, sums, sums)
    ) / 20.0
    return volume, start + offset, second - volume * np.outer(offset, offset)


def sharp_edges(vertices: Floats, faces: Ints) -> Ints:
    """Sharp edges as vertex pairs (e, 2), each once; an edge without a second triangle counts as sharp."""
    partner = _partners(faces)
    normal = _steady_normals(vertices, faces, partner)
    start = faces.ravel()
    end = faces[:, [1, 2, 0]].ravel()
    own = np.repeat(np.arange(len(faces)), 3)
    turn = np.einsum("ij,ij->i", normal[own], normal[np.where(partner >= 0, partner, own)])
    known = (np.abs(normal).sum(axis=1) > 0)[own] & (np.abs(normal).sum(axis=1) > 0)[partner]
    sharp = (partner < 0) | ((turn < np.cos(SMOOTH)) & known)
    once = sharp & ((start < end) | (partner < 0))
    return np.unique(np.sort(np.stack([start[once], end[once]], axis=1), axis=1), axis=0)


def largest_plane(mesh: Mesh, tolerance: float = 1e-3) -> tuple[float, Floats]:
    """Area m2 and outward normal (3,) of the largest flat face: triangles of one plane within `tolerance`."""
    corners = mesh.corners
    area, normal = areas(corners), normals(corners)
    left = area > 0.0
    best, direction = 0.0, np.array([0.0, 0.0, 1.0])
    for _ in range(MOST_PLANES):
        if not left.any() or area[left].sum() <= best:
            break
        lead = int(np.argmax(np.where(left, area, -1.0)))
        distance = np.abs((corners - corners[lead, 0]) @ normal[lead]).max(axis=1)
        same = left & (normal @ normal[lead] > 1.0 - 1e-6) & (distance <= tolerance)
        same[lead] = True
        total = float(area[same].sum())
        if total > best:
            best, direction = total, normal[lead]
        left &= ~same
    return best, direction


def _joined(mesh: Mesh) -> tuple[Floats, Ints]:
    """Vertices and faces with coinciding vertices made one; a sound mesh stays as it is."""
    vertices, faces = mesh.vertices, mesh.faces
    edges = vertices[faces] - vertices[faces[:, [1, 2, 0]]]
    if is_closed(faces) and np.einsum("ijk,ijk->ij", edges, edges).min() > WELD**2:
        return vertices, faces
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    pairs = cKDTree(vertices).query_pairs(WELD, output_type="ndarray")
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(vertices),) * 2)
    label = connected_components(graph, directed=False)[1]
    first = np.unique(label, return_index=True)[1]
    faces = label.astype(np.int64)[faces]
    whole = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    return vertices[first], faces[whole]


def _partners(faces: Ints) -> Ints:
    """For each of the 3m directed edges (face by face) the face on its other side, -1 where there is none."""
    start = faces.ravel()
    end = faces[:, [1, 2, 0]].ravel()
    size = int(faces.max()) + 1 if len(faces) else 1
    forward, backward = start * size + end, end * size + start
    order = np.argsort(forward, kind="stable")
    place = np.searchsorted(forward[order], backward)
    place[place == len(order)] = 0
    found = order[place]
    return np.where(forward[found] == backward, found // 3, -1)


def _steady_normals(vertices: Floats, faces: Ints, partner: Ints) -> Floats:
    """Unit normals (m, 3); slivers take that of the neighbour across their longest edge, else zero."""
    corners = vertices[faces]
    normal = normals(corners)
    length = np.linalg.norm(corners - corners[:, [1, 2, 0]], axis=2)
    longest = length.max(axis=1)
    height = np.divide(2.0 * areas(corners), longest, out=np.zeros_like(longest), where=longest > 0)
    open_ = height < SLIVER
    if not open_.any():
        return normal
    across = partner.reshape(-1, 3)[np.arange(len(faces)), length.argmax(axis=1)]
    normal[open_] = 0.0
    for _ in range(8):  # a chain of slivers takes a few rounds to reach sound ground
        ready = open_ & (across >= 0) & ~open_[across]
        if not ready.any():
            break
        normal[ready] = normal[across[ready]]
        open_ &= ~ready
    return normal


def _corners(vertices: Floats, pairs: Ints) -> Floats:
    """Corners (k, 3) of a net of sharp edges: ends and branchings, and bends of more than `SMOOTH`."""
    if not len(pairs):
        return np.zeros((0, 3))
    way = vertices[pairs[:, 1]] - vertices[pairs[:, 0]]
    way /= np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12)
    number = np.bincount(pairs.ravel(), minlength=len(vertices))
    balance = np.zeros_like(vertices)
    np.add.at(balance, pairs[:, 0], way)
    np.add.at(balance, pairs[:, 1], -way)
    bent = np.linalg.norm(balance, axis=1) > 2.0 * np.sin(SMOOTH / 2.0)
    return _apart(vertices[(number > 0) & ((number != 2) | bent)])


def _apart(points: Floats, least: float = 5e-4) -> Floats:
    """Points (k, 3) with those closer than `least` metres to an earlier one left out."""
    if len(points) < 2:
        return points
    gap = np.linalg.norm(points[:, None] - points[None], axis=2)
    keep: NDArray[np.bool_] = ~np.any(np.tril(gap < least, k=-1), axis=1)
    return points[keep]
