"""Ground by terrain, by hand: a pit of 8 x 6 m, walls 0.3 thick and 3.0 high from -3.0 on a raft of 0.4, in ground
that rises along x: z = -1.5 + x / 4, so that it crosses the top of the walls at x = 6."""

from collections import defaultdict

import pytest
from build import Model
from terrain import curves, grid, shown, surface, without
from test_below_ground_shapes import _box, _raft

from takeoff.pipeline import measure
from takeoff.settings import Settings

VARIANTS = [
    ("IFC4", "mm", 0.0, (0.0, 0.0, 0.0)),
    ("IFC2X3", "ft", 33.7, (4.0e6, 1.0e6, 0.0)),
    ("IFC4X3", "m", -71.0, (-1.0e6, 3.0e6, 80.0)),
]
BOX = (-12, -12, 20, 20)

# South and north: 1.5 + x/4 up to x = 6, where it is 3.0, then 3.0; ends of 0.3 at x = 0 and x = 8.
LONG = 6 * (1.5 + 3.0) / 2 + 2 * 3.0
PIT = {
    ("underside", "Raft"): 48.0,
    ("edge", "Raft"): 28 * 0.4,
    ("wall-face", "S"): LONG + 0.3 * (1.5 + 3.0),
    ("wall-face", "N"): LONG + 0.3 * (1.5 + 3.0),
    ("wall-face", "W"): 5.4 * 1.5,
    ("wall-face", "E"): 5.4 * 3.0,
    ("joint-base", "S"): 8.0,
    ("joint-base", "N"): 8.0,
    ("joint-base", "W"): 5.4,
    ("joint-base", "E"): 5.4,
    # no roof is drawn: heads of walls that the ground lies over are buried tops
    ("top", "S"): 2 * 0.3,
    ("top", "N"): 2 * 0.3,
    ("top", "E"): 5.4 * 0.3,
    # in the middle of walls west (x = 0.15) and east
    ("joint-wall", ""): 2 * (1.5 + 0.15 / 4) + 2 * 3.0,
}
VOLUMES = {"S": 0.3 * LONG, "W": 5.4 * 0.3 * (1.5 + 0.15 / 4), "E": 5.4 * 0.3 * 3.0, "Raft": 48 * 0.4}


def slope(x, y):
    return -1.5 + x / 4


def pit(variant=VARIANTS[0]):
    m = Model(*variant)
    m.storey("Basement", -3.0)
    _raft(m)
    _box(m, (0, 0), (8, 6), 3.0, -3.0)
    return m


def run_of(m, path, **settings):
    return measure([m.save(path / "pit.ifc")], Settings(**settings))


def envelope(run):
    names = {part.global_id: part.name for part in run.measurement.parts}
    found = defaultdict(float)
    for row in run.measurement.envelope:
        of = "" if row.kind == "joint-wall" else names[row.global_id]
        found[row.kind, of] += row.area_m2 if row.area_m2 is not None else row.length_m
    return dict(found)


def below(run):
    return {part.name: part.below_ground_m3 for part in run.measurement.parts}


def kinds(run, kind):
    return [finding for finding in run.measurement.findings if finding.kind == kind]


def site(m, item, name="Body", kind="Tessellation"):
    shown(m, m.site, item, name, kind)


SCHEMAS = {"network": ("IFC4X3",), "face set": ("IFC4", "IFC4X3")}
WAYS = ["face set", "network", "surface model", "shells", "brep", "contours", "points", "extruded"]


def terrain(m, way):
    """The plane z = -1.5 + x / 4 as the site's own shape."""
    if way == "contours":
        lines = [[(x, BOX[1], slope(x, 0)), (x, BOX[3], slope(x, 0))] for x in range(BOX[0], BOX[2] + 1, 2)]
        site(m, curves(m, lines), "SurveyPoints", "GeometricCurveSet")
    elif way == "points":
        points = [m.point(at) for at in grid(slope, BOX, 4)[0]]
        site(m, m.file.create_entity("IfcGeometricSet", points), "SurveyPoints", "GeometricSet")
    elif way == "extruded":
        # a block of soil pushed along y, its section in x and z
        section = [(-12, -9), (20, -9), (20, slope(20, 0)), (-12, slope(-12, 0))]
        body = m.extrusion(section, 32.0, at=(0, 20, 0), axes=((0, -1, 0), (1, 0, 0)))
        site(m, body, "Body", "SweptSolid")
    else:
        site(m, surface(m, way, grid(slope, BOX, 4)))


