"""Sandwich and twin walls as pieces: what is lifted, what is cast, joints and forms, by hand.

Walls 4.0 x 3.0 m, 0.3 m thick, 20 mm apart, the first with a window of 1.0 x 1.0 m; densities 2,500 kg/m3.
"""

import pytest
from build import Model, rectangle

from takeoff.pipeline import measure
from takeoff.settings import Settings

PRECAST = {"material": "Concrete C40/50", "made": "Precast"}
SANDWICH = [
    ("Concrete C40/50 precast", 0.15),
    ("Mineral wool insulation", 0.08),
    ("Concrete C40/50 precast", 0.07),
]
TWIN = [
    ("Concrete C40/50 precast", 0.06),
    ("Concrete C25/30 in situ", 0.18),
    ("Concrete C40/50 precast", 0.06),
]


def measured(folder, layers, placed):
    rotate, offset, unit = placed
    m = Model("IFC4", unit, rotate, offset, name="layers")
    m.storey("Ground", 0.0)
    m.footing(rectangle(-1, -0.5, 9, 0.8), 0.4, -0.42, name="Footing")
    for number, start in enumerate((0.0, 4.02)):
        wall = m.wall((start, 0.15), (start + 4.0, 0.15), 0.3, 3.0, name=f"Wall {number}", **PRECAST)
        m.layers(wall, layers, offset=-0.15)
        if number == 0:
            m.box_void(wall, (1, -1, 1), (2, 1, 2))
    run = measure([m.save(folder / "layers.ifc")], Settings(processes=1)).measurement
    names = {part.global_id: part.name for part in run.parts}
    pieces = {names[piece.global_id]: piece for piece in run.pieces}
    joints = {(row.kind, names[row.global_id], names[row.other_id]): row for row in run.joints}
    return run, names, pieces, joints


@pytest.fixture(params=[(0.0, (0.0, 0.0, 0.0), "mm"), (23.0, (5.0e5, 2.0e5, 10.0), "ft")])
def placed(request):
    return request.param


def test_a_sandwich_panel_weighs_its_concrete_and_is_jointed_by_it(tmp_path, placed):
    """(12 - 1) x 0.22 = 2.42 m3 and 12 x 0.22 = 2.64 m3; its insulation is no concrete and no joint: 3.0 x 0.22 m2."""
    run, names, pieces, joints = measured(tmp_path, SANDWICH, placed)
    for name, volume, openings in (("Wall 0", 2.42, 1), ("Wall 1", 2.64, 0)):
        piece = pieces[name]
        assert (piece.length_m, piece.width_m, piece.thickness_m) == pytest.approx((4.0, 3.0, 0.3), abs=1e-6)
        assert (piece.volume_m3, piece.weight_t) == pytest.approx((volume, 2.5 * volume), abs=1e-5)
        assert piece.openings == openings
        assert piece.embedded == "1 insulation"
        assert piece.largest_face_m2 == pytest.approx(12.0 - openings, abs=1e-5)
    methods = sorted((part.part, part.method) for part in run.parts if names[part.global_id] == "Wall 0")
    assert methods == [(1, "precast"), (2, "not-concrete"), (3, "precast")]
    (upright,) = [row for (kind, *_), row in joints.items() if kind == "vertical"]
    assert (upright.length_m, upright.area_m2) == pytest.approx((3.0, 0.66), abs=1e-4)
    assert (upright.grout_m3, upright.sealant_m) == pytest.approx((0.66 * 0.02, 3.0), abs=1e-4)
    beds = [row for (kind, *_), row in joints.items() if kind == "bed"]
    assert sum(row.length_m for row in beds) == pytest.approx(8.0, abs=1e-4)
    assert sum(row.grout_m3 for row in beds) == pytest.approx(8.0 * 0.22 * 0.02, abs=1e-5)


def test_a_twin_wall_is_lifted_without_its_core_which_needs_no_form_at_the_leaves(tmp_path, placed):
    """Leaves (12 - 1) x 0.12 = 1.32 m3 and 1.44 m3, 3.3 and 3.6 t; cores (12 - 1) x 0.18 = 1.98 m3 and 2.16 m3. Forms
    of a core: its two ends, 2 x 3.0 x 0.18, and the jambs and head of the window, 3 x 0.18."""
    run, names, pieces, joints = measured(tmp_path, TWIN, placed)
    assert pieces["Wall 0"].weight_t == pytest.approx(3.3, abs=1e-5)
    assert pieces["Wall 1"].weight_t == pytest.approx(3.6, abs=1e-5)
    assert [len(piece.parts.split(";")) for piece in pieces.values()] == [2, 2]
    cores = {
        names[part.global_id]: part
        for part in run.parts
        if part.method == "cast-in-place" and part.role == "wall"
    }
    assert cores["Wall 0"].net_volume_m3 == pytest.approx(1.98, abs=1e-5)
    assert cores["Wall 1"].net_volume_m3 == pytest.approx(2.16, abs=1e-5)
    assert cores["Wall 0"].part == cores["Wall 1"].part == 2
    areas = dict.fromkeys(cores, 0.0)
    for row in run.formwork:
        if names[row.global_id] in areas and row.part == 2:
            areas[names[row.global_id]] += row.area_m2 if row.category != "wall-soffit" else 0.0
    formed = {"Wall 0": 2 * 3.0 * 0.18 + 3 * 0.18, "Wall 1": 2 * 3.0 * 0.18}
    # The cores are drawn 20 mm above the footing, as their leaves are: that strip is assumed seated.
    assert areas == pytest.approx(formed, abs=1e-4)
    (upright,) = [row for (kind, *_), row in joints.items() if kind == "vertical"]
    assert (upright.length_m, upright.area_m2) == pytest.approx((3.0, 0.36), abs=1e-4)
