"""Walls and slabs built up of layers that are made differently, and elements made of parts."""

import math

from build import rectangle

from cases.case import CURVED, Case, CaseModel

OUTER, CORE, INNER = 0.07, 0.15, 0.05
TOTAL = OUTER + CORE + INNER
TWIN = (
    ("Precast concrete C40/50", OUTER),
    ("In-situ concrete C30/37", CORE),
    ("Precast concrete C40/50", INNER),
)

# Twin wall 4.0 x 3.0: leaf 0.07, core 0.15, leaf 0.05; 12 m2. Unequal leaves tell whether the layers were
# taken in the right sense: leaf 1 is 0.84, core 1.8, leaf 3 0.6. The leaves are the core's forms; its ends 2
# x 0.15 x 3.0 = 0.9 are formed; its top 0.6 is free, its foot 0.6 stands on nothing that is modelled.
ANSWERS = {
    "wall": {"net": 3.24, "wall-side": 0.0, "wall-end": 0.9, "parts": 3},
    "Twin#1": {"net": 0.84, "formwork": 0.0},
    "Twin#2": {"net": 1.8, "formwork": 0.9},
    "Twin#3": {"net": 0.6, "formwork": 0.0},
    "precast": {"net": 1.44, "formwork": 0.0},
    "cast-in-place": {"net": 1.8, "formwork": 0.9},
}


def _body(m: CaseModel, low: float, *, down: bool = False, **words: object) -> object:
    """A wall body whose faces lie at `low` and `low` + TOTAL across it, extruded up or down."""
    outline = rectangle(0, low, 4, low + TOTAL)
    start, way = (3.0, -1) if down else (0.0, 1)
    body = m.extrusion(outline, 3.0, (0, 0, start), direction=(0, 0, way))
    return m.member("IfcWall", body, name="Twin", material=None, made=None, **words)


def centred(m: CaseModel) -> None:
    m.layers(_body(m, -TOTAL / 2), TWIN, axis=1, sense=1, offset=-TOTAL / 2)


def negative(m: CaseModel) -> None:
    m.layers(_body(m, -TOTAL / 2), TWIN, axis=1, sense=-1, offset=TOTAL / 2)


def beside_the_line(m: CaseModel) -> None:
    m.layers(_body(m, 0.0), TWIN, axis=1, sense=1, offset=0.0)


def turned_and_downward(m: CaseModel) -> None:
    wall = _body(m, -TOTAL, down=True, turn=90.0)
    m.layers(wall, TWIN, axis=1, sense=-1, offset=0.0)


# The sense contradicts the body (from -0.135 in the negative sense the layers would lie beside it): the stack
# must lie in the body. Which leaf is where then is a guess, but the volumes are not.
def wrong_sense(m: CaseModel) -> None:
    m.layers(_body(m, -TOTAL / 2), TWIN, axis=1, sense=-1, offset=-TOTAL / 2)


def no_usage(m: CaseModel) -> None:
    m.layers(_body(m, -TOTAL / 2), TWIN)


# Twin wall with an opening 1.0 x 1.2 through all three layers (10.8 m2 left): leaf 1 0.756, core 1.62, leaf 3
# 0.54. Core: ends 0.9, reveals (2 x 1.2 + 1.0) x 0.15 = 0.51; the sill is free. gross is that of the layers
# uncut.
def with_opening(m: CaseModel) -> None:
    wall = _body(m, -TOTAL / 2)
    m.layers(wall, TWIN, axis=1, sense=1, offset=-TOTAL / 2)
    m.box_void(wall, (1, -0.5, 0.9), (2, 0.5, 2.1))


# Insulated wall 4.0 x 3.0: cast 0.15, insulation 0.10, precast facing 0.07. Insulation is no form: the cast
# layer keeps both sides 24, and its ends 2 x 0.15 x 3.0 = 0.9.
def insulated(m: CaseModel) -> None:
    layers = (("In-situ concrete C30/37", 0.15), ("Insulation EPS", 0.10), ("Precast concrete C40/50", 0.07))
    body = m.extrusion(rectangle(0, 0, 4, 0.32), 3.0)
    wall = m.member("IfcWall", body, name="Insulated", material=None, made=None)
    m.layers(wall, layers, axis=1, sense=1, offset=0.0)


# Half slab 5 x 2: 0.06 precast below 0.14 cast: precast 0.6, cast 1.4; no soffit; edge 14 x 0.14 = 1.96; top
# 10.
HALF = {
    "slab": {"net": 2.0, "slab-soffit": 0.0, "slab-edge": 1.96},
    "precast": {"net": 0.6, "formwork": 0.0},
    "cast-in-place": {"net": 1.4, "formwork": 1.96},
}
BELOW, ABOVE = ("Precast concrete C40/50", 0.06), ("In-situ concrete C30/37", 0.14)


def half_slab_up(m: CaseModel) -> None:
    slab = m.slab(rectangle(0, 0, 5, 2), 0.2, 3.0, material=None, made=None)
    m.layers(slab, (BELOW, ABOVE), axis=2, sense=1, offset=0.0)


def half_slab_down(m: CaseModel) -> None:
    body = m.extrusion(rectangle(0, 0, 5, 2), 0.2, direction=(0, 0, -1))
    slab = m.member("IfcSlab", body, at=(0, 0, 3.2), material=None, made=None)
    m.layers(slab, (ABOVE, BELOW), axis=2, sense=-1, offset=0.0)


