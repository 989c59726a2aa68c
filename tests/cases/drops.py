"""What hangs under slabs and leans: drop panels, haunches, corbels, tapered and many-sided columns, sloping tops."""

import math

from build import rectangle

from cases.case import Case, CaseModel

LENGTHWISE = ((0, -1, 0), (1, 0, 0))
"""Axes of an elevation (x, z) that is pushed across, towards -y."""


def elevation(m: CaseModel, outline: list[tuple[float, float]], width: float) -> object:
    """A body drawn from the side and pushed `width` across, half to either side."""
    return m.extrusion(outline, width, (0, width / 2, 0), axes=LENGTHWISE)


def frustum(
    low: float, high: float, height: float
) -> tuple[list[tuple[float, float, float]], list[list[int]]]:
    """A square frustum about the z axis: side at the foot, side at the head, height."""
    a, b = low / 2, high / 2
    corners = [(-1, -1), (1, -1), (1, 1), (-1, 1)]
    points = [(x * a, y * a, 0.0) for x, y in corners] + [(x * b, y * b, height) for x, y in corners]
    return points, [[0, 3, 2, 1], [4, 5, 6, 7], [0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7]]


# Slab 6 x 6 x 0.25 at 3.0, drop panel 2 x 2 x 0.15 under it, column 0.4 x 0.4 up to the panel: soffit 36 - 0.16 at
# two heights, edges 24 x 0.25 + 8 x 0.15 = 7.2. Drawn through to the slab's top, the column loses 0.4 of its height.
def drop_panel(m: CaseModel, height: float = 2.85) -> None:
    m.slab(rectangle(0, 0, 6, 6), 0.25, 3.0, name="Slab")
    m.slab(rectangle(2, 2, 4, 4), 0.15, 2.85, name="Drop panel")
    m.column((3, 3), 0.4, 0.4, height)


def drop_panel_through(m: CaseModel) -> None:
    drop_panel(m, 3.25)


# The same with a panel that tapers from 2 x 2 down to 1 x 1 over 0.3: its four sides lean 31 degrees from level and
# are soffits, 4 x (1 + 2) / 2 x sqrt(0.5^2 + 0.3^2); volume 0.3 / 3 x (4 + 1 + 2).
LEANING = 6 * math.hypot(0.5, 0.3)


def tapered_drop(m: CaseModel) -> None:
    m.slab(rectangle(0, 0, 6, 6), 0.25, 3.0)
    m.member("IfcSlab", m.brep(*frustum(1, 2, 0.3)), at=(3, 3, 2.7), name="Drop panel")
    m.column((3, 3), 0.4, 0.4, 2.7)


# Column that tapers from 0.6 to 0.4 over 3.0, or flares the other way: volume 3 / 3 x (0.36 + 0.16 + 0.24), sides
# 4 x (0.6 + 0.4) / 2 x sqrt(3.0^2 + 0.1^2).
TAPER = 2 * math.hypot(3.0, 0.1)


def tapered(m: CaseModel) -> None:
    m.member("IfcColumn", m.brep(*frustum(0.6, 0.4, 3.0)))


def flaring(m: CaseModel) -> None:
    m.member("IfcColumn", m.brep(*frustum(0.4, 0.6, 3.0)))


# Hexagonal column of side 0.3 from 0 to 6.0 through a slab 3 x 3 from 2.8 to 3.0: girth 1.8, plan 3 sqrt(3) / 2 x
# 0.09; lumps of 2.8 and 3.0.
SIX = 3 * math.sqrt(3) / 2 * 0.09


def hexagonal(m: CaseModel) -> None:
    turns = [math.radians(60 * i) for i in range(6)]
    m.prism("IfcColumn", [(0.3 * math.cos(a), 0.3 * math.sin(a)) for a in turns], 6.0, at=(1.5, 1.5, 0))
    m.slab(rectangle(0, 0, 3, 3), 0.2, 2.8)


