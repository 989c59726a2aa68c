"""Joints of a panel building by hand. All in metres; gaps are drawn as they are built.

Strip footings, top at 0. Panels stand on 20 mm of mortar, are 3.0 high and 0.2 thick:
- South 1 from x = 0 to 4, with a door 1.0 x 2.1; South 2 from 4.02 to 8.02
- East, from y = 0.22 to 5.78, its end 20 mm from the inner face of South 2
- North, from x = 0 to 8.02, in one piece, 20 mm from East's other end
- a twin wall of two leaves of 60 mm and a core beside it, from x = 10 to 15 on a footing of its own
Planks 0.2 thick lie dry on South and North with 100 mm: Plank 1 from x = 0 to 1.2, Plank 2 from 1.21 to 2.41;
Plank 3 from 2.41 to 3.61, closed to Plank 2, lies 30 mm on North. A topping of 50 mm over the first two.
"""

import numpy as np
import pytest
from build import Model, rectangle
from msgspec.structs import replace

from takeoff.findings import InputError
from takeoff.measuring.joint_rules import load_joint_rules
from takeoff.pipeline import measure
from takeoff.settings import Settings
from takeoff.templates import template_path

PRECAST = {"material": "Concrete C40/50", "made": "Precast"}
BASE, TOP = 0.02, 3.02


def panel_building(path, rotate=0.0, offset=(0.0, 0.0, 0.0), unit="mm", made="Precast"):
    m = Model("IFC4", unit, rotate, offset, name="panels")
    m.storey("Ground", 0.0)
    m.footing(rectangle(-0.3, -0.2, 8.3, 0.4), 0.4, -0.4, name="South footing")
    m.footing(rectangle(-0.3, 5.6, 8.3, 6.2), 0.4, -0.4, name="North footing")
    m.footing(rectangle(7.6, 0.4, 8.3, 5.6), 0.4, -0.4, name="East footing")
    panel = {"material": "Concrete C40/50", "made": made}
    south = m.wall((0, 0.1), (4, 0.1), 0.2, 3.0, BASE, name="South 1", **panel)
    m.box_void(south, (1.5, -1, 0), (2.5, 1, 2.12))
    m.wall((4.02, 0.1), (8.02, 0.1), 0.2, 3.0, BASE, name="South 2", **panel)
    m.wall((7.92, 0.22), (7.92, 5.78), 0.2, 3.0, BASE, name="East", **panel)
    m.wall((0, 5.9), (8.02, 5.9), 0.2, 3.0, BASE, name="North", **panel)
    for number, (left, end) in enumerate([(0.0, 5.9), (1.21, 5.9), (2.41, 5.83)], start=1):
        m.slab(rectangle(left, 0.1, left + 1.2, end), 0.2, TOP, name=f"Plank {number}", **PRECAST)
    m.slab(rectangle(0, 0.1, 2.41, 5.9), 0.05, TOP + 0.2, name="Topping")
    return m.save(path)


def by_names(run):
    names = {part.global_id: part.name for part in run.measurement.parts}
    return {
        (joint.kind, names[joint.global_id], names[joint.other_id]): joint for joint in run.measurement.joints
    }


@pytest.fixture(scope="module", params=[(0.0, (0.0, 0.0, 0.0), "mm"), (33.7, (4.0e6, 1.0e5, 30.0), "ft")])
def run(request, tmp_path_factory):
    rotate, offset, unit = request.param
    folder = tmp_path_factory.mktemp("panels")
    return measure([panel_building(folder / "panels.ifc", rotate, offset, unit)], Settings(processes=1))


