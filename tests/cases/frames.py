"""Columns, beams and slabs that meet: flush, overlapping, running through."""

from build import rectangle

from cases.case import Case, CaseModel

# Two columns 0.4 x 0.4 x 3.0 on axes 6.0 apart, a beam 0.3 wide and 0.5 deep between their faces (5.6 long),
# a slab 6.4 x 2.0 x 0.2 on top of both.
#   columns: net 2 x 0.16 x 3.0 = 0.96; sides 2 x 4 x 0.4 x 3.0 = 19.2/2 = 9.6, less two beam ends 2 x 0.3 x
#     0.5 = 0.3: 9.3; their feet stand on nothing that is modelled: seated 2 x 0.16 = 0.32
#   beam: net 5.6 x 0.15 = 0.84; sides 2 x 5.6 x 0.5 = 5.6; soffit 5.6 x 0.3 = 1.68; ends and top in contact
#   slab: net 6.4 x 2.0 x 0.2 = 2.56; soffit 12.8 - 0.32 - 1.68 = 10.8; edge 16.8 x 0.2 = 3.36; top 12.8
FRAME = {
    "column": {"net": 0.96, "column-side": 9.3, "seated": 0.32, "free": 0.0},
    "beam": {
        "net": 0.84,
        "beam-side": 5.6,
        "beam-soffit": 1.68,
        "beam-side:isolated": 0.0,
        "beam-soffit:isolated": 0.0,
        "free": 0.0,
    },
    "slab": {"net": 2.56, "slab-soffit": 10.8, "slab-edge": 3.36, "free": 12.8, "ground": 0.0},
}


def flush(m: CaseModel) -> None:
    m.column((0, 0), 0.4, 0.4, 3.0)
    m.column((6, 0), 0.4, 0.4, 3.0)
    m.beam((0.2, 0), (5.8, 0), 0.3, 0.5, top=3.0)
    m.slab(rectangle(-0.2, -1, 6.2, 1), 0.2, 3.0)


# The same frame drawn carelessly: columns and beam reach up through the slab to 3.2, and the beam runs from
# axis to axis. The slab keeps, then the column, then the beam, so that every net figure is as above.
#   gross: columns 2 x 0.16 x 3.2 = 1.024; beam 6.0 x 0.3 x 0.7 = 1.26
#   overlap: columns 2 x 0.16 x 0.2 = 0.064; beam 1.26 - 0.84 = 0.42
def overlapping(m: CaseModel) -> None:
    m.column((0, 0), 0.4, 0.4, 3.2)
    m.column((6, 0), 0.4, 0.4, 3.2)
    m.beam((0, 0), (6, 0), 0.3, 0.7, top=3.2)
    m.slab(rectangle(-0.2, -1, 6.2, 1), 0.2, 3.0)


# A beam alone, 4.0 x 0.3 x 0.6: sides 2 x 4.0 x 0.6 = 4.8 and the two ends 2 x 0.3 x 0.6 = 0.36, which have
# no category of their own and count as sides; soffit 1.2, top 1.2.
def alone(m: CaseModel) -> None:
    m.beam((0, 0), (4, 0), 0.3, 0.6, top=3.6)


# Two drop beams that cross under a slab 6 x 6 x 0.2 and are drawn to the slab's top (0.6 deep): A 6.0 x 0.3,
# B 6.0 x 0.2. The slab leaves them 0.4 of depth. A, the larger, keeps the crossing 0.3 x 0.2 x 0.4.
#   A: net 6.0 x 0.3 x 0.4 = 0.72; sides 2 x 6.0 x 0.4 - 2 x 0.2 x 0.4 + ends 2 x 0.3 x 0.4 = 4.88; soffit 1.8
#   B: net (6.0 - 0.3) x 0.2 x 0.4 = 0.456; sides 2 x 5.7 x 0.4 + ends 2 x 0.2 x 0.4 = 4.72; soffit 5.7 x 0.2
#     = 1.14
#   slab: net 7.2; soffit 36 - 1.8 - 1.14 = 33.06; edge 24 x 0.2 = 4.8; top 36
def crossing(m: CaseModel) -> None:
    m.beam((0, 3), (6, 3), 0.3, 0.6, top=3.2, name="Drop beam A")
    m.beam((3, 0), (3, 6), 0.2, 0.6, top=3.2, name="Drop beam B")
    m.slab(rectangle(0, 0, 6, 6), 0.2, 3.0)


# A column 0.4 x 0.4 from 0 to 6.0 through a slab 4 x 4 from 2.8 to 3.0. The slab keeps 0.16 x 0.2 = 0.032;
# the column is two lumps of 2.8 and 3.0: 0.16 x 5.8 = 0.928; sides 1.6 x 5.8 = 9.28. The upper lump stands on
# the slab, the lower on nothing: seated 0.16. Slab: soffit 16 - 0.16 = 15.84, edge 16 x 0.2 = 3.2, top 15.84.
def through_slab(m: CaseModel) -> None:
    m.column((2, 2), 0.4, 0.4, 6.0)
    m.slab(rectangle(0, 0, 4, 4), 0.2, 2.8)


