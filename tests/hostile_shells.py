"""Faceted and tessellated bodies, solids of a few numbers, advanced boundaries: sound ones and hostile ones."""

import math
from collections.abc import Sequence
from typing import Any

from build import box_mesh, triangulated
from hostile import CURVED, Build, Case, Entity, doubtful, entity, sound
from hostile_profiles import PI
from solid_models import SolidModel

Points = Sequence[Sequence[float]]
Polygons = Sequence[Sequence[int]]

POINTS, QUADS = box_mesh((0, 0, 0), (1, 1, 1))
TRIANGLES = triangulated(QUADS)


def brep(points: Points, polygons: Polygons) -> Build:
    return lambda model: model.brep(points, polygons)


def surface(points: Points, polygons: Polygons, kind: str = "IfcFaceBasedSurfaceModel") -> Build:
    """A surface model: a set of faces that need not close."""

    def build(model: SolidModel) -> Entity:
        shell = model.shell(points, polygons)
        if kind == "IfcShellBasedSurfaceModel":
            return entity(model, kind, [shell])
        return entity(model, kind, [entity(model, "IfcConnectedFaceSet", shell.CfsFaces)])

    return build


def with_holes(points: Points, faces: Sequence[Sequence[Sequence[int]]], outer: bool = True) -> Build:
    """A boundary whose faces have bounds: the first is the outline, named so unless `outer` is false."""

    def build(model: SolidModel) -> Entity:
        corners = [model.point(*point) for point in points]
        made = []
        for loops in faces:
            bounds = []
            for number, loop in enumerate(loops):
                kind = "IfcFaceOuterBound" if outer and not number else "IfcFaceBound"
                bounds.append(
                    entity(model, kind, entity(model, "IfcPolyLoop", [corners[i] for i in loop]), True)
                )
            made.append(entity(model, "IfcFace", bounds))
        return entity(model, "IfcFacetedBrep", entity(model, "IfcClosedShell", made))

    return build


def voided(outer: tuple[Points, Polygons], *inner: tuple[Points, Polygons]) -> Build:
    return lambda model: entity(
        model, "IfcFacetedBrepWithVoids", model.shell(*outer), [model.shell(*void) for void in inner]
    )


def triangles(
    points: Points, faces: Polygons, closed: bool | None = True, base: int = 1, **more: Any
) -> Build:
    def build(model: SolidModel) -> Entity:
        table = entity(model, "IfcCartesianPointList3D", [model.n(point) for point in points])
        index = [[corner + base for corner in face] for face in faces]
        return entity(model, "IfcTriangulatedFaceSet", table, Closed=closed, CoordIndex=index, **more)

    return build


def polygons(
    points: Points,
    faces: Polygons,
    closed: bool = True,
    base: int = 1,
    voids: dict[int, Polygons] | None = None,
) -> Build:
    """A polygonal face set; `voids` are the holes of a face by its number."""

    def build(model: SolidModel) -> Entity:
        table = entity(model, "IfcCartesianPointList3D", [model.n(point) for point in points])
        made = []
        for number, face in enumerate(faces):
            index = [corner + base for corner in face]
            holes = [[corner + base for corner in hole] for hole in (voids or {}).get(number, ())]
            if holes:
                made.append(entity(model, "IfcIndexedPolygonalFaceWithVoids", index, holes))
            else:
                made.append(entity(model, "IfcIndexedPolygonalFace", index))
        return entity(model, "IfcPolygonalFaceSet", table, closed, made, None)

    return build


def turned(faces: Polygons, *numbers: int) -> list[list[int]]:
    """Polygons of which some, or all, look the other way."""
    return [
        list(face)[::-1] if not numbers or number in numbers else list(face)
        for number, face in enumerate(faces)
    ]


def two(first: tuple[Points, Polygons], second: tuple[Points, Polygons]) -> tuple[list[Any], list[list[int]]]:
    """Two meshes in one."""
    shift = len(first[0])
    return [*first[0], *second[0]], [*map(list, first[1]), *([i + shift for i in face] for face in second[1])]