# Beam 6 x 0.3 under a slab 6 x 2 x 0.2, 0.4 deep in the middle 4 m and haunched to 0.8 over 1 m at either end:
# elevation 4 x 0.4 + 2 x 0.6 = 2.8; sides 2 x 2.8 + ends 2 x 0.3 x 0.8; soffit 0.3 x (4 + 2 x sqrt(1 + 0.4^2)).
def haunched(m: CaseModel) -> None:
    outline = [(0, -0.8), (1, -0.4), (5, -0.4), (6, -0.8), (6, 0), (0, 0)]
    m.member("IfcBeam", elevation(m, outline, 0.3), at=(0, 0, 3.0))
    m.slab(rectangle(0, -1, 6, 1), 0.2, 3.0)


# Column 0.4 x 0.4 x 4 with a corbel 0.3 long, 0.5 high at its root and 0.2 at its tip: elevation 1.6 + 0.06 + 0.045
# = 1.705; sides 2 x 1.705 + 0.4 x (4 + 2 + 1.5 + 0.2); soffit 0.4 x 0.3 sqrt(2); top 0.16 + 0.3 x 0.4.
def corbel(m: CaseModel) -> None:
    outline = [(0, 0), (0.4, 0), (0.4, 2.0), (0.7, 2.3), (0.7, 2.5), (0.4, 2.5), (0.4, 4), (0, 4)]
    m.member("IfcColumn", elevation(m, outline, 0.4))


# Wall 5 long, battered on both sides from 0.6 to 0.3 over 3.0: ends 2 x 1.35, sides 2 x 5 x sqrt(3.0^2 + 0.15^2).
def battered_twice(m: CaseModel) -> None:
    m.profile_along("IfcWall", [(0, 0), (0.6, 0), (0.45, 3), (0.15, 3)], (0, 0, 0), (5, 0, 0))


# Wall 5 long, 1.0 high, from 1.5 to 0.3: its back lies 40 degrees from level, a top slope of 5 x sqrt(1 + 1.2^2).
def sloping_back(m: CaseModel) -> None:
    m.profile_along("IfcWall", [(0, 0), (1.5, 0), (0.3, 1), (0, 1)], (0, 0, 0), (5, 0, 0))


# Gable wall 6 x 0.2, 2 high at the eaves, tops of 30 degrees: elevation 12 + 3 x 3 tan 30; and one whose top rises
# 10 degrees from end to end, which is free.
RIDGE = 3 * math.tan(math.radians(30))
RISE = 6 * math.tan(math.radians(10))


def gable(m: CaseModel) -> None:
    m.member("IfcWall", elevation(m, [(0, 0), (6, 0), (6, 2), (3, 2 + RIDGE), (0, 2)], 0.2))


def rising_top(m: CaseModel) -> None:
    m.member("IfcWall", elevation(m, [(0, 0), (6, 0), (6, 2 + RISE), (0, 2)], 0.2))


# Pad 2 x 2, 0.3 high at its edge, sloping over 0.5 to a head 0.6 x 0.6 on which a column 0.4 x 0.4 stands: slopes
# 35.5 degrees, 4 x (2 + 0.6) / 2 x sqrt(0.7^2 + 0.5^2); volume 1.2 + 0.5 / 3 x (4 + 0.36 + 1.2).
def sloping_pad(m: CaseModel) -> None:
    rings = [(1.0, 0.0), (1.0, 0.3), (0.3, 0.8)]
    points = [(x * r, y * r, z) for r, z in rings for x, y in [(-1, -1), (1, -1), (1, 1), (-1, 1)]]
    sides = [
        [4 * k + i, 4 * k + (i + 1) % 4, 4 * k + 4 + (i + 1) % 4, 4 * k + 4 + i]
        for k in (0, 1)
        for i in range(4)
    ]
    m.member("IfcFooting", m.brep(points, [[3, 2, 1, 0], *sides, [8, 9, 10, 11]]), at=(0, 0, -0.8))
    m.column((0, 0), 0.4, 0.4, 3.0)


