"""Declared quantities beside measured ones: which are compared, when they differ, and the likely cause."""

import pytest
from msgspec.structs import replace

from takeoff.findings import InputError
from takeoff.measuring.causes import Reference, likely_cause
from takeoff.measuring.checks import load_checks
from takeoff.measuring.declared import compare_declared
from takeoff.measuring.plan import ElementPlan, PartPlan
from takeoff.measuring.records import MeasuredPart
from takeoff.reading.facts import Declared, ElementFacts
from takeoff.templates import template_path

LIMITS = load_checks(template_path("checks.toml")).declared
ONE_PART = (PartPlan(1, "cast-in-place", ""),)
KINDS = {"Volume": "volume", "Weight": "weight", "Area": "area", "Length": "length"}


def element(*declared, role="wall", plans=ONE_PART, global_id="A", assembly=""):
    """A plan with declared quantities given as (set, name, value)."""
    quantities = []
    for set_name, name, value in declared:
        kind = next((k for word, k in KINDS.items() if word in name), "volume")
        quantities.append(Declared(set_name, name, kind, value))
    facts = ElementFacts(
        "m.ifc", 1, global_id, "IfcWall", role=role, declared=tuple(quantities), assembly=assembly
    )
    return ElementPlan(facts, role, "", tuple(plans))


def measured(net=10.0, gross=None, overlap=0.0, number=1, role="wall", method="cast-in-place", **more):
    fixed = {"global_id": "A", "weight_t": None if net is None else net * 2.5, **more}
    return MeasuredPart(
        "m.ifc",
        fixed.pop("global_id"),
        number,
        "IfcWall",
        "",
        "",
        "",
        "Ground",
        role,
        "",
        method,
        "",
        "",
        "",
        gross_volume_m3=gross if gross is not None else (None if net is None else net + overlap),
        net_volume_m3=net,
        overlap_volume_m3=overlap,
        **fixed,
    )


def compare(plan, *parts):
    return compare_declared(parts, [plan], LIMITS)


def found(result):
    return [
        (finding.kind, finding.severity)
        for finding in result.findings
        if finding.kind != "declared-total-differs"
    ]


@pytest.mark.parametrize(
    ("value", "cause"),
    [(9.81, "no simple cause, but small"), (10.0, ""), (10.04, ""), (10.19, "no simple cause, but small")],
)
def test_a_volume_within_two_per_cent_is_explained_together(value, cause):
    result = compare(element(("BaseQuantities", "NetVolume", value)), measured())
    assert found(result) == ([("declared-volume-near", "note")] if cause else [])
    assert result.rows[0].cause.startswith(cause) if cause else not result.rows[0].cause
    assert result.volumes == {("m.ifc", "A"): value}
    assert (result.compared, result.close) == (1, int(not cause))


@pytest.mark.parametrize(
    ("value", "cause"),
    [
        (12.0, "openings not deducted"),
        (20.0, "counted 2 times"),
        (353.146667, "ft3"),
        (1e4, "litres"),
        (1e10, "mm3"),
        (10 / 35.314667, "where the file says ft3"),
        (13.7, "no simple cause"),
    ],
)
def test_a_difference_has_its_likely_cause(value, cause):
    result = compare(element(("BaseQuantities", "NetVolume", value)), measured(10.0, gross=12.0))
    assert found(result) == [("declared-volume-differs", "warning")]
    assert cause in result.findings[0].message
    assert result.findings[0].worth == pytest.approx(abs(value - 10.0))
    assert result.rows[0].ratio == pytest.approx(value / 10.0)


def test_a_figure_before_or_after_overlaps_agrees():
    part = measured(8.0, overlap=2.0)
    for value in (8.0, 10.0):
        result = compare(element(("Any set", "Net Volume", value)), part)
        assert found(result) == []
        assert result.close == 1


def test_plain_volume_may_be_gross_and_gross_is_not_judged_beside_a_net_one():
    part = measured(10.0, gross=12.0)
    assert found(compare(element(("X", "Volumen", 12.0)), part)) == []
    assert found(compare(element(("Q", "GrossVolume", 10.0)), part)) == []
    both = element(("Q", "GrossVolume", 15.0), ("Q", "NetVolume", 10.0))
    assert found(compare(both, part)) == []
    assert found(compare(element(("Q", "GrossVolume", 15.0)), part)) == [
        ("declared-volume-differs", "warning")
    ]


