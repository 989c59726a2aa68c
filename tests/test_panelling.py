"""Division of long walls and whole floors by rule, against hand values."""

import manifold3d
import numpy as np
import pytest
from build import Model, rectangle
from msgspec.structs import replace
from test_pieces import HANDLING, box, mesh_of, moved, part_of

from takeoff.findings import InputError
from takeoff.geometry.mesh import Mesh, volume
from takeoff.measuring.cut_places import Line, find_cuts, module_cuts
from takeoff.measuring.joint_rules import load_joint_rules
from takeoff.measuring.panelling import divide
from takeoff.measuring.panelling_rules import load_panelling
from takeoff.measuring.pieces import PieceRules, make_pieces
from takeoff.pipeline import bill, measure
from takeoff.settings import Settings
from takeoff.templates import template_path

RULES = load_panelling(template_path("panelling.toml"))
WALL = RULES.wall


def spans(division, axis=0):
    """Lowest and highest coordinate of each panel along an axis, from its outline."""
    return [
        (round(float(panel.corners[:, axis].min()), 3), round(float(panel.corners[:, axis].max()), 3))
        for panel in division.panels
    ]


def volumes(division):
    return [sum(volume(body) for body in panel.bodies) for panel in division.panels]


def test_equal_widths_where_nothing_is_in_the_way():
    """25 m by 12 m at most, three panels of 8.333 m; 0.2 x 3 m x 2.5 t/m3 = 1.5 t a metre, 12.5 t each."""
    division = divide([mesh_of(box((0, 0, 0), (25, 0.2, 3)))], WALL, 2500.0)
    widths = [high - low for low, high in spans(division)]
    assert widths == pytest.approx([25 / 3] * 3, abs=2e-3)
    assert volumes(division) == pytest.approx([5.0] * 3, abs=2e-3)
    assert [(cut.kind, cut.length, cut.area) for cut in division.cuts] == [
        ("vertical", pytest.approx(3.0), pytest.approx(0.6))
    ] * 2
    assert division.note == ""


def test_joints_keep_away_from_openings_and_the_total_stays():
    """A window from 7.8 to 9.0 m stands where the first of two joints at 8.333 m would be: 0.3 m clear of it."""
    wall = box((0, 0, 0), (25, 0.2, 3)) - box((7.8, -1, 1), (9.0, 1, 2))
    division = divide([mesh_of(wall)], WALL, 2500.0)
    (_, first), (second, _), _ = spans(division)
    assert first == second
    assert first <= 7.5 + 1e-6 or first >= 9.3 - 1e-6
    # Nearest to equal: 7.5 is 0.833 away, 9.3 is 0.967.
    assert first == pytest.approx(7.5, abs=0.051)
    assert sum(volumes(division)) == pytest.approx(25 * 0.2 * 3 - 1.2 * 0.2, abs=1e-9)


def test_weight_drives_the_number_where_length_does_not():
    """12 x 0.3 x 3 m weighs 27 t: two panels of 13.5 t. With 2.5 t/m3, and 0.4 thick three of 12 t each."""
    assert len(divide([mesh_of(box((0, 0, 0), (12, 0.3, 3)))], WALL, 2500.0).panels) == 2
    thick = divide([mesh_of(box((0, 0, 0), (12, 0.6, 3)))], WALL, 2500.0)
    assert max(volumes(thick)) * 2.5 <= 20.0 * (1 + 1e-6)
    assert len(thick.panels) == 3


def test_high_walls_are_made_of_panels_that_stand():
    """10 m long and 9 m high: panels 9 m long stand, 3.6 m wide at most: three of 3.333 m."""
    division = divide([mesh_of(box((0, 0, 0), (10, 0.18, 9)))], WALL, 2500.0)
    assert [high - low for low, high in spans(division)] == pytest.approx([10 / 3] * 3, abs=2e-3)
    assert spans(division, axis=2) == [(0.0, 9.0)] * 3


def test_very_high_walls_have_rows():
    """20 m high: two rows of 10 m, each of panels 3.5 m wide, 7 m in two."""
    division = divide([mesh_of(box((0, 0, 0), (7, 0.15, 20)))], WALL, 2500.0)
    assert sorted(set(spans(division, axis=2))) == [(0.0, 10.0), (10.0, 20.0)]
    assert len(division.panels) == 4
    assert sorted(cut.kind for cut in division.cuts) == ["bed", "bed", "vertical", "vertical"]


def test_a_joint_through_an_opening_is_told_where_there_is_no_other_way():
    wall = box((0, 0, 0), (24, 0.2, 3)) - box((2, -1, 1), (22, 1, 2))
    division = divide([mesh_of(wall)], WALL, 2500.0)
    assert "opening" in division.note
    assert sum(volumes(division)) == pytest.approx(24 * 0.2 * 3 - 20 * 0.2, abs=1e-9)


