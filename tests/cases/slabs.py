"""Slabs: holes, recesses, slopes, planks with topping, and the height to a soffit."""

import math

from build import prism_mesh, rectangle

from cases.case import CURVED, Case, CaseModel

DISC = math.pi * 0.2**2
GIRTH = 2 * math.pi * 0.2


# Slab 5 x 4 x 0.25 with a hole 1.0 x 0.6 and a round one of radius 0.2: holes 0.6 + pi 0.04 m2.
#   net (20 - holes) x 0.25; soffit and top 20 - holes; edge 18 x 0.25 = 4.5 outside, (3.2 + 2 pi 0.2) x 0.25
#     in holes
def holes(m: CaseModel) -> None:
    slab = m.slab(rectangle(0, 0, 5, 4), 0.25, 3.0)
    m.box_void(slab, (1, 1, -0.1), (2, 1.6, 0.35))
    m.void(slab, m.extrusion(m.circle(0.2), 0.45), at=(3.5, 2.5, -0.1))


# The same holes, this time as part of the slab's own outline: no opening is modelled, the slab has the holes
# anyway. (Its gross volume is then what it is: without the holes.)
def holes_in_outline(m: CaseModel) -> None:
    m.slab(rectangle(0, 0, 5, 4), 0.25, 3.0, holes=[rectangle(1, 1, 2, 1.6)[::-1]])


# Slab 3 x 3 x 0.3 with a recess 1 x 1 x 0.1 from above: net 2.7 - 0.1 = 2.6; edge 12 x 0.3 = 3.6 and the
# recess's own sides 4 x 0.1 = 0.4; soffit 9; free 8 + 1 (the recess's bottom); nothing goes through.
def recess(m: CaseModel) -> None:
    slab = m.slab(rectangle(0, 0, 3, 3), 0.3, 3.0)
    m.box_void(slab, (1, 1, 0.2), (2, 2, 0.4))


def _roof(m: CaseModel, tilt: float) -> None:
    body = m.extrusion(rectangle(0, 0, 4, 5), 0.2)
    m.member("IfcSlab", body, at=(0, 0, 3.0), tilt=tilt, PredefinedType="ROOF")


# Roof slab 4.0 along the slope, 5.0 wide, 0.2 thick: net 4.0; soffit 20; edges 2 x 4.0 x 0.2 = 1.6 upright,
# and 2 x 5.0 x 0.2 = 2.0 leaning by the slope. At 10 degrees the top is free; at 20 it is formed. At 50
# degrees the ends lean 50 degrees from upright: the upper end is up-facing (sloping 40 degrees: formed as
# top), the lower a soffit.
def roof_10(m: CaseModel) -> None:
    _roof(m, -10.0)


def roof_20(m: CaseModel) -> None:
    _roof(m, -20.0)


def roof_50(m: CaseModel) -> None:
    _roof(m, -50.0)


# Three planks 4.0 x 1.2 x 0.06 with gaps of 0.05 under a topping 4.0 x 3.7 x 0.14.
#   planks 3 x 0.288 = 0.864; topping 2.072; its soffit is the gaps 2 x 0.05 x 4.0 = 0.4; edge 15.4 x 0.14 =
#     2.156
def planks(m: CaseModel) -> None:
    for i in range(3):
        y = 1.25 * i
        m.slab(rectangle(0, y, 4, y + 1.2), 0.06, 3.0, name=f"Plank {i + 1}", made="Precast")
    m.slab(rectangle(0, 0, 4, 3.7), 0.14, 3.06, name="Topping")


