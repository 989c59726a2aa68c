"""Terrain read from a file: triangles of surfaces and solids, or of the contours and points that stand in their place.

Asked of the geometry workers as bodies are, because what a file says of its terrain is no more to be trusted.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np

from takeoff.geometry.items import Items, NoSolid
from takeoff.geometry.lines import line_points
from takeoff.geometry.mesh import Floats, Mesh
from takeoff.geometry.placements import Placements, applied
from takeoff.geometry.refusals import Nonsense, Sheet, Unread
from takeoff.geometry.shells import faceted
from takeoff.geometry.terrain_requests import TerrainRequest, TerrainResult
from takeoff.geometry.tessellation import tessellate

Entity = Any

_OTHERS = ("Axis", "Box", "Profile", "Reference", "Clearance", "Lighting")
"""Identifiers of representations that show no terrain."""

_OUTLINES = ("FootPrint", "Annotation", "Plan", "Annotation2D")
"""Identifiers of representations whose lines are a plan, unless they rise and fall."""

_LEVEL = 1e-6
"""Lines that rise by less than this, metres, lie level."""

CHORD = 2.0
"""Longest piece of a contour between two points from which triangles are made, metres."""

MOST_POINTS = 400_000
"""Points of contours from which triangles are made; of more, every second, third and so on is taken."""

MOST_TRIANGLES = 5_000_000
"""More triangles than any survey of a site has: too much to look through."""


class TerrainReader:
    """Terrains of one open file."""

    def __init__(self, file: Any, items: Items, placements: Placements) -> None:
        self.file = file
        self.items = items
        self.placements = placements

    def result(
        self, request: TerrainRequest, origin: Floats, transform: Floats | None = None
    ) -> TerrainResult:
        """The terrain of a product, relative to `origin` (3,), after `transform` (4, 4)."""
        product = self.file.by_id(request.product)
        matrix = self.placements.absolute(product.ObjectPlacement)
        if transform is not None:
            matrix = transform @ matrix
        matrix = matrix.copy()
        matrix[:3, 3] -= origin
        parts = [
            part
            for part in product.Representation.Representations
            if part.is_a("IfcShapeRepresentation")
            and part.Items
            and part.RepresentationIdentifier not in _OTHERS
            and part.RepresentationType not in ("Curve2D", "BoundingBox", "Annotation2D", "FootPrint")
        ]
        read = [_Shape(self.items, part.RepresentationIdentifier or "", part.Items) for part in parts]
        faced = next((shape for shape in read if shape.triangles), None)
        if faced is not None:
            return _of_triangles(request.key, faced, matrix)
        drawn = next((shape for shape in read if shape.points and not shape.is_plan()), None)
        if drawn is not None:
            return _of_points(request.key, drawn, matrix)
        faults = [fault for shape in read for fault in shape.faults]
        return TerrainResult(request.key, None, faults[0] if faults else "")


class _Shape:
    """What one representation holds: triangles (n, 3, 3), points (n, 3) of lines, and what cannot be read."""

    def __init__(self, items: Items, name: str, listed: tuple[Entity, ...]) -> None:
        self.items = items
        self.name = name
        self.triangles: list[Floats] = []
        self.points: list[Floats] = []
        self.faults: list[str] = []
        self.count = 0
        for item in listed:
            try:
                for leaf, matrix in items.leaves(item):
                    for element in _elements(leaf):
                        self._read(element, matrix)
            except NoSolid as problem:
                self.faults.append(str(problem))

    def is_plan(self) -> bool:
        """Whether its lines are no more than the plan of something."""
        heights = np.concatenate([points[:, 2] for points in self.points])
        return self.name in _OUTLINES and float(np.ptp(heights)) < _LEVEL

    def _read(self, item: Entity, matrix: Floats | None) -> None:
        try:
            if _is_drawn(item):
                points = _points(item, Sheet(self.items.scale, self.items.angle))
                self.points.append(points if matrix is None else applied(matrix, points))
                return
            for mesh in self._meshes(item):
                corners = mesh.vertices if matrix is None else applied(matrix, mesh.vertices)
                self.count += len(mesh.faces)
                if self.count > MOST_TRIANGLES:
                    raise Nonsense(f"more than {MOST_TRIANGLES} triangles")
                self.triangles.append(corners[mesh.faces])
        except (Nonsense, Unread, RuntimeError, ValueError, TypeError, AttributeError, IndexError) as problem:
            text = " ".join(str(problem).split())[:120]
            self.faults.append(f"{item.is_a()}: {text}")

    def _meshes(self, item: Entity) -> list[Mesh]:
        if item.is_a() == "IfcTriangulatedIrregularNetwork":
            return [_network(item, self.items.scale)]
        try:
            return [facets.mesh for facets in faceted(item, self.items.scale)[:1]]
        except Unread:
            for number, kernel in enumerate(self.items.kernels):
                try:
                    return [tessellate(item, kernel, scale=self.items.scale)]
                except RuntimeError:
                    if number == len(self.items.kernels) - 1:
                        raise
            raise


def _elements(item: Entity) -> Iterator[Entity]:
    """An item, or the elements of a set of curves, points and surfaces."""
    if item.is_a("IfcGeometricSet"):
        yield from item.Elements
    else:
        yield item


def _is_drawn(item: Entity) -> bool:
    return item.is_a("IfcCurve") or item.is_a("IfcPoint") or item.is_a("IfcCartesianPointList")


def _points(item: Entity, sheet: Sheet) -> Floats:
    """Points (n, 3) of a curve at most `CHORD` apart, or of points, metres."""
    if item.is_a("IfcCartesianPoint"):
        rows = np.array([item.Coordinates], dtype=np.float64) * sheet.scale
    elif item.is_a("IfcCartesianPointList"):
        rows = np.array(item.CoordList, dtype=np.float64) * sheet.scale
    else:
        rows = _divided(line_points(item, sheet))
    if rows.ndim != 2 or rows.shape[1] != 3:
        raise Nonsense("points without three coordinates")
    return rows


def _divided(line: Floats) -> Floats:
    """A line (n, 3) with further points, so that no piece is longer than `CHORD`."""
    if len(line) < 2:
        return line
    step = np.diff(line, axis=0)
    parts = np.maximum(1, np.ceil(np.linalg.norm(step, axis=1) / CHORD)).astype(np.int64)
    if parts.sum() > MOST_POINTS:
        return line
    owner = np.repeat(np.arange(len(step)), parts)
    share = (np.arange(len(owner)) - np.repeat(np.cumsum(parts) - parts, parts)) / parts[owner]
    return np.concatenate([line[owner] + share[:, None] * step[owner], line[-1:]])


def _network(item: Entity, scale: float) -> Mesh:
    """A network of triangles (IFC4X3); those flagged as a void or a hole are left out."""
    rows = np.array(item.Coordinates.CoordList, dtype=np.float64).reshape(-1, 3) * scale
    faces = np.array(item.CoordIndex, dtype=np.int64).reshape(-1, 3) - 1
    numbers = getattr(item, "PnIndex", None)
    if numbers:
        faces = (np.array(numbers, dtype=np.int64) - 1)[faces]
    if faces.size and (faces.min() < 0 or faces.max() >= len(rows)):
        raise Nonsense("a face refers to a point that is not there")
    flags = np.array(item.Flags or (), dtype=np.int64)
    if len(flags) == len(faces):
        faces = faces[flags >= 0]
    return Mesh.of(rows, faces)


def _of_triangles(key: int, shape: _Shape, matrix: Floats) -> TerrainResult:
    corners = np.concatenate(shape.triangles)
    sound = np.isfinite(corners).all(axis=(1, 2))
    remarks = [f"{len(shape.faults)} pieces cannot be read ({shape.faults[0]})"] if shape.faults else []
    if not sound.all():
        remarks.append(f"{np.count_nonzero(~sound)} triangles have coordinates that are no numbers")
    corners = corners[sound]
    if not len(corners):
        return TerrainResult(key, None, "none of its triangles has coordinates that are numbers")
    return TerrainResult(key, _mesh(applied(matrix, corners.reshape(-1, 3))), "", tuple(remarks))


def _of_points(key: int, shape: _Shape, matrix: Floats) -> TerrainResult:
    """Triangles between the points of contours, those with the fullest angles (Delaunay), in plan."""
    points = np.concatenate(shape.points)
    sound = np.isfinite(points).all(axis=1)
    remarks = [f"{len(shape.faults)} pieces cannot be read ({shape.faults[0]})"] if shape.faults else []
    if not sound.all():
        remarks.append(f"{np.count_nonzero(~sound)} points have coordinates that are no numbers")
    points = applied(matrix, points[sound])
    if len(points) > MOST_POINTS:
        points = points[:: -(-len(points) // MOST_POINTS)]
    # of points one above the other the highest is ground
    points = points[np.lexsort((-points[:, 2], points[:, 1], points[:, 0]))]
    points = points[np.append(True, (np.abs(np.diff(points[:, :2], axis=0)) > 1e-6).any(axis=1))]
    if len(points) < 3:
        return TerrainResult(key, None, "fewer than three points")
    from scipy.spatial import Delaunay, QhullError

    try:
        faces = Delaunay(points[:, :2] - points[:, :2].mean(axis=0)).simplices
    except QhullError:
        return TerrainResult(key, None, "its points lie on one line in plan")
    return TerrainResult(key, Mesh.of(points, faces.astype(np.int64)), "", tuple(remarks), by_lines=True)


def _mesh(corners: Floats) -> Mesh:
    """A mesh of triangles (3 n, 3) that share no corners."""
    return Mesh.of(corners, np.arange(len(corners), dtype=np.int64).reshape(-1, 3))


def read_terrain(
    bodies: Any, request: TerrainRequest, origin: Floats, transform: Floats | None
) -> TerrainResult:
    """The result of one request by the reader of bodies `bodies`; whatever goes wrong is told in its condition."""
    try:
        return TerrainReader(bodies.file, bodies.items, bodies.placements).result(request, origin, transform)
    except MemoryError:
        return TerrainResult(request.key, None, "it needs more memory than there is", lasting=False)
    except Exception as problem:
        text = " ".join(str(problem).split())[:160]
        return TerrainResult(request.key, None, f"it cannot be read ({type(problem).__name__}: {text})")
