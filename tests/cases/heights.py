"""Heights to soffits that vary: what climbs, or hangs over steps, is divided where its height passes a band."""

import math

from build import rectangle

from cases.case import Case, CaseModel
from cases.drops import elevation

CLIMB = math.hypot(1, 0.25)
"""Length of a ramp that rises 1 in 4, a metre of its plan."""


# Ramp 12 long in plan, 4 wide, 0.25 thick, its underside from 2.0 to 5.0 over a raft: 3.0 is passed at 4, 4.5 at 10.
#   net 12; soffit and top 48 x 1.0308; edges two of 12 x 0.25 and two of 4 x 0.25 = 8
def climbing(m: CaseModel) -> None:
    m.footing(rectangle(-1, -3, 13, 3), 0.3, -0.3)
    ramp(m)


def ramp(m: CaseModel, foot: float = 2.0, length: float = 12.0) -> None:
    head = foot + 0.25 * length
    outline = [(0.0, foot), (length, head), (length, head + 0.25), (0.0, foot + 0.25)]
    m.member("IfcSlab", elevation(m, outline, 4), name="Ramp")


# The same over a raft with a platform 1.0 high from 6 on: 2.0 to 3.0 over 4, to 3.5 over 2; then 2.5 to 3.0 over 2,
# and to 4.0 over 4.
def climbing_over_a_step(m: CaseModel) -> None:
    m.footing(rectangle(6, -3, 13, 3), 1.0, 0.0)
    climbing(m)


# Ramp that begins on its raft and climbs to 4.0 over 16: 3.0 is passed at 12, and 0.3, too low to strike, at 1.2.
def climbing_from_the_floor(m: CaseModel) -> None:
    m.footing(rectangle(-1, -3, 17, 3), 0.3, -0.3)
    ramp(m, 0.0, 16.0)


# Level slab 8 x 4 at 4.0 over a floor that falls from 2.0 to 0.0: heights 2.0 to 4.0, 3.0 passed in the middle.
def over_a_fall(m: CaseModel) -> None:
    m.slab(rectangle(0, -2, 8, 2), 0.25, 4.0, name="Slab")
    fall = elevation(m, [(0, -0.3), (8, -0.3), (8, 0), (0, 2)], 4)
    m.member("IfcFooting", fall, name="Fall")


RAMP = {"net": 12.0, "slab-soffit": 48 * CLIMB, "slab-edge": 8.0, "free": 48 * CLIMB}
IN_BANDS = {
    "slab-soffit to 3": 16 * CLIMB,
    "slab-soffit 3-4.5": 24 * CLIMB,
    "slab-soffit 4.5-6": 8 * CLIMB,
    "slab-soffit@2.50": 16 * CLIMB,
    "slab-soffit@3.75": 24 * CLIMB,
    "slab-soffit@4.75": 8 * CLIMB,
}

CASES = (
    Case("ramp through three bands", climbing, {"slab": RAMP, "Ramp": IN_BANDS}, unformed=("foundation",)),
    Case("ramp over its storey, with no floor shown", ramp, {"slab": RAMP, "Ramp": IN_BANDS}),
    Case(
        "ramp over a step",
        climbing_over_a_step,
        {"slab": RAMP, "Ramp": {"slab-soffit to 3": 24 * CLIMB, "slab-soffit 3-4.5": 24 * CLIMB}},
        unformed=("foundation",),
    ),
    Case(
        "ramp that begins on its floor",
        climbing_from_the_floor,
        {
            "slab": {"net": 16.0, "slab-soffit": 64 * CLIMB, "slab-edge": 10.0, "free": 64 * CLIMB},
            "Ramp": {"slab-soffit to 3": 48 * CLIMB, "slab-soffit 3-4.5": 16 * CLIMB},
        },
        findings=(("soffit-over-gap", ("Ramp",)),),
        unformed=("foundation",),
    ),
    Case(
        "slab over a floor that falls",
        over_a_fall,
        {
            "slab": {"net": 8.0, "slab-soffit": 32.0, "slab-edge": 6.0, "free": 32.0},
            "Slab": {"slab-soffit to 3": 16.0, "slab-soffit 3-4.5": 16.0},
        },
        unformed=("foundation",),
    ),
)