@pytest.mark.parametrize(
    ("way", "variant"),
    [
        pytest.param(way, variant, id=f"{way}-{variant[0]}-{variant[1]}")
        for way in WAYS
        for variant in VARIANTS
        if variant[0] in SCHEMAS.get(way, (variant[0],))
    ],
)
def test_walls_are_cut_where_the_terrain_meets_them(way, variant, tmp_path):
    m = pit(variant)
    terrain(m, way)
    run = run_of(m, tmp_path)
    found = envelope(run)
    assert set(found) == set(PIT)
    assert found == pytest.approx(PIT, rel=1e-4)
    found = below(run)
    assert {name: found[name] for name in VOLUMES} == pytest.approx(VOLUMES, rel=1e-4)
    ground = run.record["ground_level"]
    zero = variant[3][2]
    assert (ground["lowest_m"], ground["highest_m"]) == pytest.approx((zero - 1.5, zero + 0.5), abs=1e-6)
    (note,) = kinds(run, "ground-level-assumed")
    assert "IfcSite" in note.assumed
    assert not kinds(run, "terrain-doubtful")


def flat(height, m, box=BOX, hole=None, step=4):
    triangles = grid(lambda x, y: height, box, step)
    site(m, surface(m, "surface model", without(triangles, hole) if hole else triangles))


def test_the_level_that_is_given_wins_and_the_terrain_is_told_where_it_differs(tmp_path):
    m = pit()
    terrain(m, "face set")
    run = run_of(m, tmp_path, ground_level=-1.0)
    assert envelope(run)["wall-face", "W"] == pytest.approx(5.4 * 2.0)
    (finding,) = kinds(run, "ground-levels-differ")
    assert "-1.500 m to +0.500 m" in finding.message
    assert "-1.000 m (given for this run)" in finding.assumed


def test_a_terrain_that_agrees_with_the_level_given_is_not_told(tmp_path):
    m = pit()
    flat(-1.2, m)
    assert not kinds(run_of(m, tmp_path, ground_level=-1.0), "ground-levels-differ")


# The surveyed surface is often cut out under the building: 12 x 12 m from (-2, -2) is missing, the rim at -1.5 + x / 4.
def test_a_hole_under_the_building_is_closed_from_its_rim(tmp_path):
    m = pit()
    triangles = without(grid(slope, (-12, -12, 20, 20), 2), (-2, -2, 10, 10))
    site(m, surface(m, "face set", triangles))
    run = run_of(m, tmp_path)
    assert envelope(run) == pytest.approx(PIT, rel=1e-4)
    (finding,) = kinds(run, "terrain-doubtful")
    assert "holes of 144.0 m2" in finding.message


def test_a_terrain_that_does_not_reach_the_building_falls_back_on_other_sources(tmp_path):
    m = pit()
    flat(-2.0, m, (14, -12, 26, 12))
    m.storey("Ground floor", 0.0)
    run = run_of(m, tmp_path)
    assert envelope(run)["wall-face", "W"] == pytest.approx(5.4 * 3.0)
    (finding,) = kinds(run, "terrain-not-used")
    assert "does not reach 5 elements" in finding.message
    assert "Ground floor" in kinds(run, "ground-level-assumed")[0].assumed


def test_a_terrain_under_a_part_of_a_wall_holds_beyond_its_edge_and_is_told(tmp_path):
    m = pit()
    flat(-2.0, m, (-12, -12, 4, 20))
    run = run_of(m, tmp_path)
    # the east wall stands off the terrain by 4 m and has no ground
    assert envelope(run)["wall-face", "S"] == pytest.approx((8 + 0.3 * 2) * 1.0, rel=1e-3)
    assert ("wall-face", "E") not in envelope(run)
    assert "by more than 1.00 m" in kinds(run, "terrain-doubtful")[0].message


