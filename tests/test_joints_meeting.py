"""Joints at which more than two pieces meet, and gaps too wide for a joint, by hand.

Panels are 3.0 m high and 0.2 m thick, gaps 20 mm, unless a test says otherwise. They stand in the air: no beds.
"""

import pytest
from build import Model, rectangle

from takeoff.pipeline import measure
from takeoff.settings import Settings

PRECAST = {"material": "Concrete C40/50", "made": "Precast"}
TILT_UP = {"material": "Concrete C40/50", "made": "Tilt-up"}
PLACES = [(0.0, (0.0, 0.0, 0.0), "mm"), (33.7, (4.0e6, 1.0e5, 30.0), "ft")]


def joints_of(path, draw, placed=PLACES[0], **words):
    rotate, offset, unit = placed
    m = Model("IFC4", unit, rotate, offset, name="meeting")
    m.storey("Ground", 0.0)
    draw(m, **(words or PRECAST))
    measurement = measure([m.save(path / "meeting.ifc")], Settings(processes=1)).measurement
    names = {part.global_id: part.name for part in measurement.parts}
    rows = {frozenset((names[row.global_id], names[row.other_id])): row for row in measurement.joints}
    assert len(rows) == len(measurement.joints)
    return rows, measurement.findings


def total(rows, figure):
    return sum(getattr(row, figure) for row in rows.values())


def tee(m, height=3.0, gap=0.02, **words):
    """A and B in line, C's end at the joint between them."""
    m.wall((0, 0), (4 - gap / 2, 0), 0.2, height, name="A", **words)
    m.wall((4 + gap / 2, 0), (8, 0), 0.2, 3.0, name="B", **words)
    m.wall((4, 0.1 + gap), (4, 5), 0.2, 3.0, name="C", **words)


@pytest.mark.parametrize("placed", PLACES)
def test_a_tee_of_three_panels_has_two_joints(tmp_path, placed):
    """A to B: 3.0 m, 0.6 m2. C's end: 3.0 m and 0.6 m2 once, half of them with A, half with B; each of 0.012 m3. One
    line of sealant on either: A to B outside, as C stands inside."""
    rows, _ = joints_of(tmp_path, tee, placed)
    assert set(rows) == {frozenset("AB"), frozenset("AC"), frozenset("BC")}
    ab, ac, bc = rows[frozenset("AB")], rows[frozenset("AC")], rows[frozenset("BC")]
    assert (ab.length_m, ab.area_m2) == (pytest.approx(3.0, abs=1e-4), pytest.approx(0.6, abs=1e-4))
    for row in (ac, bc):
        assert (row.length_m, row.area_m2) == (pytest.approx(1.5, abs=1e-4), pytest.approx(0.3, abs=1e-4))
    assert total(rows, "grout_m3") == pytest.approx(2 * 0.012, rel=1e-3)
    assert total(rows, "sealant_m") == pytest.approx(6.0, abs=1e-3)


def test_a_tee_of_tilt_up_panels_is_sealed_where_a_side_is_open(tmp_path):
    """A to B outside only, C's end in both corners: 3 x 3.0 m."""
    rows, _ = joints_of(tmp_path, tee, **TILT_UP)
    assert total(rows, "length_m") == pytest.approx(6.0, abs=1e-4)
    assert rows[frozenset("AB")].sealant_m == pytest.approx(3.0, abs=1e-4)
    assert total(rows, "sealant_m") == pytest.approx(9.0, abs=1e-3)


def test_a_tee_whose_panels_are_not_equally_high(tmp_path):
    """A is 2.0 m high. A to B 2.0 m, one side covered by C all the way; C's end 3.0 m, of which A and B share: 2/5
    and 3/5. Tilt-up: A to B outside 2.0, C's end 2 x 3.0."""
    rows, _ = joints_of(tmp_path, lambda m, **words: tee(m, 2.0, **words), **TILT_UP)
    assert rows[frozenset("AB")].length_m == pytest.approx(2.0, abs=1e-4)
    assert rows[frozenset("AC")].length_m == pytest.approx(1.2, abs=1e-4)
    assert rows[frozenset("BC")].length_m == pytest.approx(1.8, abs=1e-4)
    assert total(rows, "sealant_m") == pytest.approx(2.0 + 6.0, abs=1e-3)


def test_a_tee_drawn_closed(tmp_path):
    rows, findings = joints_of(tmp_path, lambda m, **words: tee(m, gap=0.0, **words))
    assert total(rows, "length_m") == pytest.approx(6.0, abs=1e-4)
    assert total(rows, "area_m2") == pytest.approx(1.2, abs=1e-4)
    assert total(rows, "grout_m3") == pytest.approx(2 * 0.012, rel=1e-3)
    (told,) = [f for f in findings if f.kind == "joint-drawn-closed"]
    assert told.worth == pytest.approx(0.024, rel=1e-3)


