"""Ground by what buildings, storeys and slabs state, by hand: which source wins, and which contradictions are told.

The pit of 8 x 6 m with walls from -3.0 to 0: the west face is 5.4 wide and as deep as the ground is over -3.0."""

import pytest
from build import Model, rectangle
from terrain import grid, surface
from test_below_ground_shapes import _box
from test_ground_terrain import VARIANTS, envelope, kinds, pit, run_of, site

from takeoff.pipeline import measure
from takeoff.settings import Settings


def attributes(m, terrain=None, reference=None, site=None):
    for thing, name, value in (
        (m.building, "ElevationOfTerrain", terrain),
        (m.building, "ElevationOfRefHeight", reference),
        (m.site, "RefElevation", site),
    ):
        if value is not None:
            setattr(thing, name, m.length(value))


def depth(run):
    """How deep the ground lies over the foot of the west wall, 0 where it is not in the ground."""
    return envelope(run).get(("wall-face", "W"), 0.0) / 5.4


@pytest.mark.parametrize("variant", VARIANTS, ids=lambda variant: f"{variant[0]}-{variant[1]}")
@pytest.mark.parametrize(
    ("terrain", "reference", "site", "wanted"),
    [
        (411.2, 412.0, None, 3.0 - 0.8),  # both above the sea: -0.8 over the building's zero
        (411.2, 412.0, 500.0, 3.0 - 0.8),  # the building's own reference goes before the site's
        (411.2, None, 412.0, 3.0 - 0.8),
    ],
)
def test_levels_above_the_sea(terrain, reference, site, wanted, variant, tmp_path):
    m = pit(variant)
    attributes(m, terrain, reference, site)
    run = run_of(m, tmp_path)
    assert depth(run) == pytest.approx(wanted, rel=1e-4)
    (note,) = kinds(run, "ground-level-assumed")
    assert "+411.200 m" in note.assumed
    assert run.record["ground_level"]["height_m"] == pytest.approx(variant[3][2] - 0.8)


def test_a_level_above_the_sea_without_a_reference_is_told_and_not_used(tmp_path):
    m = pit()
    attributes(m, 411.2)
    m.storey("Ground floor", 0.0)
    run = run_of(m, tmp_path)
    assert depth(run) == pytest.approx(3.0)
    (finding,) = kinds(run, "ground-levels-differ")
    assert finding.assumed == "not used"


@pytest.mark.parametrize(("reference", "site"), [(0.0, None), (None, 0.0), (None, None), (0.0, 300.0)])
def test_zero_over_zero_states_nothing(reference, site, tmp_path):
    m = pit()
    attributes(m, 0.0, reference, site)
    m.slab(rectangle(10, 0, 14, 4), 0.2, -0.5, name="Ground slab", PredefinedType="BASESLAB")
    run = run_of(m, tmp_path)
    assert depth(run) == pytest.approx(3.0 - 0.3)
    (note,) = kinds(run, "ground-level-assumed")
    assert "slab on the ground" in note.assumed


def test_the_terrain_goes_before_the_level_of_the_building_and_differences_are_told(tmp_path):
    m = pit()
    attributes(m, -1.0, 0.0)
    site(m, surface(m, "face set", grid(lambda x, y: -2.0, (-12, -12, 20, 20), 4)))
    run = run_of(m, tmp_path)
    assert depth(run) == pytest.approx(1.0)
    (finding,) = kinds(run, "ground-levels-differ")
    assert "-1.000 m" in finding.message
    assert "-2.000 m" in finding.assumed


@pytest.mark.parametrize(("terrain", "told"), [(-0.45, False), (-0.55, True)])
def test_the_storey_contradicts_from_half_a_metre_on(terrain, told, tmp_path):
    m = pit()
    attributes(m, terrain, 0.0)
    m.storey("Ground floor", 0.0)
    run = run_of(m, tmp_path)
    assert depth(run) == pytest.approx(3.0 + terrain)
    assert bool(kinds(run, "ground-levels-differ")) == told


def test_a_ground_slab_goes_before_the_storey_but_the_floor_of_a_basement_does_not(tmp_path):
    m = pit()
    m.storey("Ground floor", 0.0)
    (note,) = kinds(run_of(m, tmp_path), "ground-level-assumed")
    assert "storey Ground floor" in note.assumed
    m.slab(rectangle(8, 0, 14, 6), 0.2, -0.5, name="Ground slab")
    run = run_of(m, tmp_path)
    assert "+0.300 m" not in kinds(run, "ground-level-assumed")[0].assumed
    assert "-0.300 m: top of the highest slab" in kinds(run, "ground-level-assumed")[0].assumed
    assert depth(run) == pytest.approx(2.7)


@pytest.mark.parametrize("variant", VARIANTS, ids=lambda variant: f"{variant[0]}-{variant[1]}")
def test_a_storey_at_the_building_s_zero_tells_the_ground_wherever_the_model_stands(variant, tmp_path):
    m = pit(variant)
    m.storey("Ground floor", 0.0)
    run = run_of(m, tmp_path)
    assert depth(run) == pytest.approx(3.0)
    assert run.record["ground_level"]["height_m"] == pytest.approx(variant[3][2])


@pytest.mark.parametrize("variant", VARIANTS, ids=lambda variant: f"{variant[0]}-{variant[1]}")
def test_two_buildings_of_one_model_have_each_their_ground(variant, tmp_path):
    """House east stands 20 m off; its ground is written 1.0 lower than that of house west."""
    m = pit(variant)
    attributes(m, 99.5, 100.0)
    first = m.building
    m.building = m._spatial("IfcBuilding", "House east", m.site)
    m.aggregate(m.site, [m.building])
    attributes(m, 98.5, 100.0)
    m.storey("Basement east", -3.0)
    m.slab(rectangle(20, 0, 28, 6), 0.4, -3.4, name="Raft east", PredefinedType="BASESLAB")
    _box(m, (20, 0), (28, 6), 3.0, -3.0, "east ")
    assert first is not m.building
    run = run_of(m, tmp_path)
    found = envelope(run)
    assert found["wall-face", "W"] == pytest.approx(5.4 * 2.5, rel=1e-4)
    assert found["wall-face", "east W"] == pytest.approx(5.4 * 1.5, rel=1e-4)
    assert len(kinds(run, "ground-level-assumed")) == 2
    ground = run.record["ground_level"]
    zero = variant[3][2]
    assert (ground["lowest_m"], ground["highest_m"]) == pytest.approx((zero - 1.5, zero - 0.5))


def test_the_terrain_may_stand_in_a_model_of_its_own(tmp_path):
    house = pit()
    land = Model("IFC4", "ft", name="land")
    site(land, surface(land, "face set", grid(lambda x, y: -1.0, (-12, -12, 20, 20), 4)))
    run = measure(
        [house.save(tmp_path / "house.ifc"), land.save(tmp_path / "land.ifc")], Settings(ground_level=None)
    )
    assert depth(run) == pytest.approx(2.0)


def test_a_run_from_the_cache_has_the_same_ground(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    m = pit()
    site(m, surface(m, "face set", grid(lambda x, y: -1.0 + x / 8, (-12, -12, 20, 20), 4)))
    path = m.save(tmp_path / "pit.ifc")
    cold = measure([path], Settings())
    warm = measure([path], Settings())
    other = measure([path], Settings(ground_level=-1.0))  # solids and terrain from the shelf
    assert warm.measurement.envelope == cold.measurement.envelope
    assert warm.record["ground_level"] == cold.record["ground_level"]
    assert kinds(other, "ground-levels-differ")
