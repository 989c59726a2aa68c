"""What follows from a change of method, each figure by hand from the sizes in `alternatives_model`."""

from pathlib import Path

import pytest
from alternatives_model import (
    CAST,
    compared,
    formed,
    joints,
    one_change,
    volume,
    write_house,
)
from build import Model, rectangle

from takeoff.pricing.comparison import Comparison, Variant


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_house(tmp_path_factory.mktemp("house") / "house.ifc")


def quantity(comparison: Comparison, key: str) -> tuple[float, float]:
    """Quantity of an item before and after the change; an item that is not there has none."""
    for line in comparison.lines:
        if line.key == key:
            before, after = (0.0 if cell is None else cell.quantity for cell in line.cells)
            return before, after
    raise AssertionError(f"{key} does not differ; {[line.key for line in comparison.lines]} do")


def test_a_cast_wall_made_as_a_precast_panel(house: Path, tmp_path: Path) -> None:
    comparison = compared(house, tmp_path, one_change('select = { name = "Wall" }\nmethod = "precast"'))
    base, other = comparison.variants
    # 5.00 x 3.00 on both faces less the window; two ends of 0.30 x 3.00; jambs 2 x 0.30 and head 0.30.
    assert formed(base, "Wall") == pytest.approx({"wall-side": 28.0, "wall-end": 1.8, "opening-reveal": 0.9})
    assert formed(other, "Wall") == {}
    # The floor lies on the wall as before: no soffit comes, and the rest of the model is what it was.
    assert formed(other) == pytest.approx(
        {k: v for k, v in formed(base).items() if not k.startswith(("wall", "opening"))}
    )
    assert volume(other, "Wall") == pytest.approx(5 * 3 * 0.3 - 0.3)
    (piece,) = [
        piece for piece in other.measurement.pieces if piece.role == "wall" and piece.method == "precast"
    ]
    assert (piece.length_m, piece.width_m, piece.thickness_m) == pytest.approx((5.0, 3.0, 0.3))
    assert piece.weight_t == pytest.approx(4.2 * 2.5)
    assert piece.openings == 1
    # It stands on the ground slab; the planks bore on it as on the cast wall.
    assert joints(other.measurement, "Wall") == pytest.approx({"bed": 5.0, "bearing": 5.0})
    assert joints(base.measurement, "Wall") == pytest.approx({"bearing": 5.0})
    bed = next(row for row in other.measurement.joints if row.kind == "bed" and row.length_m > 3.5)
    assert bed.grout_m3 == pytest.approx(1.5 * 0.02)  # drawn closed, counted 20 mm wide
    assert quantity(comparison, "precast.delivery.wall") == (0.0, 10.5)
    assert quantity(comparison, "precast.connections.wall") == (0.0, 4.0)
    assert quantity(comparison, "finish.top.wall.to-3_5") == (0.3, 0.0)  # the sill of the window
    assert quantity(comparison, "boxing-out.wall.0_5-1") == (1.0, 0.0)
    # 85 kg/m3 by the shipped allowance, in the other section of the bill.
    assert quantity(comparison, "reinforcement.wall.allowance.bar") == (0.357, 0.0)
    assert quantity(comparison, "precast.reinforcement.wall.allowance.bar") == (0.0, 0.357)


def test_every_difference_in_money_is_quantity_times_rate(house: Path, tmp_path: Path) -> None:
    comparison = compared(house, tmp_path, one_change('select = { name = "Wall" }\nmethod = "precast"'))
    total = 0.0
    for line in comparison.lines:
        before, after = (
            0.0 if cell is None else round(cell.quantity * (cell.rate or 0.0), 2) for cell in line.cells
        )
        assert line.difference(1) == pytest.approx(after - before, abs=1e-9)
        total += after - before
    net = [total.net for total in comparison.totals]
    assert net[1] - net[0] == pytest.approx(total, abs=1e-6)
    keys = {line.key for line in comparison.lines}
    bills = [
        {item.key: (item.quantity, item.rate) for section in v.bill.sections for item in section.items}
        for v in comparison.variants
    ]
    same = {key for key in bills[0] if bills[0][key] == bills[1].get(key)}
    assert keys == (set(bills[0]) | set(bills[1])) - same
    assert comparison.common_items == len(same)


