import random
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from pricing_rows import (
    HEADER,
    MODEL,
    form,
    hole,
    items_of,
    joint,
    part,
    piece,
    shipped_bill,
    small_building,
    steel,
    surface,
    write,
)

from takeoff.findings import InputError
from takeoff.measuring.records import Measurement
from takeoff.pricing.bill import make_bill
from takeoff.pricing.markups import load_markups
from takeoff.pricing.money import amount, exact_sum
from takeoff.pricing.rates import load_rates
from takeoff.pricing.records import Bill
from takeoff.pricing.sections import load_sections
from takeoff.templates import template_path

RATES = """concrete.*,m3,100,90,120,our quote,2026-01-31,
formwork.*,m2,10,,,our quote,,
formwork.slab-edge.*,m2,20.5,,,our quote,,
reinforcement.*,t,1000,,,our quote,,
precast.supply.*,m3,500,,,our quote,,
precast.reinforcement.*,t,900,,,our quote,,
precast.delivery.*,t,20,,,our quote,,
precast.erection.*,nr,150,,,our quote,,
tilt-up.*,m3,90,,,our quote,,
tilt-up.edge-forms.*,m,10,,,our quote,,
tilt-up.bed,m2,5,,,our quote,,
tilt-up.reinforcement.*,t,1000,,,our quote,,
tilt-up.inserts,nr,30,,,our quote,,
tilt-up.lift.*,nr,400,,,our quote,,
tilt-up.braces,nr,50,,,our quote,,
joints.*,m,10,,,our quote,,
joints.topping.*,m2,2,,,our quote,,
propping.*,m2,0,,,in the price of the planks,,
ground.blinding.*,m2,12,,,our quote,,
finish.top.*,m2,8,,,our quote,,
boxing-out.*,nr,60,,,our quote,,
"""


def bill_with(
    folder: Path,
    measurement: Measurement,
    rates: str,
    sections: str | None = None,
    markups: str | None = None,
) -> Bill:
    return make_bill(
        measurement,
        load_rates(write(folder, "rates.csv", HEADER + rates)),
        load_sections(write(folder, "s.toml", sections) if sections else template_path("sections.toml")),
        load_markups(write(folder, "m.toml", markups) if markups else template_path("markups.toml")),
    )


def test_every_total_of_the_small_building_by_hand(tmp_path: Path) -> None:
    bill = bill_with(tmp_path, small_building(), RATES)
    totals = {section.code: section.total for section in bill.sections}
    assert totals == {
        "A": 1370.00,  # (6.0 + 2.0 + 2.7 + 3.0) m3 = 13.7 x 100
        "B": 736.90,  # 8.0 + 28.0 + 0.8 + 30.0 + 1.2 + 2.0 = 70.0 m2 x 10, edge 1.8 x 20.5
        "C": 1096.00,  # 480 + 216 + 240 + 160 = 1,096 kg x 1,000
        "D": 1068.00,  # 1.2 x 500 + 0.12 x 900 + 3.0 x 20 + 2 x 150
        # edges 2 (8 + 3.25) + 6 round the door = 28.5 x 10, bed 8 x 3.25 x 5, 4.8 x 90, 0.384 x 1,000,
        # inserts 12 t / 6 = 2 x 30, lift 400, braces 2 x 50
        "E": 1791.00,
        "F": 177.50,  # beds 2.4 + 8.0 m, slab 3.75 m = 14.15 x 10, topping 18 m2 x 2
        "G": 144.00,  # 12 m2 x 12
        "H": 160.00,  # 20 m2 x 8
        "J": 60.00,  # the wall's hole; the panel's is in its edge forms
        "U": 0.00,
    }
    assert bill.net_total == 6603.40
    # 12 % of net; 8 %, 5 %, 20 % of 7,395.81, 7,987.47, 8,386.84
    assert [line.amount for line in bill.markups] == [792.41, 591.66, 399.37, 1677.37]
    assert [line.base for line in bill.markups] == [6603.40, 7395.81, 7987.47, 8386.84]
    assert bill.grand_total == 10064.21
    assert bill.currency == "units"