def test_turned_walls_divide_alike():
    solid = box((0, 0, 0), (25, 0.2, 3)) - box((7.8, -1, 1), (9.0, 1, 2))
    mesh = mesh_of(solid)
    turn = np.radians(33.7)
    around = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1.0]])
    turned = Mesh.of(mesh.vertices @ around.T + [400.0, -70.0, 3.0], mesh.faces)
    one, other = divide([mesh], WALL, 2500.0), divide([turned], WALL, 2500.0)
    assert sorted(volumes(other)) == pytest.approx(sorted(volumes(one)), abs=1e-6)


def test_gables_and_steps_are_no_openings():
    """A gable 8 m wide: eaves at 3.0 m, ridge at 5.0; panels of 3.6 m at most stand, three of 8/3 m. A wall that
    steps up by 1.5 m at 6.1 m: halves would have their joint 0.15 m from the step; it keeps 0.3 m away."""
    gable = manifold3d.CrossSection([[(0, 0), (8, 0), (8, 3), (4, 5), (0, 3)]])
    solid = manifold3d.Manifold.extrude(gable, 0.2).rotate((90, 0, 0))
    division = divide([mesh_of(solid)], WALL, 2500.0)
    assert division.note == ""
    assert sorted(volumes(division)) == pytest.approx(
        sorted([0.2 * (8 / 3) * (3 + 2 / 3), 0.2 * (8 / 3) * (3 + 2 / 3), 0.2 * (32 - 16 / 3 * (3 + 2 / 3))]),
        abs=1e-3,
    )
    stepped = box((0, 0, 0), (12.5, 0.2, 1.5)) + box((6.1, 0, 0), (12.5, 0.2, 3.0))
    division = divide([mesh_of(stepped)], WALL, 2500.0)
    assert division.note == ""
    joint = min(panel.corners[:, 0].max() for panel in division.panels)
    assert abs(joint - 6.1) >= 0.3 - 1e-9
    assert abs(joint - 6.25) < 0.3


@pytest.mark.parametrize("turn", [0.0, 37.0, 90.0])
def test_a_panel_turned_in_its_plane_is_within_the_limits_by_its_own_sides(turn):
    """3.0 x 2.7 m, turned by 37 degrees 3.96 m high."""
    assert divide([mesh_of(box((0, 0, 0), (3, 0.2, 2.7)).rotate((0, turn, 0)))], WALL, 2500.0) is None


def test_what_is_within_the_limits_or_no_panel_is_left_whole():
    assert divide([mesh_of(box((0, 0, 0), (12, 0.2, 3)))], WALL, 2500.0) is None
    angle = box((0, 0, 0), (20, 0.2, 3)) + box((0, 0, 0), (0.2, 8, 3))
    division = divide([mesh_of(angle)], WALL, 2500.0)
    assert division.panels == ()
    assert "angled" in division.note
    assert RULES.rule_for("precast", "column") is None
    assert RULES.rule_for("tilt-up", "slab") is None


def test_a_floor_is_planks_by_the_module_with_a_make_up_piece():
    """20 x 9 m: eight modules of 2.4 m and one of 0.8; a corner 5 x 3 m is missing. Strips span the 9 m."""
    floor = box((0, 0, 0), (20, 9, 0.06)) - box((0, 0, -1), (5, 3, 1))
    division = divide([mesh_of(floor)], RULES.slab, 2500.0)
    widths = [round(high - low, 3) for low, high in spans(division)]
    assert sorted(widths) == [0.8] + [2.4] * 8
    by_hand = [2.4 * 6, 2.4 * 6, 0.2 * 6 + 2.2 * 9, *[2.4 * 9] * 5, 0.8 * 9]
    assert sorted(volumes(division)) == pytest.approx(sorted(0.06 * area for area in by_hand), abs=1e-9)
    assert sum(cut.length for cut in division.cuts) == pytest.approx(2 * 6 + 6 * 9)


@pytest.mark.parametrize(
    ("hole", "told"), [((3.0, 4.0), ""), ((4.0, 5.5), "1 opening"), ((4.7, 4.9), "1 opening")]
)
def test_a_joint_through_a_hole_of_a_floor_is_told(hole, told):
    """Joints of modules of 2.4 m lie at 2.4, 4.8, 7.2."""
    floor = box((0, 0, 0), (12, 9, 0.06)) - box((hole[0], 3, -1), (hole[1], 6, 1))
    division = divide([mesh_of(floor)], RULES.slab, 2500.0)
    assert told in division.note
    assert bool(division.note) == bool(told)


