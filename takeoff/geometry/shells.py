"""Faceted bodies read straight from the file: boundary representations, surface models, face sets.

What comes out is polygons cut into triangles as the file orders them; whether they close and which way they
turn is for `repair`.
"""

from collections.abc import Iterable
from itertools import chain
from typing import Any

import manifold3d
import numpy as np
from msgspec import Struct

from takeoff.geometry.mesh import Floats, Ints, Mesh
from takeoff.geometry.refusals import Nonsense, Unread

Entity = Any

_ORDER = np.array([1.0, 0.618033988749895, 0.272789430219841])
"""A direction in which hardly any two corners of a face lie equally far."""

Loop = list[int]
"""Indices of a polygon's corners."""


class _Points:
    """Corner points of a shell, each read once."""

    def __init__(self) -> None:
        self.rows: list[tuple[float, ...]] = []
        self._index: dict[int, int] = {}

    def index(self, point: Entity) -> int:
        key = point.id()
        found = self._index.get(key)
        if found is None:
            found = self._index[key] = len(self.rows)
            self.rows.append(point[0])
        return found


class Facets(Struct, frozen=True):
    """Triangles of a shell; `bent` m3 lie between the ways in which faces that are not flat can be cut.

    Such faces leave their planes by up to `rise` metres.
    """

    mesh: Mesh
    bent: float = 0.0
    rise: float = 0.0


def faceted(item: Entity, scale: float) -> list[Facets]:
    """Triangle meshes of a faceted item, metres, in the item's coordinates: the outer shell, then voids.

    All faces of a surface model make one mesh. Raises Unread for other kinds and for faces with curved edges.
    """
    kind = item.is_a()
    if kind in ("IfcFacetedBrep", "IfcFacetedBrepWithVoids"):
        shells = [[item.Outer], *([void] for void in getattr(item, "Voids", None) or ())]
        return [_shell(parts, scale) for parts in shells]
    if kind == "IfcFaceBasedSurfaceModel":
        return [_shell(item.FbsmFaces, scale)]
    if kind == "IfcShellBasedSurfaceModel":
        return [_shell(item.SbsmBoundary, scale)]
    if kind in ("IfcTriangulatedFaceSet", "IfcPolygonalFaceSet"):
        return [_face_set(item, scale)]
    raise Unread(kind)


def _shell(parts: Iterable[Entity], scale: float) -> Facets:
    points = _Points()
    polygons: list[list[Loop]] = []
    for part in parts:
        for face in part.CfsFaces:
            polygons.append(_face(face, points))
    rows = np.array(points.rows, dtype=np.float64).reshape(-1, 3) * scale
    return Facets(Mesh.of(rows, triangles(rows, polygons)), *_bent(rows, polygons))


def _face(face: Entity, points: _Points) -> list[Loop]:
    if face.is_a() != "IfcFace":
        raise Unread(face.is_a())
    outer: list[Loop] = []
    inner: list[Loop] = []
    for bound in face.Bounds:
        loop = bound.Bound
        if loop.is_a() != "IfcPolyLoop":
            raise Unread(loop.is_a())
        corners = [points.index(point) for point in loop.Polygon]
        if not bound.Orientation:
            corners.reverse()
        if len(corners) > 1 and corners[0] == corners[-1]:
            corners.pop()
        if bound.is_a() == "IfcFaceOuterBound" and not outer:
            outer.append(corners)
        else:
            inner.append(corners)
    return outer + inner


def _face_set(item: Entity, scale: float) -> Facets:
    rows = np.array(item.Coordinates.CoordList, dtype=np.float64).reshape(-1, 3) * scale
    numbers = getattr(item, "PnIndex", None)
    table = np.array(numbers, dtype=np.int64) - 1 if numbers else np.arange(len(rows))
    _within(table, len(rows))
    if item.is_a() == "IfcTriangulatedFaceSet":
        faces = np.array(item.CoordIndex, dtype=np.int64).reshape(-1, 3) - 1
        _within(faces, len(table))
        return Facets(Mesh.of(rows, table[faces]))
    polygons = []
    for face in item.Faces:
        loops = [face.CoordIndex, *(getattr(face, "InnerCoordIndices", None) or ())]
        indices = [np.array(loop, dtype=np.int64) - 1 for loop in loops]
        for index in indices:
            _within(index, len(table))
        polygons.append([table[index].tolist() for index in indices])
    return Facets(Mesh.of(rows, triangles(rows, polygons)), *_bent(rows, polygons))


def _bent(points: Floats, polygons: list[list[Loop]]) -> tuple[float, float]:
    """Volume, m3, that faces leave open by not being flat, and how far they leave their planes, metres.

    A bound: the area of a face times the way from its lowest corner over its plane to the highest.
    """
    bent, rise = 0.0, 0.0
    quads = np.array(
        [loops[0] for loops in polygons if len(loops) == 1 and len(loops[0]) == 4], dtype=np.int64
    )
    if len(quads):
        # Between the two diagonals of a bent quadrilateral lies a tetrahedron.
        a, b, c = (points[quads[:, place]] - points[quads[:, 0]] for place in (1, 2, 3))
        six = np.abs((np.cross(a, b) * c).sum(axis=1))
        across = np.sqrt((np.cross(b, c - a) ** 2).sum(axis=1))
        heights = np.divide(six, across, out=np.zeros(len(six)), where=across > 0.0)
        bent, rise = float(six.sum()) / 6.0, float(heights.max())
    for loops in polygons:
        if not loops or len(loops[0]) < 4 or (len(loops) == 1 and len(loops[0]) == 4):
            continue
        normal = newell(points[loops[0]])
        length = float(np.linalg.norm(normal))
        if not length > 0.0:
            continue
        high = float(np.ptp(points[list(chain.from_iterable(loops))] @ (normal / length)))
        bent, rise = bent + high * length / 2.0, max(rise, high)
    return bent, rise


