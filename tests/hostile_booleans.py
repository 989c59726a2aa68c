"""Boolean trees, half-spaces, bodies of several items, mapped items: sound ones and hostile ones."""

import itertools
import math
from collections.abc import Sequence

from build import box_mesh
from hostile import CURVED, Build, Case, Entity, doubtful, entity, sound
from hostile_profiles import PI, circle, composite, extruded, polygon, section
from solid_models import SolidModel

Point3 = Sequence[float]


def box(low: Point3 = (0, 0, 0), high: Point3 = (1, 1, 1)) -> Build:
    return lambda model: model.box(low, high)


def shell(low: Point3 = (0, 0, 0), high: Point3 = (1, 1, 1)) -> Build:
    return lambda model: model.brep(*box_mesh(low, high))


def minus(first: Build, *others: Build) -> Build:
    """One body without others, each taken off in a tree of its own."""

    def build(model: SolidModel) -> Entity:
        tree = first(model)
        for other in others:
            tree = model.boolean("DIFFERENCE", tree, other(model))
        return tree

    return build


def plus(first: Build, other: Build) -> Build:
    return lambda model: model.boolean("UNION", first(model), other(model))


def both(first: Build, other: Build) -> Build:
    return lambda model: model.boolean("INTERSECTION", first(model), other(model))


def beyond(at: Point3, normal: Point3, agreement: bool = False) -> Build:
    """A half-space: the side to which the normal points, unless `agreement`."""
    return lambda model: model.half_space(at, normal, agreement)


def bounded(
    at: Point3,
    normal: Point3,
    ring: Sequence[Sequence[float]],
    frame: tuple[Point3, Point3, Point3] | None = None,
    agreement: bool = False,
) -> Build:
    return lambda model: model.half_space(at, normal, agreement, ring, model.axes(*frame) if frame else None)


def within(curve: Build, at: Point3 = (0, 0, 0.5), normal: Point3 = (0, 0, 1)) -> Build:
    """A half-space bounded by any curve."""
    return lambda model: entity(
        model, "IfcPolygonalBoundedHalfSpace", entity(model, "IfcPlane", model.axes(at, normal)), False,
        model.axes(), curve(model),
    )  # fmt: skip


def boxed(at: Point3, normal: Point3) -> Build:
    """A half-space with a box about it, which is a hint only."""

    def build(model: SolidModel) -> Entity:
        plane = entity(model, "IfcPlane", model.axes(at, normal))
        hint = entity(model, "IfcBoundingBox", model.point(0, 0, 0), *model.n((1, 1, 1)))
        return entity(model, "IfcBoxedHalfSpace", plane, False, hint)

    return build


def several(*parts: Build) -> Build:
    return lambda model: [part(model) for part in parts]


def mapped(*parts: Build, **operator: object) -> Build:
    """What is mapped; directions as tuples."""

    def build(model: SolidModel) -> Entity:
        given = {
            key: model.direction(*value) if isinstance(value, tuple) else value
            for key, value in operator.items()
        }
        return model.mapped(model.source([part(model) for part in parts]), **given)

    return build


def itself(model: SolidModel) -> Entity:
    """A mapped item that stands for a shape in which it stands itself, beside a box."""
    source = model.source([model.box((0, 0, 0), (1, 1, 1))])
    item = model.mapped(source)
    source.MappedRepresentation.Items = [*source.MappedRepresentation.Items, item]
    return item


def tree_of_itself(model: SolidModel) -> Entity:
    tree = model.boolean("DIFFERENCE", model.box((0, 0, 0), (1, 1, 1)), model.box((0, 0, 0), (0.5, 1, 1)))
    tree.FirstOperand = tree
    return tree


def nested(build: Build, depth: int) -> Build:
    for _ in range(depth):
        build = mapped(build)
    return build


SQUARE = ((0, 0), (1, 0), (1, 1), (0, 1))