def voxels(*places: tuple[int, int, int]) -> tuple[list[Any], list[list[int]]]:
    """The surface of unit cubes on a grid, without the faces between neighbours; corners shared."""
    corners: dict[tuple[int, int, int], int] = {}
    faces = []
    for place in places:
        points, quads = box_mesh(place, tuple(c + 1 for c in place))
        for quad in quads:
            middle = [sum(points[i][k] for i in quad) / 4 for k in range(3)]
            step = tuple(round(2 * (middle[k] - place[k] - 0.5)) for k in range(3))
            beyond = tuple(place[k] + step[k] for k in range(3))
            if beyond in places:
                continue
            faces.append([corners.setdefault(tuple(round(c) for c in points[i]), len(corners)) for i in quad])
    return [tuple(map(float, corner)) for corner in corners], faces


def csg(kind: str, *sizes: float) -> Build:
    return lambda model: entity(
        model, "IfcCsgSolid", entity(model, kind, model.axes(), *(size / model.scale for size in sizes))
    )


def _breps() -> list[Case]:
    small = box_mesh((0.25, 0.25, 0.25), (0.75, 0.75, 0.75))
    beside = box_mesh((2, 0, 0), (3, 1, 1))
    touching = box_mesh((1, 0, 0), (2, 1, 1))
    lapping = box_mesh((0.5, 0, 0), (1.5, 1, 1))
    cube = POINTS, QUADS
    inside_out = POINTS, turned(QUADS)
    apart = [POINTS[i] for face in QUADS for i in face]
    each = [[4 * n, 4 * n + 1, 4 * n + 2, 4 * n + 3] for n in range(6)]
    frame_points, frame_faces = _frame()
    bent = [*POINTS[:6], (1, 1, 1.2), POINTS[7]]
    shaky = [(x + 3e-5 * ((i * 7) % 3 - 1), y, z) for i, (x, y, z) in enumerate(apart)]
    needle = [*POINTS, (0.5, 1e-9, 0.0)]
    split_quads = [
        [face for face in QUADS if not {0, 1} <= set(face)],
        [f for f in QUADS if {0, 1} <= set(f)],
    ]
    needled = [*split_quads[0], *([*_with_between(face, 0, 1, 8)] for face in split_quads[1])]
    sliver = [*TRIANGLES, [0, 8, 1], [1, 8, 0]]
    return [
        sound("brep-cube", brep(*cube), 1.0),
        sound("brep-triangles", brep(POINTS, TRIANGLES), 1.0),
        sound("brep-corners-each", brep(apart, each), 1.0),
        doubtful("brep-inside-out", brep(*inside_out), 1.0),
        doubtful("brep-one-turned", brep(POINTS, turned(QUADS, 2)), 1.0),
        doubtful("brep-three-turned", brep(POINTS, turned(QUADS, 0, 2, 4)), 1.0),
        doubtful("brep-open", brep(POINTS, QUADS[1:]), 1.0),
        doubtful("brep-open-side", brep(POINTS, QUADS[:-1]), 1.0),
        doubtful("brep-two-missing", brep(POINTS, QUADS[2:]), 1.0),
        doubtful("brep-two-neighbours-missing", brep(POINTS, QUADS[1:-1])),
        doubtful("brep-half", brep(POINTS, QUADS[:3])),
        doubtful("brep-one-face", brep(POINTS, QUADS[:1])),
        doubtful("brep-triangle-missing", brep(POINTS, TRIANGLES[:-1]), 1.0),
        doubtful("brep-face-twice", brep(POINTS, [*QUADS, QUADS[0]]), 1.0),
        doubtful("brep-face-thrice", brep(POINTS, [*QUADS, QUADS[0], QUADS[0]]), 1.0),
        doubtful("brep-face-twin-reversed", brep(POINTS, [*QUADS, QUADS[0][::-1]]), 1.0),
        doubtful("brep-side-twin-reversed", brep(POINTS, [*QUADS, QUADS[3][::-1]]), 1.0),
        doubtful("brep-triangle-twin-reversed", brep(POINTS, [*TRIANGLES, TRIANGLES[3][::-1]]), 1.0),
        doubtful("brep-twin-cut-otherwise", brep(POINTS, [*QUADS, [QUADS[2][i] for i in (1, 2, 3, 0)][::-1]]), 1.0),
        doubtful("brep-inner-wall", brep([*POINTS, (0.5, 0, 0), (0.5, 1, 0), (0.5, 1, 1), (0.5, 0, 1)], [*QUADS, [8, 9, 10, 11], [11, 10, 9, 8]]), 1.0),
        doubtful("brep-inner-wall-once", brep([*POINTS, (0.5, 0, 0), (0.5, 1, 0), (0.5, 1, 1), (0.5, 0, 1)], [*QUADS, [8, 9, 10, 11]]), 1.0),
        doubtful("brep-all-twice", brep(POINTS, [*QUADS, *QUADS]), 1.0),
        doubtful("brep-all-and-reversed", brep(POINTS, [*QUADS, *turned(QUADS)])),
        doubtful("brep-two-equal-lumps", brep(*two(cube, cube)), 1.0),
        doubtful("brep-equal-lump-inside-out", brep(*two(cube, inside_out))),
        doubtful("brep-equal-lump-inside-out-first", brep(*two(inside_out, cube))),
        sound("brep-two-lumps", brep(*two(cube, beside)), 2.0),
        doubtful("brep-second-lump-inside-out", brep(*two(cube, (beside[0], turned(beside[1])))), 2.0),
        doubtful("brep-cavity", brep(*two(cube, (small[0], turned(small[1])))), 0.875),
        doubtful("brep-lump-in-lump", brep(*two(cube, small)), 1.0),
        sound("brep-lumps-touching", brep(*two(cube, touching)), 2.0),
        doubtful("brep-lumps-lapping", brep(*two(cube, lapping)), 1.5),
        doubtful("brep-lapping-inside-out", brep(*two(cube, (lapping[0], turned(lapping[1]))))),
        sound("brep-voxels-edge", brep(*voxels((0, 0, 0), (1, 1, 0))), 2.0),
        sound("brep-voxels-corner", brep(*voxels((0, 0, 0), (1, 1, 1))), 2.0),
        sound("brep-voxels-row", brep(*voxels((0, 0, 0), (1, 0, 0), (2, 0, 0), (2, 1, 0))), 4.0),
        sound("brep-voxels-checker", brep(*voxels((0, 0, 0), (1, 1, 0), (0, 1, 1), (1, 0, 1))), 4.0),
        sound("brep-voxels-hole", brep(*voxels(*((x, y, 0) for x in range(3) for y in range(3) if (x, y) != (1, 1)))), 8.0),
        sound("brep-voxels-edge-cavity", brep(*voxels(*((x, y, z) for x in range(4) for y in range(4) for z in range(3) if (x, y, z) not in ((1, 1, 1), (2, 2, 1))))), 46.0, far=True),
        sound("brep-face-with-hole", with_holes(frame_points, frame_faces), 8.0),
        sound("brep-face-with-hole-unnamed", with_holes(frame_points, frame_faces, outer=False), 8.0),
        doubtful("brep-hole-turned", with_holes(frame_points, [[f[0], f[1][::-1]] if len(f) > 1 else f for f in frame_faces]), 8.0),
        doubtful("brep-bent-quad", brep(bent, QUADS), None),
        doubtful("brep-shaky-corners", brep(shaky, each), 1.0, CURVED),
        sound("brep-corner-on-edge", brep(needle, needled), 1.0),
        doubtful("brep-sliver", brep(needle, sliver), 1.0),
        doubtful("brep-zero-faces", brep(POINTS, [*QUADS, [0, 0, 1], [2, 2, 2], [0, 1, 0, 1]]), 1.0),
        doubtful("brep-two-corner-face", brep(POINTS, [*QUADS, [0, 1, 1]]), 1.0),
        doubtful("brep-flat", brep([(x, y, 0) for x, y, _ in POINTS], QUADS)),
        doubtful("brep-thin", brep([(x, y, z * 1e-8) for x, y, z in POINTS], QUADS)),
        doubtful("brep-one-place", brep([(0, 0, 0)] * 8, QUADS)),
        doubtful("brep-huge", brep([(x * 1e8, y * 1e8, z * 1e8) for x, y, z in POINTS], QUADS), far=True),
        doubtful("brep-beyond-numbers", brep([(x * 1e300, y, z) for x, y, z in POINTS], QUADS), far=True),
        sound("brep-far-away", brep([(x + 2e6, y + 2.5e6, z) for x, y, z in POINTS], QUADS), 1.0, CURVED, far=True),
        doubtful("brep-one-corner-wild", brep([*POINTS[:-1], (0, 1, 1e12)], QUADS), far=True),
        doubtful("brep-folded", brep([*POINTS[:4], *((x, y, -0.5 if x > 0.5 else 1) for x, y, _ in POINTS[4:])], TRIANGLES)),
        doubtful("brep-bow-tie-face", brep(POINTS, [[QUADS[0][i] for i in (0, 2, 1, 3)], *QUADS[1:]]), 1.0),
        doubtful("brep-mobius", brep(*_mobius())),
        doubtful("brep-klein-fan", brep([*POINTS, (0.5, 0.5, 2)], [*QUADS, [4, 5, 8], [6, 7, 8]])),
        sound("surface-closed", surface(*cube), 1.0, solid=False),
        sound("surface-shell", surface(POINTS, QUADS, "IfcShellBasedSurfaceModel"), 1.0, solid=False),
        doubtful("surface-open", surface(POINTS, QUADS[:4]), solid=False),
        doubtful("surface-sheet", surface(POINTS, QUADS[:1]), solid=False),
        doubtful("surface-both-ways", surface(POINTS, turned(QUADS, 1, 3)), 1.0, solid=False),
        sound("voids-one", voided(cube, small), 0.875),
        sound("voids-turned", voided(cube, (small[0], turned(small[1]))), 0.875),
        doubtful("voids-outside", voided(cube, beside), 1.0),
        doubtful("voids-across", voided(cube, lapping), 0.5),
        doubtful("voids-equal", voided(cube, cube)),
        doubtful("voids-overlapping", voided(cube, small, box_mesh((0.5, 0.25, 0.25), (0.9, 0.75, 0.75))), 0.8375),
        doubtful("voids-same-twice", voided(cube, small, small), 0.875),
        doubtful("voids-open", voided(cube, (small[0], small[1][1:]))),
        doubtful("voids-touching-side", voided(cube, box_mesh((0, 0.25, 0.25), (0.5, 0.75, 0.75))), 0.875),
    ]  # fmt: skip