def test_keys_descriptions_and_rates_of_items(tmp_path: Path) -> None:
    items = items_of(bill_with(tmp_path, small_building(), RATES))
    wall = items["concrete.wall.cast-in-place.c30-37.150-300"]
    assert wall.description == (
        "Concrete C30/37, cast in place, in walls 150 to 300 mm thick, "
        "including placing, compaction and curing"
    )
    assert (wall.number, wall.unit, wall.quantity, wall.rate, wall.amount) == ("A.3", "m3", 5.7, 100.0, 570.0)
    assert (wall.low, wall.high, wall.role, wall.method) == (90.0, 120.0, "wall", "cast-in-place")
    assert wall.rate_source == "rates.csv line 2: our quote, 2026-01-31"
    assert items["precast.supply.slab.c45-55.to-150"].description.startswith(
        "Precast concrete C45/55 in slabs up to 150 mm thick, 2 units, the largest 3.75 x 2.40 x 0.07 m, "
        "the heaviest 1.50 t: supply"
    )
    soffit = items["formwork.slab-soffit.plane.to-150.to-3"]
    assert "members up to 150 mm thick, height to soffit up to 3 m, including propping" in soffit.description
    assert "12 mm, in walls, as modelled" in items["reinforcement.wall.modelled.bar.12"].description


def test_unresolved_elements_stand_apart_without_a_rate(tmp_path: Path) -> None:
    bill = bill_with(tmp_path, small_building(), "*,nr,5,,,,,\n" + RATES)
    assert bill.unpriced == (
        "unresolved.concrete.wall.none.150-300",
        "unresolved.formwork.wall",
        "unresolved.reinforcement.wall.allowance",
    )
    unresolved = items_of(bill)[bill.unpriced[0]]
    assert (unresolved.quantity, unresolved.rate, unresolved.amount) == (1.5, None, None)
    assert unresolved.description.startswith("UNRESOLVED walls")
    told = [finding for finding in bill.findings if finding.kind == "item-unpriced"]
    assert [(finding.worth, finding.worth_unit) for finding in told] == [
        (1.5, "m3"),
        (20.0, "m2"),
        (0.12, "t"),
    ]
    named = bill_with(tmp_path, small_building(), RATES + "unresolved.concrete.wall.*,m3,200,,,,,\n")
    assert items_of(named)[bill.unpriced[0]].amount == 300.0
    assert named.net_total == bill.net_total + 300.0


def test_items_without_a_rate_are_listed_and_not_in_the_total(tmp_path: Path) -> None:
    whole = bill_with(tmp_path, small_building(), RATES)
    lacking = bill_with(
        tmp_path, small_building(), RATES.replace("ground.blinding.*,m2,12", "ground.blinding.*,m2,")
    )
    assert set(lacking.unpriced) - set(whole.unpriced) == {"ground.blinding.foundation"}
    assert lacking.net_total == whole.net_total - 144.0


def test_dimension_lines_tell_how_a_quantity_came(tmp_path: Path) -> None:
    bill = bill_with(tmp_path, small_building(), RATES)
    lines = {(line.item.split(".")[0], line.global_id): line for line in bill.dimensions}
    footing = lines["concrete", "footing"]
    assert (footing.times, footing.length, footing.width, footing.height) == (1.0, 6.0, 2.0, 0.5)
    wall = lines["concrete", "wall1"]
    assert (wall.times, wall.length) == (None, None)
    assert wall.note == (
        "gross 3.000 m3, less 0.200 m3 for openings and recesses (1.000 m2), "
        "less 0.100 m3 that another part keeps"
    )
    assert wall.location == "W1, wall wall1"
    by_item = {line.item: line for line in bill.dimensions}
    edge = by_item["formwork.slab-edge.plane.to-250"]
    assert (edge.times, edge.length, edge.width, edge.height) == (1.0, 18.0, None, 0.1)
    assert by_item["formwork.slab-soffit.plane.to-150.to-3"].note == "height to soffit 2.80 m"
    assert by_item["tilt-up.inserts"].times == 2.0
    assert "allowance of the handling file" in by_item["tilt-up.inserts"].note
    assert by_item["tilt-up.edge-forms.150-200"].note.startswith(
        "around the panel and 6.00 m around openings"
    )


