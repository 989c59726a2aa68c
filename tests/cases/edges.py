"""Edges of varying depth: divided where the depth passes a band, with the length of each portion."""

import math

from build import rectangle

from cases.case import Case, CaseModel
from cases.drops import elevation
from cases.heights import CLIMB, RAMP, ramp


# Slab 8 x 4 that thickens from 0.2 to 0.4: its two sides pass 0.25 at 2.
#   net 8 x 0.3 x 4; sides to 0.25: 2 x 2 x 0.225, above 2 x 6 x 0.325; ends 4 x 0.2 and 4 x 0.4
def thickening(m: CaseModel) -> None:
    m.member("IfcSlab", elevation(m, [(0, 0), (8, 0), (8, 0.4), (0, 0.2)], 4), at=(0, 0, 3), name="Slab")


# Slab 6 x 4 x 0.2 with a rim beam 1.0 wide and 0.6 deep in one body: sides 2 x (1 x 0.6 + 5 x 0.2), ends 4 x 0.6 and
# 4 x 0.2, the inner face of the rim 4 x 0.4.
def thick_rim(m: CaseModel) -> None:
    outline = [(0, -0.4), (1, -0.4), (1, 0), (6, 0), (6, 0.2), (0, 0.2)]
    m.member("IfcSlab", elevation(m, outline, 4), at=(0, 0, 3), name="Slab")


# Footing 4 x 2 x 0.4 whose ends lean in by 0.2: the pointed ends of its sides are no shallower edge.
def battered_footing(m: CaseModel) -> None:
    outline = [(0, 0), (4, 0), (3.8, 0.4), (0.2, 0.4)]
    m.member("IfcFooting", elevation(m, outline, 2), at=(0, 0, -1), name="Footing")


# Wedge on the ground, 0 to 0.4 over 4: its sides pass 0.25 at 2.5; that they begin at nothing is no pointed end.
def wedge(m: CaseModel) -> None:
    m.member("IfcSlab", elevation(m, [(0, 0), (4, 0), (4, 0.4)], 2), PredefinedType="BASESLAB", name="Wedge")


# Slab 6 x 4 x 0.6 with a beam 0.3 x 0.3 that meets the middle of one side at its foot: there 0.3 of depth is left.
def beam_at_edge(m: CaseModel) -> None:
    m.slab(rectangle(0, 0, 6, 4), 0.6, 3.0, name="Slab")
    m.beam((3, -2), (3, 0), 0.3, 0.3, 3.3)


CASES = (
    Case(
        "edge of a ramp is as deep as the ramp is thick",
        ramp,
        {
            "slab": RAMP,
            "Ramp": {"slab-edge of to 250": 8.0, "slab-edge-length of to 250": 24 * CLIMB + 8},
        },
    ),
    Case(
        "edges of a slab that thickens",
        thickening,
        {
            "slab": {"net": 9.6, "slab-soffit": 32.0, "slab-edge": 7.2, "free": 32 * math.hypot(1, 0.025)},
            "Slab": {
                "slab-edge of to 250": 1.7,
                "slab-edge of 250-500": 5.5,
                "slab-edge-length of to 250": 8.0,
                "slab-edge-length of 250-500": 16.0,
            },
        },
    ),
    Case(
        "edges of a slab with a thick rim",
        thick_rim,
        {
            "slab": {"net": 6.4, "slab-soffit": 24.0, "slab-edge": 8.0, "free": 24.0},
            "Slab": {
                "slab-edge of to 250": 2.8,
                "slab-edge of 250-500": 1.6,
                "slab-edge of 500-1000": 3.6,
                "slab-edge-length of to 250": 14.0,
                "slab-edge-length of 500-1000": 6.0,
            },
        },
    ),
    Case(
        "battered ends are no shallower edge",
        battered_footing,
        {
            "foundation": {"net": 3.04, "foundation-side": 3.04 + 4 * math.hypot(0.2, 0.4), "ground": 8.0, "free": 7.2},
            "Footing": {
                "foundation-side of 300-600": 3.04 + 4 * math.hypot(0.2, 0.4),
                "foundation-side-length of 300-600": 12.0,
            },
        },
    ),
    Case(
        "edges of a wedge",
        wedge,
        {
            "slab": {"net": 1.6, "slab-edge": 2.4, "ground": 8.0, "free": 2 * math.hypot(4, 0.4)},
            "Wedge": {
                "slab-edge of to 250": 0.625,
                "slab-edge of 250-500": 0.975 + 0.8,
                "slab-edge-length of to 250": 5.0,
                "slab-edge-length of 250-500": 5.0,
            },
        },
    ),
    Case(
        "edge that a beam meets",
        beam_at_edge,
        {
            "slab": {"net": 14.4, "slab-soffit": 24.0, "slab-edge": 11.91, "free": 24.0},
            "Slab": {
                "slab-edge of 250-500": 0.09,
                "slab-edge of 500-1000": 11.82,
                "slab-edge-length of 250-500": 0.3,
                "slab-edge-length of 500-1000": 19.7,
            },
        },
        unformed=("beam",),
    ),
)  # fmt: skip
