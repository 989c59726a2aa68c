"""Curves that cross the limits of slope, curved walls on curved supports, and curves faceted differently."""

import itertools
import math

from build import rectangle

from cases.case import CURVED, Answers, Case, CaseModel

PI = math.pi


def ring(inner: float, outer: float) -> float:
    """Plan of a quarter ring, m2."""
    return PI / 4 * (outer**2 - inner**2)


# Round beam of radius 0.3, 4 m long and level. Within 30 degrees of plumb it is a side: two arcs of 60 degrees, and
# the two ends; 120 degrees look down, 30 degrees at the crown are free, 2 x 45 degrees between are top slopes.
def round_beam(m: CaseModel) -> None:
    m.member("IfcBeam", m.extrusion(m.circle(0.3), 4.0, axes=((1, 0, 0), (0, 1, 0))), at=(0, 0, 3))


# Barrel vault of radii 3.0 and 3.2 over half a circle, 5 m long. Outside: 30 degrees free, 2 x 45 top slope, 2 x 30
# side; inside: 120 degrees soffit, 2 x 30 side; feet 2 x 0.2 x 5 look down; both ends are edges.
def vault(m: CaseModel) -> None:
    body = m.extrusion(m.ring_sector(3.0, 3.2, 180.0), 5.0, axes=((0, -1, 0), (1, 0, 0)))
    m.member("IfcSlab", body, at=(0, 0, 3))


# Round hole of radius 0.4 through a wall 4 x 0.3 x 2.5: of its girth 240 degrees are jambs and head, 30 at the
# bottom free, 2 x 45 too steep to be free.
def round_hole(m: CaseModel) -> None:
    wall = m.wall((0, 0), (4, 0), 0.3, 2.5)
    m.void(wall, m.extrusion(m.circle(0.4), 0.6, axes=((0, -1, 0), (1, 0, 0))), at=(2, 0.3, 1.25))


# Column of radius 0.4 at the foot and 0.3 at the head, turned about its axis; and one of radius 0.25 whose head
# widens to 1.0 over the last 0.6 under a slab 4 x 4: the head is a soffit, pi (0.25 + 1.0) sqrt(0.75^2 + 0.6^2).
def turned(m: CaseModel, outline: list[tuple[float, float]]) -> None:
    axis = m.file.createIfcAxis1Placement(m.point((0, 0, 0)), m.direction((0, 1, 0)))
    place = m.position((0, 0, 0), ((0, -1, 0), (1, 0, 0)))
    m.member("IfcColumn", m.file.createIfcRevolvedAreaSolid(m.outline(outline), place, axis, 2 * PI))


def tapered_round(m: CaseModel) -> None:
    turned(m, [(0, 0), (0.4, 0), (0.3, 3), (0, 3)])


def widened_head(m: CaseModel) -> None:
    turned(m, [(0, 0), (0.25, 0), (0.25, 2.5), (1, 3.1), (0, 3.1)])
    m.slab(rectangle(-2, -2, 2, 2), 0.2, 3.1)


# Quarter wall of radii 4.0 and 4.3, 2.5 high: on a quarter beam of radii 3.9 and 4.4; flush on one of its own radii;
# drawn with 60 flat sides on a round beam; on a strip of radii 4.05 and 4.25, over which it hangs on both sides.
WALL = {
    "net": ring(4, 4.3) * 2.5,
    "wall-side": PI / 2 * 8.3 * 2.5,
    "wall-end": 1.5,
    "free": ring(4, 4.3),
    "seated": 0,
}


def on_curved_beam(m: CaseModel, inner: float = 3.9, outer: float = 4.4) -> None:
    m.member("IfcBeam", m.extrusion(m.ring_sector(inner, outer, 90), 0.5), at=(0, 0, 2.5))
    m.member("IfcWall", m.extrusion(m.ring_sector(4.0, 4.3, 90), 2.5), at=(0, 0, 3))


def on_flush_beam(m: CaseModel) -> None:
    on_curved_beam(m, 4.0, 4.3)


def flat_sided_on_beam(m: CaseModel) -> None:
    m.member("IfcBeam", m.extrusion(m.ring_sector(3.9, 4.4, 90), 0.5), at=(0, 0, 2.5))
    m.prism("IfcWall", arc(4.3, 60) + arc(4.0, 60)[::-1], 2.5, at=(0, 0, 3))


def on_curved_strip(m: CaseModel) -> None:
    m.member("IfcFooting", m.extrusion(m.ring_sector(4.05, 4.25, 90), 0.4), at=(0, 0, -0.4))
    m.member("IfcWall", m.extrusion(m.ring_sector(4.0, 4.3, 90), 2.5))


# Wall 0.2 thick from the axis of a round column of radius 0.25: it loses r2 a + 0.1 r cos a of its plan, with a =
# asin(0.1 / 0.25), and the column an arc of 2 a over its height.
A = math.asin(0.4)
LOST = 0.0625 * A + 0.1 * 0.25 * math.cos(A)


