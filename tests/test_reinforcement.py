"""Reinforcement: bases in order, sharing among parts, findings, and the allowance table's faults."""

import pytest

from takeoff.findings import InputError
from takeoff.measuring.allowances import COLUMNS, load_allowances
from takeoff.measuring.records import MeasuredPart
from takeoff.measuring.reinforcement import reinforce
from takeoff.measuring.required_ratios import required_ratio
from takeoff.reading.facts import Bar, ElementFacts
from takeoff.templates import template_path

SHIPPED = load_allowances(template_path("allowances.csv"))
HEADING = ",".join(COLUMNS)


def part(global_id="A", volume=2.0, role="wall", method="cast-in-place", number=1, **more):
    return MeasuredPart(
        "m.ifc",
        global_id,
        number,
        "IfcWall",
        more.pop("name", ""),
        "",
        "",
        "Ground",
        role,
        more.pop("subrole", ""),
        method,
        "",
        "Concrete",
        more.pop("strength_class", "C30/37"),
        net_volume_m3=volume,
        **more,
    )


def facts(global_id="A", **properties):
    return {
        ("m.ifc", global_id): ElementFacts(
            "m.ifc", 1, global_id, "IfcWall", properties={"Pset_ConcreteElementGeneral": properties}
        )
    }


def bar(host, mass, diameter=0.016, kind="bar", count=10):
    return Bar("b" + host, kind, "", diameter, 4.0, count, mass, "declared", host)


def table(tmp_path, *rows, heading=HEADING):
    path = tmp_path / "allowances.csv"
    path.write_text("\n".join(["# remark", heading, *rows]) + "\n", encoding="utf-8")
    return path


def kinds(result):
    return sorted(finding.kind for finding in result.findings)


def test_modelled_bars_come_before_a_ratio_and_an_allowance():
    given = facts(ReinforcementVolumeRatio=140.0)
    result = reinforce([part()], given, {"m.ifc": [bar("A", 190.0)]}, SHIPPED)
    (row,) = result.rows
    assert (row.basis, row.mass_kg, row.low_kg, row.high_kg, row.diameter_mm) == (
        "modelled",
        190.0,
        190.0,
        190.0,
        16.0,
    )
    assert kinds(result) == []


def test_a_required_ratio_comes_before_an_allowance():
    result = reinforce([part()], facts(ReinforcementVolumeRatio=140.0), {}, SHIPPED)
    (row,) = result.rows
    assert (row.basis, row.mass_kg) == ("ratio", 280.0)
    assert "Pset_ConcreteElementGeneral.ReinforcementVolumeRatio = 140 kg/m3" in row.note


def test_a_ratio_by_area_takes_the_face_of_a_wall_and_the_plan_of_a_slab():
    wall = part(side_area_m2=10.0)
    slab = part("B", role="slab", plan_area_m2=20.0, side_area_m2=3.0)
    given = facts("A", ReinforcementAreaRatio=12.0) | facts("B", ReinforcementAreaRatio=9.0)
    result = reinforce([wall, slab], given, {}, SHIPPED)
    assert [row.mass_kg for row in result.rows] == [120.0, 180.0]


def test_an_allowance_gives_low_likely_and_high_and_one_note():
    parts = [part("A", 2.0), part("B", 3.0, role="column")]
    result = reinforce(parts, {}, {}, SHIPPED)
    assert [(row.low_kg, row.mass_kg, row.high_kg) for row in result.rows] == [
        (120.0, 170.0, 220.0),
        (360.0, 540.0, 750.0),
    ]
    assert result.by_part["m.ifc", "B", 1, 1].mass == 540.0
    (finding,) = result.findings
    assert (finding.kind, finding.severity, finding.worth) == ("reinforcement-by-allowance", "note", 710.0)


def test_kind_of_slab_picks_a_closer_row():
    raft = part(role="slab", subrole="BASESLAB")
    result = reinforce([raft], {}, {}, SHIPPED)
    assert result.rows[0].mass_kg == 230.0


def test_modelled_steel_is_shared_by_volume_among_parts_and_lumps():
    parts = [
        part(volume=1.0, number=1, method="precast"),
        part(volume=2.0, number=2),
        part(volume=1.0, number=2, lump=2),
        part(volume=None, number=3, method="not-concrete"),
    ]
    result = reinforce(parts, {}, {"m.ifc": [bar("A", 300.0), bar("A", 100.0, None, "fabric")]}, SHIPPED)
    shares = {key[2:]: value.mass for key, value in result.by_part.items()}
    assert shares == {(1, 1): 100.0, (2, 1): 200.0, (2, 2): 100.0}
    assert sum(row.mass_kg for row in result.rows if row.kind == "fabric") == pytest.approx(100.0)
    assert "50.0% of it" in next(row.note for row in result.rows if row.part == 2 and row.lump == 1)


def test_little_modelled_steel_is_a_warning_with_its_worth():
    result = reinforce([part()], {}, {"m.ifc": [bar("A", 40.0)]}, SHIPPED)
    (finding,) = result.findings
    assert finding.kind == "reinforcement-partial"
    assert finding.worth == pytest.approx(2.0 * 85.0 - 40.0)
    assert result.rows[0].mass_kg == 40.0


def test_bars_of_nothing_measured_are_counted():
    bars = {"m.ifc": [bar("", 50.0, count=4), bar("elsewhere", 25.0, count=2)]}
    result = reinforce([part()], {}, bars, SHIPPED)
    loose = next(finding for finding in result.findings if finding.kind == "bars-without-host")
    assert loose.worth == 75.0
    assert loose.message.startswith("6 bars")
    assert result.rows[0].basis == "allowance"