@pytest.mark.parametrize(
    "name", ["Holes Volume", "Wall Skin Volume", "Conditional Volume", "Volume of Columns", "Raumvolumen"]
)
def test_volumes_of_other_things_are_not_compared(name):
    result = compare(element(("Anything", name, 99.0)), measured())
    assert (result.rows, result.compared, result.close_share) == ((), 0, None)


def test_a_zero_says_nothing():
    assert compare(element(("BaseQuantities", "NetVolume", 0.0)), measured()).rows == ()


def test_two_sets_that_disagree_are_one_finding_that_names_the_fitting_one():
    plan = element(("Exporter", "Net Volume", 14.0), ("BaseQuantities", "NetVolume", 10.0))
    result = compare(plan, measured())
    assert found(result) == [("declared-volume-differs", "note")]
    assert "sets disagree" in result.findings[0].message
    assert "that of BaseQuantities" in result.findings[0].message
    assert result.volumes["m.ifc", "A"] == 10.0


def test_layers_that_are_not_concrete_explain_a_difference():
    plans = (
        PartPlan(1, "precast", "", layers=(0.0, 0.06)),
        PartPlan(2, "not-concrete", "", layers=(0.06, 0.16)),
        PartPlan(3, "precast", "", layers=(0.16, 0.2)),
    )
    parts = [
        measured(6.0, number=1),
        measured(None, number=2, method="not-concrete"),
        measured(4.0, number=3),
    ]
    result = compare(element(("BaseQuantities", "NetVolume", 20.0), plans=plans), *parts)
    assert found(result) == [("declared-volume-differs", "note")]
    assert (
        "of 1 layered element (20.00 m3) includes layers that are not concrete" in result.findings[0].message
    )
    assert result.findings[0].worth == 10.0
    assert len(result.findings) == 1
    assert result.close == 1


def test_a_figure_of_one_part_or_of_the_whole_assembly_is_recognised():
    plans = (PartPlan(1, "precast", ""), PartPlan(2, "cast-in-place", ""))
    parts = [measured(3.3, number=1, method="precast"), measured(7.0, number=2)]
    result = compare(element(("BaseQuantities", "NetVolume", 7.0), plans=plans), *parts)
    assert "part 2 alone" in result.findings[0].message

    first = element(("BaseQuantities", "NetVolume", 13.3), assembly="ASM")
    second = element(("BaseQuantities", "NetVolume", 3.3), assembly="ASM", global_id="B")
    both = compare_declared([measured(), measured(3.3, global_id="B")], [first, second], LIMITS)
    assert "whole assembly" in both.findings[0].message


def test_an_element_that_was_not_measured_keeps_its_declared_volume_unjudged():
    result = compare(element(("BaseQuantities", "NetVolume", 5.0)), measured(None, condition="open shell"))
    assert result.volumes == {("m.ifc", "A"): 5.0}
    assert result.rows == ()


@pytest.mark.parametrize(
    ("weight", "cause"),
    [
        (24_000.0, None),
        (26_500.0, None),
        (25.0, "right in t"),
        (25_000 * 2.2046226, "right in lb"),
        (14_000.0, "1400 kg/m3"),
    ],
)
def test_weight_is_judged_by_the_density_it_gives(weight, cause):
    result = compare(element(("Any", "Weight", weight)), measured())
    assert found(result) == ([] if cause is None else [("declared-weight-differs", "note")])
    if cause:
        assert cause in result.findings[0].message


def test_the_net_weight_is_judged_rather_than_the_gross():
    plan = element(("Any", "Gross Weight", 60_000.0), ("Any", "Net Weight", 25_000.0))
    assert found(compare(plan, measured())) == []


def test_areas_and_lengths_count_only_in_standard_sets():
    part = measured(role="slab", plan_area_m2=50.0, thickness_m=0.2, opening_area_m2=2.0)
    agreeing = element(("X", "NetVolume", 10.0), ("BaseQuantities", "NetArea", 80.0), role="slab")
    result = compare(agreeing, part)
    assert (found(result), [row.agrees for row in result.rows]) == ([], [True, False])
    odd = element(("ExporterQuantities", "NetArea", 80.0), role="slab")
    assert compare(odd, part).rows == ()
    for value in (50.0, 52.0):
        assert found(compare(element(("Qto_SlabBaseQuantities", "NetArea", value), role="slab"), part)) == []
    wrong = compare(element(("BaseQuantities", "NetArea", 80.0), role="slab"), part)
    assert found(wrong) == [("declared-area-differs", "note")]
    feet = compare(element(("BaseQuantities", "NetArea", 50.0 * 10.76391), role="slab"), part)
    assert "right in ft2" in feet.findings[0].message