def test_items_are_the_sums_of_their_dimensions(tmp_path: Path) -> None:
    bill = bill_with(tmp_path, small_building(), RATES)
    for key, item in items_of(bill).items():
        assert item.quantity == exact_sum(line.quantity for line in bill.dimensions if line.item == key)
        assert item.amount == (None if item.rate is None else amount(item.quantity, item.rate))


def test_rows_of_no_item_are_an_error_to_see(tmp_path: Path) -> None:
    odd = Measurement(
        parts=(part("a", "wall", "cast-in-place", 1.0),),
        formwork=(form("lost", "wall", "wall-side", 7.0),),  # no part of this name
        surfaces=(surface("a", "wall", "puzzling", 3.0), surface("a", "wall", "contact", 4.0)),
    )
    found = [finding for finding in bill_with(tmp_path, odd, RATES).findings if finding.kind == "not-billed"]
    assert {(finding.severity, finding.worth, finding.worth_unit) for finding in found} == {
        ("error", 7.0, "m2"),
        ("error", 3.0, "m2"),
    }
    assert "surfaces: 1 of them (cast-in-place, wall, puzzling; 3 m2)" in " ".join(f.message for f in found)


def test_parts_that_could_not_be_measured_are_told(tmp_path: Path) -> None:
    broken = Measurement(
        parts=(part("a", "wall", "cast-in-place", None), part("b", "beam", "not-concrete", None))
    )
    bill = bill_with(tmp_path, broken, RATES)
    (finding,) = bill.findings
    assert (finding.kind, finding.severity, finding.global_id) == ("parts-not-in-bill", "error", "a")
    assert bill.sections == ()
    assert bill.grand_total == 0.0


def test_example_rates_are_said_to_be_examples(tmp_path: Path) -> None:
    kinds = {finding.kind for finding in shipped_bill(small_building()).findings}
    assert "rates-are-examples" in kinds
    assert "rates-are-examples" not in {f.kind for f in bill_with(tmp_path, small_building(), RATES).findings}


def test_allowances_are_told(tmp_path: Path) -> None:
    bill = bill_with(tmp_path, small_building(), RATES)
    allowed = [finding for finding in bill.findings if finding.kind == "item-by-allowance"]
    assert [finding.worth for finding in allowed] == [2.0, 2.0]


def test_edge_forms_follow_the_true_outline(tmp_path: Path) -> None:
    """A gable 6 m wide, 3 m at the eaves, 4 at the ridge, with a window of 1 x 1 m: 6 + 2 x 3 + 2 x sqrt(10) + 4."""
    outline = 12.0 + 2.0 * 10.0**0.5
    gable = Measurement(
        parts=(part("g", "wall", "tilt-up", 4.0),),
        pieces=(
            piece(
                "g", "wall", "tilt-up", (6.0, 4.0, 0.2), outline_m=outline, opening_edges_m=4.0, outline_m2=21.0
            ),
        ),
    )  # fmt: skip
    items = items_of(bill_with(tmp_path, gable, RATES))
    assert items["tilt-up.edge-forms.150-200"].quantity == pytest.approx(outline + 4.0, abs=1e-3)
    assert items["tilt-up.bed"].quantity == 21.0