def _with_between(face: Sequence[int], one: int, other: int, new: int) -> list[int]:
    """A polygon with a corner between two of its corners that follow on each other, in either order."""
    out: list[int] = []
    for corner, after in zip(face, [*face[1:], face[0]], strict=True):
        out.append(corner)
        if {corner, after} == {one, other}:
            out.append(new)
    return out


def _frame() -> tuple[list[Any], list[list[list[int]]]]:
    """A square of 3 by 3 by 1 with a square hole through it: two faces have a hole."""
    outer, inner = box_mesh((0, 0, 0), (3, 3, 1)), box_mesh((1, 1, 0), (2, 2, 1))
    points = [*outer[0], *inner[0]]
    faces: list[list[list[int]]] = []
    for number, (face, hole) in enumerate(zip(outer[1], inner[1], strict=True)):
        other = [i + 8 for i in hole[::-1]]
        if number < 2:
            faces.append([list(face), other])
        else:
            faces += [[list(face)], [other]]
    return points, faces


def _mobius() -> tuple[list[Any], list[list[int]]]:
    """A one-sided band."""
    points, faces, count = [], [], 12
    for step in range(count):
        turn = 2 * PI * step / count
        for side in (-0.3, 0.3):
            reach = 1.5 + side * math.cos(turn / 2)
            points.append((reach * math.cos(turn), reach * math.sin(turn), side * math.sin(turn / 2)))
    for step in range(count):
        a, b = 2 * step, 2 * step + 1
        c, d = (2 * step + 2, 2 * step + 3) if step < count - 1 else (1, 0)
        faces += [[a, c, d], [a, d, b]]
    return points, faces