def test_a_cast_wall_made_as_a_twin_wall(house: Path, tmp_path: Path) -> None:
    text = """select = { name = "Wall" }
    layers = [{ method = "precast", thickness_mm = 60 }, { method = "cast-in-place" },
              { method = "precast", thickness_mm = 60, strength_class = "C45/55" }]"""
    comparison = compared(house, tmp_path, one_change(text))
    other = comparison.variants[1]
    assert volume(other, "Wall", "precast") == pytest.approx(14.0 * 0.12)
    assert volume(other, "Wall", "cast-in-place") == pytest.approx(14.0 * 0.18)
    # The leaves are the form; the core's ends and its window are closed with stop boards.
    assert formed(other, "Wall") == pytest.approx({"wall-end": 2 * 0.18 * 3, "opening-reveal": 3 * 0.18})
    (piece,) = [
        piece for piece in other.measurement.pieces if piece.role == "wall" and piece.method == "precast"
    ]
    assert piece.weight_t == pytest.approx(14.0 * 0.12 * 2.5)
    classes = [part.strength_class for part in other.measurement.parts if part.name == "Wall"]
    assert classes == ["C30/37", "C30/37", "C45/55"]
    steel = {part.part: part.reinforcement_kg for part in other.measurement.parts if part.name == "Wall"}
    assert steel == pytest.approx({1: 85 * 0.84, 2: 85 * 2.52, 3: 85 * 0.84})


def test_a_cast_wall_made_tilt_up(house: Path, tmp_path: Path) -> None:
    comparison = compared(house, tmp_path, one_change('select = { name = "Wall" }\nmethod = "tilt-up"'))
    assert formed(comparison.variants[1], "Wall") == {}
    # Edges: 2 x (5 + 3) around and 4 x 1 in the window; bed 5 x 3; 80 kg/m3 is the allowance of tilt-up.
    assert quantity(comparison, "tilt-up.edge-forms.over-250") == (0.0, 20.0)
    assert quantity(comparison, "tilt-up.bed") == (18.0, 33.0)
    assert quantity(comparison, "tilt-up.reinforcement.allowance.bar") == (0.288, 0.624)
    assert quantity(comparison, "tilt-up.concrete.c30-37.150-300") == pytest.approx((3.6, 7.8))


def test_a_thinner_wall_frees_the_floor_beside_it(house: Path, tmp_path: Path) -> None:
    comparison = compared(house, tmp_path, one_change('select = { name = "Wall" }\nthickness_mm = 200'))
    other = comparison.variants[1]
    assert volume(other, "Wall") == pytest.approx(14.0 * 0.2)
    assert formed(other, "Wall") == pytest.approx({"wall-side": 28.0, "wall-end": 1.2, "opening-reveal": 0.6})
    assert quantity(comparison, "finish.top.slab.to-3_5") == pytest.approx((92.31, 92.31 + 5 * 0.1))
    assert [line.unit for line in comparison.lines if line.key.startswith("reinforcement")] == ["t"]


def test_planks_and_topping_cast_as_one_slab(house: Path, tmp_path: Path) -> None:
    text = 'select = { name = "Plank*" }\ncast_with = { name = "Topping" }'
    comparison = compared(house, tmp_path, one_change(text))
    base, other = comparison.variants
    assert formed(base, "Topping") == pytest.approx({"slab-edge": 2 * (6 + 3.85) * 0.14})
    # 6.00 x 3.85 less the wall (5.00 x 0.30) and the column (0.30 x 0.30) under it.
    assert formed(other, "Topping") == pytest.approx(
        {"slab-edge": 2 * (6 + 3.85) * 0.2, "slab-soffit": 23.1 - 1.5 - 0.09}
    )
    assert volume(other, "Topping") == pytest.approx(23.1 * 0.2)
    assert not [part for part in other.measurement.parts if part.name.startswith("Plank")]
    assert not [row for row in other.measurement.joints if row.kind in ("slab", "topping", "bearing")]
    # Propping of planks goes; the soffit brings its own with the form.
    assert quantity(comparison, "propping.slab") == pytest.approx((23.1, 0.0))
    assert quantity(comparison, "formwork.slab-soffit.plane.150-300.to-3") == pytest.approx((0.0, 21.51))
    assert quantity(comparison, "joints.slab.precast.slab") == pytest.approx((7.7, 0.0))