def test_a_unit_of_several_elements_and_a_twin_wall(tmp_path: Path) -> None:
    leaf = {"size_band": "to 150", "length_m": 5.0}
    twin = Measurement(
        parts=(
            part("twin", "wall", "precast", 0.9, **leaf),
            part("twin", "wall", "cast-in-place", 2.0, part=2, size_band="150-300", length_m=5.0),
            part("twin", "wall", "precast", 0.9, part=3, **leaf),
            part("s1", "stair", "precast", 1.0, size_band=""),
            part("s2", "stair", "precast", 0.5, size_band=""),
        ),
        pieces=(
            piece(
                "twin",
                "wall",
                "precast",
                (5.0, 3.0, 0.32),
                volume_m3=1.8,
                weight_t=4.5,
                parts="twin/1; twin/3",
            ),
            piece(
                "s1", "stair", "precast", (4.0, 1.2, 1.5), volume_m3=1.5, weight_t=3.75, parts="s1/1; s2/1"
            ),
        ),
    )
    items = items_of(bill_with(tmp_path, twin, RATES))
    assert items["precast.supply.wall.c30-37.to-150"].quantity == 1.8
    assert ", 1 unit, " in items["precast.supply.wall.c30-37.to-150"].description
    assert items["concrete.wall.cast-in-place.c30-37.150-300"].quantity == 2.0
    assert ", 1 unit, " in items["precast.supply.stair.c30-37"].description
    assert items["precast.connections.wall"].quantity == 4.0
    assert items["precast.connections.stair"].quantity == 2.0
    assert items["precast.erection.stair.2_5-5"].quantity == 1.0


PLAN = """
[[section]]
code = "F"
title = "Forms and steel"
[[section.item]]
key = "formwork.by-length"
series = "formwork"
from = "formwork"
measure = "length"
unit = "m"
where = { category = "slab-edge", band = ["to 250", "250-500"] }
split = ["category", "band"]
text = "Edges {band} mm deep"
[[section.item]]
key = "formwork"
from = "formwork"
measure = "area"
unit = "m2"
split = ["category", "band"]
text = "Forms to {category}"
[[section.item]]
key = "steel"
from = "reinforcement"
measure = "mass"
unit = "kg"
split = ["basis"]
text = "Steel {basis}, {added}"
[section.item.add]
by = "basis"
percent = { modelled = 0, "*" = 7.5 }
text = "{percent} % for laps"
otherwise = "no laps added"
"""


def test_edges_by_length_within_a_depth_band_and_a_shown_percentage(tmp_path: Path) -> None:
    measurement = Measurement(
        parts=(part("a", "slab", "cast-in-place", 1.0),),
        formwork=(
            form("a", "slab", "slab-edge", 2.0, band="to 250", length_m=10.0, depth_m=0.2),
            form("a", "slab", "slab-edge", 1.0, band="to 250"),  # without a length: stays in m2
            form("a", "slab", "slab-edge", 6.0, band="500-1000", length_m=10.0, depth_m=0.6),
        ),
        reinforcement=(steel("a", "slab", 40.0), steel("a", "slab", 100.0, basis="modelled")),
    )
    rates = "formwork.by-length.*,m,2,,,,,\nformwork.*,m2,1,,,,,\nsteel.*,kg,2,,,,,\n"
    bill = bill_with(tmp_path, measurement, rates, PLAN)
    items = items_of(bill)
    assert {key: (item.unit, item.quantity) for key, item in items.items()} == {
        "formwork.by-length.slab-edge.to-250": ("m", 10.0),
        "formwork.slab-edge.to-250": ("m2", 1.0),
        "formwork.slab-edge.500-1000": ("m2", 6.0),
        "steel.modelled": ("kg", 100.0),
        "steel.allowance": ("kg", 43.0),
    }
    assert items["steel.allowance"].description == "Steel allowance, 7.5 % for laps"
    assert items["steel.modelled"].description == "Steel modelled, no laps added"
    added = [line.note for line in bill.dimensions if line.item == "steel.allowance"]
    assert added == ["measured 40 kg, 7.5 % added"]
    assert ("Added to the quantity", "steel: modelled 0 %, * 7.5 %") in [row[:2] for row in bill.basis]


def test_two_rules_that_make_one_item_are_an_error(tmp_path: Path) -> None:
    plan = PLAN.replace('key = "formwork.by-length"\nseries = "formwork"', 'key = "formwork"')
    measurement = Measurement(
        parts=(part("a", "slab", "cast-in-place", 1.0),),
        formwork=(
            form("a", "slab", "slab-edge", 2.0, band="to 250", length_m=10.0),
            form("a", "slab", "slab-edge", 1.0, band="to 250"),
        ),
    )
    with pytest.raises(InputError, match=r"s\.toml: item formwork\.slab-edge\.to-250 is made twice"):
        bill_with(tmp_path, measurement, "", plan)


