"""Loads, lifts and casting of pieces, bearings' neighbours in handling, against hand values."""

import pytest
from build import Model, rectangle
from msgspec import structs
from pricing_rows import piece

from takeoff.findings import InputError
from takeoff.measuring.handling import load_handling, number_of
from takeoff.measuring.lifts import measure_lifts
from takeoff.measuring.loads import pack_loads
from takeoff.measuring.piece_records import StoreyRow
from takeoff.measuring.repetition import repetition_rows
from takeoff.measuring.storey_rows import same_outline
from takeoff.measuring.tilt_up import measure_casting
from takeoff.pipeline import measure
from takeoff.settings import Settings
from takeoff.templates import template_path

HANDLING = load_handling(template_path("handling.toml"))


def with_crane(**crane):
    return HANDLING.model_copy(update={"crane": HANDLING.crane.model_copy(update=crane)})


def plank(number, length=6.0, width=2.4, weight=2.16, **more):
    return piece(
        f"p{number:02d}", "slab", "precast", (length, width, 0.06), weight_t=weight, transport_check="flat",
        x_m=float(number), y_m=0.0, z_m=3.0, top_m=3.06, **more,
    )  # fmt: skip


def panel(number, weight=6.0, **more):
    return piece(
        f"w{number:02d}", "wall", "precast", (6.0, 3.0, 0.2), weight_t=weight,
        transport_check="upright on a low-loader", x_m=float(number), y_m=0.0, z_m=1.5, top_m=3.0, **more,
    )  # fmt: skip


def test_planks_are_stacked_and_loads_filled_by_weight():
    """6 m planks on 13.6 m: two stacks of eight; 24 t take 11 of 2.16 t (23.76 t). 25 planks: 11, 11, 3."""
    loads = pack_loads([plank(n) for n in range(25)], {}, HANDLING)
    assert [load.pieces for load in loads] == [11, 11, 3]
    assert [load.vehicle for load in loads] == ["flat"] * 3
    assert loads[0].weight_t == pytest.approx(23.76)
    assert loads[0].length_m == 12.0
    # Eight planks of 60 mm on seven spacers of 0.1 m above the deck of 1.2 m.
    assert loads[0].height_m == pytest.approx(1.2 + 8 * 0.06 + 7 * 0.1)
    assert loads[2].length_m == 6.0


def test_light_stacks_end_at_their_height_and_number():
    """Two stacks of eight is all that a lorry holds: 20 light planks are 16 and 4."""
    loads = pack_loads([plank(n, weight=0.5) for n in range(20)], {}, HANDLING)
    assert [load.pieces for load in loads] == [16, 4]
    beams = [
        piece(f"b{n}", "beam", "precast", (12.0, 0.5, 0.9), weight_t=1.0, transport_check="flat")
        for n in range(30)
    ]
    # 0.5 m wide: five side by side in 2.5 m; 0.9 + 0.1 + 0.9 = 1.9 m high of 2.8, a third would be 2.9: ten a load.
    assert [load.pieces for load in pack_loads(beams, {}, HANDLING)] == [10, 10, 10]


def test_standing_panels_share_a_rack():
    """1.5 t rack and three panels of 6 t are 19.5 t; a fourth would be 25.5 t."""
    loads = pack_loads([panel(n) for n in range(7)], {}, HANDLING)
    assert [load.pieces for load in loads] == [3, 3, 1]
    assert loads[0].weight_t == pytest.approx(19.5)
    assert loads[0].width_m == pytest.approx(3 * 0.3)
    assert loads[0].height_m == 3.0


def test_what_sticks_out_of_a_stack_needs_room_on_the_vehicle():
    """Stacks of 6.5 m and 7.0 m stand in a row of 13.6 m at most, what sticks out over them too."""
    rules = HANDLING.model_copy(
        update={"loads": HANDLING.loads.model_copy(update={"most_in_stack": 2, "overhang": 0.1})}
    )
    row = [plank(1, 6.5, weight=1.0), plank(2, 7.0, weight=1.0), plank(3, 7.05, weight=1.0)]
    # The second is too long for the first and stands before it: 13.5 m; the third sticks out 0.05 m over the second.
    (load,) = pack_loads(row, {}, rules)
    assert (load.pieces, load.length_m) == (3, 13.55)
    assert load.height_m == pytest.approx(1.2 + 0.06 + 0.1 + 0.06)
    # One of 7.1 m keeps the overhang, but the row would be 13.6 m and 7.11 m too long.
    long = [row[0], row[1], plank(3, 7.1, weight=1.0), plank(4, 7.11, weight=1.0)]
    assert [load.pieces for load in pack_loads(long, {}, rules)] == [3, 1]
    # Two stacks of 1.2 m take 2.4 of 2.5 m across: what is 1.5 m wide finds no room on either.
    narrow = [plank(1, 12.0, 1.2, weight=1.0), plank(2, 13.0, 1.2, weight=1.0)]
    broad = plank(3, 12.2, 1.5, weight=1.0)
    loads = pack_loads([*narrow, broad], {}, HANDLING)
    assert [(load.pieces, load.width_m) for load in loads] == [(2, 2.4), (1, 1.5)]
    # On a stack that stands alone it may lie.
    (load,) = pack_loads([narrow[0], broad], {}, HANDLING)
    assert (load.pieces, load.width_m, load.length_m) == (2, 1.5, 12.2)


