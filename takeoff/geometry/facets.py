"""Facets: the maximal flat patches of meshes, as polygons in shared plane frames."""

from collections.abc import Sequence

import numpy as np
import shapely
from msgspec import Struct
from numpy.typing import NDArray

from takeoff.geometry import planar
from takeoff.geometry.clipping import bounds_and_boxes
from takeoff.geometry.edges import connected
from takeoff.geometry.frames import Frames, make_frames
from takeoff.geometry.loops import Loops, trace_loops
from takeoff.geometry.mesh import Floats, Ints, Mesh, areas, normals, stacked

FLAT = 1e-5
"""A triangle belongs to its neighbour's plane when its far corner is within this many metres of it."""
NEEDLE = 2e-5
"""Triangles lower than this, m, are needles."""
BENT = 1e-4
"""A facet whose corners stray further than this from its plane is taken apart again."""
SMALLEST = 1e-8
"""Facets under this area, m2, are slivers that solid booleans leave at coincident faces."""


class Facets(Struct, frozen=True, eq=False):
    """Flat patches of a set of bodies; all arrays have one entry a facet unless said otherwise.

    `part` index of the body; `normal` (f, 3) outward; `centre` (f, 3); `area` m2; `box` (f, 2, 3); `label`
    as in Mesh; `polygon` (f,) shapely polygons in the facet's frame; `rim` whether the facet goes inwards
    from a hole in a neighbouring facet. `edges` (k, 2) pairs of facets that share an edge, once each way,
    with `edge_length` m, `edge_height` (mean z) and `edge_convex` (k,).
    """

    part: Ints
    normal: Floats
    centre: Floats
    area: Floats
    box: Floats
    label: Ints
    frames: Frames
    polygon: NDArray[np.object_]
    rim: NDArray[np.bool_]
    edges: Ints
    edge_length: Floats
    edge_height: Floats
    edge_convex: NDArray[np.bool_]
    triangles: Ints
    triangle_facet: Ints
    vertices: Floats

    def __len__(self) -> int:
        return len(self.part)


def make_facets(meshes: Sequence[Mesh]) -> Facets:
    """Facets of closed, welded meshes; `part` is the position in the sequence."""
    vertices, faces, labels, part_of = _joined(meshes)
    corners = vertices[faces]
    area, normal = areas(corners), normals(corners)
    twin = _twins(faces, len(vertices))
    facet_of = _flat_groups(vertices, faces, labels, area, normal, twin)
    facet_of = _straightened(vertices, faces, area, normal, facet_of)
    facet_of = _without_slivers(facet_of, area)
    kept = facet_of >= 0
    count = int(facet_of.max()) + 1 if kept.any() else 0

    weight = area[kept]
    owner = facet_of[kept]
    total = _sums(owner, weight, count)
    vector = np.column_stack([_sums(owner, weight * normal[kept, k], count) for k in range(3)])
    facet_normal = vector / np.maximum(np.linalg.norm(vector, axis=1, keepdims=True), 1e-300)
    middle = corners[kept].mean(axis=1)
    centre = np.column_stack([_sums(owner, weight * middle[:, k], count) for k in range(3)])
    centre /= np.maximum(total, 1e-300)[:, None]
    box = _boxes(corners[kept], owner, count)
    first = np.full(count, len(faces), dtype=np.int64)
    np.minimum.at(first, owner, np.flatnonzero(kept))
    frames = make_frames(facet_normal, total)
    loops = trace_loops(faces, facet_of, twin)
    polygon = _polygons(vertices, faces, facet_of, loops, frames, count)
    edges, length, height, convex = _edges(vertices, faces, facet_of, twin, facet_normal)
    return Facets(
        part=part_of[first] if count else np.empty(0, np.int64),
        normal=facet_normal,
        centre=centre,
        area=total,
        box=box,
        label=labels[first] if count else np.empty(0, np.int64),
        frames=frames,
        polygon=polygon,
        rim=_rims(vertices, faces, facet_of, twin, facet_normal, loops, count),
        edges=edges,
        edge_length=length,
        edge_height=height,
        edge_convex=convex,
        triangles=faces,
        triangle_facet=facet_of,
        vertices=vertices,
    )


def _joined(meshes: Sequence[Mesh]) -> tuple[Floats, Ints, Ints, Ints]:
    """All meshes in one: vertices, faces, labels and the body of each face."""
    if not meshes:
        return np.empty((0, 3)), np.empty((0, 3), np.int64), np.empty(0, np.int64), np.empty(0, np.int64)
    return (
        *stacked(meshes),
        np.concatenate([mesh.labels for mesh in meshes]),
        np.repeat(np.arange(len(meshes)), [len(mesh.faces) for mesh in meshes]),
    )