def test_panels_cast_instead_close_their_joints(house: Path, tmp_path: Path) -> None:
    change = 'select = { name = "Panel*" }\nmethod = "cast-in-place"'
    other = compared(house, tmp_path, one_change(change)).variants[1]
    # One wall of 6.02 m: the gap of 20 mm is filled, and no end is formed there.
    assert volume(other, "Panel 1") + volume(other, "Panel 2") == pytest.approx(6.02 * 0.2 * 3)
    panels = [formed(other, f"Panel {i}") for i in (1, 2)]
    assert sum(panel["wall-side"] for panel in panels) == pytest.approx(2 * 6.02 * 3)
    assert [panel["wall-end"] for panel in panels] == pytest.approx([0.6, 0.6])
    left = compared(house, tmp_path, one_change(change + "\nclose_joints_mm = 0")).variants[1]
    assert volume(left, "Panel 1") == pytest.approx(1.8)
    assert formed(left, "Panel 1")["wall-end"] == pytest.approx(1.2)


def test_a_slab_made_of_planks_and_topping(tmp_path: Path) -> None:
    m = Model("IFC4")
    m.storey("Ground floor", 0.0)
    for y in (0.1, 6.1):
        m.wall((0, y), (7.2, y), 0.2, 3.0, name=f"Wall {y:g}", material=CAST, made=None)
    m.slab(
        rectangle(0, 0, 7.2, 6.2), 0.2, 3.0, name="Floor", material=CAST, made=None, PredefinedType="FLOOR"
    )
    model = m.save(tmp_path / "floor.ifc")
    text = """select = { name = "Floor" }
    layers = [{ method = "cast-in-place" }, { method = "precast", thickness_mm = 60 }]"""
    own = "[alternative.panelling.slab]\nmodule = 2.4\nmost_length = 7.0\nmost_weight = 9.0"
    comparison = compared(model, tmp_path, one_change(text, own))
    base, other = comparison.variants
    # 7.20 x 6.20 between the walls' outer faces, less two walls of 7.20 x 0.20 under it.
    assert formed(base, "Floor")["slab-soffit"] == pytest.approx(44.64 - 2.88)
    assert formed(other, "Floor") == pytest.approx({"slab-edge": 2 * 13.4 * 0.14})
    assert volume(other, "Floor", "precast") == pytest.approx(44.64 * 0.06)
    planks = [piece for piece in other.measurement.pieces if piece.role == "slab"]
    assert [p.length_m for p in planks] == pytest.approx([6.2] * 3)
    assert [p.width_m for p in planks] == pytest.approx([2.4] * 3)
    assert sum(piece.weight_t for piece in planks) == pytest.approx(44.64 * 0.06 * 2.5)
    assert quantity(comparison, "propping.slab") == pytest.approx((0.0, 44.64))


def test_overlaps_are_resolved_again_because_precast_keeps_its_shape(tmp_path: Path) -> None:
    m = Model("IFC4")
    m.storey("Ground floor", 0.0)
    m.wall((0, 0.1), (5, 0.1), 0.2, 3.2, name="Wall", material=CAST, made=None)
    m.slab(rectangle(0, 0, 5, 4), 0.2, 3.0, name="Floor", material=CAST, made=None, PredefinedType="FLOOR")
    model = m.save(tmp_path / "overlap.ifc")
    comparison = compared(model, tmp_path, one_change('select = { name = "Wall" }\nmethod = "precast"'))
    base, other = comparison.variants
    assert (volume(base, "Wall"), volume(base, "Floor")) == pytest.approx((3.0, 4.0))
    assert (volume(other, "Wall"), volume(other, "Floor")) == pytest.approx((3.2, 3.8))
    # The floor is cast against the panel: 5.00 x 3.80 of soffit, edges on three sides.
    assert formed(base, "Floor") == pytest.approx({"slab-soffit": 19.0, "slab-edge": 18 * 0.2})
    assert formed(other, "Floor") == pytest.approx({"slab-soffit": 19.0, "slab-edge": 12.6 * 0.2})


