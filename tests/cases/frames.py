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
    "beam": {"net": 0.84, "beam-side": 5.6, "beam-soffit": 1.68, "free": 0.0},
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


CASES = (
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
        {"beam": {"net": 0.72, "beam-side": 5.16, "beam-soffit": 1.2, "free": 1.2, "seated": 0.0}},
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
)