EXPECTED = {
    # kind, piece, other: length, area, gap
    ("bed", "South 1", "South footing"): (3.0, 0.6, 0.02),  # less the door
    ("bed", "South 2", "South footing"): (4.0, 0.8, 0.02),
    ("bed", "East", "South footing"): (0.18, 0.036, 0.02),  # y 0.22 to 0.40
    ("bed", "East", "East footing"): (5.2, 1.04, 0.02),
    ("bed", "East", "North footing"): (0.18, 0.036, 0.02),
    ("bed", "North", "North footing"): (8.02, 1.604, 0.02),
    ("vertical", "South 1", "South 2"): (3.0, 0.6, 0.02),
    ("vertical", "East", "South 2"): (3.0, 0.6, 0.02),
    ("vertical", "East", "North"): (3.0, 0.6, 0.02),
    ("slab", "Plank 1", "Plank 2"): (5.8, 1.16, 0.01),
    ("slab", "Plank 2", "Plank 3"): (5.73, 1.146, 0.0),
    ("topping", "Plank 1", "Topping"): (5.8, 6.96, 0.0),
    ("topping", "Plank 2", "Topping"): (5.8, 6.96, 0.0),
    ("bearing", "Plank 1", "South 1"): (1.2, 0.12, 0.0),
    ("bearing", "Plank 2", "South 1"): (1.2, 0.12, 0.0),
    ("bearing", "Plank 3", "South 1"): (1.2, 0.12, 0.0),
    ("bearing", "Plank 1", "North"): (1.2, 0.12, 0.0),
    ("bearing", "Plank 2", "North"): (1.2, 0.12, 0.0),
    ("bearing", "Plank 3", "North"): (1.2, 0.036, 0.0),
}


def test_every_joint_of_the_building_by_hand(run):
    found = by_names(run)
    pairs = {(kind, *sorted(names)) for kind, *names in EXPECTED}
    assert {(kind, *sorted(names)) for kind, *names in found} == pairs
    for (kind, one, other), (length, area, gap) in EXPECTED.items():
        joint = found.get((kind, one, other)) or found[kind, other, one]
        assert joint.length_m == pytest.approx(length, abs=1e-4), (kind, one, other)
        assert joint.area_m2 == pytest.approx(area, abs=1e-4), (kind, one, other)
        assert joint.gap_m == pytest.approx(gap, abs=1e-5), (kind, one, other)


def test_the_piece_that_is_set_stands_first(run):
    for kind, one, other in by_names(run):
        assert not one.endswith(("footing", "Topping"))
        if kind == "bearing":
            assert one.startswith("Plank")
            assert not other.startswith("Plank")


def test_grout_sealant_and_closed_joints(run):
    found = by_names(run)
    beds = sum(joint.grout_m3 for key, joint in found.items() if key[0] == "bed")
    assert beds == pytest.approx((0.6 + 0.8 + 0.036 + 1.04 + 0.036 + 1.604) * 0.02, rel=1e-4)
    upright = [joint for key, joint in found.items() if key[0] == "vertical"]
    assert sum(joint.sealant_m for joint in upright) == pytest.approx(9.0, abs=1e-3)
    assert sum(joint.grout_m3 for joint in upright) == pytest.approx(3 * 0.6 * 0.02, rel=1e-4)
    edges = {frozenset(key[1:]): joint for key, joint in found.items() if key[0] == "slab"}
    drawn = edges[frozenset(("Plank 1", "Plank 2"))]
    assert (drawn.width_m, drawn.grout_m3) == (pytest.approx(0.01, abs=1e-5), pytest.approx(0.0116, rel=1e-3))
    # Drawn closed: the joints file says 10 mm, and a finding tells it.
    closed = edges[frozenset(("Plank 2", "Plank 3"))]
    assert closed.gap_m == pytest.approx(0.0, abs=1e-6)
    assert (closed.width_m, closed.grout_m3) == (0.01, pytest.approx(0.01146, rel=1e-4))
    (told,) = [f for f in run.measurement.findings if f.kind == "joint-drawn-closed"]
    assert told.worth == pytest.approx(0.01146, rel=1e-4)


def test_bearings_and_the_short_one(run):
    names = {part.global_id: part.name for part in run.measurement.parts}
    found = {(names[row.global_id], names[row.support_id]): row for row in run.measurement.bearings}
    assert len(found) == 6
    for (plank, support), row in found.items():
        short = (plank, support) == ("Plank 3", "North")
        assert row.bearing_m == pytest.approx(0.03 if short else 0.10, abs=1e-4)
        assert row.width_m == pytest.approx(1.2, abs=1e-4)
        assert row.least_m == 0.04
        assert bool(row.check) == short
    (told,) = [f for f in run.measurement.findings if f.kind == "short-bearing"]
    assert names[told.global_id] == "Plank 3"
    assert told.worth == 1.0