def _half_spaces() -> list[Case]:
    cube = box()
    low = ((0, 0), (0.5, 0), (0.5, 1), (0, 1))
    far = ((5, 5), (6, 5), (6, 6), (5, 6))
    lying = ((0, 0, 0), (0, 1, 0), (1, 0, 0))
    slanted = math.sqrt(0.5)
    return [
        sound("half-up", minus(cube, beyond((0, 0, 0.5), (0, 0, 1))), 0.5),
        sound("half-agreement", minus(cube, beyond((0, 0, 0.25), (0, 0, 1), True)), 0.75),
        sound("half-slanted", minus(cube, beyond((0, 0, 0), (slanted, 0, slanted), True)), 1.0),
        sound("half-corner", minus(cube, beyond((0.5, 0, 0), (slanted, slanted, 0))), 1 - 0.875),
        sound("half-beside", minus(cube, beyond((0, 0, 2), (0, 0, 1))), 1.0),
        sound("half-on-face", minus(cube, beyond((0, 0, 1), (0, 0, 1))), 1.0),
        doubtful("half-all", minus(cube, beyond((0, 0, -1), (0, 0, 1)))),
        doubtful("half-all-on-face", minus(cube, beyond((0, 0, 0), (0, 0, 1)))),
        doubtful("half-almost-all", minus(cube, beyond((0, 0, 1e-7), (0, 0, 1))), 1e-7),
        sound("half-almost-nothing", minus(cube, beyond((0, 0, 1 - 1e-6), (0, 0, 1))), 1.0, 2e-6),
        sound("half-far-point", minus(cube, beyond((5e5, 3e5, 0.5), (0, 0, 1))), 0.5),
        sound("half-boxed", minus(cube, boxed((0, 0, 0.5), (0, 0, 1))), 0.5),
        doubtful("half-no-normal", minus(cube, beyond((0, 0, 0.5), (0, 0, 0)))),
        doubtful("half-added", plus(cube, beyond((0, 0, 0.5), (0, 0, 1)))),
        sound("half-common", both(cube, beyond((0, 0, 0.25), (0, 0, 1))), 0.75),
        doubtful("half-first", minus(beyond((0, 0, 0.5), (0, 0, 1)), cube)),
        doubtful("half-alone", beyond((0, 0, 0.5), (0, 0, 1)), solid=False),
        doubtful("half-of-cylinder", minus(cube, lambda m: entity(m, "IfcHalfSpaceSolid", entity(m, "IfcCylindricalSurface", m.axes(), 0.5 / m.scale), False))),
        sound("bounded", minus(cube, bounded((0, 0, 0.5), (0, 0, 1), low)), 0.75),
        sound("bounded-clockwise", minus(cube, bounded((0, 0, 0.5), (0, 0, 1), low[::-1])), 0.75),
        sound("bounded-beside", minus(cube, bounded((0, 0, 0.5), (0, 0, 1), far)), 1.0),
        sound("bounded-beside-touching", minus(cube, bounded((0, 0, 0.5), (0, 0, 1), ((1, 0), (2, 0), (2, 1), (1, 1)))), 1.0),
        sound("bounded-above", minus(cube, bounded((0, 0, 3), (0, 0, 1), low)), 1.0),
        sound("bounded-lying", minus(cube, bounded((0, 0, 0.5), (0, 0, 1), ((0, 0), (0, -1), (0.5, -1), (0.5, 0)), lying)), 0.75),
        sound("bounded-larger", minus(cube, bounded((0, 0, 0.5), (0, 0, 1), ((-9, -9), (9, -9), (9, 9), (-9, 9)))), 0.5),
        sound("bounded-upright-plane", minus(cube, bounded((0.5, 0, 0), (1, 0, 0), ((0, 0), (1, 0), (1, 0.5), (0, 0.5)))), 0.75),
        sound("bounded-frame-far", minus(cube, bounded((0, 0, 0.5), (0, 0, 1), ((-100, 0), (-99.5, 0), (-99.5, 1), (-100, 1)), ((100, 0, 50), (0, 0, 1), (1, 0, 0)))), 0.75),
        sound("bounded-frame-down", minus(cube, bounded((0, 0, 0.5), (0, 0, 1), low, ((0, 1, 0), (0, 0, -1), (1, 0, 0)))), 0.75),
        sound("bounded-plane-along-columns", minus(cube, bounded((0.5, 0, 0), (1, 0, 0), SQUARE)), 0.5),
        doubtful("bounded-bow-tie", minus(cube, bounded((0, 0, 0.5), (0, 0, 1), ((0, 0), (1, 1), (1, 0), (0, 1)))), 0.75),
        doubtful("bounded-flat", minus(cube, bounded((0, 0, 0.5), (0, 0, 1), ((0, 0), (1, 0), (0.5, 0))))),
        sound("bounded-round", minus(cube, within(circle(0.5))), 1 - PI * 0.25 / 4 / 2, CURVED),
        sound("bounded-composite", minus(cube, within(composite(lambda m: m.polyline(((0, 0), (0.5, 0), (0.5, 1)), False), lambda m: m.polyline(((0.5, 1), (0, 1), (0, 0)), False)))), 0.75),
    ]  # fmt: skip


