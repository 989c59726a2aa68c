"""Stairs: treads are free, risers, sides and the sloping underside are formed."""

import math

from build import rectangle

from cases.case import Case, CaseModel

GOING, RISE, WIDTH, COUNT, WAIST = 0.28, 0.17, 1.2, 5, 0.2
TOP = COUNT * RISE
RUN = COUNT * GOING
DROP = TOP - WAIST
FOOT = RUN - DROP * GOING / RISE
"""The underside starts on the floor this far behind the first riser."""


def section() -> list[tuple[float, float]]:
    """The flight from the side: up over risers and treads, back along the underside."""
    points = [(0.0, 0.0)]
    for i in range(COUNT):
        points += [(GOING * i, RISE * (i + 1)), (GOING * (i + 1), RISE * (i + 1))]
    return [*points, (RUN, DROP), (FOOT, 0.0)]


# Five risers of 0.17 and five treads of 0.28, 1.2 wide, from a base slab to a landing 0.2 thick that meets
# the flight's end exactly (0.65 to 0.85 above the floor).
#   section: under the treads 0.28 x 0.17 x (1 + 2 + 3 + 4 + 5) = 0.714, less the triangle under the soffit,
#     which is (1.4 - FOOT) wide and 0.65 high
#   risers 5 x 0.17 x 1.2 = 1.02; sides 2 x section; soffit (1.4 - FOOT, 0.65) x 1.2; treads 5 x 0.28 x 1.2 =
#     1.68
#   base slab 5 x 2 x 0.2: edge 14 x 0.2 = 2.8, top 10 less the foot of the flight FOOT x 1.2
#   landing 1.0 x 1.2 x 0.2: soffit 1.2, edge on three sides 3.2 x 0.2 = 0.64, top 1.2
AREA = GOING * RISE * 15 - (RUN - FOOT) * DROP / 2


def _floors(m: CaseModel) -> None:
    m.slab(rectangle(-1, -0.4, 4, 1.6), 0.2, -0.2, name="Base", PredefinedType="BASESLAB")
    m.slab(rectangle(RUN, 0, RUN + 1, WIDTH), WAIST, DROP, name="Landing", PredefinedType="FLOOR")


def flight(m: CaseModel) -> None:
    _floors(m)
    body = m.extrusion(section(), WIDTH, (0, WIDTH, 0), axes=((0, -1, 0), (1, 0, 0)))
    m.member("IfcStairFlight", body)


# The same flight as the only part of a stair that has no body of its own: one element, with the same figures.
def stair_of_flight(m: CaseModel) -> None:
    _floors(m)
    body = m.extrusion(section(), WIDTH, (0, WIDTH, 0), axes=((0, -1, 0), (1, 0, 0)))
    part = m.member("IfcStairFlight", body, filed=False)
    m.aggregate(m.product("IfcStair", name="Stair"), [part])


# A precast flight: no form on it, and the landing's edge towards it is still in contact.
def precast_flight(m: CaseModel) -> None:
    _floors(m)
    body = m.extrusion(section(), WIDTH, (0, WIDTH, 0), axes=((0, -1, 0), (1, 0, 0)))
    m.member("IfcStairFlight", body, made="Precast")


STAIR = {
    "net": AREA * WIDTH,
    "stair-riser": 1.02,
    "stair-side": 2 * AREA,
    "stair-soffit": WIDTH * math.hypot(RUN - FOOT, DROP),
    "free": 1.68,
    "ground": 0.0,
    "seated": 0.0,
}
FLOORS = {
    "slab": {"net": 2.0 + 0.24, "slab-edge": 2.8 + 0.64, "slab-soffit": 1.2, "ground": 10.0},
    "Base": {"free": 10.0 - FOOT * WIDTH},
    "Landing": {"free": 1.2, "slab-edge": 0.64},
}

CASES = (
    Case("stair flight", flight, FLOORS | {"stair": STAIR}),
    Case("stair without a body, of one flight", stair_of_flight, FLOORS | {"stair": STAIR | {"parts": 1}}),
    Case("precast stair flight", precast_flight, FLOORS | {"stair": {"net": AREA * WIDTH, "formwork": 0.0}}),
)