@pytest.mark.parametrize(
    ("walls", "told"),
    [
        ([(0, 0), (0, 4)], True),  # one wall under one end
        ([(0, 0), (0, 4), (5.8, 0), (5.8, 4)], False),
        ([(2.6, 0), (2.6, 4)], True),  # under the wrong side of the middle
        ([(2.85, 0), (2.85, 4)], False),  # balanced on it
    ],
)
def test_a_piece_held_at_one_end_only_is_told(tmp_path, walls, told):
    m = Model("IFC4", "mm", 20.0, (0.0, 0.0, 0.0), name="one end")
    m.storey("Ground", 0.0)
    for start, end in zip(walls[::2], walls[1::2], strict=True):
        m.wall(start, end, 0.2, 3.0, 0.0, name="Support", material="Concrete C30/37", made="Cast in place")
    m.slab(rectangle(-0.1, 0.0, 5.9, 1.2), 0.2, 3.0, name="Plank", **PRECAST)
    run = measure([m.save(tmp_path / "one-end.ifc")], Settings(processes=1))
    found = [f for f in run.measurement.findings if f.kind == "bearing-on-one-side"]
    assert bool(found) == told
    assert not [f for f in run.measurement.findings if f.kind == "bearing-not-shown"]


def test_bearings_of_skew_supports_and_of_pieces_that_span_the_short_way(tmp_path):
    m = Model("IFC4", "ft", 25.0, (1.0e6, 2.0e6, 0.0), name="bearings")
    m.storey("Ground", 0.0)
    cast = {"material": "Concrete C30/37", "made": "Cast in place"}
    m.slab(rectangle(0, 0, 6, 1.2), 0.07, 3.0, name="Plank", **PRECAST)
    # 0.3 m thick, its line leans 30 degrees from square to the span: 0.3 / cos 30 = 0.3464 along the span.
    m.wall((0.6, -1), (0.6 + 4 * 0.5773503, 3), 0.3, 3.0, name="Skew wall", **cast)
    m.wall((5.95, -1), (5.95, 3), 0.2, 3.0, name="End wall", **cast)  # 0.15 under the plank
    m.slab(rectangle(20, 0, 26, 2.4), 0.2, 3.0, name="Panel", **PRECAST)
    m.wall((20, 0), (26, 0), 0.2, 3.0, name="Long wall", **cast)  # 0.10 under the panel
    m.wall((20, 2.42), (26, 2.42), 0.1, 3.0, name="Thin wall", **cast)  # 0.03
    run = measure([m.save(tmp_path / "bearings.ifc")], Settings(processes=1))
    names = {part.global_id: part.name for part in run.measurement.parts}
    found = {
        (names[row.global_id], names[row.support_id]): (row.bearing_m, row.width_m, bool(row.check))
        for row in run.measurement.bearings
    }
    assert found == {
        ("Plank", "Skew wall"): (pytest.approx(0.34641, abs=1e-4), pytest.approx(1.2, abs=1e-4), False),
        ("Plank", "End wall"): (pytest.approx(0.15, abs=1e-4), pytest.approx(1.2, abs=1e-4), False),
        ("Panel", "Long wall"): (pytest.approx(0.10, abs=1e-4), pytest.approx(6.0, abs=1e-4), False),
        ("Panel", "Thin wall"): (pytest.approx(0.03, abs=1e-4), pytest.approx(6.0, abs=1e-4), True),
    }