def flat(model: SolidModel) -> Entity:
    """A shell of one face seen from both sides, as a cut along an edge leaves it."""
    return model.brep([(1, 0, 0), (1, 1, 0), (0.9, 1, 1), (0.9, 0, 1)], [[0, 1, 2, 3], [0, 3, 2, 1]])


def _trees() -> list[Case]:
    cube = box()
    slabs = [box((n / 12, 0, 0.5), ((n + 1) / 12, 1, 1)) for n in range(12)]
    planes = [beyond((0, 0, 1 - n / 20), (0, 0, 1)) for n in range(12)]
    cylinder = extruded(section("IfcCircleProfileDef", Radius=0.25), 2.0)
    through = extruded(section("IfcCircleProfileDef", Radius=0.25), 2.0, at=(0.5, 0.5, -0.5))
    deep = cube
    for depth in range(40):
        deep = minus(deep, box((0, 0, 1 - (depth + 1) / 100), (1, 1, 1 - depth / 100)))
    grid = [
        box((x / 10 + 0.02, y / 10 + 0.02, -1), (x / 10 + 0.08, y / 10 + 0.08, 2))
        for x, y in itertools.product(range(4), range(4))
    ]
    return [
        sound("minus-half", minus(cube, box((0, 0, 0.5), (1, 1, 2))), 0.5),
        sound("minus-twelve-slabs", minus(cube, *slabs), 0.5),
        sound("minus-twelve-planes", minus(cube, *planes), 1 - 11 / 20),
        sound("minus-forty-deep", deep, 0.6),
        sound("minus-grid", minus(cube, *grid), 1 - 16 * 0.0036),
        sound("minus-inner", minus(cube, box((0.25, 0.25, 0.25), (0.75, 0.75, 0.75))), 0.875),
        sound("minus-beside", minus(cube, box((2, 0, 0), (3, 1, 1))), 1.0),
        sound("minus-touching", minus(cube, box((1, 0, 0), (2, 1, 1))), 1.0),
        sound("minus-flush", minus(cube, box((0.5, 0, 0), (1, 1, 1))), 0.5),
        sound("minus-skin", minus(cube, box((0, 0, 1 - 1e-5), (1, 1, 2))), 1 - 1e-5),
        sound("minus-nearly-flush", minus(cube, box((0.5, 1e-8, -1e-8), (1, 1 + 1e-8, 1))), 0.5),
        sound("minus-edge-touching", minus(cube, box((0, 0, 0), (0.5, 0.5, 1)), box((0.5, 0.5, 0), (1, 1, 1))), 0.5),
        sound("minus-round", minus(cube, through), 1 - PI / 16, CURVED),
        sound("minus-round-outside", minus(cube, cylinder), 1 - PI / 64, CURVED),
        doubtful("minus-all", minus(cube, box((-1, -1, -1), (2, 2, 2)))),
        doubtful("minus-equal", minus(cube, cube)),
        doubtful("minus-equal-shell", minus(shell(), cube)),
        doubtful("minus-hull", minus(cube, box((1e-9, 0, 0), (1, 1, 1)))),
        sound("minus-of-minus", minus(cube, minus(box((0, 0, 0.5), (1, 1, 2)), box((0, 0, 0.75), (1, 1, 2)))), 0.75),
        sound("minus-flat", minus(cube, flat), 1.0),
        sound("minus-flat-and-half", minus(cube, flat, box((0, 0, 0.5), (1, 1, 2))), 0.5),
        sound("minus-of-nothing-common", minus(cube, both(box((0.5, 0, 0), (1, 1, 1)), box((2, 0, 0), (3, 1, 1)))), 1.0),
        sound("plus-flat", plus(cube, flat), 1.0),
        doubtful("common-flat", both(cube, flat)),
        doubtful("flat-minus", minus(flat, cube)),
        sound("plus-touching", plus(cube, box((1, 0, 0), (2, 1, 1))), 2.0),
        sound("plus-lapping", plus(cube, box((0.5, 0, 0), (1.5, 1, 1))), 1.5),
        sound("plus-apart", plus(cube, box((2, 0, 0), (3, 1, 1))), 2.0),
        sound("plus-equal", plus(cube, cube), 1.0),
        sound("plus-within", plus(cube, box((0.25, 0.25, 0.25), (0.5, 0.5, 0.5))), 1.0),
        sound("plus-edge", plus(cube, box((1, 1, 0), (2, 2, 1))), 2.0),
        sound("plus-corner", plus(cube, box((1, 1, 1), (2, 2, 2))), 2.0),
        sound("plus-gap", plus(cube, box((1 + 1e-7, 0, 0), (2, 1, 1))), 2.0, 1e-6),
        sound("plus-shell", plus(cube, shell((0.5, 0, 0), (1.5, 1, 1))), 1.5),
        sound("common-part", both(cube, box((0.5, 0.5, 0.5), (2, 2, 2))), 0.125),
        sound("common-equal", both(cube, cube), 1.0),
        sound("common-shell", both(shell(), shell((0.5, 0, 0), (2, 1, 1))), 0.5),
        doubtful("common-nothing", both(cube, box((2, 0, 0), (3, 1, 1)))),
        doubtful("common-touching", both(cube, box((1, 0, 0), (2, 1, 1)))),
        sound("common-of-plus", both(plus(cube, box((2, 0, 0), (3, 1, 1))), box((0.5, 0, 0), (2.5, 1, 1))), 1.0),
        sound("csg-tree", lambda m: entity(m, "IfcCsgSolid", minus(box(), box((0, 0, 0.5), (1, 1, 2)))(m)), 0.5),
        sound("csg-of-primitives", lambda m: entity(m, "IfcCsgSolid", m.boolean("DIFFERENCE", entity(m, "IfcBlock", m.axes(), *m.n((1, 1, 1))), entity(m, "IfcRightCircularCylinder", m.axes((0.5, 0.5, 0)), *m.n((1, 0.25))))), 1 - PI / 16, CURVED),
        doubtful("tree-of-itself", tree_of_itself),
        doubtful("minus-broken", minus(cube, lambda m: m.brep(*_open()))),
        doubtful("broken-minus", minus(lambda m: m.brep(*_open()), cube)),
        doubtful("minus-bow-tie", minus(cube, extruded(polygon((0, 0), (1, 1), (1, 0), (0, 1)), 1.0)), 0.5),
        doubtful("minus-nothing", minus(cube, extruded(polygon((0, 0), (1, 0), (1, 1)), 0.0))),
    ]  # fmt: skip