# Upstand 4 x 0.3 x 0.4 on, and downstand 4 x 0.3 x 0.3 under the edge of a slab 4 x 3 x 0.2.
#   beams: net 0.48 + 0.36; sides 2 x 4 x 0.7 + ends 2 x 0.3 x 0.7; soffit 1.2, top 1.2; slab soffit and top 10.8
def upstand_downstand(m: CaseModel) -> None:
    m.slab(rectangle(0, 0, 4, 3), 0.2, 3.0)
    m.beam((0, 0.15), (4, 0.15), 0.3, 0.4, top=3.6, name="Upstand")
    m.beam((0, 0.15), (4, 0.15), 0.3, 0.3, top=3.0, name="Downstand")


# Beam 3 x 0.2 x 0.4 into the side of a beam 6 x 0.3 x 0.6, tops flush: sides 2 x 6 x 0.6 + 2 x 0.3 x 0.6 - 0.08 and
# 2 x 3 x 0.4 + 0.08; soffits and tops 1.8 + 0.6.
def secondary(m: CaseModel) -> None:
    m.beam((0, 0), (6, 0), 0.3, 0.6, top=3.0)
    m.beam((3, 0.15), (3, 3.15), 0.2, 0.4, top=3.0)


# Niche 1 x 1, 0.1 deep in a wall 4 x 0.3 x 2.5: no hole; the back is side, jambs and head 0.3 m2 reveal, sill free.
def niche(m: CaseModel) -> None:
    wall = m.wall((0, 0), (4, 0), 0.3, 2.5)
    m.box_void(wall, (1, 0.05, 1), (2, 0.3, 2))


# Recess 1 x 1, 0.1 deep in the soffit of a slab 4 x 4 x 0.25: the soffit lies at two heights, edges + 4 x 0.1.
def soffit_recess(m: CaseModel) -> None:
    slab = m.slab(rectangle(0, 0, 4, 4), 0.25, 3.0)
    m.box_void(slab, (1, 1, -0.1), (2, 2, 0.1))


# Raft, a slab at 3.0 with a void of 2 x 2 and a slab at 6.0, all 6 x 6: under the upper one 32 m2 hang 2.8 over the
# middle slab and 4 m2 hang 6.0 over the raft.
def void_over_two_storeys(m: CaseModel) -> None:
    m.slab(rectangle(0, 0, 6, 6), 0.3, -0.3, name="Raft", PredefinedType="BASESLAB")
    m.slab(rectangle(0, 0, 6, 6), 0.2, 3.0, name="Middle", holes=[rectangle(2, 2, 4, 4)])
    m.slab(rectangle(0, 0, 6, 6), 0.2, 6.0, name="Top")


PANEL = {
    "column": {"net": 0.456, "column-side": 4.56, "seated": 0.16},
    "slab": {"net": 9.6, "slab-soffit": 35.84, "slab-edge": 7.2, "free": 36.0},
}