@pytest.mark.parametrize(("words", "sealant"), [(PRECAST, 6.0), (TILT_UP, 12.0)])
def test_a_cross_of_four_panels(tmp_path, words, sealant):
    """A, B in line with D's and C's ends on both sides: three joints of 3.0 m, four corners to seal at most, none
    between A and B. Precast: one line on C's and D's joint each."""

    def draw(m, **own):
        tee(m, **own)
        m.wall((4, -0.12), (4, -5), 0.2, 3.0, name="D", **own)

    rows, _ = joints_of(tmp_path, draw, PLACES[1], **words)
    assert len(rows) == 5
    assert total(rows, "length_m") == pytest.approx(9.0, abs=1e-3)
    assert rows[frozenset("AB")].sealant_m == pytest.approx(0.0, abs=1e-3)
    assert total(rows, "sealant_m") == pytest.approx(sealant, abs=2e-3)
    if words is PRECAST:
        assert total(rows, "grout_m3") == pytest.approx(3 * 0.012, rel=1e-3)


@pytest.mark.parametrize(("words", "sealant", "grout"), [(PRECAST, 3.0, 0.012), (TILT_UP, 6.0, 0.0)])
def test_a_corner_of_two_panels_is_one_joint(tmp_path, words, sealant, grout):
    def draw(m, **own):
        m.wall((0, 0), (4, 0), 0.2, 3.0, name="A", **own)
        m.wall((3.9, 0.12), (3.9, 5), 0.2, 3.0, name="B", **own)

    rows, _ = joints_of(tmp_path, draw, **words)
    (row,) = rows.values()
    assert (row.length_m, row.area_m2) == (pytest.approx(3.0, abs=1e-4), pytest.approx(0.6, abs=1e-4))
    assert (row.sealant_m, row.grout_m3) == (pytest.approx(sealant, abs=1e-3), pytest.approx(grout, abs=1e-5))


def test_two_panels_side_by_side_that_end_at_a_third(tmp_path):
    """C and D, 20 mm apart, end at A's face: one joint of 3.0 m over 0.42 m of it, sealed in its two corners; the gap
    between C and D is 4.88 m long."""

    def draw(m, **own):
        m.wall((0, 0), (8, 0), 0.2, 3.0, name="A", **own)
        m.wall((3.89, 0.12), (3.89, 5), 0.2, 3.0, name="C", **own)
        m.wall((4.11, 0.12), (4.11, 5), 0.2, 3.0, name="D", **own)

    rows, _ = joints_of(tmp_path, draw, **TILT_UP)
    at_face = [row for names, row in rows.items() if "A" in names]
    assert sum(row.length_m for row in at_face) == pytest.approx(3.0, abs=1e-4)
    assert sum(row.area_m2 for row in at_face) == pytest.approx(0.42 * 3.0, abs=1e-3)
    assert sum(row.sealant_m for row in at_face) == pytest.approx(6.0, abs=1e-3)


def test_panels_that_end_at_both_faces_or_further_along_have_joints_of_their_own(tmp_path):
    """C and D at one place of A on either side, A a leaf of 60 mm; E half a metre from C. Three joints of 3.0 m."""

    def draw(m, **own):
        m.wall((0, 0), (8, 0), 0.06, 3.0, name="A", **own)
        m.wall((4, 0.05), (4, 5), 0.2, 3.0, name="C", **own)
        m.wall((4, -0.05), (4, -5), 0.2, 3.0, name="D", **own)
        m.wall((4.5, 0.05), (4.5, 5), 0.2, 3.0, name="E", **own)

    rows, _ = joints_of(tmp_path, draw)
    assert [row.length_m for row in rows.values()] == pytest.approx([3.0] * 3, abs=1e-4)
    assert total(rows, "sealant_m") == pytest.approx(9.0, abs=1e-3)


@pytest.mark.parametrize("placed", PLACES)
def test_four_planks_at_a_point(tmp_path, placed):
    """2.4 x 6.0 m, 0.2 thick, 10 mm apart: two joints of 6.0 and two of 2.4 m; 16.8 x 0.2 x 0.01 = 0.0336 m3."""

    def draw(m, **own):
        for x in range(2):
            for y in range(2):
                low = (2.41 * x, 6.01 * y)
                m.slab(rectangle(*low, low[0] + 2.4, low[1] + 6.0), 0.2, 3.0, name=f"P{x}{y}", **own)

    rows, _ = joints_of(tmp_path, draw, placed)
    assert sorted(row.length_m for row in rows.values()) == pytest.approx([2.4, 2.4, 6.0, 6.0], abs=1e-4)
    assert total(rows, "grout_m3") == pytest.approx(0.0336, rel=1e-3)


def test_planks_that_end_at_the_side_of_another(tmp_path):
    """P and Q, 1.2 m wide, end at R's side: 6.0 m between P and Q, 2 x 1.2 m at R."""

    def draw(m, **own):
        m.slab(rectangle(0, 0, 1.2, 6), 0.2, 3.0, name="P", **own)
        m.slab(rectangle(1.21, 0, 2.41, 6), 0.2, 3.0, name="Q", **own)
        m.slab(rectangle(0, 6.01, 2.41, 7.2), 0.2, 3.0, name="R", **own)

    rows, _ = joints_of(tmp_path, draw)
    assert total(rows, "length_m") == pytest.approx(6.0 + 2.4, abs=1e-4)
    assert total(rows, "grout_m3") == pytest.approx(8.4 * 0.2 * 0.01, rel=1e-3)


