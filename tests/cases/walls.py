"""Walls: openings, corners, crossings, under beams, battered, and as upstands."""

import math

from build import rectangle

from cases.case import Case, CaseModel


# Wall 5.0 x 0.25 x 2.8 on a raft 6 x 2 x 0.25; window 1.5 x 1.2 with its sill at 0.9, door 0.9 x 2.1 from the
# floor.
#   wall: gross 3.5; openings 1.8 + 1.89 = 3.69 m2; net 3.5 - 3.69 x 0.25 = 2.5775; sides 2 x (14 - 3.69) =
#     20.62; ends 2 x 0.25 x 2.8 = 1.4; reveals: jambs 2 x 1.2 + 2 x 2.1, heads 1.5 + 0.9, all x 0.25 = 2.25;
#     free: top 1.25, window sill 0.375
#   raft: net 3.0; edge 16 x 0.25 = 4.0; on ground 12; top 12 less the wall's foot (5.0 - 0.9) x 0.25: 10.975
def openings(m: CaseModel) -> None:
    m.slab(rectangle(0, 0, 6, 2), 0.25, -0.25, PredefinedType="BASESLAB")
    wall = m.wall((0.5, 1), (5.5, 1), 0.25, 2.8)
    m.box_void(wall, (1.0, -0.2, 0.9), (2.5, 0.2, 2.1), name="Window")
    m.box_void(wall, (3.5, -0.2, 0.0), (4.4, 0.2, 2.1), name="Door")


# Wall 3.0 x 0.2 x 2.5. One opening 1.0 x 1.0 sticks out 0.2 on both faces and removes 0.2; one 1.0 wide from
# 2.0 to 3.5 sticks out above and removes 1.0 x 0.2 x 0.5 = 0.1. net 1.5 - 0.3 = 1.2; sides 2 x (7.5 - 1.0 -
# 0.5) = 12; ends 1.0;
#   reveals: jambs 2 x 0.2, head 0.2, jambs of the notch 2 x 0.5 x 0.2 = 0.2: 0.8
#   free: top (3.0 - 1.0) x 0.2 = 0.4, sill 0.2, bottom of the notch 0.2: 0.8
#   a hole to box out is what goes through with concrete all round: the notch is none
def opening_larger(m: CaseModel) -> None:
    wall = m.wall((0, 0), (3, 0), 0.2, 2.5)
    m.box_void(wall, (0.5, -0.3, 0.8), (1.5, 0.3, 1.8))
    m.box_void(wall, (1.8, -0.3, 2.0), (2.8, 0.3, 3.5))


# L-corner, centre lines meeting and nothing clipped, 0.2 thick, 2.5 high: A is 4.0 long, B 3.0. They overlap
# in 0.1 x 0.1; A, the larger, keeps it, and the outer quarter of the corner stays empty.
#   A: net 2.0; sides 4.0 + 3.9 = 7.9 x 2.5 = 19.75; ends 0.2 + 0.1 = 0.3 x 2.5 = 0.75
#   B: net 1.5 - 0.025 = 1.475; sides 3.0 + 2.9 = 5.9 x 2.5 = 14.75; ends 0.2 + 0.1 = 0.3 x 2.5 = 0.75
def corner_unclipped(m: CaseModel) -> None:
    m.wall((0, 0), (4, 0), 0.2, 2.5, name="A")
    m.wall((4, 0), (4, 3), 0.2, 2.5, name="B")


# L-corner with both walls run to the outer face: A 4.1 long, B 3.1. They overlap in 0.2 x 0.2; A keeps.
#   A  net 2.05; sides (4.1 + 3.9) x 2.5 = 20; ends 2 x 0.2 x 2.5 = 1.0
#   B  net (3.1 - 0.2) x 0.2 x 2.5 = 1.45; sides 2 x 2.9 x 2.5 = 14.5; end 0.5
def corner_full(m: CaseModel) -> None:
    m.wall((0, 0), (4.1, 0), 0.2, 2.5, name="A")
    m.wall((4, -0.1), (4, 3), 0.2, 2.5, name="B")


# The same corner drawn well, B starting at A's face: the figures of the corner above without any overlap.
def corner_clipped(m: CaseModel) -> None:
    m.wall((0, 0), (4.1, 0), 0.2, 2.5, name="A")
    m.wall((4, 0.1), (4, 3), 0.2, 2.5, name="B")


CORNER = {
    "wall": {"net": 3.5, "wall-side": 34.5, "wall-end": 1.5, "free": 1.4, "seated": 1.4},
    "A": {"net": 2.05, "wall-side": 20.0, "wall-end": 1.0},
    "B": {"net": 1.45, "wall-side": 14.5, "wall-end": 0.5},
}


# T-junction: A 6.0 x 0.2 x 2.5; B 2.5 long from A's centre line. Overlap 0.2 x 0.1 x 2.5 = 0.05.
#   A  net 3.0; sides 2 x 15 - 0.2 x 2.5 = 29.5; ends 1.0
#   B  net 1.25 - 0.05 = 1.2; sides 2 x 2.4 x 2.5 = 12; end 0.5
def tee(m: CaseModel) -> None:
    m.wall((0, 0), (6, 0), 0.2, 2.5, name="A")
    m.wall((3, 0), (3, 2.5), 0.2, 2.5, name="B")


# A wall 4.0 x 0.2 x 2.5 flush under a beam 4.0 x 0.2 x 0.4: no soffit, and the wall has no free top.
#   beam  net 0.32; sides 2 x 4.0 x 0.4 + ends 2 x 0.2 x 0.4 = 3.36; top 0.8
def under_beam(m: CaseModel) -> None:
    m.wall((0, 0), (4, 0), 0.2, 2.5)
    m.beam((0, 0), (4, 0), 0.2, 0.4, top=2.9)


