import pytest
from msgspec.structs import replace
from pricing_rows import items_of, joint, part, piece, shipped_bill, small_building, surface

from takeoff.measuring.records import Measurement, SurfaceRow
from takeoff.pricing.records import ShareRow
from takeoff.pricing.shares import prefabrication_shares

Rows = dict[tuple[str, str, str], ShareRow]


def contact(global_id: str, other: str, area: float, slope: float = 0.0) -> SurfaceRow:
    return replace(surface(global_id, "slab", "contact", area, slope), other_id=other)


def by_name(rows: tuple[ShareRow, ...]) -> Rows:
    named = {(row.by, row.group, row.measure): row for row in rows}
    assert len(named) == len(rows)
    return named


def figures(rows: Rows, *name: str) -> tuple[float, float]:
    row = rows[name[0], name[1], name[2]]
    return row.prefabricated, row.total


def test_shares_of_the_small_building_by_hand() -> None:
    rows = by_name(prefabrication_shares(small_building(), ()))
    # planks 0.6 + 0.6 and panel 4.8 of these and 6.0 + 2.7 + 3.0 + 2.0 cast
    assert figures(rows, "all", "", "volume") == (6.0, 19.7)
    assert figures(rows, "all", "", "weight") == (15.0, 49.25)
    assert figures(rows, "role", "wall", "volume") == (4.8, 10.5)
    assert figures(rows, "role", "foundation", "volume") == (0.0, 6.0)
    assert figures(rows, "storey", "Ground", "volume") == (6.0, 19.7)
    # panel 8 m of 8 + 5 + 5; the unresolved wall's 4 m are no part of it
    assert figures(rows, "all", "", "wall length") == (8.0, 18.0)
    # 18 m2 of planks lie under 20 m2 of topping: 20 m2 of floor
    assert figures(rows, "all", "", "floor area") == (18.0, 20.0)
    # two planks and a panel; footing, two walls, topping
    assert figures(rows, "all", "", "pieces") == (3.0, 7.0)
    assert rows["all", "", "volume"].share == pytest.approx(6.0 / 19.7)


def test_unresolved_parts_are_stated_apart() -> None:
    rows = by_name(prefabrication_shares(small_building(), ()))
    assert figures(rows, "all", "", "volume with unresolved") == (6.0, 21.2)
    assert figures(rows, "role", "wall", "volume with unresolved") == (4.8, 12.0)
    assert ("role", "slab", "volume with unresolved") not in rows


def test_value_is_the_net_amount_and_adds_up_by_storey_and_role() -> None:
    bill = shipped_bill(small_building())
    rows = by_name(bill.shares)
    made = sum(
        item.amount or 0.0 for item in items_of(bill).values() if item.method in ("precast", "tilt-up")
    )
    assert figures(rows, "all", "", "value") == pytest.approx((made, bill.net_total))
    assert rows["all", "", "value"].unit == "units"
    for by in ("role", "storey"):
        groups = [row for row in bill.shares if row.by == by and row.measure == "value"]
        assert sum(row.total for row in groups) == pytest.approx(bill.net_total, abs=0.05)


def test_value_without_dimensions_is_taken_from_the_items() -> None:
    items = list(items_of(shipped_bill(small_building())).values())
    rows = by_name(prefabrication_shares(small_building(), items))
    assert figures(rows, "all", "", "value")[1] == pytest.approx(sum(item.amount or 0.0 for item in items))


def test_a_twin_wall_is_one_piece_and_one_length() -> None:
    measurement = Measurement(
        parts=(
            part("twin", "wall", "precast", 0.9, length_m=5.0),
            part("twin", "wall", "cast-in-place", 2.0, part=2, length_m=5.0),
            part("twin", "wall", "precast", 0.9, part=3, length_m=5.0),
            part("cast", "wall", "cast-in-place", 3.0, length_m=6.0, lump=1),
            part("cast", "wall", "cast-in-place", 3.0, length_m=6.0, lump=2, storey="First"),
        ),
        pieces=(piece("twin", "wall", "precast", (5.0, 3.0, 0.3), parts="twin/1; twin/3"),),
    )
    rows = by_name(prefabrication_shares(measurement, ()))
    assert figures(rows, "all", "", "volume") == (1.8, 9.8)
    assert figures(rows, "all", "", "wall length") == (5.0, 17.0)
    assert figures(rows, "storey", "First", "wall length") == (0.0, 6.0)
    assert figures(rows, "all", "", "pieces") == (1.0, 2.0)


def test_a_piece_of_two_elements_counts_once_and_a_unit_without_piece_still_counts() -> None:
    measurement = Measurement(
        parts=tuple(part(name, "stair", "precast", 1.0) for name in ("a", "b", "c")),
        pieces=(piece("a", "stair", "precast", (3.0, 1.0, 0.5), parts="a/1; b/1"),),
    )
    rows = by_name(prefabrication_shares(measurement, ()))
    assert figures(rows, "all", "", "pieces") == (2.0, 2.0)


def test_toppings_are_deducted_once_over_all_lumps_and_never_below_nothing() -> None:
    measurement = Measurement(
        parts=(
            part("plank", "slab", "precast", 1.0, plan_area_m2=10.0),
            part("top", "slab", "cast-in-place", 1.0, plan_area_m2=6.0, lump=1),
            part("top", "slab", "cast-in-place", 1.0, plan_area_m2=8.0, lump=2),
        ),
        joints=(joint("plank", "top", "topping", 9.0, 3.0, 0.0), joint("plank", "top", "bed", 9.0, 3.0)),
    )
    rows = by_name(prefabrication_shares(measurement, ()))
    assert figures(rows, "all", "", "floor area") == (10.0, 15.0)  # 6 + 8 - 9 of its own, and the plank's 10


def test_a_raft_on_its_blinding_is_one_floor() -> None:
    measurement = Measurement(
        parts=(
            part("lean", "slab", "cast-in-place", 1.0, plan_area_m2=22.0),
            part("raft", "slab", "cast-in-place", 8.0, plan_area_m2=20.0),
            part("wall", "wall", "cast-in-place", 8.0),
        ),
        surfaces=(
            contact("lean", "raft", 20.0),
            contact("raft", "lean", 20.0),
            contact("raft", "wall", 1.0),
            contact("raft", "lean", 3.0, slope=90.0),
        ),
    )
    rows = by_name(prefabrication_shares(measurement, ()))
    assert figures(rows, "all", "", "floor area") == (0.0, 22.0)


def test_the_margin_of_a_bed_under_a_slab_is_no_floor() -> None:
    """Blinding of 22 m2 on the ground under a raft of 20; a thicker slab, or one covered by 8 m2, stays a floor."""

    def floor(covered: float, thickness: float) -> tuple[float, float]:
        measurement = Measurement(
            parts=(
                part("lean", "slab", "cast-in-place", 1.0, plan_area_m2=22.0, height_m=thickness),
                part("raft", "slab", "cast-in-place", 8.0, plan_area_m2=20.0, height_m=0.4),
            ),
            surfaces=(
                contact("lean", "raft", covered),
                contact("raft", "lean", covered),
                surface("lean", "slab", "ground", 22.0),
            ),
        )
        return figures(by_name(prefabrication_shares(measurement, ())), "all", "", "floor area")

    assert floor(20.0, 0.05) == (0.0, 20.0)
    assert floor(20.0, 0.25) == (0.0, 22.0)
    assert floor(8.0, 0.05) == (0.0, 34.0)


def test_nothing_to_compare_gives_no_rows() -> None:
    assert prefabrication_shares(Measurement(parts=(part("a", "beam", "not-concrete", 1.0),)), ()) == ()