def test_unresolved_parts_have_an_allowance_and_a_warning():
    result = reinforce([part(method="unresolved")], {}, {}, SHIPPED)
    assert result.rows[0].basis == "allowance"
    assert kinds(result) == ["reinforcement-unresolved"]
    assert result.findings[0].severity == "warning"


def test_precast_parts_get_steel_and_other_materials_none():
    parts = [part("A", method="precast"), part("B", method="not-concrete"), part("C", volume=None)]
    assert [row.global_id for row in reinforce(parts, {}, {}, SHIPPED).rows] == ["A"]


def test_parts_that_no_allowance_fits_are_one_finding(tmp_path):
    only_slabs = load_allowances(table(tmp_path, "slab,*,*,*,kg/m3,70,100,130,example value"))
    result = reinforce([part("A"), part("B")], {}, {}, only_slabs)
    assert result.rows == ()
    (finding,) = result.findings
    assert (finding.kind, finding.worth) == ("reinforcement-missing", 4.0)


@pytest.mark.parametrize(
    ("name", "value", "expected"),
    [
        ("ReinforcementVolumeRatio", 120.0, (120.0, "kg/m3")),
        ("Reinforcement Volume Ratio", "120", (120.0, "kg/m3")),
        ("ReinforcementAreaRatio", 14, (14.0, "kg/m2")),
        ("wapening kg/m3", "95", (95.0, "kg/m3")),
        ("wapening kg/m3", "95,5 kg/m³", (95.5, "kg/m3")),
        ("Bewehrungsgrad [kg/m³]", 110.0, (110.0, "kg/m3")),
        ("Bewehrungsgrad", "110 kg/m3", (110.0, "kg/m3")),
        ("Ratio d'acier (kg/m2)", 11.0, (11.0, "kg/m2")),
        ("Armering kg per m3", 90, (90.0, "kg/m3")),
        ("wapening kg/m3", "", None),
        ("wapening kg/m3", 0.0, None),
        ("Rebar Cover", "Rebar Cover 1 <0.025>", None),
        ("Gewicht kg/m3", 2500.0, None),
        ("ReinforcementVolumeRatio", True, None),
    ],
)
def test_required_ratio_is_known_under_its_names(name, value, expected):
    found = required_ratio(facts(**{name: value})["m.ifc", "A"])
    assert (None if found is None else (found.value, found.unit)) == expected


def test_a_ratio_in_another_unit_is_not_believed():
    result = reinforce([part()], facts(ReinforcementVolumeRatio=1.2e-7), {}, SHIPPED)
    assert result.rows[0].basis == "allowance"
    assert "reinforcement-ratio-unusual" in kinds(result)


def test_the_most_specific_row_wins(tmp_path):
    rows = [
        "*,*,*,*,kg/m3,1,1,1,a",
        "wall,*,*,*,kg/m3,2,2,2,b",
        "wall,precast,*,*,kg/m3,3,3,3,c",
        "wall,precast,*,*core*,kg/m3,4,4,4,d",
        "wall,precast,C50*,*,kg/m3,5,5,5,e",
    ]
    loaded = load_allowances(table(tmp_path, *rows))
    assert loaded.find("beam", "precast", "C30/37").likely == 1
    assert loaded.find("wall", "cast-in-place", "C30/37").likely == 2
    assert loaded.find("wall", "precast", "C30/37", ("facade",)).likely == 3
    assert loaded.find("wall", "precast", "C30/37", ("Lift Core 2",)).likely == 4
    assert loaded.find("wall", "precast", "C50/60", ("facade",)).likely == 5


def test_rows_that_fit_equally_well_are_an_error_with_both_lines(tmp_path):
    rows = ["wall,*,*,*,kg/m3,1,1,1,a", "*,precast,*,*,kg/m3,2,2,2,b"]
    loaded = load_allowances(table(tmp_path, *rows))
    with pytest.raises(InputError, match="lines 3 and 4"):
        loaded.find("wall", "precast", "")
    assert loaded.find("wall", "tilt-up", "").likely == 1


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("wall,*,*,*,kg/m3,60,85", "line 3: 7 columns"),
        ("wal,*,*,*,kg/m3,60,85,110,x", "line 3: role wal"),
        ("wall,poured,*,*,kg/m3,60,85,110,x", "line 3: method poured"),
        ("wall,*,,*,kg/m3,60,85,110,x", "line 3: strength_class is empty"),
        ("wall,*,*,*,t/m3,60,85,110,x", "line 3: unit t/m3"),
        ("column,*,*,*,kg/m2,60,85,110,x", "line 3: a column has no area"),
        ("wall,*,*,*,kg/m3,60,many,110,x", "line 3: likely is not a number: many"),
        ("wall,*,*,*,kg/m3,60,nan,110,x", "line 3: likely nan is outside"),
        ("wall,*,*,*,kg/m3,-6,85,110,x", "line 3: low -6 is outside"),
        ("wall,*,*,*,kg/m3,90,85,110,x", "line 3: low, likely, high have to rise"),
    ],
)
def test_faults_of_a_row_name_file_and_line(tmp_path, row, says):
    path = table(tmp_path, row)
    with pytest.raises(InputError) as caught:
        load_allowances(path)
    assert str(caught.value).startswith(f"{path} {says}")


def test_faults_of_a_whole_table(tmp_path):
    with pytest.raises(InputError, match="the heading has to be role,"):
        load_allowances(table(tmp_path, "x", heading="role,kg"))
    with pytest.raises(InputError, match="no rows"):
        load_allowances(table(tmp_path))
    with pytest.raises(InputError, match="line 4: the same as line 3"):
        load_allowances(table(tmp_path, *["wall,*,*,*,kg/m3,60,85,110,x"] * 2))
    with pytest.raises(InputError, match="cannot be read"):
        load_allowances(tmp_path / "missing.csv")