def test_two_surfaces_one_above_the_other_are_told_and_the_higher_counts(tmp_path):
    m = pit()
    flat(-1.0, m)
    other = m.product("IfcBuildingElementProxy", surface(m, "surface model", grid(lambda x, y: -2.0, BOX, 4)))
    other.Name = "Existing ground"
    run = run_of(m, tmp_path)
    assert envelope(run)["wall-face", "W"] == pytest.approx(5.4 * 2.0)
    (finding,) = kinds(run, "terrain-doubtful")
    assert "1.00 m" in finding.message


# South of y = -0.5 the ground lies at -3.0 (an open yard), north of it at 0: the step is upright.
def test_an_upright_step_beside_the_building_is_told(tmp_path):
    m = pit()
    points, faces = grid(lambda x, y: -3.0, (-12, -12.5, 20, -0.5), 4)
    high, more = grid(lambda x, y: 0.0, (-12, -0.5, 20, 15.5), 4)
    count = len(points)
    step = [(-12, -0.5, -3), (20, -0.5, -3), (20, -0.5, 0), (-12, -0.5, 0)]
    faces = faces + [[k + count for k in face] for face in more]
    count += len(high)
    faces += [[count, count + 1, count + 2], [count, count + 2, count + 3]]
    site(m, surface(m, "face set", ([*points, *high, *step], faces)))
    run = run_of(m, tmp_path)
    assert envelope(run)["wall-face", "S"] == pytest.approx((8 + 0.6) * 3.0)
    assert any("upright" in finding.message for finding in kinds(run, "terrain-doubtful"))


@pytest.mark.parametrize("kind", ["FootPrint", "Annotation"])
def test_a_plan_of_the_site_is_no_terrain(kind, tmp_path):
    m = pit()
    site(m, curves(m, [[(-12, -12, 0), (20, -12, 0), (20, 20, 0), (-12, 20, 0)]]), kind, "GeometricCurveSet")
    run = run_of(m, tmp_path)
    assert run.measured.ground.height is None or "terrain:" not in run.measured.ground.source
    assert not kinds(run, "terrain-not-used")


def test_a_terrain_that_makes_no_sense_is_told_and_not_used(tmp_path):
    m = pit()
    item = surface(m, "face set", grid(slope, BOX, 4))
    item.CoordIndex = [[1, 2, 10**6]]
    site(m, item)
    run = run_of(m, tmp_path)
    assert kinds(run, "terrain-not-used")


# A retaining wall is bare on one side: the yard before it lies at its foot. The basement behind it is a room.
def test_ground_on_one_side_only(tmp_path):
    m = pit()
    triangles = grid(lambda x, y: -3.2 if y < 3 else -0.5, (-12, -9, 20, 21), 2)
    site(m, surface(m, "face set", triangles))
    found = envelope(run_of(m, tmp_path))
    assert ("wall-face", "S") not in found
    assert found["wall-face", "N"] == pytest.approx((8 + 0.6) * 2.5, rel=1e-3)
    # between y = 1 and y = 3, where the grid has its rows, the ground rises in a line from -3.2 to -0.5:
    # it passes the foot of the walls at y = 1 + 2 * 0.2 / 2.7
    rise = 2 - 2 * 0.2 / 2.7
    assert found["wall-face", "W"] == pytest.approx((5.7 - 3) * 2.5 + rise * 2.5 / 2, rel=1e-3)


@pytest.mark.parametrize("variant", VARIANTS, ids=lambda variant: f"{variant[0]}-{variant[1]}")
def test_round_and_leaning_walls_in_sloping_ground(variant, tmp_path):
    """A tank of radius 3 about (0, 0) in z = -1 + x / 4: the mean along its outside is -1."""
    m = Model(*variant)
    m.storey("Basement", -3.0)
    m.member(
        "IfcSlab", m.extrusion(m.circle(3.0), 0.4), at=(0, 0, -3.4), name="Base", PredefinedType="BASESLAB"
    )
    m.member("IfcWall", m.extrusion(m.tube(3.0, 0.25), 3.0), at=(0, 0, -3), name="Wall")
    site(m, surface(m, "surface model", grid(lambda x, y: -1 + x / 4, BOX, 4)))
    found = envelope(run_of(m, tmp_path))
    assert found["wall-face", "Wall"] == pytest.approx(2 * 3.141592653589793 * 3 * 2, rel=1e-3)