# Raft 8 x 4 with its top at 0; a middle slab over half of it from 2.2 to 2.4; a top slab over all from 5.0 to
# 5.2. Half the top slab looks down 5.0 to the raft, the other half 2.6 to the middle slab. What counts is the
# way down, not the storeys, which here stand at 0, 3.0 and 6.0.
#   raft: 0.3 thick: edge 24 x 0.3 = 7.2; middle 16 x 0.2 = 3.2, edge 16 x 0.2 = 3.2; top 32 x 0.2 = 6.4, edge
#     24 x 0.2 = 4.8
def heights(m: CaseModel) -> None:
    m.slab(rectangle(0, 0, 8, 4), 0.3, -0.3, name="Raft", PredefinedType="BASESLAB")
    m.slab(rectangle(0, 0, 4, 4), 0.2, 2.2, name="Middle")
    m.slab(rectangle(0, 0, 8, 4), 0.2, 5.0, name="Top")


# A slab of triangulated and of quadrilateral faces is the slab: 4 x 3 x 0.2 as a faceted solid with a notch.
# Outline 4 x 3 less 1 x 1 at a corner: 11 m2, girth 14: net 2.2; soffit 11; edge 2.8; top 11.
def faceted(m: CaseModel) -> None:
    outline = [(0, 0), (4, 0), (4, 2), (3, 2), (3, 3), (0, 3)]
    m.member("IfcSlab", m.brep(*prism_mesh(outline, 0.0, 0.2)), at=(0, 0, 3.0))


# A notch 1.0 x 0.5 in the edge of a slab 4 x 3 x 0.2, by an opening that sticks out: net (12 - 0.5) x 0.2 =
# 2.3; edge (14 + 2 x 0.5) x 0.2 = 3.0, of which (1.0 + 2 x 0.5) x 0.2 = 0.4 in the opening; it is no hole to
# box out.
def notch(m: CaseModel) -> None:
    slab = m.slab(rectangle(0, 0, 4, 3), 0.2, 3.0)
    m.box_void(slab, (1, -0.5, -0.1), (2, 0.5, 0.3))


# Two slabs 3 x 3 x 0.2 side by side. Within the gap tolerance (3 mm apart) they touch: edge 24 x 0.2 less
# twice 3 x 0.2 = 3.6. With 20 mm between them they do not: 4.8.
def gap_closed(m: CaseModel) -> None:
    m.slab(rectangle(0, 0, 3, 3), 0.2, 3.0)
    m.slab(rectangle(3.003, 0, 6.003, 3), 0.2, 3.0)


def gap_open(m: CaseModel) -> None:
    m.slab(rectangle(0, 0, 3, 3), 0.2, 3.0)
    m.slab(rectangle(3.02, 0, 6.02, 3), 0.2, 3.0)


# Two openings 1 x 1 that overlap in 0.5 x 0.5 make one hole of 1.75 m2 with a girth of 6.0 in a slab 4 x 4 x
# 0.2: net (16 - 1.75) x 0.2 = 2.85; edge (16 + 6.0) x 0.2 = 4.4.
def overlapping_openings(m: CaseModel) -> None:
    slab = m.slab(rectangle(0, 0, 4, 4), 0.2, 3.0)
    m.box_void(slab, (1, 1, -0.1), (2, 2, 0.3))
    m.box_void(slab, (1.5, 1.5, -0.1), (2.5, 2.5, 0.3))


# Slab A 4 x 3 x 0.2 and slab B 3 x 3 x 0.2, drawn 0.5 over each other. A, the larger, keeps; B is 2.5 x 3.
#   net: 2.4 + 1.5 = 3.9; soffit and top 19.5; edge (14 + 11) x 0.2 less twice 3 x 0.2 = 3.8
def slabs_overlapping(m: CaseModel) -> None:
    m.slab(rectangle(0, 0, 4, 3), 0.2, 3.0, name="A")
    m.slab(rectangle(3.5, 0, 6.5, 3), 0.2, 3.0, name="B")


