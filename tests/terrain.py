"""Terrain for small models, in every way in which a file may show it."""

from collections.abc import Callable, Sequence
from typing import Any

from build import Model

Height = Callable[[float, float], float]
Triangles = tuple[list[tuple[float, float, float]], list[list[int]]]


def grid(height: Height, box: Sequence[float], step: float) -> Triangles:
    """Triangles over a plan box (x0, y0, x1, y1)."""
    x0, y0, x1, y1 = box
    wide, deep = round((x1 - x0) / step), round((y1 - y0) / step)
    points = [
        (x0 + i * step, y0 + j * step, height(x0 + i * step, y0 + j * step))
        for j in range(deep + 1)
        for i in range(wide + 1)
    ]
    faces = []
    for j in range(deep):
        for i in range(wide):
            a = j * (wide + 1) + i
            faces += [[a, a + 1, a + wide + 2], [a, a + wide + 2, a + wide + 1]]
    return points, faces


def without(triangles: Triangles, box: Sequence[float]) -> Triangles:
    """The triangles whose middles lie outside a plan box."""
    points, faces = triangles
    x0, y0, x1, y1 = box

    def outside(face: list[int]) -> bool:
        x, y = (sum(points[k][axis] for k in face) / 3 for axis in (0, 1))
        return not (x0 < x < x1 and y0 < y < y1)

    return points, [face for face in faces if outside(face)]


def block(triangles: Triangles, bottom: float) -> Triangles:
    """A closed body of soil under triangles that look up."""
    points, faces = triangles
    count = len(points)
    rim: dict[tuple[int, int], None] = {}
    for face in faces:
        for a, b in zip(face, face[1:] + face[:1], strict=True):
            if (b, a) in rim:
                del rim[b, a]
            else:
                rim[a, b] = None
    below = [(x, y, bottom) for x, y, _ in points]
    sides = [[[b, a, a + count], [b, a + count, b + count]] for a, b in rim]
    under = [[k + count for k in face[::-1]] for face in faces]
    return points + below, faces + under + [face for pair in sides for face in pair]


def surface(m: Model, kind: str, triangles: Triangles) -> Any:
    """An item of one kind over triangles."""
    points, faces = triangles
    if kind == "face set":
        return m.triangles(points, faces)
    if kind == "network":
        listed = m.file.create_entity("IfcCartesianPointList3D", [[m.length(v) for v in p] for p in points])
        return m.file.create_entity(
            "IfcTriangulatedIrregularNetwork",
            Coordinates=listed,
            Closed=False,
            CoordIndex=[[k + 1 for k in face] for face in faces],
            Flags=[0] * len(faces),
        )
    if kind == "surface model":
        return m.surface_model(points, faces)
    if kind == "shells":
        shell = m.file.create_entity("IfcOpenShell", m._faces(points, faces))
        return m.file.create_entity("IfcShellBasedSurfaceModel", [shell])
    if kind == "brep":
        return m.brep(*block(triangles, min(p[2] for p in points) - 2.0))
    raise ValueError(kind)


def curves(m: Model, lines: Sequence[Sequence[Sequence[float]]]) -> Any:
    """Lines in space, each a sequence of (x, y, z), as one set."""
    made = [m.file.create_entity("IfcPolyline", [m.point(at) for at in line]) for line in lines]
    return m.file.create_entity("IfcGeometricCurveSet", made)


def shown(m: Model, product: Any, item: Any, name: str, kind: str) -> None:
    """The item as the only representation of a product."""
    made = m.file.create_entity("IfcShapeRepresentation", m.context, name, kind, [item])
    product.Representation = m.file.create_entity("IfcProductDefinitionShape", Representations=[made])