def _face_sets() -> list[Case]:
    far = [(x + 3.0, y, z) for x, y, z in POINTS]
    index = list(range(8, 0, -1))
    frame_points, frame_faces = _frame()
    voids = {number: [face[1]] for number, face in enumerate(frame_faces) if len(face) > 1}
    ball_points, ball_faces = _ball(24)
    return [
        sound("triangles", triangles(POINTS, TRIANGLES), 1.0),
        sound("triangles-flag-missing", triangles(POINTS, TRIANGLES, None), 1.0),
        sound("triangles-flag-open", triangles(POINTS, TRIANGLES, False), 1.0),
        sound("triangles-soup", triangles([POINTS[i] for f in TRIANGLES for i in f], [[3 * n, 3 * n + 1, 3 * n + 2] for n in range(len(TRIANGLES))]), 1.0),
        sound("triangles-ball", triangles(ball_points, ball_faces), 4 / 3 * PI, 0.03),
        sound("triangles-spare-points", triangles([*POINTS, (3, 3, 3)], TRIANGLES), 1.0),
        sound("triangles-pn-index", triangles(POINTS[::-1], TRIANGLES, PnIndex=index), 1.0),
        doubtful("triangles-flag-lying", triangles(POINTS, TRIANGLES[:-2], True)),
        doubtful("triangles-zero-based", triangles(POINTS, TRIANGLES, base=0)),
        doubtful("triangles-beyond", triangles(POINTS, TRIANGLES, base=5)),
        doubtful("triangles-minus", triangles(POINTS, TRIANGLES, base=-20)),
        doubtful("triangles-inside-out", triangles(POINTS, turned(TRIANGLES)), 1.0),
        doubtful("triangles-mixed", triangles(POINTS, turned(TRIANGLES, 0, 5, 7)), 1.0),
        doubtful("triangles-twice", triangles(POINTS, [*TRIANGLES, *TRIANGLES]), 1.0),
        doubtful("triangles-one", triangles(POINTS, TRIANGLES[:1])),
        doubtful("triangles-degenerate", triangles(POINTS, [*TRIANGLES, [0, 0, 0]]), 1.0),
        doubtful("triangles-pn-short", triangles(POINTS, TRIANGLES, PnIndex=[1, 2, 3])),
        doubtful("triangles-endless", triangles([*POINTS[:-1], (0, 1, 1e300)], TRIANGLES), far=True),
        sound("polygons", polygons(POINTS, QUADS), 1.0),
        sound("polygons-flag-open", polygons(POINTS, QUADS, False), 1.0),
        sound("polygons-with-voids", polygons(frame_points, [f[0] for f in frame_faces], voids=voids), 8.0),
        doubtful("polygons-voids-lost", polygons(frame_points, [f[0] for f in frame_faces]), 8.0),
        doubtful("polygons-zero-based", polygons(POINTS, QUADS, base=0)),
        doubtful("polygons-beyond", polygons(POINTS, QUADS, base=3)),
        doubtful("polygons-inside-out", polygons(POINTS, turned(QUADS)), 1.0),
        doubtful("polygons-lumps-equal", polygons(*two((POINTS, QUADS), (POINTS, turned(QUADS))))),
        sound("polygons-lumps", polygons(*two((POINTS, QUADS), (far, QUADS))), 2.0),
        sound("polygons-voxels-edge", polygons(*voxels((0, 0, 0), (1, 1, 0), (0, 1, 1))), 3.0),
    ]  # fmt: skip


