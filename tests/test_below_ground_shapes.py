"""Below ground in other shapes, by hand: a sump, two storeys, a shaft, a cellar under a part, a pit half above ground.

Walls are 0.3 thick unless said otherwise."""

import math
from collections import defaultdict

import pytest
from build import Model, rectangle

from takeoff.pipeline import measure
from takeoff.settings import Settings

PI = math.pi
VARIANTS = [
    ("IFC4", "mm", 0.0, (0.0, 0.0, 0.0)),
    ("IFC2X3", "ft", 33.7, (4.0e6, 1.0e6, 0.0)),
    ("IFC4X3", "m", -71.0, (-1.0e6, 3.0e6, 80.0)),
]


def _box(
    m: Model, low: tuple[float, float], high: tuple[float, float], height: float, base: float, of=""
) -> None:
    """Four walls within a rectangle: south and north run through, west and east stand between them."""
    (x0, y0), (x1, y1), half = low, high, 0.15
    for name, start, end in (
        ("S", (x0, y0 + half), (x1, y0 + half)),
        ("N", (x0, y1 - half), (x1, y1 - half)),
        ("W", (x0 + half, y0 + 0.3), (x0 + half, y1 - 0.3)),
        ("E", (x1 - half, y0 + 0.3), (x1 - half, y1 - 0.3)),
    ):
        m.wall(start, end, 0.3, height, base=base, name=of + name)


def _walls(wide: float, deep: float, height: float, of: str = "", joint: float | None = None) -> dict:
    """Faces and joints of such a box whose outside is free over `height`; upright joints over `joint`."""
    return {
        ("wall-face", of + "S"): (wide + 0.6) * height,
        ("wall-face", of + "N"): (wide + 0.6) * height,
        ("wall-face", of + "W"): (deep - 0.6) * height,
        ("wall-face", of + "E"): (deep - 0.6) * height,
        ("joint-base", of + "S"): wide,
        ("joint-base", of + "N"): wide,
        ("joint-base", of + "W"): deep - 0.6,
        ("joint-base", of + "E"): deep - 0.6,
        ("joint-wall", ""): 4 * (height if joint is None else joint),
    }


def _raft(m: Model, **words) -> None:
    m.slab(rectangle(0, 0, 8, 6), 0.4, -3.4, name="Raft", PredefinedType="BASESLAB", **words)


RAFT = {("underside", "Raft"): 48.0, ("edge", "Raft"): 28 * 0.4}


def pit(m: Model) -> None:
    _raft(m)
    _box(m, (0, 0), (8, 6), 3.0, -3.0)
    m.slab(rectangle(0, 0, 8, 6), 0.2, 0.0, name="Top")


# A hole of 2 x 2 in the raft, under it a box of 2.6 x 2.6, 1.0 high, on a base of 0.3: only its outside is outside.
def sump(m: Model) -> None:
    _raft(m, holes=[rectangle(3, 2, 5, 4)])
    _box(m, (0, 0), (8, 6), 3.0, -3.0)
    _box(m, (2.7, 1.7), (5.3, 4.3), 1.0, -4.4, "sump ")
    m.slab(rectangle(2.7, 1.7, 5.3, 4.3), 0.3, -4.7, name="Sump base", PredefinedType="BASESLAB")


SUMP = {
    **RAFT,
    **_walls(8, 6, 3.0),
    **_walls(2.6, 2.6, 1.0, "sump "),
    ("underside", "Raft"): 48 - 2.6**2,
    ("underside", "Sump base"): 2.6**2,
    ("edge", "Sump base"): 4 * 2.6 * 0.3,
    ("joint-wall", ""): 4 * 3.0 + 4 * 1.0,
}


# Lower walls 2.8, a slab of 0.2 through to their outer face, upper walls 3.0.
def two_storeys(m: Model) -> None:
    m.slab(rectangle(0, 0, 8, 6), 0.4, -6.4, name="Raft", PredefinedType="BASESLAB")
    _box(m, (0, 0), (8, 6), 2.8, -6.0, "lower ")
    m.slab(rectangle(0, 0, 8, 6), 0.2, -3.2, name="Middle")
    _box(m, (0, 0), (8, 6), 3.0, -3.0, "upper ")
    m.slab(rectangle(0, 0, 8, 6), 0.2, 0.0, name="Top")