CASES = (
    Case(
        "slab with a rectangular and a round hole",
        holes,
        {
            "slab": {
                "gross": 5.0,
                "net": (20 - 0.6 - DISC) * 0.25,
                "slab-soffit": 20 - 0.6 - DISC,
                "free": 20 - 0.6 - DISC,
                "slab-edge": 4.5 + 0.25 * (3.2 + GIRTH),
                "holes": 2,
                "hole-area": 0.6 + DISC,
            },
            "Slab": {"slab-edge:opening": 0.25 * (3.2 + GIRTH), "slab-edge:curved": 0.25 * GIRTH},
        },
        tolerance=CURVED,
    ),
    Case(
        "slab with a hole in its outline",
        holes_in_outline,
        {"slab": {"net": 4.85, "slab-soffit": 19.4, "free": 19.4, "slab-edge": 5.3, "holes": 1}},
    ),
    Case(
        "recess that does not go through",
        recess,
        {
            "slab": {
                "gross": 2.7,
                "net": 2.6,
                "slab-soffit": 9.0,
                "slab-edge": 4.0,
                "free": 9.0,
                "holes": 0,
            },
            "Slab": {"slab-edge:opening": 0.4},
        },
    ),
    Case(
        "roof of 10 degrees",
        roof_10,
        {"slab": {"net": 4.0, "slab-soffit": 20.0, "slab-edge": 3.6, "free": 20.0, "top-slope": 0.0}},
    ),
    Case(
        "roof of 20 degrees",
        roof_20,
        {"slab": {"net": 4.0, "slab-soffit": 20.0, "slab-edge": 3.6, "free": 0.0, "top-slope": 20.0}},
    ),
    Case(
        "roof of 50 degrees",
        roof_50,
        {"slab": {"net": 4.0, "slab-soffit": 21.0, "slab-edge": 1.6, "free": 0.0, "top-slope": 21.0}},
    ),
    Case(
        "planks under a topping with gaps",
        planks,
        {
            "slab": {"net": 2.936, "slab-soffit": 0.4, "slab-edge": 2.156},
            "precast": {"net": 0.864, "formwork": 0.0},
            "cast-in-place": {"net": 2.072, "formwork": 2.556},
            "Topping": {"free": 14.8},
        },
    ),
    Case(
        "height to a soffit is the way down",
        heights,
        {
            "slab": {
                "net": 9.6 + 3.2 + 6.4,
                "slab-soffit": 48.0,
                "slab-edge": 7.2 + 3.2 + 4.8,
                "ground": 32.0,
            },
            "Middle": {"slab-soffit@2.20": 16.0},
            "Top": {"slab-soffit@2.60": 16.0, "slab-soffit@5.00": 16.0},
        },
    ),
    Case(
        "faceted slab with a notch",
        faceted,
        {"slab": {"net": 2.2, "slab-soffit": 11.0, "slab-edge": 2.8, "free": 11.0, "holes": 0}},
    ),
    Case(
        "notch in a slab's edge",
        notch,
        {
            "slab": {
                "gross": 2.4,
                "net": 2.3,
                "slab-soffit": 11.5,
                "slab-edge": 3.0,
                "free": 11.5,
                "holes": 0,
            },
            "Slab": {"slab-edge:opening": 0.4},
        },
    ),
    Case(
        "gap within the tolerance", gap_closed, {"slab": {"net": 3.6, "slab-soffit": 18.0, "slab-edge": 3.6}}
    ),
    Case("gap beyond the tolerance", gap_open, {"slab": {"net": 3.6, "slab-soffit": 18.0, "slab-edge": 4.8}}),
    Case(
        "openings that overlap",
        overlapping_openings,
        {
            "slab": {
                "gross": 3.2,
                "net": 2.85,
                "slab-soffit": 14.25,
                "slab-edge": 4.4,
                "free": 14.25,
                "holes": 1,
                "hole-area": 1.75,
            }
        },
    ),
    Case(
        "slabs that overlap",
        slabs_overlapping,
        {
            "slab": {"net": 3.9, "overlap": 0.3, "slab-soffit": 19.5, "slab-edge": 3.8, "free": 19.5},
            "A": {"net": 2.4, "slab-edge": 2.2},
            "B": {"net": 1.5, "slab-edge": 1.6},
        },
    ),
)