def test_a_size_that_leaves_a_neighbour_is_told(tmp_path: Path) -> None:
    m = Model("IFC4")
    m.storey("Ground floor", 0.0)
    m.wall((0, 0.15), (5, 0.15), 0.3, 3.0, name="Wall", material=CAST, made=None)
    m.slab(rectangle(0, 0.3, 5, 4), 0.2, 1.5, name="Floor", material=CAST, made=None, PredefinedType="FLOOR")
    model = m.save(tmp_path / "beside.ifc")
    change = 'select = { name = "Wall" }\nthickness_mm = 200\n'
    apart = compared(model, tmp_path, one_change(change))
    assert [f.kind for f in apart.findings if f.kind == "contact-lost"] == ["contact-lost"]
    held = compared(model, tmp_path, one_change(change + 'keep = "high"'))
    assert not [f for f in held.findings if f.kind == "contact-lost"]
    assert formed(held.variants[1], "Wall")["wall-side"] == pytest.approx(30.0 - 5 * 0.2)


def test_steel_that_was_modelled_or_required_belongs_to_the_old_method(tmp_path: Path) -> None:
    m = Model("IFC4")
    m.storey("Ground floor", 0.0)
    column = m.column((0, 0), 0.4, 0.4, 3.0, name="Column", material=CAST, made=None)
    m.aggregate(column, [m.bar([(0, 0, 0.1), (0, 0, 2.9)], 0.032, name="Bar")])
    wall = m.wall((3, 0), (8, 0), 0.2, 3.0, name="Wall", material=CAST, made=None)
    m.properties(
        wall, "Pset_ConcreteElementGeneral", {"ReinforcementVolumeRatio": ("IfcMassDensityMeasure", 123.0)}
    )
    model = m.save(tmp_path / "steel.ifc")
    own = '[[alternative.allowance]]\nrole = "wall"\nmethod = "precast"\nunit = "kg/m3"\n'
    own += 'low = 70\nlikely = 95\nhigh = 120\nsource = "the works"'
    comparison = compared(model, tmp_path, one_change('select = { role = "*" }\nmethod = "precast"', own))
    basis = [
        {part.name: (part.reinforcement_basis, part.reinforcement_kg) for part in v.measurement.parts}
        for v in comparison.variants
    ]
    assert basis[0]["Wall"] == ("ratio", pytest.approx(3.0 * 123.0))
    assert basis[0]["Column"][0] == "modelled"
    assert basis[1]["Wall"] == ("allowance", pytest.approx(3.0 * 95.0))
    assert basis[1]["Column"] == ("allowance", pytest.approx(0.48 * 180.0))


def test_toppings_on_formed_soffits_instead_of_planks(shared_models: Path, tmp_path: Path) -> None:
    """The undersides of the two largest toppings, 323.290 and 219.854 m2, were computed apart from this project."""
    model = shared_models / "models" / "plank-floor.ifczip"
    text = """[[alternative]]
    name = "Toppings on forms"
    [[alternative.change]]
    select = { role = "slab", material = "*prefab*" }
    omit = true
    [[alternative]]
    name = "Solid slabs"
    [[alternative.change]]
    select = { role = "slab", material = "*prefab*" }
    cast_with = { role = "slab", material = "*ihw*" }
    """
    comparison = compared(model, tmp_path, text)
    base, forms, solid = comparison.variants

    def soffits(variant: Variant) -> dict[float, float]:
        largest = sorted(base.measurement.parts, key=lambda part: -(part.net_volume_m3 or 0.0))[:2]
        return {
            round(part.net_volume_m3 or 0.0, 4): sum(
                row.area_m2
                for row in variant.measurement.formwork
                if row.global_id == part.global_id and row.category == "slab-soffit"
            )
            for part in largest
        }

    assert soffits(base) == pytest.approx({74.5420: 4.922, 50.7971: 3.845}, abs=1e-3)
    assert soffits(forms) == pytest.approx({74.5420: 323.290, 50.7971: 219.854}, abs=1e-3)
    # Cast in one, no cubic metre is lost, and the smaller floor, which no plank reaches beyond, has the same underside.
    total = [sum(part.net_volume_m3 or 0.0 for part in v.measurement.parts) for v in comparison.variants]
    assert total == pytest.approx([251.4537, 198.5822, 251.4537], abs=1e-3)
    assert soffits(solid)[50.7971] == pytest.approx(219.854, abs=1e-3)
    assert not forms.measurement.pieces
    assert not solid.measurement.pieces