# A half slab on a slope of 20 degrees: the layers lie across the slab's own thickness. Its cast top slopes:
# 10 formed. Edges 2 x 5 x 0.14 + 2 x 2 x 0.14 = 1.96, two of them leaning 20 degrees.
def half_slab_sloped(m: CaseModel) -> None:
    body = m.extrusion(rectangle(0, 0, 5, 2), 0.2)
    slab = m.member("IfcSlab", body, at=(0, 0, 3.0), tilt=-20.0, material=None, made=None)
    m.layers(slab, (BELOW, ABOVE), axis=2, sense=1, offset=0.0)


# Layers that add up to 0.25 on a body of 0.27: the concrete is all counted, and there is a finding.
def misfit(m: CaseModel) -> None:
    wall = _body(m, -TOTAL / 2)
    layers = (
        ("Precast concrete C40/50", 0.06),
        ("In-situ concrete C30/37", 0.14),
        ("Precast concrete C40/50", 0.05),
    )
    m.layers(wall, layers, axis=1, sense=1, offset=-TOTAL / 2)


# A wall 4.0 x 0.2 x 3.0 with its own body and the same again as two parts of 0.1: counted once.
#   net 2.4; sides 24; ends 2 x 0.2 x 3.0 = 1.2
def own_body_and_parts(m: CaseModel) -> None:
    wall = m.wall((0, 0), (4, 0), 0.2, 3.0)
    halves = [m.extrusion(rectangle(0, low, 4, low + 0.1), 3.0) for low in (-0.1, 0.0)]
    m.aggregate(wall, [m.member("IfcBuildingElementPart", half, filed=False) for half in halves])


# The same wall without a body of its own, made of two parts end to end: one element, no joint between the
# parts.
def parts_only(m: CaseModel) -> None:
    halves = [m.extrusion(rectangle(x, -0.1, x + 2, 0.1), 3.0) for x in (0, 2)]
    parts = [m.member("IfcBuildingElementPart", half, filed=False) for half in halves]
    m.aggregate(m.product("IfcWall", name="Wall"), parts)


WHOLE = {"wall": {"net": 2.4, "wall-side": 24.0, "wall-end": 1.2, "free": 0.8, "seated": 0.8, "parts": 1}}


# The same wall pushed along its length instead of upward.
def pushed_along(m: CaseModel) -> None:
    section = rectangle(-TOTAL / 2, 0, TOTAL / 2, 3)
    words = {"name": "Twin", "material": None, "made": None}
    wall = m.profile_along("IfcWall", section, (0, 0, 0), (4, 0, 0), **words)
    m.layers(wall, TWIN, axis=1, sense=1, offset=-TOTAL / 2)


# A curved twin wall, a quarter ring from 4.0 to 4.27, 3.0 high: the layers are rings. Layers from the inside,
# which is the negative side of an axis that turns left: leaf 0.07, core 0.15, leaf 0.05.
#   core: between radii 4.07 and 4.22; its ends 2 x 0.15 x 3.0 = 0.9, its sides are against the leaves
RING = [math.pi / 4 * 3.0 * (b * b - a * a) for a, b in ((4.0, 4.07), (4.07, 4.22), (4.22, 4.27))]


def curved(m: CaseModel) -> None:
    body = m.extrusion(m.ring_sector(4.0, 4.0 + TOTAL, 90.0), 3.0)
    wall = m.member("IfcWall", body, name="Twin", material=None, made=None)
    m.layers(wall, TWIN)


CASES = (
    Case("twin wall", centred, ANSWERS),
    Case("twin wall, negative sense", negative, ANSWERS),
    Case("twin wall beside its line", beside_the_line, ANSWERS),
    Case("twin wall turned, extruded downward", turned_and_downward, ANSWERS),
    Case(
        "twin wall with a sense that cannot be",
        wrong_sense,
        {key: ANSWERS[key] for key in ("wall", "precast", "cast-in-place")},
        findings=(("layer", ("Twin",)),),
    ),
    Case("twin wall without a usage", no_usage, {key: ANSWERS[key] for key in ("wall", "Twin#2", "precast")}),
    Case(
        "twin wall with an opening",
        with_opening,
        {
            "wall": {"gross": 3.24, "net": 2.916, "wall-end": 0.9, "opening-reveal": 0.51},
            "Twin#1": {"gross": 0.84, "net": 0.756},
            "Twin#2": {"gross": 1.8, "net": 1.62},
            "Twin#3": {"gross": 0.6, "net": 0.54},
        },
    ),
    Case(
        "insulation does not form",
        insulated,
        {
            "wall": {"wall-side": 24.0, "wall-end": 0.9, "parts": 3},
            "cast-in-place": {"net": 1.8},
            "precast": {"net": 0.84},
            "not-concrete": {"net": 0.0, "gross": 0.0},
        },
    ),
    Case("half slab", half_slab_up, HALF | {"Slab": {"free": 10.0}}),
    Case("half slab extruded downward", half_slab_down, HALF | {"Slab": {"free": 10.0}}),
    Case(
        "half slab on a slope",
        half_slab_sloped,
        HALF
        | {
            "slab": {"net": 2.0, "slab-soffit": 0.0, "slab-edge": 1.96, "top-slope": 10.0},
            "cast-in-place": {"net": 1.4, "formwork": 11.96},
        },
    ),
    Case(
        "layers that do not fit",
        misfit,
        {"wall": {"gross": 3.24, "net": 3.24, "parts": 3}},
        findings=(("layer", ("Twin",)),),
        unformed=("wall",),
    ),
    Case("own body and parts", own_body_and_parts, WHOLE),
    Case("parts without a body of the whole", parts_only, WHOLE),
    Case("twin wall pushed along", pushed_along, ANSWERS),
    Case(
        "curved twin wall",
        curved,
        {
            "wall": {"net": sum(RING), "wall-side": 0.0, "wall-end": 0.9, "parts": 3},
            "cast-in-place": {"net": RING[1]},
        },
        tolerance=CURVED,
    ),
)