# A beam 0.3 x 0.4 drawn with its top flush with the top of a wall 0.2 x 2.5 and left uncut. The wall keeps;
# of the beam two nibs of 0.05 x 0.4 remain: net 2 x 0.05 x 0.4 x 4.0 = 0.16; sides 2 x 4.0 x 0.4 + ends 4 x
# 0.05 x 0.4 = 3.28; soffit 2 x 0.05 x 4.0 = 0.4; top 0.4. The wall's sides lose 2 x 4.0 x 0.4 = 3.2: 16.8;
# ends 1.0; top 0.8.
def beam_in_wall_head(m: CaseModel) -> None:
    m.wall((0, 0), (4, 0), 0.2, 2.5)
    m.beam((0, 0), (4, 0), 0.3, 0.4, top=2.5)


# The same with a beam as wide as the wall: all of it lies in the wall, nothing of it remains.
def beam_inside_wall(m: CaseModel) -> None:
    m.wall((0, 0), (4, 0), 0.2, 2.5)
    m.beam((0, 0), (4, 0), 0.2, 0.4, top=2.5)


# Battered wall: 0.5 at the foot, 0.3 at the head, 3.0 high, 5.0 long, one face upright. net 0.4 x 3.0 x 5.0 =
# 6.0; sides 15 + 5.0 x sqrt(3.0^2 + 0.2^2); ends 2 x 1.2 = 2.4; top 1.5, seated 2.5.
def battered(m: CaseModel) -> None:
    section = [(0, 0), (0.5, 0), (0.3, 3.0), (0, 3.0)]
    m.profile_along("IfcWall", section, (0, 0, 0), (5, 0, 0))


# A parapet 4.0 x 0.15 x 0.5 on the edge of a slab 4 x 4 x 0.2: wall sides 2 x 4.0 x 0.5 = 4.0, ends 2 x 0.15
# x 0.5 = 0.15, top 0.6; slab soffit 16, edge 3.2, top 16 - 0.6 = 15.4.
def upstand(m: CaseModel) -> None:
    m.slab(rectangle(0, 0, 4, 4), 0.2, 3.0)
    m.wall((0, 0.075), (4, 0.075), 0.15, 0.5, base=3.2)


CASES = (
    Case(
        "wall with window and door on a raft",
        openings,
        {
            "wall": {
                "gross": 3.5,
                "net": 2.5775,
                "wall-side": 20.62,
                "wall-end": 1.4,
                "opening-reveal": 2.25,
                "free": 1.625,
                "seated": 0.0,
            },
            "slab": {"net": 3.0, "slab-edge": 4.0, "ground": 12.0, "free": 10.975},
        },
    ),
    Case(
        "openings larger than the wall",
        opening_larger,
        {
            "wall": {
                "gross": 1.5,
                "net": 1.2,
                "wall-side": 12.0,
                "wall-end": 1.0,
                "opening-reveal": 0.8,
                "free": 0.8,
                "seated": 0.6,
                "holes": 1,
                "hole-area": 1.0,
            }
        },
    ),
    Case(
        "L-corner unclipped",
        corner_unclipped,
        {
            "wall": {"net": 3.475, "overlap": 0.025, "wall-side": 34.5, "wall-end": 1.5},
            "A": {"net": 2.0, "wall-side": 19.75, "wall-end": 0.75},
            "B": {"net": 1.475, "wall-side": 14.75, "wall-end": 0.75},
        },
    ),
    Case("L-corner overlapping", corner_full, CORNER),
    Case("L-corner drawn well", corner_clipped, CORNER),
    Case(
        "T-junction",
        tee,
        {
            "wall": {"net": 4.2, "overlap": 0.05, "wall-side": 41.5, "wall-end": 1.5},
            "A": {"net": 3.0, "wall-side": 29.5, "wall-end": 1.0},
            "B": {"net": 1.2, "wall-side": 12.0, "wall-end": 0.5},
        },
    ),
    Case(
        "wall flush under a beam",
        under_beam,
        {
            "wall": {"net": 2.0, "wall-side": 20.0, "wall-end": 1.0, "free": 0.0, "seated": 0.8},
            "beam": {"net": 0.32, "beam-side": 3.36, "beam-soffit": 0.0, "free": 0.8},
        },
    ),
    Case(
        "beam uncut in the head of a wall",
        beam_in_wall_head,
        {
            "wall": {"net": 2.0, "wall-side": 16.8, "wall-end": 1.0, "free": 0.8},
            "beam": {
                "gross": 0.48,
                "net": 0.16,
                "beam-side": 3.28,
                "beam-soffit": 0.4,
                "free": 0.4,
                "parts": 1,
            },
        },
    ),
    Case(
        "beam wholly inside a wall",
        beam_inside_wall,
        {
            "wall": {"net": 2.0, "wall-side": 20.0, "wall-end": 1.0, "free": 0.8},
            "beam": {"gross": 0.32, "net": 0.0, "overlap": 0.32},
        },
    ),
    Case(
        "battered wall",
        battered,
        {
            "wall": {
                "net": 6.0,
                "wall-side": 15.0 + 5.0 * math.hypot(3.0, 0.2),
                "wall-end": 2.4,
                "free": 1.5,
                "seated": 2.5,
            }
        },
    ),
    Case(
        "upstand on a slab",
        upstand,
        {
            "wall": {"net": 0.3, "wall-side": 4.0, "wall-end": 0.15, "free": 0.6, "seated": 0.0},
            "slab": {"net": 3.2, "slab-soffit": 16.0, "slab-edge": 3.2, "free": 15.4},
        },
    ),
)