def test_a_narrow_rest_shares_with_its_neighbour():
    assert module_cuts(0.0, 5.0, 2.4, 0.6).places == pytest.approx((2.4, 3.7))
    assert module_cuts(0.0, 4.8, 2.4, 0.6).places == pytest.approx((2.4,))
    assert module_cuts(0.0, 5.6, 2.4, 0.6).places == pytest.approx((2.4, 4.8))


def test_a_floor_cut_apart_by_its_own_outline_gives_a_piece_for_each_part():
    """A U in plan: the strips across its mouth are two pieces each."""
    floor = box((0, 0, 0), (12, 9, 0.2)) - box((2.4, 3, -1), (9.6, 6, 1)) - box((2.4, 2.9, -1), (4.8, 6.1, 1))
    division = divide([mesh_of(floor)], replace_module(2.4), 2500.0)
    assert sum(volumes(division)) == pytest.approx(volume(mesh_of(floor)), abs=1e-9)
    assert len(division.panels) == 2 + 3 * 2


def replace_module(module):
    return RULES.slab.model_copy(update={"module": module})


def test_limits_of_every_piece_hold_for_many_sizes():
    rng = np.random.default_rng(5)
    for length, height, depth in rng.uniform((13, 2.5, 0.12), (60, 3.5, 0.3), (12, 3)):
        division = divide([mesh_of(box((0, 0, 0), (length, depth, height)))], WALL, 2500.0)
        widths = [high - low for low, high in spans(division)]
        assert max(widths) <= 12.0 + 2e-3
        assert max(volumes(division)) * 2.5 <= 20.0 * (1 + 1e-5)
        assert max(widths) - min(widths) < 0.05 * max(widths)
        assert sum(volumes(division)) == pytest.approx(length * height * depth, rel=1e-9)


def test_find_cuts_gives_up_only_where_no_number_of_pieces_helps():
    line = Line(0.0, 10.0, 4.0, 0.5, 0.5, (), 0.3)
    lump = find_cuts(line, lambda places: np.where(places > 5.0, 50.0, 0.0), 20.0)
    assert lump is None


def test_pieces_of_a_divided_wall_have_rows_marks_and_outlines():
    rules = PieceRules(HANDLING, load_joint_rules(template_path("joints.toml")), RULES)
    mesh = mesh_of(box((0, 0, 0), (24, 0.2, 3)))
    made = make_pieces(
        [part_of("A", volume(mesh))], {("m.ifc", "A", 1, 1): mesh}, [], {}, rules, np.array([100.0, 0, 5])
    )
    assert [row.panel for row in sorted(made.rows, key=lambda row: row.x_m)] == ["1 of 2", "2 of 2"]
    assert len({row.mark for row in made.rows}) == 2
    assert [row.repetition_count for row in made.rows] == [2, 2]
    assert sum(row.volume_m3 for row in made.rows) == pytest.approx(14.4)
    assert sum(row.weight_t for row in made.rows) == pytest.approx(36.0)
    first = made.panels[0]
    points = np.array([[float(x) for x in text.split()] for text in first.corners.split("; ")])
    assert points.min(axis=0) == pytest.approx([100.0, 0.1, 5.0])
    assert points.max(axis=0) == pytest.approx([112.0, 0.1, 8.0])
    (told,) = [finding for finding in made.findings if finding.kind == "piece-divided"]
    assert told.worth == 2.0


def test_a_piece_with_a_mark_of_its_own_stays_as_drawn():
    rules = PieceRules(HANDLING, load_joint_rules(template_path("joints.toml")), RULES)
    mesh = moved(mesh_of(box((0, 0, 0), (24, 0.2, 3))), 1)
    part = replace(part_of("A", volume(mesh)), mark="W7")
    (row,) = make_pieces([part], {("m.ifc", "A", 1, 1): mesh}, [], {}, rules).rows
    assert (row.mark, row.panel) == ("W7", "")


@pytest.fixture(scope="module")
def long_wall(tmp_path_factory):
    m = Model("IFC4", "mm", 33.7, (1e5, 2e5, 12.0), name="long")
    m.storey("Ground", 0.0)
    m.footing(rectangle(-1, -0.5, 31, 0.5), 0.4, -0.4, name="Footing")
    wall = m.wall((0, 0), (30, 0), 0.2, 3.0, name="Long wall", material="Concrete C40/50", made="Precast")
    m.box_void(wall, (9.5, -1, 0.9), (10.7, 1, 2.1))
    return m.save(tmp_path_factory.mktemp("long") / "long.ifc")