def test_the_rack_counts_in_the_weight_of_what_stands_on_it():
    """A rack of 1.5 t leaves 22.5 of 24 t; flat pieces travel without one."""
    sides = {"length": 9.0, "width": 3.0, "thickness": 0.3}
    assert HANDLING.transport_check("precast", "wall", **sides, weight=22.5) == "upright on a low-loader"
    over = HANDLING.transport_check("precast", "wall", **sides, weight=22.6)
    assert over == "over: weight with rack 24.1 t of 24 t"
    assert HANDLING.transport_check("precast", "wall", **{**sides, "width": 2.4}, weight=24.0) == "flat"


def test_figures_at_their_limits_keep_them_in_every_unit_and_place():
    noise = 1.0 + 1e-7
    assert HANDLING.transport_check("precast", "slab", 13.6 * noise, 2.5 * noise, 2.8 * noise, 24.0) == "flat"
    assert HANDLING.transport_check("precast", "slab", 13.602, 2.5, 0.2, 24.0).startswith("over: length")
    assert number_of(12.0 * noise, 6.0) == 2
    assert number_of(12.01, 6.0) == 3
    assert number_of(1.0, 6.0, 2) == 2


def test_every_piece_is_on_one_load_in_the_order_of_erection():
    storeys = {("archive.ifc", "Ground"): 0.0, ("archive.ifc", "First"): 3.0}
    pieces = [plank(1, storey="First"), panel(2, storey="First"), plank(3), panel(4)]
    pieces.append(structs.replace(panel(5, weight=12.0), transport_check="over: width 4.00 m"))
    pieces.append(plank(6, setting="small", weight=0.1))
    pieces.append(structs.replace(panel(7), method="tilt-up"))
    loads = pack_loads(pieces, storeys, HANDLING)
    marks = [mark for load in loads for mark in load.marks.split(", ")]
    assert sorted(marks) == ["P01", "P03", "P06", "W02", "W04", "W05"]
    assert [load.vehicle for load in loads] == ["upright", "special", "flat", "pallets"]
    assert [load.check for load in loads] == ["", "over: width 4.00 m", "", ""]
    # The rack takes the panels of both storeys; walls of a storey come before its floor.
    assert loads[0].marks == "W04, W02"


def test_without_a_crane_the_heaviest_of_each_method():
    rows, findings = measure_lifts([panel(1), panel(2, weight=8.0), plank(3)], HANDLING)
    assert [(row.method, row.mark, row.ring, row.radius_m) for row in rows] == [("precast", "W02", "", None)]
    assert rows[0].pieces == 3
    assert rows[0].lifting_weight_t == pytest.approx(8.0 * 1.04 * 1.3)
    assert findings == ()


def test_the_table_by_radius_against_the_chart():
    """Crane at (0, 0): w03 at 3 m, w12 at 12 m, w18 at 18 m. Lifting weights 6 t x 1.04 x 1.3 = 8.112 t.

    The chart takes 24 t to 10 m, 11 t to 20 m: at 12 and 18 m all is well; 9 t lift 12.17 t and are over.
    """
    handling = with_crane(position=(0.0, 0.0), chart=((10.0, 24.0), (20.0, 11.0)))
    pieces = [panel(3), panel(12), panel(18, weight=9.0), panel(19, weight=2.0), plank(25)]
    rows, findings = measure_lifts(pieces, handling)
    assert [(row.ring, row.pieces, row.mark, row.capacity_t) for row in rows] == [
        ("0 to 10 m", 1, "W03", 24.0),
        ("10 to 15 m", 1, "W12", 11.0),
        ("15 to 20 m", 2, "W18", 11.0),
        ("20 to 25 m", 1, "P25", 0.0),
    ]
    assert rows[2].check == "1 of 2 over: lifting weight 12.2 t of 11 t at 18.0 m"
    (told,) = findings
    # Beyond the chart nothing is taken: the plank at 25 m is the worst.
    assert (told.kind, told.global_id, told.worth) == ("lift-over-chart", "p25", 2.0)


def tilt(number, length=6.0, height=9.0, **more):
    return piece(
        f"t{number}",
        "wall",
        "tilt-up",
        (height, length, 0.2),
        x_m=0.0,
        y_m=0.0,
        z_m=height / 2,
        top_m=height,
        **more,
    )