# The same with a precast column: it keeps its whole shape 0.96 and the slab loses 0.032: 3.2 - 0.032 = 3.168.
# The slab's faces towards the column are in contact. The column is one part.
def precast_through_slab(m: CaseModel) -> None:
    m.column((2, 2), 0.4, 0.4, 6.0, made="Precast")
    m.slab(rectangle(0, 0, 4, 4), 0.2, 2.8)


# Wall 5.0 x 0.2 and column 0.3 x 0.3 from 0 to 6.0, slabs 7 x 4 x 0.2 with undersides at 2.8 and 5.8.
#   each lump is 2.8 high: wall 2 x 5.0 x 0.2 x 2.8 = 5.6, column 2 x 0.09 x 2.8 = 0.504, half in each storey
#   wall sides 2 x 2 x 5.0 x 2.8 = 56, ends 2 x 2 x 0.2 x 2.8 = 2.24; column 2 x 1.2 x 2.8 = 6.72
#   slabs: net 2 x 5.6 = 11.2; soffit 2 x (28 - 1.0 - 0.09) = 53.82; edge 2 x 22 x 0.2 = 8.8; the first top
#     has wall and column on it (26.91), in the second both end inside the slab: 26.91 + 28 = 54.91
def two_storeys(m: CaseModel) -> None:
    m.wall((0, 0), (5, 0), 0.2, 6.0)
    m.column((2.5, 2), 0.3, 0.3, 6.0)
    m.slab(rectangle(-1, -1, 6, 3), 0.2, 2.8, name="Slab 1")
    m.slab(rectangle(-1, -1, 6, 3), 0.2, 5.8, name="Slab 2")


# An upstand beam 4.0 x 0.3 from 2.8 to 3.5 along the middle of a slab 4 x 4 from 3.0 to 3.2, which keeps. Of
# the beam 0.2 remains below and 0.3 above, still one part:
#   beam: net 4.0 x 0.3 x 0.5 = 0.6; sides 2 x 4.0 x 0.5 + ends 2 x 0.3 x 0.5 = 4.3; soffit 1.2; top 1.2
#   slab: net 3.2; soffit 16 - 1.2 = 14.8; edge 16 x 0.2 = 3.2; top 14.8
def upstand_beam(m: CaseModel) -> None:
    m.beam((0, 2), (4, 2), 0.3, 0.7, top=3.5)
    m.slab(rectangle(0, 0, 4, 4), 0.2, 3.0)


# A wall 0.2 thick between two columns 0.4 x 0.4 on axes 4.0 apart, all 3.0 high: the wall is 3.6 long.
#   wall: net 2.16; sides 2 x 3.6 x 3.0 = 21.6; no end is open
#   columns: net 0.96; sides 2 x (1.6 - 0.2) x 3.0 = 8.4
def wall_between(m: CaseModel) -> None:
    m.column((0, 0), 0.4, 0.4, 3.0)
    m.column((4, 0), 0.4, 0.4, 3.0)
    m.wall((0.2, 0), (3.8, 0), 0.2, 3.0)


# The same with the wall drawn from axis to axis: the columns keep.
def wall_between_axes(m: CaseModel) -> None:
    m.column((0, 0), 0.4, 0.4, 3.0)
    m.column((4, 0), 0.4, 0.4, 3.0)
    m.wall((0, 0), (4, 0), 0.2, 3.0)


BETWEEN = {
    "wall": {"net": 2.16, "wall-side": 21.6, "wall-end": 0.0, "parts": 1},
    "column": {"net": 0.96, "column-side": 8.4, "parts": 2},
}


# A wall 4.0 x 0.2 drawn to the top of a slab 4.0 x 3.1 x 0.2 (2.8 to 3.0), its outer face and its ends flush
# with the slab's edges: coincident faces on four sides. The slab keeps; the wall ends at 2.8.
#   wall: net 2.24; sides 2 x 4.0 x 2.8 = 22.4; ends 2 x 0.2 x 2.8 = 1.12
#   slab: net 2.48; soffit 12.4 - 0.8 = 11.6; edge 14.2 x 0.2 = 2.84; top 12.4
def flush_with_slab_edge(m: CaseModel) -> None:
    m.wall((0, 0), (4, 0), 0.2, 3.0)
    m.slab(rectangle(0, -0.1, 4, 3), 0.2, 2.8)


# A beam 4.0 x 0.3 x 0.5 that climbs 20 degrees: net 0.6; soffit 1.2, its top slopes and is formed: 1.2; sides
# 2 x 4.0 x 0.5 = 4.0, the ends lean 20 degrees from upright and are sides still: 2 x 0.15 = 0.3.
def climbing(m: CaseModel) -> None:
    body = m.extrusion(m.rectangle(0.3, 0.5), 4.0, axes=((1, 0, 0), (0, 1, 0)))
    m.member("IfcBeam", body, at=(0, 0, 3.0), turn=25.0, tilt=-20.0)