def wall_into_round(m: CaseModel) -> None:
    m.round_column((0, 0), 0.25, 3.0)
    m.wall((0, 0), (4, 0), 0.2, 3.0)


def arc(radius: float, sides: int, about: bool = False) -> list[tuple[float, float]]:
    """Corners of a quarter circle in flat sides, on the circle or (`about`) with the sides touching it."""
    radius = radius / math.cos(PI / 4 / sides) if about else radius
    return [
        (radius * math.cos(PI / 2 * i / sides), radius * math.sin(PI / 2 * i / sides))
        for i in range(sides + 1)
    ]


def plan_of(outline: list[tuple[float, float]]) -> float:
    """Area of a polygon, m2."""
    pairs = zip(outline, outline[1:] + outline[:1], strict=True)
    return abs(sum(a[0] * b[1] - a[1] * b[0] for a, b in pairs)) / 2


def length_of(line: list[tuple[float, float]]) -> float:
    """Length of an open line, m."""
    return sum(math.dist(a, b) for a, b in itertools.pairwise(line))


# Parapet of flat sides about a quarter slab of radius 5, 0.2 thick: 1.4 high from 0.2 under the slab. All the slab's
# round edge is in contact, and so is a band of 0.2 on the parapet, whoever was drawn in how many sides (0: round).
def parapet(wall_sides: int, slab_sides: int) -> tuple[object, Answers]:
    inner, outer = arc(5.0, wall_sides, about=True), arc(5.2, wall_sides, about=True)
    plan, end = plan_of(outer + inner[::-1]), math.dist(inner[0], outer[0])
    edge = arc(5.0, slab_sides) + arc(1.0, slab_sides)[::-1] if slab_sides else []

    def build(m: CaseModel) -> None:
        m.prism("IfcWall", outer + inner[::-1], 1.4, at=(0, 0, 2.8))
        if slab_sides:
            m.slab(edge, 0.2, 3.0)
        else:
            m.member("IfcSlab", m.extrusion(m.ring_sector(1.0, 5.0, 90), 0.2), at=(0, 0, 3.0))

    area = plan_of(edge) if slab_sides else ring(1, 5)
    inside = length_of(arc(1.0, slab_sides)) if slab_sides else PI / 2
    return build, {
        "slab": {"net": area * 0.2, "slab-soffit": area, "free": area, "slab-edge": (8 + inside) * 0.2},
        "wall": {
            "net": plan * 1.4,
            "wall-side": (length_of(inner) + length_of(outer)) * 1.4 - length_of(inner) * 0.2,
            "wall-end": 2 * end * 1.4,
            "free": plan,
            "seated": plan,
        },
    }


# Column of radius 0.25 from 0 to 6.0 through a hole in a slab 3 x 3 from 2.8 to 3.0, each round (0) or of so many
# flat sides: the column's corners on the circle, the hole's sides touching it, turned against each other. Side of
# the column: its girth x 5.8; the hole's edge is all in contact.
def in_hole(column: int, hole: int) -> tuple[object, Answers]:
    r = 0.25
    wide = r / math.cos(PI / hole) if hole else r

    def corners(sides: int, radius: float, turn: float) -> list[tuple[float, float]]:
        turns = [2 * PI * (i + turn) / sides for i in range(sides)]
        return [(1.5 + radius * math.cos(a), 1.5 + radius * math.sin(a)) for a in turns]

    def build(m: CaseModel) -> None:
        if column:
            m.prism("IfcColumn", corners(column, r, 0.31), 6.0)
        else:
            m.round_column((1.5, 1.5), r, 6.0)
        slab = m.slab(rectangle(0, 0, 3, 3), 0.2, 2.8)
        if hole:
            m.void(slab, m.extrusion(corners(hole, wide, 0.13), 0.4), at=(0, 0, -0.1))
        else:
            m.void(slab, m.extrusion(m.circle(r), 0.4), at=(1.5, 1.5, -0.1))

    plan = column / 2 * r * r * math.sin(2 * PI / column) if column else PI * r * r
    girth = 2 * column * r * math.sin(PI / column) if column else 2 * PI * r
    void = hole / 2 * wide * wide * math.sin(2 * PI / hole) if hole else PI * r * r
    return build, {
        "column": {"net": plan * 6, "column-side": girth * 5.8, "free": plan, "seated": plan},
        "slab": {"net": (9 - void) * 0.2, "slab-soffit": 9 - void, "slab-edge": 2.4, "free": 9 - void},
    }


def _named(count: int) -> str:
    return f"of {count} sides" if count else "round"