def test_sections_of_columns_and_beams(tmp_path: Path) -> None:
    """A column of 0.50 x 0.30 made 0.60 x 0.40, and a beam of 0.30 x 0.50 made 0.40 x 0.60 with its top kept."""
    m = Model("IFC4", rotate_deg=33.0)
    m.storey("Ground floor", 0.0)
    m.column((2, 1), 0.5, 0.3, 3.0, name="Column", material=CAST, made=None)
    m.beam((10, 0), (16, 0), 0.3, 0.5, 4.0, name="Beam", material=CAST, made=None)
    m.slab(rectangle(10, 2, 16, 5), 0.2, 3.8, name="Floor", material=CAST, made=None, PredefinedType="FLOOR")
    model = m.save(tmp_path / "sections.ifc")
    text = one_change('select = { name = "Column" }\nwidth_mm = 600\ndepth_mm = 400')
    text += '[[alternative.change]]\nselect = { name = "Beam" }\nwidth_mm = 400\ndepth_mm = 600\n'
    text += (
        '[[alternative.change]]\nselect = { name = "Floor" }\nthickness_mm = 240\nstrength_class = "C35/45"\n'
    )
    base, other = compared(model, tmp_path, text).variants
    assert volume(base, "Column") == pytest.approx(0.15 * 3)
    assert volume(other, "Column") == pytest.approx(0.24 * 3)
    assert formed(other, "Column") == pytest.approx({"column-side": 2 * 1.0 * 3})
    assert volume(other, "Beam") == pytest.approx(0.24 * 6)
    assert formed(base, "Beam") == pytest.approx({"beam-soffit": 1.8, "beam-side": 2 * 3.0 + 2 * 0.15})
    assert formed(other, "Beam") == pytest.approx({"beam-soffit": 2.4, "beam-side": 2 * 3.6 + 2 * 0.24})
    assert volume(other, "Floor") == pytest.approx(18 * 0.24)
    tops = [
        {part.name: part.strength_class for part in v.measurement.parts if part.name == "Floor"}
        for v in (base, other)
    ]
    assert tops == [{"Floor": "C30/37"}, {"Floor": "C35/45"}]
    heights = [
        next(row.height_to_soffit_m for row in v.measurement.formwork if row.category == "beam-soffit")
        for v in (base, other)
    ]
    assert heights == pytest.approx([3.5, 3.4])  # the top stays at 4.00


def test_a_method_that_the_model_leaves_open_is_settled_by_an_alternative(tmp_path: Path) -> None:
    m = Model("IFC4")
    m.storey("Ground floor", 0.0)
    m.wall((0, 0), (4, 0), 0.2, 3.0, name="Wall", material="Something", made=None)
    m.column((8, 0), 0.3, 0.3, 3.0, name="Column", material=CAST, made=None)
    model = m.save(tmp_path / "open.ifc")
    base, other = compared(
        model, tmp_path, one_change('select = { name = "Wall" }\nmethod = "cast-in-place"')
    ).variants
    made = [next(part.method for part in v.measurement.parts if part.name == "Wall") for v in (base, other)]
    assert made == ["unresolved", "cast-in-place"]
    assert not [item for section in other.bill.sections for item in section.items if "unresolved" in item.key]