def test_a_long_wall_is_priced_by_its_pieces(long_wall):
    """30 m: joints at about 10 and 20 m, the first moved clear of the window from 9.5 to 10.7 m."""
    run = bill([long_wall], Settings(processes=1))
    pieces = sorted(run.measurement.pieces, key=lambda piece: piece.panel)
    assert [piece.panel for piece in pieces] == ["1 of 3", "2 of 3", "3 of 3"]
    assert sum(piece.volume_m3 for piece in pieces) == pytest.approx(30 * 0.2 * 3 - 1.44 * 0.2, abs=1e-6)
    cuts = [joint for joint in run.measurement.joints if joint.cut]
    assert [joint.kind for joint in cuts] == ["vertical", "vertical"]
    assert sum(joint.length_m for joint in cuts) == pytest.approx(6.0, abs=1e-6)
    # 20 mm wide by the joints file, sealed on one side.
    assert sum(joint.grout_m3 for joint in cuts) == pytest.approx(2 * 0.6 * 0.02, abs=1e-6)
    items = {item.key: item.quantity for section in run.bill.sections for item in section.items}
    assert sum(quantity for key, quantity in items.items() if key.startswith("precast.erection")) == 3.0
    assert items["joints.vertical.precast.wall.precast"] == pytest.approx(6.0, abs=1e-6)
    assert items["precast.connections.wall"] == 12.0
    assert len(run.measurement.panels) == 3


def test_without_a_rule_that_reaches_it_the_wall_is_one_piece(long_wall, tmp_path):
    text = template_path("panelling.toml").read_text(encoding="utf-8")
    path = tmp_path / "panelling.toml"
    path.write_text(
        text.replace("most_length = 12.0", "most_length = 40.0").replace(
            "most_weight = 20.0", "most_weight = 90.0"
        )
    )
    run = measure([long_wall], replace(Settings(processes=1), panelling=path))
    assert [piece.panel for piece in run.measurement.pieces] == [""]
    assert "piece-over-road-limit" in {finding.kind for finding in run.measurement.findings}


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("most_height = 3.6", "most_height = 13.0", "shorter side"),
        ("module = 2.4", "module = 0.5", "least_width"),
        ("as_one = 4.0", "as_two = 4.0", "as_one"),
        ("divide_marked = false", 'divide_marked = "perhaps"', "divide_marked"),
    ],
)
def test_faults_of_a_panelling_file_are_named(tmp_path, old, new, says):
    text = template_path("panelling.toml").read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "panelling.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(InputError, match=says) as caught:
        load_panelling(path)
    assert str(path) in str(caught.value)


def test_joints_between_openings_are_equally_wide():
    """30 m, a window from 9.5 m: the first joint is held at 9.2 m by it, the other halves what is left, 20.8 m."""
    wall = box((0, 0, 0), (30, 0.2, 3)) - box((9.5, -1, 1), (10.7, 1, 2))
    division = divide([mesh_of(wall)], WALL, 2500.0)
    widths = [high - low for low, high in spans(division)]
    assert widths == pytest.approx([9.2, 10.4, 10.4], abs=1e-6)


def test_an_item_counts_the_pieces_of_a_divided_body(long_wall):
    """One wall of 30 m is one element and three units: supply, delivery and erection speak of three."""
    run = bill([long_wall], Settings(processes=1))
    texts = [
        item.description
        for section in run.bill.sections
        for item in section.items
        if "walls" in item.description
    ]
    supplied = [text for text in texts if text.startswith(("Precast concrete", "Delivery"))]
    assert len(supplied) == 2
    assert all("3 units" in text for text in supplied)


def test_moulds_are_priced_by_family(long_wall):
    """Three panels of 9.2 and twice 10.4 m, one with a window: one mould 3.0 m wide, set to further shapes twice."""
    run = bill([long_wall], Settings(processes=1))
    (family,) = run.measurement.moulds
    assert (family.mould, family.pieces, family.moulds, family.adjustable) == ("W 3000x200", 3, 1, True)
    assert (family.shortest_m, family.longest_m) == pytest.approx((9.2, 10.4))
    assert family.changes == family.shapes - 1 == 2
    items = {item.key: item for section in run.bill.sections for item in section.items}
    assert items["precast.moulds.wall"].quantity == 1.0
    assert items["precast.mould-changes.wall"].quantity == 2.0
    assert ", 3 units, " in items["precast.moulds.wall"].description
    assert items["precast.moulds.wall"].rate is not None
    (row,) = [row for row in run.bill.dimensions if row.item == "precast.moulds.wall"]
    assert row.global_id == run.measurement.pieces[0].global_id
    assert "family W 3000x200" in row.location