# A column 0.4 x 0.4 x 6.25 through a hole 0.406 x 0.406 in a slab 6 x 4 x 0.25: 3 mm all round, so that the sides of
# the hole need no form, nor the strips of 3 mm at its corners that face no column; column sides 10 - 4 x 0.4 x 0.25.
LOOSE = 24 - 0.406**2


def loose_in_a_hole(m: CaseModel) -> None:
    slab = m.slab(rectangle(0, 0, 6, 4), 0.25, 3.0)
    m.box_void(slab, (2.797, 1.797, -0.1), (3.203, 2.203, 0.4))
    m.column((3, 2), 0.4, 0.4, 6.25)


CASES = (
    Case(
        "column in a hole 3 mm wider all round",
        loose_in_a_hole,
        {
            "slab": {"net": LOOSE / 4, "slab-soffit": LOOSE, "slab-edge": 5.0, "free": LOOSE, "holes": 1},
            "column": {"net": 1.0, "column-side": 9.6, "free": 0.16},
        },
    ),
    Case("frame flush", flush, FRAME),
    Case(
        "frame overlapping",
        overlapping,
        {
            "column": FRAME["column"] | {"gross": 1.024, "overlap": 0.064, "parts": 2},
            "beam": FRAME["beam"] | {"gross": 1.26, "overlap": 0.42, "parts": 1},
            "slab": FRAME["slab"] | {"gross": 2.56, "overlap": 0.0},
        },
    ),
    Case(
        "beam alone",
        alone,
        {
            "beam": {
                "net": 0.72,
                "beam-side": 5.16,
                "beam-soffit": 1.2,
                "beam-side:isolated": 5.16,
                "beam-soffit:isolated": 1.2,
                "free": 1.2,
                "seated": 0.0,
            }
        },
    ),
    Case(
        "drop beams crossing",
        crossing,
        {
            "beam": {"gross": 1.8, "net": 1.176, "beam-side": 9.6, "beam-soffit": 2.94, "free": 0.0},
            "slab": {"net": 7.2, "slab-soffit": 33.06, "slab-edge": 4.8, "free": 36.0},
            "Drop beam A": {"net": 0.72, "beam-side": 4.88, "beam-soffit": 1.8},
            "Drop beam B": {"net": 0.456, "beam-side": 4.72, "beam-soffit": 1.14},
        },
    ),
    Case(
        "column through slab",
        through_slab,
        {
            "column": {
                "gross": 0.96,
                "net": 0.928,
                "overlap": 0.032,
                "column-side": 9.28,
                "parts": 2,
                "seated": 0.16,
                "free": 0.16,
            },
            "column@Level 0": {"net": 0.448},
            "column@Level 1": {"net": 0.48},
            "slab": {"net": 3.2, "slab-soffit": 15.84, "slab-edge": 3.2, "free": 15.84},
        },
    ),
    Case(
        "precast column through slab",
        precast_through_slab,
        {
            "column": {"net": 0.96, "parts": 1},
            "precast": {"net": 0.96},
            "slab": {"net": 3.168, "slab-soffit": 15.84, "slab-edge": 3.2, "free": 15.84, "overlap": 0.032},
        },
    ),
    Case(
        "two storeys cut at the slabs",
        two_storeys,
        {
            "wall": {"net": 5.6, "wall-side": 56.0, "wall-end": 2.24, "parts": 2, "seated": 1.0},
            "wall@Level 0": {"net": 2.8, "wall-side": 28.0},
            "wall@Level 1": {"net": 2.8, "wall-side": 28.0},
            "column": {"net": 0.504, "column-side": 6.72, "parts": 2, "seated": 0.09},
            "column@Level 1": {"net": 0.252, "column-side": 3.36},
            "slab": {"net": 11.2, "slab-soffit": 53.82, "slab-edge": 8.8, "free": 54.91},
        },
    ),
    Case(
        "upstand beam through a slab",
        upstand_beam,
        {
            "beam": {"net": 0.6, "beam-side": 4.3, "beam-soffit": 1.2, "free": 1.2, "parts": 1},
            "slab": {"net": 3.2, "slab-soffit": 14.8, "slab-edge": 3.2, "free": 14.8},
        },
    ),
    Case("wall between columns", wall_between, BETWEEN),
    Case("wall between columns, from axis to axis", wall_between_axes, BETWEEN),
    Case(
        "wall flush with a slab's edge",
        flush_with_slab_edge,
        {
            "wall": {"net": 2.24, "wall-side": 22.4, "wall-end": 1.12, "free": 0.0, "parts": 1},
            "slab": {"net": 2.48, "slab-soffit": 11.6, "slab-edge": 2.84, "free": 12.4},
        },
    ),
    Case(
        "beam that climbs",
        climbing,
        {"beam": {"net": 0.6, "beam-side": 4.3, "beam-soffit": 1.2, "top-slope": 1.2, "free": 0.0}},
    ),
)
