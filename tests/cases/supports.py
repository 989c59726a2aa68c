"""What walls and columns stand on: kickers, narrower, offset and interrupted supports, whose overhang is a soffit."""

from build import rectangle

from cases.case import Case, CaseModel


# Kicker 5 x 0.25 x 0.1 as a wall of its own on a raft 6 x 2 x 0.3, the wall of 2.4 on it: sides 2 x 5 x 2.5 = 25,
# ends 2 x 0.25 x 2.5 = 1.25, one free top 1.25, nothing seated; raft edge 16 x 0.3 = 4.8, top 12 - 1.25.
def kicker(m: CaseModel) -> None:
    m.slab(rectangle(0, 0, 6, 2), 0.3, -0.3, PredefinedType="BASESLAB")
    m.wall((0.5, 1), (5.5, 1), 0.25, 0.1, name="Kicker")
    m.wall((0.5, 1), (5.5, 1), 0.25, 2.4, base=0.1)


# Wall 5 x 0.4 x 2.5 on a strip 0.3 wide: 0.05 hangs over on either side, soffit 2 x 0.05 x 5 = 0.5.
def wider_than_strip(m: CaseModel) -> None:
    m.footing(rectangle(0, -0.15, 5, 0.15), 0.4, -0.4)
    m.wall((0, 0), (5, 0), 0.4, 2.5)


# Wall 5 x 0.3 x 2.5 from pad to pad, 1 x 1 x 0.5 each: 3.0 m of it span, soffit 3 x 0.3 = 0.9; pads' tops 2 - 0.6.
def over_pads(m: CaseModel) -> None:
    m.footing(rectangle(0, -0.5, 1, 0.5), 0.5, -0.5)
    m.footing(rectangle(4, -0.5, 5, 0.5), 0.5, -0.5)
    m.wall((0, 0), (5, 0), 0.3, 2.5)


# Wall 4 x 0.3 x 3 on a wall 4 x 0.2 x 3, flush on one side: soffit 4 x 0.1 = 0.4; sides 4 x 4 x 3 = 48; ends
# 2 x (0.2 + 0.3) x 3 = 3; the lower one is seated on 0.8.
def on_thinner_wall(m: CaseModel) -> None:
    m.wall((0, 0), (4, 0), 0.2, 3.0)
    m.wall((0, 0.05), (4, 0.05), 0.3, 3.0, base=3.0)


# Column 0.4 x 0.4 x 3 on another, 0.1 off its axis: soffit and free ledge 0.1 x 0.4 = 0.04 each, top 0.16.
def offset_column(m: CaseModel) -> None:
    m.column((0, 0), 0.4, 0.4, 3.0)
    m.column((0.1, 0), 0.4, 0.4, 3.0, base=3.0)


# Strip of one height with a step of 0.5 in its underside: section 6 x 0.4 + 3 x 0.5 = 3.9, 0.6 wide. The whole
# underside is on the ground; sides 2 x 3.9, ends 0.6 x (0.4 + 0.9), riser of the step 0.6 x 0.5.
def stepped_strip(m: CaseModel) -> None:
    section = [(0, 0), (3, 0), (3, -0.5), (6, -0.5), (6, 0.4), (0, 0.4)]
    body = m.extrusion(section, 0.6, (0, 0.3, 0), axes=((0, -1, 0), (1, 0, 0)))
    m.member("IfcFooting", body, PredefinedType="STRIP_FOOTING")


# Cast slab 4 x 3 x 0.2 on two precast beams 0.3 wide: soffit 12 - 2 x 0.3 x 4 = 9.6, edge 14 x 0.2 = 2.8.
def on_precast_beams(m: CaseModel) -> None:
    m.slab(rectangle(0, 0, 4, 3), 0.2, 3.0)
    for y in (0.15, 2.85):
        m.beam((0, y), (4, y), 0.3, 0.5, top=3.0, made="Precast")


# Slab 4 x 3 x 0.2 between two walls 3 x 0.3 x 6 that run on: the slab's edges of 3 m and 3 x 0.2 of either wall
# touch: slab edge 2 x 4 x 0.2 = 1.6; wall sides 4 x 3 x 6 - 2 x 0.6 = 70.8, ends 4 x 0.3 x 6 = 7.2.
def between_walls(m: CaseModel) -> None:
    m.wall((-0.15, 0), (-0.15, 3), 0.3, 6.0)
    m.wall((4.15, 0), (4.15, 3), 0.3, 6.0)
    m.slab(rectangle(0, 0, 4, 3), 0.2, 2.8)


CASES = (
    Case(
        "wall on its kicker",
        kicker,
        {
            "slab": {"net": 3.6, "slab-edge": 4.8, "ground": 12.0, "free": 10.75},
            "wall": {"net": 3.125, "wall-side": 25.0, "wall-end": 1.25, "free": 1.25, "seated": 0.0},
        },
    ),
    Case(
        "wall wider than its strip",
        wider_than_strip,
        {
            "foundation": {"net": 0.6, "foundation-side": 4.24, "ground": 1.5, "free": 0.0},
            "wall": {
                "net": 5.0,
                "wall-side": 25.0,
                "wall-end": 2.0,
                "soffit": 0.5,
                "free": 2.0,
                "seated": 0.0,
            },
        },
    ),
    Case(
        "wall from pad to pad",
        over_pads,
        {
            "foundation": {"net": 1.0, "foundation-side": 4.0, "ground": 2.0, "free": 1.4},
            "wall": {
                "net": 3.75,
                "wall-side": 25.0,
                "wall-end": 1.5,
                "soffit": 0.9,
                "free": 1.5,
                "seated": 0.0,
            },
        },
    ),
    Case(
        "wall on a thinner wall",
        on_thinner_wall,
        {
            "wall": {
                "net": 6.0,
                "wall-side": 48.0,
                "wall-end": 3.0,
                "soffit": 0.4,
                "free": 1.2,
                "seated": 0.8,
            }
        },
    ),
    Case(
        "column off the axis of the one below",
        offset_column,
        {"column": {"net": 0.96, "column-side": 9.6, "soffit": 0.04, "free": 0.2, "seated": 0.16}},
    ),
    Case(
        "strip with a step",
        stepped_strip,
        {"foundation": {"net": 2.34, "foundation-side": 7.8 + 0.78 + 0.3, "ground": 3.6, "free": 3.6}},
    ),
    Case(
        "cast slab on precast beams",
        on_precast_beams,
        {"slab": {"net": 2.4, "slab-soffit": 9.6, "slab-edge": 2.8, "free": 12.0}},
        unformed=("beam",),
    ),
    Case(
        "slab between walls that run on",
        between_walls,
        {
            "slab": {"net": 2.4, "slab-soffit": 12.0, "slab-edge": 1.6, "free": 12.0},
            "wall": {"net": 10.8, "wall-side": 70.8, "wall-end": 7.2, "seated": 1.8, "free": 1.8},
        },
    ),
)