def _within(index: Ints, count: int) -> None:
    if index.size and (index.min() < 0 or index.max() >= count):
        raise Nonsense("a face refers to a point that is not there")


def newell(corners: Floats) -> Floats:
    """Normal (3,) of a polygon (n, 3), of twice its area's length."""
    offset = corners - corners[0]
    total: Floats = np.cross(offset, np.roll(offset, -1, axis=0)).sum(axis=0)
    return total


def triangles(points: Floats, polygons: list[list[Loop]]) -> Ints:
    """Cut polygons (an outline and its holes, indices into (n, 3) points) into (m, 3) triangles."""
    simple: list[Loop] = []
    quads: list[Loop] = []
    out: list[Ints] = []
    for loops in polygons:
        if len(loops) == 1 and len(loops[0]) == 3:
            simple.append(loops[0])
        elif len(loops) == 1 and len(loops[0]) == 4:
            quads.append(loops[0])
        elif loops and len(loops[0]) > 2:
            out.append(_cut(points, loops))
    if simple:
        out.append(np.array(simple, dtype=np.int64))
    if quads:
        out.extend(_cut_quads(points, quads))
    if not out:
        return np.zeros((0, 3), dtype=np.int64)
    return np.concatenate(out)


def _cut_quads(points: Floats, quads: list[Loop]) -> list[Ints]:
    index = np.array(quads, dtype=np.int64)
    # Whichever corner a face begins at and whichever way it looks, it is cut along the same diagonal.
    turn = np.argmin((points @ _ORDER)[index], axis=1) % 2
    index = np.take_along_axis(index, (turn[:, None] + np.arange(4)) % 4, axis=1)
    corners = points[index]
    across = np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1])
    step = np.roll(corners, -1, axis=1) - corners
    bends = np.cross(step, np.roll(step, -1, axis=1))
    convex = (np.einsum("ijk,ik->ij", bends, across) > 0.0).all(axis=1)
    good = index[convex]
    rest = [_cut(points, [loop]) for loop in index[~convex].tolist()]
    return [good[:, [0, 1, 2]], good[:, [0, 2, 3]], *rest]


def _cut(points: Floats, loops: list[Loop]) -> Ints:
    """Triangles of one polygon with holes: laid on its own plane, then cut there.

    The same polygon begun at another corner or turned over is cut alike.
    """
    along = points[loops[0]] @ _ORDER
    first = int(np.argmin(along))
    count = len(loops[0])
    over = bool(along[(first + 1) % count] > along[first - 1])
    step = -1 if over else 1
    loops = [[loops[0][(first + step * k) % count] for k in range(count)], *loops[1:]]
    normal = newell(points[loops[0]])
    length = float(np.linalg.norm(normal))
    if not np.isfinite(length) or length == 0.0:
        return np.zeros((0, 3), dtype=np.int64)
    normal /= length
    wish = np.eye(3)[int(np.argmin(np.abs(normal)))]
    across = np.cross(wish, normal)
    across /= np.linalg.norm(across)
    frame = np.column_stack([across, np.cross(normal, across)])
    index = np.array(list(chain.from_iterable(loops)), dtype=np.int64)
    flat = (points[index] - points[index[0]]) @ frame
    bounds = np.cumsum([0, *(len(loop) for loop in loops)])
    places = [np.arange(bounds[i], bounds[i + 1]) for i in range(len(loops)) if len(loops[i]) > 2]
    rings = [flat[place] for place in places]
    for number, depth in enumerate(_depths(rings)):
        x, y = rings[number].T
        turn = float(x @ np.roll(y, -1) - y @ np.roll(x, -1))
        if (turn > 0.0) == (depth % 2 == 1):
            rings[number], places[number] = rings[number][::-1], places[number][::-1]
    faces = np.asarray(manifold3d.triangulate([np.ascontiguousarray(ring) for ring in rings]), dtype=np.int64)
    cut: Ints = index[np.concatenate(places)[faces.reshape(-1, 3)]]
    return cut[:, ::-1] if over else cut


def _depths(rings: list[Floats]) -> list[int]:
    """How many of the other rings lie around each of (n, 2) rings; the first is the outline of the rest."""
    if len(rings) < 3:
        return list(range(len(rings)))
    return [sum(inside(ring[0], other) for other in rings if other is not ring) for ring in rings]


def inside(point: Floats, ring: Floats) -> bool:
    """Whether a (2,) point lies within an (n, 2) ring, by the parity of crossings."""
    after = np.roll(ring, -1, axis=0)
    spans = (ring[:, 1] > point[1]) != (after[:, 1] > point[1])
    start, end = ring[spans], after[spans]
    reach = start[:, 0] + (point[1] - start[:, 1]) * (end[:, 0] - start[:, 0]) / (end[:, 1] - start[:, 1])
    return bool(np.count_nonzero(reach > point[0]) % 2)