CASES = (
    Case("drop panel under a slab", drop_panel, PANEL),
    Case("drop panel with the column drawn through", drop_panel_through, PANEL),
    Case(
        "tapered drop panel",
        tapered_drop,
        {
            "column": {"net": 0.432, "column-side": 4.32, "seated": 0.16},
            "slab": {"net": 9.7, "slab-soffit": 36 - 4 + 1 - 0.16 + LEANING, "slab-edge": 6.0, "free": 36.0},
        },
    ),
    Case(
        "tapered column",
        tapered,
        {"column": {"net": 0.76, "column-side": TAPER, "seated": 0.36, "free": 0.16}},
    ),
    Case(
        "column that flares",
        flaring,
        {"column": {"net": 0.76, "column-side": TAPER, "seated": 0.16, "free": 0.36}},
    ),
    Case(
        "hexagonal column through a slab",
        hexagonal,
        {
            "column": {"net": SIX * 5.8, "parts": 2, "column-side": 10.44, "seated": SIX, "free": SIX},
            "slab": {"net": 1.8, "slab-soffit": 9 - SIX, "slab-edge": 2.4, "free": 9 - SIX},
        },
    ),
    Case(
        "haunched beam under a slab",
        haunched,
        {
            "beam": {"net": 0.84, "beam-side": 6.08, "beam-soffit": 0.3 * (4 + 2 * math.hypot(1, 0.4))},
            "slab": {"net": 2.4, "slab-soffit": 10.2, "slab-edge": 3.2, "free": 12.0},
        },
    ),
    Case(
        "column with a corbel",
        corbel,
        {
            "column": {
                "net": 0.682,
                "column-side": 6.49,
                "soffit": 0.12 * math.sqrt(2),
                "seated": 0.16,
                "free": 0.28,
            }
        },
    ),
    Case(
        "wall battered on both sides",
        battered_twice,
        {
            "wall": {
                "net": 6.75,
                "wall-side": 10 * math.hypot(3, 0.15),
                "wall-end": 2.7,
                "free": 1.5,
                "seated": 3.0,
            }
        },
    ),
    Case(
        "wall with a sloping back",
        sloping_back,
        {
            "wall": {
                "net": 4.5,
                "wall-side": 5.0,
                "top-slope": 5 * math.hypot(1, 1.2),
                "wall-end": 1.8,
                "free": 1.5,
                "seated": 7.5,
            }
        },
    ),
    Case(
        "gable wall",
        gable,
        {
            "wall": {
                "net": 0.2 * (12 + 3 * RIDGE),
                "wall-side": 2 * (12 + 3 * RIDGE),
                "wall-end": 0.8,
                "top-slope": 0.4 * math.hypot(3, RIDGE),
                "seated": 1.2,
                "free": 0.0,
            }
        },
    ),
    Case(
        "wall with a top of ten degrees",
        rising_top,
        {
            "wall": {
                "net": 0.2 * (12 + 3 * RISE),
                "wall-side": 2 * (12 + 3 * RISE),
                "wall-end": 0.2 * (4 + RISE),
                "free": 0.2 * math.hypot(6, RISE),
                "seated": 1.2,
            }
        },
    ),
    Case(
        "pad with sloping tops",
        sloping_pad,
        {
            "foundation": {
                "net": 1.2 + 5.56 / 6,
                "foundation-side": 2.4,
                "top-slope": 5.2 * math.hypot(0.7, 0.5),
                "ground": 4.0,
                "free": 0.2,
            },
            "column": {"net": 0.48, "column-side": 4.8, "free": 0.16, "seated": 0.0},
        },
    ),
    Case(
        "upstand and downstand at a slab's edge",
        upstand_downstand,
        {
            "beam": {"net": 0.84, "beam-side": 6.02, "beam-soffit": 1.2, "free": 1.2},
            "slab": {"net": 2.4, "slab-soffit": 10.8, "slab-edge": 2.8, "free": 10.8},
        },
    ),
    Case(
        "beam into the side of a deeper one",
        secondary,
        {"beam": {"net": 1.32, "beam-side": 9.96, "beam-soffit": 2.4, "free": 2.4}},
    ),
    Case(
        "niche in a wall",
        niche,
        {
            "wall": {
                "net": 2.9,
                "wall-side": 20.0,
                "wall-end": 1.5,
                "opening-reveal": 0.3,
                "free": 1.3,
                "seated": 1.2,
                "holes": 0,
            }
        },
    ),
    Case(
        "recess in a soffit",
        soffit_recess,
        {"slab": {"net": 3.9, "slab-soffit": 16.0, "slab-edge": 4.4, "free": 16.0, "holes": 0}},
    ),
    Case(
        "void over two storeys",
        void_over_two_storeys,
        {
            "Top": {"slab-soffit": 36.0, "slab-soffit@6.00": 4.0, "slab-soffit@2.80": 32.0},
            "Middle": {"slab-soffit@3.00": 32.0, "slab-edge": 6.4, "holes": 1, "hole-area": 4.0},
            "slab": {"net": 24.4, "slab-soffit": 68.0, "slab-edge": 18.4, "ground": 36.0, "free": 104.0},
        },
    ),
)
