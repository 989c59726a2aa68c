"""Round columns and curved walls: true areas, contacts on curved faces, and cuts by slabs."""

import math

from build import rectangle

from cases.case import CURVED, Case, CaseModel

R = 0.25
DISC = math.pi * R * R
GIRTH = 2 * math.pi * R


# Round column of radius 0.25 from 0 to 6.0 through a slab 3 x 3 x 0.2 at 2.8, nothing cut in the model: the
# slab keeps; lumps of 2.8 and 3.0: net pi r2 x 5.8, side 2 pi r x 5.8, all of it curved. Slab soffit and top
# 9 - pi r2.
def uncut(m: CaseModel) -> None:
    m.round_column((1.5, 1.5), R, 6.0)
    m.slab(rectangle(0, 0, 3, 3), 0.2, 2.8)


# The same where the slab has an opening of just that radius: the column is whole, its band of 0.2 within the
# slab is in contact, and so is the face of the hole: column side 2 pi r x 5.8, slab edge 12 x 0.2 = 2.4.
def hole_fits(m: CaseModel) -> None:
    m.round_column((1.5, 1.5), R, 6.0)
    slab = m.slab(rectangle(0, 0, 3, 3), 0.2, 2.8)
    m.void(slab, m.extrusion(m.circle(R), 0.4), at=(1.5, 1.5, -0.1))


# The same where the hole was drawn as a polygon of 32 sides through points on the circle, turned by half a
# side against whatever a kernel makes of a circle. Its flats lie r (1 - cos(pi / 32)) = 1.2 mm inside the
# circle, so that the bodies overlap by slivers of (pi - 16 sin(pi / 16)) r2 x 0.2 = 0.00025 m3 in all, and
# touch within the gap tolerance.
def hole_faceted(m: CaseModel) -> None:
    m.round_column((1.5, 1.5), R, 6.0)
    angles = [math.pi * (2 * i + 1) / 32 for i in range(32)]
    ring = [(1.5 + R * math.cos(a), 1.5 + R * math.sin(a)) for a in angles]
    m.slab(rectangle(0, 0, 3, 3), 0.2, 2.8, holes=[ring[::-1]])


# Round column, radius 0.25, 3.0 high, on a pad 1.0 x 1.0 x 0.4: pad side 4 x 0.4 = 1.6, top 1.0 - pi r2,
# ground 1.0.
def on_pad(m: CaseModel) -> None:
    m.footing(rectangle(-0.5, -0.5, 0.5, 0.5), 0.4, -0.4)
    m.round_column((0, 0), R, 3.0)


# A beam 0.3 x 0.5 that butts against a round column of radius 0.25 at 2.5 to 3.0 and runs to the column's
# axis. The column keeps. Half the beam's width 0.15 on the circle is the angle a = asin(0.15 / 0.25); the
# beam loses the plan area r2 a + 0.15 x r cos a (two circular sectors and two triangles) and 2 x r cos a of
# the length of its sides.
#   contact on the column: arc 2 a r x 0.5
ANGLE = math.asin(0.15 / R)
LOST = R * R * ANGLE + 0.15 * R * math.cos(ANGLE)


def beam_into_round(m: CaseModel) -> None:
    m.round_column((0, 0), R, 3.0)
    m.beam((0, 0), (4, 0), 0.3, 0.5, top=3.0)


# Curved wall: a quarter ring of radii 4.0 and 4.3, 3.0 high: plan pi/4 x (4.3^2 - 4.0^2); sides pi/2 x (4.0 +
# 4.3) x 3.0, curved; ends 2 x 0.3 x 3.0 = 1.8.
PLAN = math.pi / 4 * (4.3**2 - 4.0**2)
SIDES = math.pi / 2 * (4.0 + 4.3) * 3.0


def curved_wall(m: CaseModel) -> None:
    m.member("IfcWall", m.extrusion(m.ring_sector(4.0, 4.3, 90.0), 3.0))


# A round column of radius 0.25 in a hole of radius 0.30: 50 mm apart, no contact. Column side 2 pi r x 6.0;
# slab edge 12 x 0.2 + 2 pi 0.3 x 0.2; one hole.
def hole_loose(m: CaseModel) -> None:
    m.round_column((1.5, 1.5), R, 6.0)
    slab = m.slab(rectangle(0, 0, 3, 3), 0.2, 2.8)
    m.void(slab, m.extrusion(m.circle(0.3), 0.4), at=(1.5, 1.5, -0.1))


# A round tank: wall of radii 2.75 and 3.0, 2.5 high, on a round base slab of radius 3.3, 0.3 thick.
#   wall: plan pi (3.0^2 - 2.75^2); sides 2 pi (3.0 + 2.75) x 2.5, no ends
#   base: edge 2 pi 3.3 x 0.3; ground pi 3.3^2; top the same less the wall's plan
FOOT = math.pi * (3.0**2 - 2.75**2)