def test_spellings_of_one_class_are_one_item(tmp_path: Path) -> None:
    walls = Measurement(
        parts=(
            part("a", "wall", "cast-in-place", 1.0, strength_class="C30-37"),
            part("b", "wall", "cast-in-place", 2.0, strength_class="C30/37"),
        )
    )
    (item,) = items_of(bill_with(tmp_path, walls, RATES)).values()
    assert item.quantity == 3.0


def test_what_a_slab_is_cast_on_makes_its_item(tmp_path: Path) -> None:
    slabs = Measurement(
        parts=(
            part("ground", "slab", "cast-in-place", 1.0, size_band="150-300"),
            part("top", "slab", "cast-in-place", 2.0, size_band="to 150", plan_area_m2=6.0),
            part("plank", "slab", "precast", 3.0, size_band="to 150"),
            part("free", "slab", "cast-in-place", 4.0, size_band="to 150", plan_area_m2=40.0),
        ),
        surfaces=(surface("ground", "slab", "ground", 5.0),),
        joints=(
            joint("plank", "top", "topping", 5.0, 3.0, 0.0),
            joint("plank", "top", "slab", 0.3, 3.0),
            joint(
                "plank", "free", "topping", 0.5, 2.0, 0.0
            ),  # a slab of 40 m2 that only reaches over a plank
            joint("plank", "free", "vertical", 0.3, 2.0),
        ),
    )
    quantities = {key: item.quantity for key, item in items_of(bill_with(tmp_path, slabs, RATES)).items()}
    assert quantities == {
        "concrete.ground-slab.cast-in-place.c30-37.150-300": 1.0,
        "concrete.topping.cast-in-place.c30-37.to-150": 2.0,
        "concrete.slab.cast-in-place.c30-37.to-150": 4.0,
        "precast.supply.slab.c30-37.to-150": 3.0,
        "joints.vertical.precast.slab.cast-in-place": 2.0,
        "joints.slab-edge.precast.slab": 3.0,
        "joints.topping.precast.slab": 5.5,
        "propping.slab": 5.5,
        "ground.blinding.slab": 5.0,
    }


def test_blinding_that_is_modelled_is_no_slab_and_has_no_blinding_under_it(tmp_path: Path) -> None:
    raft = Measurement(
        parts=(
            part("lean", "slab", "cast-in-place", 2.0, strength_class="C12/15", size_band="to 150"),
            part("raft", "slab", "cast-in-place", 9.0, subrole="BASESLAB", size_band="300-450"),
        ),
        surfaces=(surface("lean", "slab", "ground", 20.0), surface("raft", "slab", "contact", 18.0)),
    )
    bill = bill_with(tmp_path, raft, RATES)
    assert {key: item.quantity for key, item in items_of(bill).items()} == {
        "concrete.blinding.c12-15": 2.0,
        "concrete.ground-slab.cast-in-place.c30-37.300-450": 9.0,
    }
    assert not [finding for finding in bill.findings if finding.kind == "not-billed"]


def test_hostile_text_stays_text(tmp_path: Path) -> None:
    walls = Measurement(
        parts=(
            part(
                "a", "wall", "cast-in-place", 1.0, strength_class="{role}*.[=cmd()]", name="=1+1", storey="@x"
            ),
        )
    )
    bill = bill_with(tmp_path, walls, RATES)
    (item,) = items_of(bill).values()
    assert item.key == "concrete.wall.cast-in-place.role-cmd"
    assert "{role}*.[=cmd()]" in item.description
    assert bill.dimensions[0].location == "=1+1"