def _twins(faces: Ints, count: int) -> Ints:
    """For each half-edge 3*t+i (corner i to i+1 of triangle t) the opposite one, -1 where there is none."""
    start, end = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    code = np.minimum(start, end) * count + np.maximum(start, end)
    order = np.argsort(code, kind="stable")
    code = code[order]
    twin = np.full(len(start), -1, dtype=np.int64)
    if len(code) < 2:
        return twin
    same = code[1:] == code[:-1]
    lonely = same.copy()
    lonely[1:] &= ~same[:-1]
    lonely[:-1] &= ~same[1:]
    first = np.flatnonzero(lonely)
    a, b = order[first], order[first + 1]
    opposed = start[a] == end[b]
    a, b = a[opposed], b[opposed]
    twin[a], twin[b] = b, a
    return twin


def _flat_groups(
    vertices: Floats, faces: Ints, labels: Ints, area: Floats, normal: Floats, twin: Ints
) -> Ints:
    """Number of the flat group of each triangle.

    A needle of a triangle has no normal to speak of and lies in the plane of whatever it touches, so it joins
    one neighbour only, the most alike: otherwise it would tie two faces together around an edge.
    """
    edge = np.flatnonzero((twin >= 0) & (twin > np.arange(len(twin))))
    a, b = edge // 3, twin[edge] // 3
    far_a = faces.ravel()[a * 3 + (edge + 2) % 3]
    far_b = faces.ravel()[b * 3 + (twin[edge] + 2) % 3]
    a_larger = area[a] >= area[b]
    plane = np.where(a_larger, a, b)
    far = np.where(a_larger, far_b, far_a)
    near = faces[plane, 0]
    distance = np.abs(np.einsum("ij,ij->i", vertices[far] - vertices[near], normal[plane]))
    corners = vertices[faces]
    longest = np.linalg.norm(corners - corners[:, [1, 2, 0]], axis=2).max(axis=1)
    needle = 2.0 * area < NEEDLE * longest
    alike = np.einsum("ij,ij->i", normal[a], normal[b])
    flat = (distance < FLAT) & (labels[a] == labels[b])
    join = flat & (alike > 0.99995) & ~needle[a] & ~needle[b]
    loose = np.flatnonzero(flat & (needle[a] | needle[b]))
    shared = np.concatenate([loose, loose])
    own = np.concatenate([a[loose], b[loose]])
    other = np.concatenate([b[loose], a[loose]])
    shared, own, other = shared[needle[own]], own[needle[own]], other[needle[own]]
    order = np.lexsort((-area[other], -np.round(alike[shared], 3), own))
    _, first = np.unique(own[order], return_index=True)
    join[shared[order[first]]] = True
    number = connected(np.column_stack([a[join], b[join]]), len(faces))
    return np.unique(number, return_inverse=True)[1].reshape(-1)


def _straightened(vertices: Floats, faces: Ints, area: Floats, normal: Floats, group: Ints) -> Ints:
    """Take apart groups that drifted off one plane, as chains of nearly flat triangles can."""
    if not len(group):
        return group
    count = int(group.max()) + 1
    weight = np.maximum(area, 1e-15)
    vector = np.column_stack([_sums(group, weight * normal[:, k], count) for k in range(3)])
    vector /= np.maximum(np.linalg.norm(vector, axis=1, keepdims=True), 1e-300)
    middle = vertices[faces].mean(axis=1)
    centre = np.column_stack([_sums(group, weight * middle[:, k], count) for k in range(3)])
    centre /= np.maximum(_sums(group, weight, count), 1e-300)[:, None]
    stray = np.abs(np.einsum("ijk,ik->ij", vertices[faces] - centre[group][:, None], vector[group])).max(
        axis=1
    )
    worst = np.zeros(count)
    np.maximum.at(worst, group, stray)
    bent = worst[group] > BENT
    group = group.copy()
    group[bent] = count + np.arange(int(bent.sum()))
    return np.unique(group, return_inverse=True)[1].reshape(-1)


def _without_slivers(group: Ints, area: Floats) -> Ints:
    """Number groups anew, -1 for the triangles of groups too small to be a surface."""
    if not len(group):
        return group
    large = np.bincount(group, area) >= SMALLEST
    number = np.where(large, np.cumsum(large) - 1, -1)
    return number[group]


def _sums(owner: Ints, values: Floats, count: int) -> Floats:
    """Sum of the values of each owner, (count,); float even where there is nothing to sum."""
    return np.bincount(owner, values, count).astype(np.float64)


def _boxes(corners: Floats, owner: Ints, count: int) -> Floats:
    """Bounds (count, 2, 3) of the triangles of each owner; each has one at least."""
    box = np.empty((count, 2, 3))
    order = np.argsort(owner, kind="stable")
    starts = np.searchsorted(owner[order], np.arange(count))
    if count:
        box[:, 0] = np.minimum.reduceat(corners.min(axis=1)[order], starts)
        box[:, 1] = np.maximum.reduceat(corners.max(axis=1)[order], starts)
    return box