def tank(m: CaseModel) -> None:
    base = m.extrusion(m.circle(3.3), 0.3)
    m.member("IfcSlab", base, at=(0, 0, -0.3), PredefinedType="BASESLAB")
    m.member("IfcWall", m.extrusion(m.tube(3.0, 0.25), 2.5))


# The curved wall with a window of ten degrees, 1.2 high, with radial jambs.
#   jambs 2 x 0.3 x 1.2 = 0.72; head and sill a ninth of the plan each; sides lose pi/18 x (4.0 + 4.3) x 1.2
def curved_window(m: CaseModel) -> None:
    wall = m.member("IfcWall", m.extrusion(m.ring_sector(4.0, 4.3, 90.0), 3.0))
    turn = math.radians(40.0)
    axes = ((0, 0, 1), (math.cos(turn), math.sin(turn), 0))
    m.void(wall, m.extrusion(m.ring_sector(3.8, 4.5, 10.0), 1.2, (0, 0, 0.9), axes=axes))


CASES = (
    Case(
        "round column through a slab",
        uncut,
        {
            "column": {
                "net": DISC * 5.8,
                "column-side": GIRTH * 5.8,
                "parts": 2,
                "seated": DISC,
            },
            "Column": {"column-side:curved": GIRTH * 5.8},
            "slab": {"net": 1.8, "slab-soffit": 9 - DISC, "slab-edge": 2.4, "free": 9 - DISC},
        },
        tolerance=CURVED,
    ),
    Case(
        "round column in a hole that fits",
        hole_fits,
        {
            "column": {"net": DISC * 6.0, "column-side": GIRTH * 5.8, "parts": 1},
            "slab": {"net": (9 - DISC) * 0.2, "slab-soffit": 9 - DISC, "slab-edge": 2.4, "free": 9 - DISC},
        },
        tolerance=CURVED,
    ),
    Case(
        "round column in a faceted hole",
        hole_faceted,
        {
            "column": {"net": DISC * 6.0, "column-side": GIRTH * 5.8, "parts": 1},
            "slab": {"net": (9 - DISC) * 0.2, "slab-soffit": 9 - DISC, "slab-edge": 2.4, "free": 9 - DISC},
        },
        tolerance=CURVED,
    ),
    Case(
        "round column on a pad",
        on_pad,
        {
            "column": {"net": DISC * 3.0, "column-side": GIRTH * 3.0, "seated": 0.0, "free": DISC},
            "foundation": {"net": 0.4, "foundation-side": 1.6, "free": 1.0 - DISC, "ground": 1.0},
        },
        tolerance=CURVED,
    ),
    Case(
        "beam into a round column",
        beam_into_round,
        {
            "column": {"net": DISC * 3.0, "column-side": GIRTH * 3.0 - 2 * ANGLE * R * 0.5},
            "beam": {
                "net": (4 * 0.3 - LOST) * 0.5,
                "beam-side": 2 * (4 - R * math.cos(ANGLE)) * 0.5 + 0.3 * 0.5,
                "beam-soffit": 4 * 0.3 - LOST,
                "free": 4 * 0.3 - LOST,
            },
        },
        tolerance=CURVED,
    ),
    Case(
        "curved wall",
        curved_wall,
        {
            "wall": {"net": PLAN * 3.0, "wall-side": SIDES, "wall-end": 1.8, "free": PLAN, "seated": PLAN},
            "Wall": {"wall-side:curved": SIDES},
        },
        tolerance=CURVED,
    ),
    Case(
        "round column in a loose hole",
        hole_loose,
        {
            "column": {"net": DISC * 6.0, "column-side": GIRTH * 6.0, "parts": 1},
            "slab": {
                "net": (9 - math.pi * 0.09) * 0.2,
                "slab-soffit": 9 - math.pi * 0.09,
                "slab-edge": 2.4 + 2 * math.pi * 0.3 * 0.2,
                "free": 9 - math.pi * 0.09,
                "holes": 1,
            },
        },
        tolerance=CURVED,
    ),
    Case(
        "round tank",
        tank,
        {
            "wall": {"net": FOOT * 2.5, "wall-side": 2 * math.pi * 5.75 * 2.5, "free": FOOT, "seated": 0.0},
            "slab": {
                "net": math.pi * 3.3**2 * 0.3,
                "slab-edge": 2 * math.pi * 3.3 * 0.3,
                "ground": math.pi * 3.3**2,
                "free": math.pi * 3.3**2 - FOOT,
                "holes": 0,
            },
        },
        tolerance=CURVED,
    ),
    Case(
        "curved wall with a window",
        curved_window,
        {
            "wall": {
                "gross": PLAN * 3.0,
                "net": PLAN * (3.0 - 1.2 / 9),
                "wall-side": SIDES - math.pi / 18 * 8.3 * 1.2,
                "wall-end": 1.8,
                "opening-reveal": 0.72 + PLAN / 9,
                "free": PLAN * 10 / 9,
                "holes": 1,
            }
        },
        tolerance=CURVED,
    ),
)