@pytest.mark.parametrize(("unit", "rotate"), [("mm", 12.0), ("ft", 0.0), ("ft", 33.7)])
@pytest.mark.parametrize(("gap", "number"), [(0.04, 6), (0.041, 0)])
def test_a_joint_as_wide_as_the_limit_counts_however_the_model_is_placed(tmp_path, unit, rotate, gap, number):
    m = Model("IFC4", unit, rotate, (100.0, 50.0, 0.0), name="wide")
    m.storey("Ground", 0.0)
    m.footing(rectangle(-0.5, -0.5, 9, 0.5), 0.4, -0.4, name="Footing")
    m.wall((0, 0), (4, 0), 0.2, 3.0, gap, name="West", **PRECAST)
    m.wall((4 + gap, 0), (8 + gap, 0), 0.2, 3.0, gap, name="East", **PRECAST)
    m.slab(rectangle(0, 0.1 + gap, 2, 4), 0.15, 1.0, name="Plank 1", **PRECAST)
    m.slab(rectangle(2 + gap, 0.1 + gap, 4, 4), 0.15, 1.0, name="Plank 2", **PRECAST)
    joints = measure([m.save(tmp_path / "wide.ifc")], Settings(processes=1)).measurement.joints
    # Two beds, the upright joint, the planks' edges; of the planks to the west panel both.
    assert len(joints) == number
    assert all(joint.gap_m == pytest.approx(0.04, abs=1e-5) for joint in joints)
    assert sum(joint.length_m for joint in joints) == pytest.approx(
        (4 + 4 + 3 + (4 - 0.14) + 2 + 2 - 0.04) if number else 0.0, abs=1e-3
    )


def test_connections_by_piece(run):
    number = {piece.role: 0.0 for piece in run.measurement.pieces}
    for piece in run.measurement.pieces:
        number[piece.role] += piece.connections
    assert number == {"wall": 16.0, "slab": 0.0}


def test_tilt_up_panels_are_sealed_on_both_sides_and_hold_no_grout(tmp_path):
    run = measure([panel_building(tmp_path / "t.ifc", made="Tilt-up")], Settings(processes=1))
    upright = [joint for key, joint in by_names(run).items() if key[0] == "vertical"]
    assert sum(joint.sealant_m for joint in upright) == pytest.approx(18.0, abs=1e-3)
    assert sum(joint.grout_m3 for joint in upright) == 0.0
    # 0.6 connections a metre of length, rounded up, at least 4: 4 x 4 and 8.02 x 0.6 = 4.8 to 5.
    walls = sorted(piece.connections for piece in run.measurement.pieces if piece.role == "wall")
    assert walls == [4.0, 4.0, 4.0, 5.0]


def test_two_leaves_of_a_twin_wall_are_one_bed_and_what_is_cast_on_them_no_bed(tmp_path):
    m = Model("IFC4", "mm", name="twin")
    m.storey("Ground", 0.0)
    m.footing(rectangle(-0.5, -0.3, 5.5, 0.5), 0.4, -0.4, name="Footing")
    for number, (start, end) in enumerate([(0.0, 2.5), (2.5, 5.0)], start=1):
        wall = m.wall((start, 0.15), (end, 0.15), 0.3, 2.7, name=f"Twin {number}", **PRECAST)
        layers = [
            ("Concrete C40/50 precast", 60),
            ("Concrete C25/30 in situ", 180),
            ("Concrete C40/50 precast", 60),
        ]
        m.layers(wall, [(name, thickness / 1000) for name, thickness in layers], offset=-0.15)
    m.slab(rectangle(0, 0, 5, 0.3), 0.2, 2.7, name="Slab")
    run = measure([m.save(tmp_path / "twin.ifc")], Settings(processes=1))
    assert len(run.measurement.pieces) == 2
    found = {(kind, one, other): joint for (kind, one, other), joint in by_names(run).items()}
    for number in (1, 2):
        bed = found["bed", f"Twin {number}", "Footing"]
        assert (bed.length_m, bed.area_m2) == (pytest.approx(2.5, abs=1e-6), pytest.approx(0.3, abs=1e-6))
        top = found["cast-on", f"Twin {number}", "Slab"]
        assert (top.length_m, top.area_m2) == (pytest.approx(2.5, abs=1e-6), pytest.approx(0.3, abs=1e-6))
        assert (top.grout_m3, top.width_m) == (0.0, pytest.approx(0.0, abs=1e-9))
    upright = next(joint for key, joint in found.items() if key[0] == "vertical")
    assert (upright.length_m, upright.area_m2) == (
        pytest.approx(2.7, abs=1e-6),
        pytest.approx(0.324, abs=1e-6),
    )


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("closed_mm = 3.0", "closed_mm = -3.0", "closed_mm"),
        ('kind = "bed"', 'kind = "beds"', "joint 1, kind"),
        ("sealant = 2", "sealant = 0.5", "sealant"),
        ("per_piece = 4", "per_piece = 4\nper_metre = 1", "per_piece or per_metre"),
        ('role = "stair"\nleast_mm', 'rolle = "stair"\nleast_mm', "rolle"),
    ],
)
def test_faults_of_a_joints_file_are_named(tmp_path, old, new, says):
    text = template_path("joints.toml").read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "joints.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(InputError, match=says) as caught:
        load_joint_rules(path)
    assert str(path) in str(caught.value)


