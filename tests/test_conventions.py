"""The convention decides: voids left in, who is relieved at a joint, pours, finishes; each told, none silent."""

from collections import defaultdict
from pathlib import Path

import pytest
from build import Model, rectangle

from takeoff.findings import InputError
from takeoff.measuring.convention import band, load_convention
from takeoff.pipeline import bill, measure
from takeoff.settings import Settings
from takeoff.templates import template_path

NET = template_path("conventions/net.toml")


def _house(path):
    """A slab 10 x 8 x 0.25 with a hole of 0.5 x 0.5 and one of 3 x 2, over a wall 30 x 0.3 x 3 with a window
    of 1 x 1; nothing touches."""
    m = Model("IFC4", "mm", name="voids")
    m.storey("Ground floor", 0.0)
    slab = m.slab(rectangle(0, 0, 10, 8), 0.25, 5.0, name="Slab")
    m.box_void(slab, (1, 1, -0.5), (1.5, 1.5, 0.5))
    m.box_void(slab, (4, 4, -0.5), (7, 6, 0.5))
    wall = m.wall((0, -5), (30, -5), 0.3, 3.0, name="Wall fair-faced")
    m.box_void(wall, (2, -1, 1), (3, 1, 2))
    return m.save(path)


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    return _house(tmp_path_factory.mktemp("voids") / "voids.ifc")


def _areas(run):
    found = defaultdict(float)
    for row in run.measurement.formwork:
        found[row.category] += row.area_m2
    return found


def _part(run, name):
    return next(part for part in run.measurement.parts if part.name == name)


def test_net_deducts_every_void(house):
    run = measure([house], Settings(convention=Path("net")))
    assert _part(run, "Slab").net_volume_m3 == pytest.approx((80 - 0.25 - 6) * 0.25)
    assert _part(run, "Slab").left_in_m3 == 0.0
    areas = _areas(run)
    assert areas["slab-soffit"] == pytest.approx(80 - 0.25 - 6)
    assert areas["slab-edge"] == pytest.approx((36 + 2 + 10) * 0.25)
    assert areas["wall-side"] == pytest.approx(2 * (90 - 1))
    assert areas["opening-reveal"] == pytest.approx(3 * 0.3)
    assert not [f for f in run.measurement.findings if f.kind == "voids-left-in"]


def test_small_voids_stay_in_by_threshold(house):
    run = measure([house], Settings(convention=Path("voids-left-in")))
    slab, wall = _part(run, "Slab"), _part(run, "Wall fair-faced")
    # 0.5 x 0.5 x 0.25 = 0.0625 m3 is over 0.05 m3; the window takes 0.3 m3
    assert slab.left_in_m3 == 0.0
    assert wall.left_in_m3 == 0.0
    assert slab.plan_area_m2 == pytest.approx(80 - 6)
    areas = _areas(run)
    # formwork: the small hole and the window (1 m2) are under 5 m2, the hole of 6 m2 is not
    assert areas["slab-soffit"] == pytest.approx(80 - 6)
    assert areas["slab-edge"] == pytest.approx((36 + 10) * 0.25)
    assert areas["wall-side"] == pytest.approx(2 * 90)
    assert "opening-reveal" not in areas
    notes = [f for f in run.measurement.findings if f.kind == "voids-left-in"]
    assert len(notes) == 1
    assert "5 m2 of formwork" in notes[0].message


def test_concrete_left_in_reaches_the_bill(house, tmp_path):
    path = tmp_path / "more.toml"
    path.write_text(
        NET.read_text(encoding="utf-8").replace("leave_in_concrete_m3 = 0.0", "leave_in_concrete_m3 = 0.1")
    )
    run = bill([house], Settings(convention=path))
    slab = _part(run, "Slab")
    assert slab.net_volume_m3 == pytest.approx((80 - 0.25 - 6) * 0.25)
    assert slab.left_in_m3 == pytest.approx(0.0625)
    items = [
        item
        for section in run.bill.sections
        for item in section.items
        if item.key.startswith("concrete.slab")
    ]
    assert sum(item.quantity for item in items) == pytest.approx((80 - 6) * 0.25, abs=1e-3)


def test_a_joint_relieves_both_or_the_later(tmp_path):
    m = Model("IFC4", "mm", name="joint")
    m.slab(rectangle(0, 0, 4, 4), 0.2, 3.0, name="Slab")
    m.wall((0, 0.1), (4, 0.1), 0.2, 3.0, name="Wall")
    path = m.save(tmp_path / "joint.ifc")
    later = tmp_path / "later.toml"
    later.write_text(NET.read_text(encoding="utf-8").replace('relieve = "both"', 'relieve = "later"'))
    both = _areas(measure([path]))
    only = _areas(measure([path], Settings(convention=later)))
    # the slab is cast on the wall: its soffit is relieved either way; the wall has no formed face up there
    assert both["slab-soffit"] == only["slab-soffit"] == pytest.approx(16 - 0.8)


def test_long_walls_take_several_pours(house):
    run = measure([house], Settings(convention=Path("voids-left-in")))
    rows = run.measurement.pours
    assert [(row.role, row.pours, row.joints) for row in rows] == [("wall", 3, 2)]
    assert rows[0].length_m == pytest.approx(2 * 3.0)
    assert rows[0].area_m2 == pytest.approx(2 * 3.0 * 0.3)
    assert measure([house]).measurement.pours == ()


def test_finishes_split_the_items(house):
    run = bill([house])
    finishes = {(row.category, row.finish) for row in run.measurement.formwork}
    assert ("wall-side", "fair-faced") in finishes
    assert ("slab-soffit", "") in finishes
    keys = [item.key for section in run.bill.sections for item in section.items]
    assert any("wall-side" in key and "fair-faced" in key for key in keys)


@pytest.mark.parametrize(
    ("limits", "value", "words"),
    [((150, 300), 150, "to 150"), ((150, 300), 150.1, "150-300"), ((150, 300), 301, "over 300"), ((), 5, "")],
)
def test_bands(limits, value, words):
    assert band(limits, value) == words


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [
        ("gap_mm = 5.0", "gap_mm = -5.0", "contacts.gap_mm"),
        ('"stair"]', '"ramp"]', "overlaps.keep"),
        ('"beam", "stair"]', '"beam"]', "overlaps.keep"),
        ('measure = "area"', 'measure = "volume"', "edges.measure"),
        ("hole_area_m2 = [0.1", "hole_area_m2 = [9.1", "bands.hole_area_m2"),
        ("[reveals]", "[reveal]", "reveal"),
    ],
)
def test_faults_of_a_convention_name_the_place(old, new, word, tmp_path):
    text = NET.read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "bad.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(InputError, match=word):
        load_convention(path)


def test_all_shipped_conventions_are_sound():
    for path in sorted(NET.parent.glob("*.toml")):
        convention = load_convention(path)
        assert convention.name == path.stem


def test_a_form_that_cannot_be_struck_is_asked_about(tmp_path):
    m = Model("IFC4", "mm", name="gap")
    m.slab(rectangle(0, 0, 4, 2), 0.06, 3.0, name="Plank", made="precast")
    m.slab(rectangle(0, 0, 4, 2.5), 0.2, 3.08, name="Topping")
    run = measure([m.save(tmp_path / "gap.ifc")])
    asked = [f for f in run.measurement.findings if f.kind == "soffit-over-gap"]
    assert len(asked) == 1
    assert asked[0].worth == pytest.approx(8.0)
    assert "20 mm" in asked[0].message
    assert _areas(run)["slab-soffit"] == pytest.approx(10.0)