def _open() -> tuple[list[tuple[float, float, float]], list[list[int]]]:
    points, faces = box_mesh((0.5, 0, 0), (1.5, 1, 1))
    return points, faces[:3]


def _items() -> list[Case]:
    loose = {"solid": False}
    ell = ((0, 0), (2, 0), (2, 1), (1, 1), (1, 2), (0, 2))
    ell_solid = extruded(polygon(*ell), 1.0)
    return [
        sound("items-apart", several(box(), box((2, 0, 0), (3, 1, 1))), 2.0, **loose),
        sound("items-touching", several(box(), box((1, 0, 0), (2, 1, 1))), 2.0, **loose),
        sound("items-lapping", several(box(), box((0.5, 0, 0), (1.5, 1, 1))), 1.5, **loose),
        sound("items-within", several(box(), box((0.25, 0.25, 0.25), (0.5, 0.5, 0.5))), 1.0, **loose),
        sound("items-equal", several(box(), box(), box()), 1.0, **loose),
        sound("items-kinds", several(box(), shell((2, 0, 0), (3, 1, 1)), lambda m: entity(m, "IfcCsgSolid", entity(m, "IfcBlock", m.axes((0, 2, 0)), *m.n((1, 1, 1))))), 3.0, **loose),
        sound("items-wall-of-bricks", several(*(box((x / 5, 0, z / 5), (x / 5 + 0.2, 0.2, z / 5 + 0.2)) for x in range(8) for z in range(8))), 64 * 0.008, **loose),
        sound("items-with-lines", several(box(), lambda m: m.polyline(((0, 0, 0), (1, 1, 1)))), 1.0, **loose),
        doubtful("items-one-broken", several(box(), lambda m: m.brep(*_open())), **loose),
        sound("mapped-deep", nested(box(), 12), 1.0, **loose),
        sound("mapped-many", nested(several_mapped(), 1), 4.0, **loose),
        sound("mapped-mirror", mapped(ell_solid, Axis1=(-1, 0, 0), Axis2=(0, 1, 0), Axis3=(0, 0, 1)), 3.0, **loose),
        sound("mapped-left-handed", mapped(ell_solid, Axis1=(1, 0, 0), Axis2=(0, -1, 0), Axis3=(0, 0, 1)), 3.0, **loose),
        sound("mapped-unequal", mapped(ell_solid, Scale=0.5, Scale2=2.0, Scale3=1.0), 3.0, **loose),
        sound("mapped-long-axes", mapped(ell_solid, Axis1=(5, 0, 0), Axis2=(0, 7, 0), Axis3=(0, 0, 9)), 3.0, **loose),
        doubtful("mapped-askew-axes", mapped(ell_solid, Axis1=(1, 0, 0), Axis2=(0.5, 1, 0), Axis3=(0, 0, 1)), 3.0, **loose),
        doubtful("mapped-flat", mapped(ell_solid, Scale=0.0), **loose),
        doubtful("mapped-minus", mapped(ell_solid, Scale=-1.0), 3.0, **loose),
        doubtful("mapped-axes-parallel", mapped(ell_solid, Axis1=(1, 0, 0), Axis2=(1, 0, 0), Axis3=(1, 0, 0)), 3.0, **loose),
        doubtful("mapped-axis-nothing", mapped(ell_solid, Axis1=(0, 0, 0)), 3.0, **loose),
        doubtful("mapped-itself", itself, 1.0, **loose),
        doubtful("mapped-nothing", lambda m: m.polyline(((0, 0, 0), (1, 1, 1))), far=True),
        doubtful("box-hint-only", lambda m: entity(m, "IfcBoundingBox", m.point(0, 0, 0), *m.n((1, 1, 1))), far=True),
        doubtful("surface-only", lambda m: entity(m, "IfcSurfaceOfLinearExtrusion", entity(m, "IfcArbitraryOpenProfileDef", "CURVE", None, m.polyline(SQUARE, False)), m.axes(), m.direction(0, 0, 1), 1.0 / m.scale), **loose),
        doubtful("plane-only", lambda m: entity(m, "IfcRectangularTrimmedSurface", entity(m, "IfcPlane", m.axes()), 0.0, 0.0, 1.0, 1.0, True, True), **loose),
    ]  # fmt: skip


def several_mapped() -> Build:
    """Four boxes in a row, all of one source."""

    def build(model: SolidModel) -> Entity:
        source = model.source([model.box((0, 0, 0), (1, 1, 1))])
        row = [model.mapped(source, LocalOrigin=model.point(x - 3.0, 0, 0)) for x in (0.0, 1.0, 3.0, 5.0)]
        return model.mapped(model.source(row))

    return build


CASES = [*_half_spaces(), *_trees(), *_items()]