CASES = (
    Case(
        "round beam",
        round_beam,
        {
            "beam": {
                "net": PI * 0.36,
                "beam-side": 0.18 * PI + 0.3 * 4 * PI * 2 / 3,
                "beam-soffit": 0.3 * 4 * PI * 2 / 3,
                "top-slope": 0.3 * 4 * PI / 2,
                "free": 0.3 * 4 * PI / 6,
            }
        },
        tolerance=CURVED,
    ),
    Case(
        "barrel vault",
        vault,
        {
            "slab": {
                "net": PI / 2 * 1.24 * 5,
                "slab-edge": (3.2 + 3.0) * 5 * PI / 3 + PI * 1.24,
                "slab-soffit": 3.0 * 5 * PI * 2 / 3 + 2.0,
                "top-slope": 3.2 * 5 * PI / 2,
                "free": 3.2 * 5 * PI / 6,
            }
        },
        tolerance=CURVED,
    ),
    Case(
        "round hole in a wall",
        round_hole,
        {
            "wall": {
                "net": (10 - PI * 0.16) * 0.3,
                "wall-side": 2 * (10 - PI * 0.16),
                "wall-end": 1.5,
                "opening-reveal": 0.4 * 0.3 * PI * 4 / 3,
                "top-slope": 0.4 * 0.3 * PI / 2,
                "free": 1.2 + 0.4 * 0.3 * PI / 6,
                "seated": 1.2,
                "holes": 1,
                "hole-area": PI * 0.16,
            }
        },
        tolerance=CURVED,
    ),
    Case(
        "tapered round column",
        tapered_round,
        {
            "column": {
                "net": PI * 0.37,
                "column-side": PI * 0.7 * math.hypot(3, 0.1),
                "column-side:curved": PI * 0.7 * math.hypot(3, 0.1),
                "seated": PI * 0.16,
                "free": PI * 0.09,
            }
        },
        tolerance=CURVED,
    ),
    Case(
        "round column with a widened head",
        widened_head,
        {
            "column": {
                "net": PI * (0.0625 * 2.5 + 0.2 * (0.0625 + 1 + 0.25)),
                "column-side": PI * 0.5 * 2.5,
                "soffit": PI * 1.25 * math.hypot(0.75, 0.6),
                "seated": PI * 0.0625,
                "free": 0.0,
            },
            "slab": {"net": 3.2, "slab-soffit": 16 - PI, "slab-edge": 3.2, "free": 16.0},
        },
        tolerance=CURVED,
    ),
    Case(
        "curved wall on a curved beam",
        on_curved_beam,
        {
            "beam": {
                "net": ring(3.9, 4.4) * 0.5,
                "beam-side": PI / 2 * 8.3 * 0.5 + 0.5,
                "beam-soffit": ring(3.9, 4.4),
                "free": ring(3.9, 4.4) - ring(4, 4.3),
            },
            "wall": WALL,
        },
        tolerance=CURVED,
    ),
    Case(
        "curved wall flush on a curved beam",
        on_flush_beam,
        {
            "beam": {
                "net": ring(4, 4.3) * 0.5,
                "beam-side": PI / 2 * 8.3 * 0.5 + 0.3,
                "beam-soffit": ring(4, 4.3),
                "free": 0.0,
            },
            "wall": WALL,
        },
        tolerance=CURVED,
    ),
    Case(
        "curved wall of 60 flat sides on a curved beam",
        flat_sided_on_beam,
        {
            "beam": {
                "net": ring(3.9, 4.4) * 0.5,
                "beam-side": PI / 2 * 8.3 * 0.5 + 0.5,
                "beam-soffit": ring(3.9, 4.4),
                "free": ring(3.9, 4.4) - ring(4, 4.3),
            },
            "wall": WALL,
        },
        tolerance=CURVED,
    ),
    Case(
        "curved wall on a narrower curved strip",
        on_curved_strip,
        {
            "foundation": {
                "net": ring(4.05, 4.25) * 0.4,
                "foundation-side": PI / 2 * 8.3 * 0.4 + 0.16,
                "ground": ring(4.05, 4.25),
                "free": 0.0,
            },
            "wall": WALL | {"soffit": ring(4, 4.3) - ring(4.05, 4.25)},
        },
        tolerance=CURVED,
    ),
    Case(
        "wall into a round column",
        wall_into_round,
        {
            "column": {
                "net": PI * 0.1875,
                "column-side": (2 * PI - 2 * A) * 0.75,
                "seated": PI * 0.0625,
                "free": PI * 0.0625,
            },
            "wall": {
                "net": (0.8 - LOST) * 3,
                "wall-side": 6 * (4 - 0.25 * math.cos(A)),
                "wall-end": 0.6,
                "seated": 0.8 - LOST,
                "free": 0.8 - LOST,
            },
        },
        tolerance=CURVED,
    ),
    *(
        Case(f"parapet of {wall} sides about a slab {_named(slab)}", *parapet(wall, slab), tolerance=CURVED)
        for wall, slab in [(20, 0), (30, 45), (24, 24), (18, 12)]
    ),
    *(
        Case(f"column {_named(column)} in a hole {_named(hole)}", *in_hole(column, hole), tolerance=CURVED)
        for column, hole in [
            (12, 0),
            (16, 0),
            (24, 0),
            (36, 0),
            (0, 12),
            (0, 16),
            (0, 24),
            (0, 36),
            (24, 36),
            (36, 24),
            (24, 24),
        ]
    ),
)