def test_markups_on_net_and_running_total(tmp_path: Path) -> None:
    lines = "".join(
        f'[[markup]]\nname = "{name}"\npercent = {percent}\non = "{on}"\n'
        for name, percent, on in (
            ("a", 10, "net"),
            ("b", 10, "running"),
            ("c", 10, "net"),
            ("off", -5, "running"),
        )
    )
    walls = Measurement(parts=(part("a", "wall", "cast-in-place", 1.0),))
    bill = bill_with(tmp_path, walls, RATES, markups=f'currency = "EUR"\n{lines}')
    # net 100; 10 on 100; 11 on 110; 10 on 100; -6.55 on 131
    assert [(line.base, line.amount) for line in bill.markups] == [
        (100.0, 10.0),
        (110.0, 11.0),
        (100.0, 10.0),
        (131.0, -6.55),
    ]
    assert bill.grand_total == 124.45
    assert bill.currency == "EUR"


ROWS = st.tuples(
    st.sampled_from(("foundation", "slab", "column", "wall", "beam", "stair")),
    st.sampled_from(("cast-in-place", "precast", "tilt-up", "unresolved", "not-concrete")),
    st.floats(0.001, 900.0),
    st.sampled_from(("", "C30/37", "C45/55")),
    st.sampled_from(("", "to 150", "150-300", "over 450")),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(ROWS, max_size=25), st.randoms(use_true_random=False))
def test_all_measured_concrete_is_billed_once_in_any_order(
    rows: list[tuple[str, str, float, str, str]], shuffler: random.Random
) -> None:
    parts = [
        part(f"e{number}", role, method, volume, strength_class=strength, size_band=band)
        for number, (role, method, volume, strength, band) in enumerate(rows)
    ]
    bill = shipped_bill(Measurement(parts=tuple(parts)))
    billed = sum(item.quantity for item in items_of(bill).values() if item.unit == "m3")
    measured = sum(p.net_volume_m3 or 0.0 for p in parts if p.method != "not-concrete")
    assert billed == pytest.approx(measured, abs=1e-6 * (len(parts) + 1))
    assert not [finding for finding in bill.findings if finding.kind == "not-billed"]
    shuffler.shuffle(parts)
    again = shipped_bill(Measurement(parts=tuple(parts)))
    assert again.sections == bill.sections
    assert again.grand_total == bill.grand_total


def test_moving_a_wall_to_another_model_changes_no_item() -> None:
    building = small_building()
    moved = replace(
        building,
        parts=tuple(replace(p, model="other.ifc") if p.global_id == "footing" else p for p in building.parts),
        formwork=tuple(
            replace(row, model="other.ifc") if row.global_id == "footing" else row
            for row in building.formwork
        ),
    )
    assert shipped_bill(moved).net_total == shipped_bill(building).net_total
    assert {line.model for line in shipped_bill(moved).dimensions} == {MODEL, "other.ifc"}


def test_rows_that_every_table_may_hold_are_billed_with_the_shipped_plan() -> None:
    """Each role and method through all tables: nothing is missed, and joints of all kinds have an item."""
    roles = ("foundation", "slab", "column", "wall", "beam", "stair")
    parts, forms, tops, holes, bars, pieces, joints = [], [], [], [], [], [], []
    for role in roles:
        for method in ("cast-in-place", "precast", "tilt-up", "unresolved"):
            name = f"{role}-{method}"
            parts.append(part(name, role, method, 1.0))
            bars.append(steel(name, role, 50.0))
            tops.extend(surface(name, role, state, 1.0) for state in ("free", "ground", "contact", "seated"))
            holes.append(hole(name, role, 0.3, 2.2, "0.1-0.5"))
            forms.extend(
                form(name, role, f"{role}-{face}", 1.0) for face in ("side", "soffit", "edge", "odd")
            )
            if method in ("precast", "tilt-up"):
                pieces.append(piece(name, role, method, (4.0, 2.0, 0.125)))
                joints.extend(
                    joint(name, "wall-cast-in-place", kind, 0.1, 1.0) for kind in ("bed", "vertical", "new")
                )
    bill = shipped_bill(
        Measurement(
            tuple(parts), tuple(forms), tuple(tops), tuple(holes), tuple(bars), tuple(pieces), tuple(joints)
        )
    )
    assert not [finding for finding in bill.findings if finding.kind == "not-billed"]
    assert all(key.startswith("unresolved.") for key in bill.unpriced)
    assert sum(1 for line in bill.dimensions if line.item.startswith("joints.")) == len(joints)