def _polygons(
    vertices: Floats, faces: Ints, facet_of: Ints, loops: Loops, frames: Frames, count: int
) -> NDArray[np.object_]:
    """The polygon of each facet in its frame."""
    result = np.full(count, None, dtype=object)
    if not count:
        return result
    axes = frames.axes[frames.of_facet]
    owner = loops.facet[loops.loop]
    points = np.einsum("ijk,ik->ij", axes[owner][:, :2], vertices[loops.vertex])
    following = np.where(loops.last, loops.first_index[loops.loop], np.arange(len(points)) + 1)
    cross = points[:, 0] * points[following, 1] - points[following, 0] * points[:, 1]
    signed = np.bincount(loops.loop, cross, len(loops.facet)) * frames.side[loops.facet]
    length = np.bincount(loops.loop, minlength=len(loops.facet))
    rings = np.full(len(loops.facet), None, dtype=object)
    usable = length >= 3
    if usable.any():
        kept = usable[loops.loop]
        index = (np.cumsum(usable) - 1)[loops.loop[kept]]
        rings[usable] = shapely.linearrings(points[kept], indices=index)
    shell = usable & (signed > 0)
    shells = np.bincount(loops.facet[shell], minlength=count)
    holes = np.bincount(loops.facet[usable & ~shell], minlength=count)
    plain = (shells == 1) & (holes == 0) & ~loops.tangled
    single = np.flatnonzero(shell & plain[loops.facet])
    result[loops.facet[single]] = shapely.polygons(rings[single])
    pierced = (shells == 1) & (holes > 0) & ~loops.tangled
    inner: dict[int, list[object]] = {}
    for ring in np.flatnonzero(usable & ~shell & pierced[loops.facet]):
        inner.setdefault(int(loops.facet[ring]), []).append(rings[ring])
    for ring in np.flatnonzero(shell & pierced[loops.facet]):
        facet = int(loops.facet[ring])
        result[facet] = shapely.Polygon(rings[ring], inner[facet])
    made = np.array([polygon is not None for polygon in result])
    broken = ~made
    # A rectangle along the axes is sound, and most faces are; asking the library costs more than making them.
    doubtful = np.flatnonzero(made)
    doubtful = doubtful[~bounds_and_boxes(result[doubtful])[1]]
    broken[doubtful] = ~shapely.is_valid(result[doubtful])
    if broken.any():
        _repair(vertices, faces, facet_of, axes, broken, result)
    return result


def _repair(
    vertices: Floats,
    faces: Ints,
    facet_of: Ints,
    axes: Floats,
    broken: NDArray[np.bool_],
    result: NDArray[np.object_],
) -> None:
    """Union of triangles for facets whose outline touches itself."""
    triangles = np.flatnonzero((facet_of >= 0) & broken[np.maximum(facet_of, 0)])
    owner = facet_of[triangles]
    points = np.einsum("iab,icb->ica", axes[owner][:, :2], vertices[faces[triangles]])
    pieces = shapely.polygons(points)
    sound = shapely.area(pieces) > 0
    for facet in np.flatnonzero(broken):
        result[facet] = planar.union_all(pieces[(owner == facet) & sound])


def _edges(
    vertices: Floats, faces: Ints, facet_of: Ints, twin: Ints, normal: Floats
) -> tuple[Ints, Floats, Floats, NDArray[np.bool_]]:
    """Edges between facets: pairs, length, mean height, and whether the body is convex there."""
    half = np.flatnonzero(twin >= 0)
    here, there = facet_of[half // 3], facet_of[twin[half] // 3]
    border = (here >= 0) & (there >= 0) & (here != there)
    half, here, there = half[border], here[border], there[border]
    flat = faces.ravel()
    start, end = flat[half], faces[:, [1, 2, 0]].ravel()[half]
    far = flat[twin[half] // 3 * 3 + (twin[half] + 2) % 3]
    below = np.einsum("ij,ij->i", vertices[far] - vertices[start], normal[here]) < 0
    length = np.linalg.norm(vertices[end] - vertices[start], axis=1)
    height = (vertices[start, 2] + vertices[end, 2]) / 2.0
    return np.column_stack([here, there]), length, height, below


def _rims(
    vertices: Floats, faces: Ints, facet_of: Ints, twin: Ints, normal: Floats, loops: Loops, count: int
) -> NDArray[np.bool_]:
    """Facets that go inwards from a hole in a neighbour: convex edges on the neighbour's inner loops."""
    rim = np.zeros(count, dtype=bool)
    if not count:
        return rim
    outer = loops.outer(vertices, normal)
    inner = ~outer[loops.loop] & ~loops.tangled[loops.facet[loops.loop]]
    half = loops.half[inner]
    there = np.where(twin[half] >= 0, facet_of[np.maximum(twin[half], 0) // 3], -1)
    here = facet_of[half // 3]
    half, here, there = half[there >= 0], here[there >= 0], there[there >= 0]
    far = faces.ravel()[twin[half] // 3 * 3 + (twin[half] + 2) % 3]
    start = faces.ravel()[half]
    convex = np.einsum("ij,ij->i", vertices[far] - vertices[start], normal[here]) < 0
    rim[there[convex]] = True
    return rim