def test_a_wall_is_as_long_as_its_axis_or_its_faces():
    part = measured(length_m=5.0, thickness_m=0.3)
    assert found(compare(element(("BaseQuantities", "Length", 5.35)), part)) == []
    result = compare(element(("BaseQuantities", "Length", 6.0)), part)
    assert found(result) == [("declared-length-differs", "note")]


def test_totals_that_do_not_add_up_are_a_note():
    plan = element(("BaseQuantities", "NetVolume", 10.15))
    near, total = compare(plan, measured()).findings
    assert (near.kind, near.severity) == ("declared-volume-near", "note")
    assert (total.kind, total.severity) == ("declared-total-differs", "note")
    assert compare(element(("BaseQuantities", "NetVolume", 10.04)), measured()).findings == ()


@pytest.mark.parametrize(
    ("value", "net", "gross", "cause"),
    [
        (10.1, 10.0, 10.1, "openings not deducted"),
        (1.1, 1.08, 1.08, "rounded"),
        (0.016, 0.01585, 0.01585, "rounded"),
    ],
)
def test_small_differences_have_causes_too(value, net, gross, cause):
    result = compare(element(("BaseQuantities", "NetVolume", value)), measured(net, gross=gross))
    assert result.rows[0].cause == cause


def test_one_share_on_pieces_of_one_kind_is_another_section():
    sizes = {"A": 1.0, "B": 1.5, "C": 0.7, "D": 1.2}
    plans = [
        element(("Q", "NetVolume", size * (0.97 if name != "D" else 0.9)), global_id=name)
        for name, size in sizes.items()
    ]
    plans = [replace(plan, facts=replace(plan.facts, name="Sill")) for plan in plans]
    parts = [measured(size, global_id=name) for name, size in sizes.items()]
    causes = [row.cause for row in compare_declared(parts, plans, LIMITS).rows]
    assert [cause.startswith("the same share on 3 pieces") for cause in causes] == [True, True, True, False]


@pytest.mark.parametrize("value", [0.9, 0.985])
def test_what_is_left_to_others_explains_a_difference(value):
    plan = element(("Q", "NetVolume", value))
    result = compare_declared([measured(1.0)], [plan], LIMITS, {("m.ifc", "A"): 1.0 - value})
    assert result.rows[0].cause == "without what it shares with other elements, which counts here"


def test_a_meaning_that_leaves_most_of_a_difference_explains_nothing():
    assert likely_cause("volume", 0.992, 1.0, [Reference(0.996, "shared")]) == "shared"
    assert likely_cause("volume", 0.992, 1.0, [Reference(0.9965, "shared")]).startswith("no simple")


def test_the_box_round_a_piece_is_recognised():
    part = measured(1.0, length_m=2.0, width_m=1.0, height_m=0.8)
    result = compare(element(("Q", "NetVolume", 1.6)), part)
    assert result.rows[0].cause == "that of the box round it"


def test_close_share_counts_elements():
    plans = [element(("Q", "NetVolume", value), global_id=name) for name, value in (("A", 10.0), ("B", 10.1))]
    parts = [measured(global_id="A"), measured(global_id="B")]
    result = compare_declared(parts, plans, LIMITS)
    assert (result.compared, result.close, result.close_share) == (2, 1, 0.5)


def test_a_reference_comes_before_a_unit():
    assert likely_cause("volume", 1000.0, 1.0, [Reference(1000.0, "the assembly")]) == "the assembly"


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("close = 0.005", "close = 5", "declared.close"),
        ("wall = [6.0, 10.0]", "wall = [10.0, 6.0]", "ratios.formwork.wall"),
        ("wall = [6.0, 10.0]", "walls = [6.0, 10.0]", "ratios.formwork"),
        ("[declared]", "[declared", "no valid TOML"),
    ],
)
def test_faults_of_a_checks_file_are_named(tmp_path, old, new, says):
    text = template_path("checks.toml").read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "checks.toml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError, match=says) as caught:
        load_checks(path)
    assert str(path) in str(caught.value)