def _ball(steps: int) -> tuple[list[Any], list[list[int]]]:
    points: list[Any] = [(0.0, 0.0, -1.0)]
    for ring in range(1, steps):
        tilt = PI * ring / steps - PI / 2
        points += [
            (math.cos(tilt) * math.cos(2 * PI * k / steps), math.cos(tilt) * math.sin(2 * PI * k / steps), math.sin(tilt))
            for k in range(steps)
        ]  # fmt: skip
    points.append((0.0, 0.0, 1.0))
    faces: list[list[int]] = []
    top = len(points) - 1
    for k in range(steps):
        after = (k + 1) % steps
        faces.append([0, 1 + after, 1 + k])
        faces.append([top, top - steps + k, top - steps + after])
        for ring in range(steps - 2):
            a, b = 1 + ring * steps + k, 1 + ring * steps + after
            faces += [[a, b, b + steps], [a, b + steps, a + steps]]
    return points, faces


def _primitives() -> list[Case]:
    return [
        sound("block", csg("IfcBlock", 1, 2, 0.5), 1.0),
        sound("pyramid", csg("IfcRectangularPyramid", 1, 2, 1.5), 1.0),
        sound("cylinder", csg("IfcRightCircularCylinder", 1.5, 1.0), 1.5 * PI, CURVED),
        sound("cone", csg("IfcRightCircularCone", 1.5, 1.0), 0.5 * PI, CURVED),
        sound("ball", csg("IfcSphere", 1.0), 4 / 3 * PI, CURVED),
        doubtful("block-minus", csg("IfcBlock", 1, -2, 0.5)),
        doubtful("block-flat", csg("IfcBlock", 1, 2, 0)),
        doubtful("ball-nothing", csg("IfcSphere", 0.0)),
        doubtful("ball-minus", csg("IfcSphere", -1.0)),
        doubtful("cone-minus", csg("IfcRightCircularCone", -1.5, 1.0)),
        doubtful("pyramid-flat", csg("IfcRectangularPyramid", 1, 2, 0)),
    ]