def test_a_users_joints_file_changes_the_fill(tmp_path):
    path = tmp_path / "joints.toml"
    text = template_path("joints.toml").read_text(encoding="utf-8")
    text = text.replace("connections_per_metre = 0", "connections_per_metre = 2")
    path.write_text(text.replace("least_mm = 40", "least_mm = 120"), encoding="utf-8")
    settings = replace(Settings(processes=1), joints=path)
    run = measure([panel_building(tmp_path / "p.ifc")], settings)
    upright = [joint for key, joint in by_names(run).items() if key[0] == "vertical"]
    assert sum(joint.connections for joint in upright) == pytest.approx(18.0, abs=1e-3)
    assert sum(bool(row.check) for row in run.measurement.bearings) == 6


@pytest.mark.parametrize(("turn", "length"), [(0.0, 3.0), (2.0, 3.0), (4.0, 0.0)])
def test_panels_whose_ends_lean_to_each_other_have_a_joint(tmp_path, turn, length):
    """Two walls 0.2 m thick, the second turned by some degrees: 20 mm apart in the middle. Beyond 3 degrees it is a
    corner that somebody has to look at."""
    m = Model("IFC4", "mm", 12.0, (50.0, 20.0, 0.0), name="lean")
    m.storey("Ground", 0.0)
    m.wall((0, 0), (4, 0), 0.2, 3.0, name="One", **PRECAST)
    way = np.radians(turn)
    end = (4.02 + 4 * np.cos(way), 4 * np.sin(way))
    m.wall((4.02, 0), end, 0.2, 3.0, name="Other", **PRECAST)
    joints = measure([m.save(tmp_path / "lean.ifc")], Settings(processes=1)).measurement.joints
    assert sum(joint.length_m for joint in joints) == pytest.approx(length, abs=1e-3)
    # Thrown across a gap of 20 mm at 2 degrees an end moves by 0.7 mm of the 200: 0.3 % at most.
    assert sum(joint.area_m2 for joint in joints) == pytest.approx(0.2 * length, rel=3e-3)
    assert sum(joint.grout_m3 for joint in joints) == pytest.approx(0.2 * length * 0.02, rel=1e-2)


def test_panels_of_a_curved_wall_are_jointed(tmp_path):
    """Two panels of 45 degrees, radii 5.0 and 5.2 m, with 20 mm between their ends at the mean radius."""
    m = Model("IFC4", "mm", name="arc")
    m.storey("Ground", 0.0)
    for turn in (0.0, 45.0 + np.degrees(0.02 / 5.1)):
        m.member("IfcWall", m.extrusion(m.ring_sector(5.0, 5.2, 45.0), 3.0), turn=turn, **PRECAST)
    (joint,) = measure([m.save(tmp_path / "arc.ifc")], Settings(processes=1)).measurement.joints
    assert (joint.kind, joint.length_m) == ("vertical", pytest.approx(3.0, abs=1e-3))
    assert joint.area_m2 == pytest.approx(0.6, rel=1e-3)
    assert joint.gap_m == pytest.approx(0.02, abs=1e-4)
