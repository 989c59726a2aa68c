"""Below ground: a basement box by hand. Outer plan 10 x 6 m, walls 0.3 thick and 3 m high on a raft 0.4 thick
with a toe of 0.5, an inner wall, a light well on the south side, a free garden wall."""

from collections import defaultdict

import pytest
from build import Model, rectangle

from takeoff.pipeline import measure
from takeoff.settings import Settings


def _basement(path, schema="IFC4", unit="mm", rotate=0.0, offset=(0.0, 0.0, 0.0)):
    m = Model(schema, unit, rotate, offset, name="basement")
    m.storey("Basement", -3.0)
    m.slab(rectangle(-0.5, -0.5, 10.5, 6.5), 0.4, -3.4, name="Raft", PredefinedType="BASESLAB")
    walls = {
        "South": ((0, 0.15), (10, 0.15)),
        "North": ((0, 5.85), (10, 5.85)),
        "West": ((0.15, 0.3), (0.15, 5.7)),
        "East": ((9.85, 0.3), (9.85, 5.7)),
        "Inner": ((5, 0.3), (5, 5.7)),
        "Well west": ((2.1, -1.5), (2.1, 0)),
        "Well east": ((3.9, -1.5), (3.9, 0)),
        "Well south": ((2.0, -1.6), (4.0, -1.6)),
        "Garden": ((15, 0), (15, 6)),
    }
    for name, (start, end) in walls.items():
        thick = 0.2 if "Well" in name else 0.3
        wall = m.wall(start, end, thick, 3.0, base=-3.0, name=name)
        if name == "South":
            m.box_void(wall, (2.5, -0.5, 1.0), (3.5, 0.5, 2.0))
    m.storey("Ground floor", 0.0)
    m.slab(rectangle(0, 0, 10, 6), 0.25, 0.0, name="Top")
    return m.save(path)


def _envelope(run):
    names = {part.global_id: part.name for part in run.measurement.parts}
    found = defaultdict(float)
    for row in run.measurement.envelope:
        found[row.kind, names[row.global_id]] += row.area_m2 if row.area_m2 is not None else row.length_m
    return found


@pytest.fixture(scope="module", params=[("IFC4", "mm", 0.0), ("IFC2X3", "ft", 33.7)])
def run(request, tmp_path_factory):
    schema, unit, rotate = request.param
    path = tmp_path_factory.mktemp("basement") / "basement.ifc"
    return measure([_basement(path, schema, unit, rotate)], Settings(ground_level=-0.5))


def test_outer_faces_run_from_the_raft_to_the_ground(run):
    found = _envelope(run)
    # below -0.5 the walls are 2.5 high; the window lies in the light well, whose inside is not outside
    assert found["wall-face", "North"] == pytest.approx((10 + 2 * 0.3) * 2.5, rel=1e-4)
    assert found["wall-face", "West"] == pytest.approx(5.4 * 2.5, rel=1e-4)
    assert found["wall-face", "South"] == pytest.approx((10 - 2.0 + 2 * 0.3) * 2.5, rel=1e-3)
    assert found["wall-face", "Well south"] == pytest.approx((2.0 + 2 * 0.2) * 2.5, rel=1e-4)
    assert found["wall-face", "Well west"] == pytest.approx(1.5 * 2.5, rel=1e-4)
    assert ("wall-face", "Inner") not in found


def test_the_raft_counts_once_beneath_beside_and_on_its_toe(run):
    found = _envelope(run)
    assert found["underside", "Raft"] == pytest.approx(11 * 7, rel=1e-4)
    assert found["edge", "Raft"] == pytest.approx(2 * (11 + 7) * 0.4, rel=1e-4)
    # the toe outside the walls and the light well, which stands off the raft by 1.2 m
    assert found["top", "Raft"] == pytest.approx(11 * 7 - 10 * 6 - 2.0 * 0.5, rel=1e-3)


def test_a_garden_wall_keeps_no_water_out(run):
    assert not [key for key in _envelope(run) if key[1] == "Garden"]


def test_joints_of_outer_walls(run):
    found = _envelope(run)
    assert found["joint-base", "North"] == pytest.approx(10.0, rel=1e-4)
    assert found["joint-base", "West"] == pytest.approx(5.4, rel=1e-4)
    assert ("joint-base", "Inner") not in found


def test_concrete_below_ground(run):
    by_name = {part.name: part for part in run.measurement.parts}
    assert by_name["Raft"].below_ground_m3 == pytest.approx(11 * 7 * 0.4)
    assert by_name["North"].below_ground_m3 == pytest.approx(10 * 0.3 * 2.5, rel=1e-4)
    assert by_name["Top"].below_ground_m3 is None


def test_a_level_that_was_not_given_is_assumed_aloud(tmp_path):
    run = measure([_basement(tmp_path / "b.ifc")])
    assert run.record["ground_level"]["height_m"] == pytest.approx(0.0)
    notes = [f for f in run.measurement.findings if f.kind == "ground-level-assumed"]
    assert len(notes) == 1
    assert "Ground floor" in notes[0].assumed


def test_without_a_basement_nothing_is_below_ground(tmp_path):
    m = Model("IFC4", "m", name="shed")
    m.storey("Ground floor", 0.0)
    m.wall((0, 0), (5, 0), 0.2, 3.0)
    run = measure([m.save(tmp_path / "shed.ifc")])
    assert run.measured.ground.height is None
    assert run.measurement.envelope == ()