def test_casting_area_singly_stacked_and_too_small():
    """A panel of 6 x 9 m with 0.6 m around takes 7.2 x 10.2 = 73.44 m2; six of them 440.64 m2.

    On 500 m2 of floor 300 are free: two high they take 220.32 m2. On 200 m2 (120 free) four high take two beds,
    146.88 m2: too much.
    """
    panels = [tilt(n) for n in range(6)]
    (row,), findings = measure_casting(panels, [StoreyRow("m", "Ground", 0.0, None, 500.0, 90.0)], HANDLING)
    assert row.casting_area_m2 == pytest.approx(440.64)
    assert (row.stack, row.check) == (2, "cast 2 high")
    assert row.stacked_area_m2 == pytest.approx(220.32)
    assert row.panel_area_m2 == pytest.approx(324.0)
    assert (row.inserts, row.braces) == (12, 12)
    assert findings == ()
    (row,), findings = measure_casting(panels, [StoreyRow("m", "Ground", 0.0, None, 200.0, 60.0)], HANDLING)
    assert (row.stack, row.check) == (0, "over: 147 m2 even 4 high of 120 m2")
    assert [finding.kind for finding in findings] == ["casting-area-short"]
    assert findings[0].worth == pytest.approx(146.88 - 120.0)
    (row,), findings = measure_casting(panels, [], HANDLING)
    assert row.check == "no floor modelled at this storey to cast on"


def test_panels_beyond_the_usual_are_one_finding():
    high = tilt(1, length=4.0, height=17.0)
    _, findings = measure_casting(
        [tilt(0), high], [StoreyRow("m", "Ground", 0.0, None, 900.0, 90.0)], HANDLING
    )
    (told,) = findings
    assert (told.kind, told.global_id, told.worth) == ("panel-beyond-usual", "t1", 1.0)
    assert "height 17.00 m of 16 m" in told.message
    assert "85 times as high as thick" in told.message


def test_repetition_of_pieces_heights_and_outlines():
    """Twelve pieces in groups of 6, 5 and 1; storeys of 3.0, 3.0 and 3.5 m with 100, 100 and 50 m2 and a roof."""
    groups = ["A"] * 6 + ["B"] * 5 + ["C"]
    pieces = [plank(n, repetition_group=group) for n, group in enumerate(groups)]
    storeys = [
        StoreyRow("m", "1", 0.0, 3.0, 100.0, 40.0, "3.000 m", "A"),
        StoreyRow("m", "2", 3.0, 3.0, 100.0, 40.0, "3.000 m", "A"),
        StoreyRow("m", "3", 6.0, 3.5, 50.0, 30.0, "3.500 m", "B"),
        StoreyRow("m", "R", 9.5, None, 50.0, 30.0, "", "B"),
    ]
    rows = {row.measure: row for row in repetition_rows(pieces, storeys)}
    assert rows["pieces in groups of 5 or more"].share == pytest.approx(11 / 12)
    assert rows["pieces in groups of 10 or more"].share == 0.0
    assert rows["pieces for each shape"].share == pytest.approx(4.0)
    assert rows["storey height"].share == pytest.approx(200 / 250)
    assert rows["floor outline"].share == pytest.approx(200 / 300)
    assert rows["floor outline"].note == "A 2 times"


def test_outlines_are_alike_when_shifted_and_turned_but_not_when_changed():
    import shapely
    from shapely import affinity

    ell = shapely.Polygon([(0, 0), (20, 0), (20, 8), (8, 8), (8, 14), (0, 14)])
    moved = affinity.translate(affinity.rotate(ell, 33.7, origin=(3, 4)), 50, -20)
    assert same_outline(ell, moved)
    assert not same_outline(ell, affinity.scale(ell, -1, 1))
    assert not same_outline(ell, affinity.scale(ell, 1.02, 1.0))


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("most_in_stack = 8", "most_in_stack = 0", "most_in_stack"),
        ("usable_floor = 0.6", "usable_floor = 1.6", "usable_floor"),
        ("# position = [12.0, 8.0]", "position = [12.0]", "position"),
    ],
)
def test_faults_of_the_handling_file_are_named(tmp_path, old, new, says):
    text = template_path("handling.toml").read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "handling.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(InputError, match=says):
        load_handling(path)


@pytest.mark.parametrize(("walls", "heights"), [(3.3, [3.0, 3.5]), (1.0, [3.0, None])])
def test_the_last_storey_is_as_high_as_its_walls_reach(tmp_path, walls, heights):
    """Floors filed with the walls under them: over the last one there is a level without a floor. A parapet does not
    reach it."""
    m = Model("IFC4", "mm", 15.0, (0.0, 0.0, 0.0), name="heights")
    for name, level, height in (("Ground", 0.0, 2.8), ("First", 3.0, walls)):
        m.storey(name, level)
        m.wall((0, 0.1), (10, 0.1), 0.2, height, level)
        m.slab(rectangle(0, 0, 10, 8), 0.2, level + height)
    m.storey("Roof", 6.5)
    run = measure([m.save(tmp_path / "heights.ifc")], Settings(processes=1))
    found = [row.height_m for row in run.measurement.storeys]
    assert found == [None if height is None else pytest.approx(height) for height in heights]