def _advanced() -> list[Case]:
    return [
        doubtful("advanced-cylinder", cylinder_brep(1.0, 2.0), 2 * PI, CURVED),
        doubtful("advanced-cylinder-open", cylinder_brep(1.0, 2.0, lids=1)),
        doubtful("advanced-cylinder-sense", cylinder_brep(1.0, 2.0, sense=False)),
        doubtful("advanced-block", spline_block(0.0), 1.0),
        doubtful("advanced-block-bulging", spline_block(0.5)),
    ]


def cylinder_brep(radius: float, height: float, lids: int = 2, sense: bool = True) -> Build:
    """A cylinder of one curved face with a seam and of flat lids."""

    def build(model: SolidModel) -> Entity:
        r = radius / model.scale
        levels = (0.0, height)
        corners = [entity(model, "IfcVertexPoint", model.point(radius, 0, z)) for z in levels]
        rims = [
            entity(
                model, "IfcEdgeCurve", corner, corner,
                entity(model, "IfcCircle", model.axes((0, 0, z)), r), True,
            )
            for corner, z in zip(corners, levels, strict=True)
        ]  # fmt: skip
        up = entity(model, "IfcVector", model.direction(0, 0, 1), 1.0)
        seam = entity(
            model, "IfcEdgeCurve", *corners, entity(model, "IfcLine", model.point(radius, 0, 0), up), True
        )

        def face(plane: Entity, same: bool, *edges: tuple[Entity, bool]) -> Entity:
            loop = entity(
                model,
                "IfcEdgeLoop",
                [entity(model, "IfcOrientedEdge", None, None, e, way) for e, way in edges],
            )
            return entity(
                model, "IfcAdvancedFace", [entity(model, "IfcFaceOuterBound", loop, True)], plane, same
            )

        side = entity(model, "IfcCylindricalSurface", model.axes(), r)
        faces = [
            face(side, sense, (rims[0], True), (seam, True), (rims[1], False), (seam, False)),
            face(entity(model, "IfcPlane", model.axes()), False, (rims[0], False)),
            face(entity(model, "IfcPlane", model.axes((0, 0, height))), True, (rims[1], True)),
        ][: 1 + lids]
        return entity(model, "IfcAdvancedBrep", entity(model, "IfcClosedShell", faces))

    return build


def spline_block(bulge: float) -> Build:
    """A unit block whose top is a B-spline surface of degree 2 with its middle lifted; its edges stay straight."""

    def build(model: SolidModel) -> Entity:
        corners = [entity(model, "IfcVertexPoint", model.point(*point)) for point in POINTS]
        edges: dict[frozenset[int], tuple[Entity, int]] = {}

        def edge(start: int, end: int) -> Entity:
            key = frozenset((start, end))
            if key not in edges:
                a, b = POINTS[start], POINTS[end]
                way = entity(model, "IfcVector", model.direction(*(b[i] - a[i] for i in range(3))), 1.0)
                curve = entity(model, "IfcLine", model.point(*a), way)
                edges[key] = entity(model, "IfcEdgeCurve", corners[start], corners[end], curve, True), start
            made, first = edges[key]
            return entity(model, "IfcOrientedEdge", None, None, made, first == start)

        faces = []
        for number, quad in enumerate(QUADS):
            loop = entity(
                model, "IfcEdgeLoop", [edge(a, b) for a, b in zip(quad, [*quad[1:], quad[0]], strict=True)]
            )
            if number == 1:
                grid = [
                    [model.point(x / 2, y / 2, 1 + (bulge if x == y == 1 else 0)) for y in range(3)]
                    for x in range(3)
                ]
                plane = entity(
                    model, "IfcBSplineSurfaceWithKnots", 2, 2, grid, "UNSPECIFIED", False, False, False,
                    [3, 3], [3, 3], [0.0, 1.0], [0.0, 1.0], "UNSPECIFIED",
                )  # fmt: skip
            else:
                a, b, c = (POINTS[i] for i in quad[:3])
                along, over = [b[i] - a[i] for i in range(3)], [c[i] - b[i] for i in range(3)]
                out = [along[1] * over[2] - along[2] * over[1], along[2] * over[0] - along[0] * over[2], along[0] * over[1] - along[1] * over[0]]  # fmt: skip
                plane = entity(model, "IfcPlane", model.axes(a, out, along))
            faces.append(
                entity(
                    model, "IfcAdvancedFace", [entity(model, "IfcFaceOuterBound", loop, True)], plane, True
                )
            )
        return entity(model, "IfcAdvancedBrep", entity(model, "IfcClosedShell", faces))

    return build


CASES = [*_breps(), *_face_sets(), *_primitives(), *_advanced()]
