"""Ratios before signing, against hand figures."""

import pytest

from takeoff.measuring.checks import load_checks
from takeoff.measuring.ratios import check_ratios, ratios
from takeoff.measuring.records import MeasuredPart, Measurement, SurfaceRow
from takeoff.templates import template_path

CHECKS = load_checks(template_path("checks.toml"))


def part(role, net, method="cast-in-place", storey="1", global_id="A", **more):
    return MeasuredPart(
        "m.ifc",
        global_id,
        1,
        "IfcWall",
        "",
        "",
        "",
        storey,
        role,
        "",
        method,
        "",
        "",
        "",
        net_volume_m3=net,
        **more,
    )


def rows(*parts, surfaces=()):
    return {
        (row.name, row.of): row for row in ratios(Measurement(parts=parts, surfaces=tuple(surfaces)), CHECKS)
    }


def test_formwork_ratio_by_role():
    found = rows(
        part("wall", 4.0, formwork_m2=28.0),
        part("wall", 1.0, formwork_m2=7.0),
        part("column", 2.0, formwork_m2=40.0),
    )
    wall, column = found["formwork to concrete", "wall"], found["formwork to concrete", "column"]
    assert (wall.value, wall.usual) == (7.0, True)
    assert (column.value, column.usual) == (20.0, False)


def test_an_unusual_ratio_is_a_note_with_its_figures():
    measurement = Measurement(parts=(part("column", 2.0, formwork_m2=40.0),))
    (finding,) = check_ratios(measurement, CHECKS)
    assert (finding.kind, finding.severity) == ("ratio-unusual", "note")
    assert "formwork to concrete of column: 20 m2/m3, usual 8 to 13 (40.0 m2 on 2.00 m3" in finding.message


def test_little_concrete_precast_and_slabs_on_planks_are_not_judged_by_formwork():
    topping = part("slab", 10.0, formwork_m2=1.0, plan_area_m2=50.0)
    on_planks = SurfaceRow("m.ifc", "A", 1, "slab", "1", "contact", 45.0)
    assert ("formwork to concrete", "slab") in rows(topping)
    assert rows(topping, surfaces=[on_planks]).keys().isdisjoint({("formwork to concrete", "slab")})
    assert rows(part("wall", 0.5, formwork_m2=50.0)) == {}
    assert rows(part("wall", 5.0, "precast", formwork_m2=0.0)) == {}


def test_steel_is_judged_where_the_model_gives_it():
    given = part("beam", 2.0, reinforcement_kg=100.0, reinforcement_basis="modelled")
    assumed = part("beam", 2.0, reinforcement_kg=340.0, reinforcement_basis="allowance")
    assert rows(given, assumed)["steel to concrete", "beam"].value == 50.0
    assert not rows(given)["steel to concrete", "beam"].usual
    assert ("steel to concrete", "beam") not in rows(assumed)


def test_mean_thickness():
    found = rows(part("slab", 20.0, plan_area_m2=100.0), part("wall", 6.0, side_area_m2=5.0))
    assert found["mean thickness", "slab"].value == pytest.approx(0.2)
    assert not found["mean thickness", "wall"].usual


def test_concrete_to_floor_area_counts_planks_and_topping_once():
    parts = []
    for storey in ("1", "2"):
        parts += [
            part("slab", 15.0, "precast", storey, plan_area_m2=100.0),
            part("slab", 10.0, storey=storey, plan_area_m2=110.0),
            part("column", 5.0, storey=storey),
        ]
    parts.append(part("foundation", 500.0))
    row = rows(*parts)["concrete to floor area", "all"]
    assert row.value == pytest.approx(60.0 / 220.0)
    assert row.usual
    assert ("concrete to floor area", "all") not in rows(*parts[:3])


def test_a_storey_that_nearly_repeats_is_pointed_out():
    volumes = {"1": 50.0, "2": 50.0, "3": 53.0, "4": 50.5, "5": 20.0}
    parts = [part("wall", volume, storey=storey) for storey, volume in volumes.items()]
    found = {of: row.usual for (name, of), row in rows(*parts).items() if name == "storey to storey"}
    assert found == {
        "cast-in-place wall, 1": True,
        "cast-in-place wall, 2": True,
        "cast-in-place wall, 3": False,
        "cast-in-place wall, 4": True,
    }


def test_three_storeys_are_too_few_to_tell():
    parts = [part("wall", volume, storey=str(volume)) for volume in (50.0, 50.0, 53.0)]
    assert not [key for key in rows(*parts) if key[0] == "storey to storey"]


def test_nothing_measured_has_no_ratios():
    assert ratios(Measurement(parts=(part("wall", None),)), CHECKS) == ()