def test_a_panel_over_two_footings_side_by_side_has_one_bed(tmp_path):
    """4.0 m of wall, 0.2 thick, half on either footing block: one bed of 4.0 m and 0.8 m2 at 20 mm."""

    def draw(m, **own):
        m.footing(rectangle(-0.5, -0.6, 4.5, -0.01), 0.4, -0.42, name="F", **own)
        m.footing(rectangle(-0.5, 0.01, 4.5, 0.6), 0.4, -0.42, name="G", **own)
        m.wall((0, 0), (4, 0), 0.2, 3.0, name="A", **own)

    rows, _ = joints_of(tmp_path, draw)
    beds = [row for row in rows.values() if row.kind == "bed"]
    assert len(beds) == 2
    assert sum(row.length_m for row in beds) == pytest.approx(4.0, abs=1e-4)
    assert sum(row.area_m2 for row in beds) == pytest.approx(0.8, abs=1e-4)
    assert sum(row.grout_m3 for row in beds) == pytest.approx(0.016, rel=1e-3)


def wide(m, gap=0.06, stitch=False, **own):
    m.wall((0, 0), (4, 0), 0.2, 3.0, name="A", **own)
    m.wall((4 + gap, 0), (8, 0), 0.2, 3.0, name="B", **own)
    if stitch:
        m.wall((4, 0), (4 + gap, 0), 0.2, 3.0, name="Stitch")
    # A cavity: broad faces before each other are no joint.
    m.wall((0, 0.26), (8, 0.26), 0.2, 3.0, name="Inner")


@pytest.mark.parametrize(
    ("gap", "stitch", "told"),
    [
        (0.04, False, False),
        (0.041, False, True),
        (0.08, False, True),
        (0.081, False, False),
        (0.06, True, False),
    ],
)
def test_a_gap_wider_than_a_joint_is_told(tmp_path, gap, stitch, told):
    rows, findings = joints_of(tmp_path, lambda m, **words: wide(m, gap, stitch, **words), PLACES[1])
    found = [f for f in findings if f.kind == "gap-over-joint-width"]
    assert bool(found) == told
    assert len(rows) == (1 if gap == 0.04 else 2 if stitch else 0)
    if told:
        (finding,) = found
        assert finding.worth == pytest.approx(3.0, abs=1e-3)
        assert f"across {gap * 1e3:.0f} mm for 3.0 m" in finding.message
        assert "1 pair of pieces (1 vertical)" in finding.message


def test_gaps_of_several_kinds_are_told_together(tmp_path):
    """A plank 50 mm above two walls, and two planks 60 mm apart: bearings of 1.2 m four times, one edge of 6.0 m."""

    def draw(m, **own):
        m.wall((0, 0), (0, 2.46), 0.2, 3.0, name="A", **own)
        m.wall((6, 0), (6, 2.46), 0.2, 3.0, name="B", **own)
        for number, y in enumerate((0.0, 1.26)):
            m.slab(rectangle(0, y, 6, y + 1.2), 0.2, 3.05, name=f"P{number}", **own)

    rows, findings = joints_of(tmp_path, draw)
    (finding,) = [f for f in findings if f.kind == "gap-over-joint-width"]
    assert not rows
    assert "5 pairs of pieces (4 bearing, 1 slab) face each other across 50 to 60 mm" in finding.message
    assert finding.worth == pytest.approx(6.0 + 4 * 1.2, abs=1e-3)


def test_panels_in_line_beside_a_sloping_slab_follow_one_another(tmp_path):
    """The slab's edge rises at 15 degrees along three panels of 3.0 m. Its strips are cut upright at their joints, so
    that they overlap along the slope: each is 3 / cos 15 long, and 0.2 tan 15 more between its opposite corners."""

    def draw(m, **own):
        for number in range(3):
            m.wall((3.0 * number, 0), (3.0 * number + 3.0, 0), 0.2, 3.4, name=f"P{number}", **own)
        tangent, cosine = 0.26794919, 0.96592583
        high = 0.2 / cosine
        section = [(0.0, 0.0), (9.0, 9.0 * tangent), (9.0, 9.0 * tangent + high), (0.0, high)]
        body = m.extrusion(section, 5.0, axes=((0.0, -1.0, 0.0), (1.0, 0.0, 0.0)))
        m.member("IfcSlab", body, at=(0.0, 5.1, 0.5), name="Slope")

    rows, _ = joints_of(tmp_path, draw)
    found = [row for names, row in rows.items() if "Slope" in names]
    assert len(found) == 3
    for row in found:
        assert row.length_m == pytest.approx(3.0 / 0.96592583 + 0.2 * 0.26794919, abs=1e-3)
        assert row.area_m2 == pytest.approx(3.0 * 0.2 / 0.96592583, abs=1e-3)