STOREYS = {
    **RAFT,
    **_walls(8, 6, 2.8, "lower "),
    **_walls(8, 6, 3.0, "upper "),
    ("edge", "Middle"): 28 * 0.2,
    ("joint-wall", ""): 4 * 5.8,
}


# A round shaft: wall of radii 2.75 and 3.0 on a base of radius 3.3. The joint runs along the middle of the wall.
def shaft(m: Model) -> None:
    base = m.extrusion(m.circle(3.3), 0.4)
    m.member("IfcSlab", base, at=(0, 0, -3.4), name="Raft", PredefinedType="BASESLAB")
    m.member("IfcWall", m.extrusion(m.tube(3.0, 0.25), 3.0), at=(0, 0, -3), name="Wall")
    m.member("IfcSlab", m.extrusion(m.circle(3.0), 0.2), name="Top")


SHAFT = {
    ("underside", "Raft"): PI * 3.3**2,
    ("edge", "Raft"): 2 * PI * 3.3 * 0.4,
    ("top", "Raft"): PI * (3.3**2 - 9),
    ("wall-face", "Wall"): 2 * PI * 3 * 3,
    ("joint-base", "Wall"): 2 * PI * 2.875,
}


# One body for all four walls: the joint runs round along its middle, 2 x 7.7 + 2 x 5.7.
def one_ring(m: Model) -> None:
    _raft(m)
    body = m.extrusion(rectangle(0, 0, 8, 6), 3.0, holes=[rectangle(0.3, 0.3, 7.7, 5.7)])
    m.member("IfcWall", body, at=(0, 0, -3), name="Ring")


RING = {**RAFT, ("wall-face", "Ring"): 28 * 3.0, ("joint-base", "Ring"): 26.8}


# A cellar under a part of a ground slab 14 x 6: the slab's underside beside the cellar lies on the ground. The ground
# is found: the level of the storey at zero above a basement.
def part_cellar(m: Model) -> None:
    _raft(m)
    _box(m, (0, 0), (8, 6), 2.8, -3.0)
    m.storey("Ground floor", 0.0)
    m.slab(rectangle(0, 0, 14, 6), 0.2, -0.2, name="Ground slab")


CELLAR = {
    **RAFT,
    **_walls(8, 6, 2.8),
    ("underside", "Ground slab"): 6 * 6,
    ("edge", "Ground slab"): 40 * 0.2,
}


# A pad with a column, and a garden wall on its strip: deep, but around no room.
def no_room(m: Model) -> None:
    m.footing(rectangle(0, 0, 1, 1), 0.5, -1.5, name="Pad")
    m.column((0.5, 0.5), 0.4, 0.4, 4.0, base=-1.0)
    m.footing(rectangle(5, 0, 6, 8), 0.4, -1.6, name="Strip")
    m.wall((5.5, 0), (5.5, 8), 0.3, 3.0, base=-1.2, name="Garden")


CASES = {
    "pit": (pit, 0.0, {**RAFT, **_walls(8, 6, 3.0)}),
    "pit in part above ground": (pit, -1.5, {**RAFT, **_walls(8, 6, 1.5)}),
    "sump": (sump, 0.0, SUMP),
    "two storeys": (two_storeys, 0.0, STOREYS),
    "shaft": (shaft, 0.0, SHAFT),
    "one ring": (one_ring, 0.0, RING),
    "part cellar": (part_cellar, None, CELLAR),
    "no room": (no_room, 0.0, {}),
}


@pytest.mark.parametrize("variant", VARIANTS, ids=lambda variant: f"{variant[0]}-{variant[1]}")
@pytest.mark.parametrize("name", CASES)
def test_faces_and_joints_below_ground(name, variant, tmp_path):
    build, ground, wanted = CASES[name]
    model = Model(*variant)
    model.storey("Basement", -3.0)
    build(model)
    level = None if ground is None else ground + variant[3][2]
    run = measure([model.save(tmp_path / "pit.ifc")], Settings(ground_level=level))
    names = {part.global_id: part.name for part in run.measurement.parts}
    found = defaultdict(float)
    for row in run.measurement.envelope:
        # a joint of two walls counts once, under either
        of = "" if row.kind == "joint-wall" else names[row.global_id]
        found[row.kind, of] += row.area_m2 if row.area_m2 is not None else row.length_m
    assert dict(found) == pytest.approx(wanted, rel=1e-3)
