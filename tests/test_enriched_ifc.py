"""Models copied with their results: valid, measuring the same, in their units, nothing of the author's lost."""

import hashlib
from pathlib import Path
from typing import Any

import ifcopenshell
import ifcopenshell.util.element
import pytest
from build import Model, rectangle
from cases.case import CaseModel
from cases.frames import overlapping
from click.testing import CliRunner
from handed_back import SAMPLES, complaints, differences

from takeoff import pipeline
from takeoff.cli import main
from takeoff.measuring.overrides import load_overrides
from takeoff.outputs.ifc.enriched import write_enriched
from takeoff.pipeline import Run
from takeoff.settings import Settings

FEET = 0.3048


def _building(path: Path, schema: str, unit: str) -> Path:
    """A frame whose bodies overlap, a wall with an opening, a pitched column run: all that changes figures."""
    model = CaseModel(schema, unit, 33.7, (4.0e6, -2.0e5, 100.0), name="frame")
    model.into("Level 0")
    overlapping(model)
    wall = model.wall((0, 4), (5, 4), 0.2, 3.0, made="In-Situ")
    model.box_void(wall, (1, -0.2, 1), (2, 0.4, 2))
    model.slab(rectangle(8, 0, 12, 3), 0.06, 3.0, material="Precast concrete C40/50", made=None)
    model.wall((0, 8), (5, 8), 0.18, 3.0, material="Tilt-up concrete C30/37", made=None)
    return model.save(path)


def _again(run: Run, copy: Path, kind: str = "measure") -> Run:
    write_enriched(copy, run)
    again: Run = getattr(pipeline, kind)([copy])
    return again


def _ids(path: Path, entity: str = "IfcRoot") -> set[str]:
    return {root.GlobalId for root in ifcopenshell.open(path).by_type(entity)}


@pytest.mark.parametrize("unit", ["mm", "ft"])
@pytest.mark.parametrize("schema", ["IFC2X3", "IFC4", "IFC4X3"])
def test_round_trip(tmp_path: Path, schema: str, unit: str) -> None:
    source = _building(tmp_path / "frame.ifc", schema, unit)
    before = hashlib.sha256(source.read_bytes()).hexdigest()
    run = pipeline.bill([source])
    copy = tmp_path / "copy.ifc"
    again = _again(run, copy, "bill")
    assert differences(run.measurement, again.measurement) == []
    assert again.bill is not None
    assert run.bill is not None
    assert again.bill.net_total == run.bill.net_total
    if unit == "ft":  # the validator takes seconds and does not look at units
        assert not complaints(copy)
    assert hashlib.sha256(source.read_bytes()).hexdigest() == before
    assert _ids(source) <= _ids(copy)


@pytest.mark.parametrize("name", ["archive-ifc2x3", "archive-ifc4"])
def test_round_trip_of_the_sample_models(tmp_path: Path, name: str) -> None:
    source = SAMPLES / f"{name}.ifc"
    run = pipeline.bill([source])
    copy = tmp_path / "copy.ifc"
    again = _again(run, copy, "bill")
    assert differences(run.measurement, again.measurement) == []
    assert not complaints(copy)
    assert _ids(source, "IfcElement") == _ids(copy, "IfcElement")
    # What the program only assumed is still an assumption when it reads its own copy.
    for kind in ("method-assumed", "material-missing", "method-contradiction", "duplicate"):
        counts = [r.record["counts"]["findings"].get(kind) for r in (run, again)]
        assert counts[0] == counts[1], kind


@pytest.mark.parametrize("name", ["plank-floor", "hollow-core-floor", "planks-with-lattice-girders"])
def test_round_trip_of_real_models(shared_models: Path, tmp_path: Path, name: str) -> None:
    source = shared_models / "models" / f"{name}.ifczip"
    run = pipeline.measure([source])
    copy = tmp_path / f"{name}.ifc"
    again = _again(run, copy)
    assert differences(run.measurement, again.measurement) == []
    import zipfile

    with zipfile.ZipFile(source) as archive:
        (member,) = [entry for entry in archive.namelist() if entry.endswith(".ifc")]
        archive.extract(member, tmp_path / "plain")
    # These models are not valid as they came: nothing may be added to what the validator has against them.
    assert not complaints(copy) - complaints(tmp_path / "plain" / member)


def _sets(copy: Path, class_name: str) -> list[dict[str, Any]]:
    model = ifcopenshell.open(copy)
    return [ifcopenshell.util.element.get_psets(element) for element in model.by_type(class_name)]


@pytest.mark.parametrize(("unit", "metres"), [("mm", 1e-3), ("ft", FEET)])
@pytest.mark.parametrize(
    ("schema", "set_name"), [("IFC2X3", "BaseQuantities"), ("IFC4", "Qto_WallBaseQuantities")]
)
def test_base_quantities_in_the_units_of_the_file(
    tmp_path: Path, schema: str, set_name: str, unit: str, metres: float
) -> None:
    # A wall 5.0 x 0.2 x 3.0 with an opening of 1 x 1: gross 3.0 m3, net 2.8; faces 15 and 14 m2.
    model = Model(schema, unit)
    wall = model.wall((0, 0), (5, 0), 0.2, 3.0, made="In-Situ")
    model.box_void(wall, (1, -0.2, 1), (2, 0.4, 2))
    source = model.save(tmp_path / "wall.ifc")
    copy = tmp_path / "copy.ifc"
    write_enriched(copy, pipeline.measure([source]))
    (sets,) = _sets(copy, "IfcWall")
    found = {name: value for name, value in sets[set_name].items() if name != "id"}
    area = metres**2 if unit == "ft" else 1.0
    volume = metres**3 if unit == "ft" else 1.0
    wanted = {
        "Length": 5.0 / metres, "Width": 0.2 / metres, "Height": 3.0 / metres,
        "GrossSideArea": 15.0 / area, "NetSideArea": 14.0 / area,
        "GrossVolume": 3.0 / volume, "NetVolume": 2.8 / volume, "NetWeight": found["NetWeight"],
    }  # fmt: skip
    assert found == pytest.approx(wanted, rel=1e-6)
    # 2.8 m3 of reinforced concrete at 2,400 to 2,500 kg/m3, in kilograms: these files name no unit of mass.
    assert 2.8 * 2399 < found["NetWeight"] < 2.8 * 2501
    written = ifcopenshell.open(copy)
    weights = [q for q in written.by_type("IfcQuantityWeight") if q.Name == "NetWeight"]
    assigned = {
        unit.UnitType for unit in written.by_type("IfcUnitAssignment")[0].Units if hasattr(unit, "UnitType")
    }
    if "MASSUNIT" not in assigned:
        assert [(weight.Unit.Prefix, weight.Unit.Name) for weight in weights] == [("KILO", "GRAM")]


@pytest.mark.parametrize(
    ("schema", "name", "words"),
    [
        ("IFC2X3", "ConstructionMethod", ("In-Situ", "Precast")),
        ("IFC4", "ConstructionMethod", ("In-Situ", "Precast")),
        ("IFC4X3", "CastingMethod", (["INSITU"], ["PRECAST"])),
    ],
)
def test_the_method_as_the_standard_property(
    tmp_path: Path, schema: str, name: str, words: tuple[Any, Any]
) -> None:
    model = Model(schema, "mm")
    for y, concrete in enumerate(("C30/37 cast in place", "C40/50 precast", "C30/37 tilt-up", "C30/37")):
        model.wall((0, 2 * y), (5, 2 * y), 0.2, 3.0, material=f"Concrete {concrete}", made=None)
    copy = tmp_path / "copy.ifc"
    write_enriched(copy, pipeline.measure([model.save(tmp_path / "walls.ifc")]))
    sets = dict(zip(("cast", "precast", "tilt-up", "assumed"), _sets(copy, "IfcWall"), strict=True))
    assert sets["cast"]["Pset_ConcreteElementGeneral"][name] == words[0]
    assert sets["precast"]["Pset_ConcreteElementGeneral"][name] == words[1]
    # The standard has no word for tilt-up, and a guess is no statement.
    assert name not in sets["tilt-up"].get("Pset_ConcreteElementGeneral", {})
    assert sets["tilt-up"]["Takeoff_Result"]["Method"] == "tilt-up"
    assert name not in sets["assumed"].get("Pset_ConcreteElementGeneral", {})
    assert sets["assumed"]["Takeoff_Result"]["MethodAssumed"] == "cast-in-place"
    assert "Method" not in sets["assumed"]["Takeoff_Result"]


def test_a_decision_by_hand_is_read_back_from_the_copy(tmp_path: Path) -> None:
    model = Model("IFC4X3", "mm")
    wall = model.wall((0, 0), (5, 0), 0.2, 3.0, material="Concrete C30/37", made=None)
    source = model.save(tmp_path / "wall.ifc")
    listed = tmp_path / "methods.csv"
    listed.write_text(f"global_id,method\n{wall.GlobalId},tilt-up\n", encoding="utf-8")
    copy = tmp_path / "copy.ifc"
    write_enriched(copy, pipeline.measure([source], Settings(overrides=listed)))
    assert [part.method for part in pipeline.measure([copy]).measurement.parts] == ["tilt-up"]
    assert load_overrides(listed).by_id[wall.GlobalId].method == "tilt-up"


def test_an_authors_own_word_wins_over_what_was_written_earlier(tmp_path: Path) -> None:
    model = Model("IFC4", "mm")
    model.wall((0, 0), (5, 0), 0.2, 3.0, material="Tilt-up concrete C30/37", made=None)
    copy = tmp_path / "copy.ifc"
    write_enriched(copy, pipeline.measure([model.save(tmp_path / "wall.ifc")]))
    opened = ifcopenshell.open(copy)
    (wall,) = opened.by_type("IfcWall")
    ours = next(d for d in opened.by_type("IfcPropertySet") if d.Name == "Takeoff_Result")
    assert any(p.Name == "Method" for p in ours.HasProperties)
    said = opened.create_entity(
        "IfcPropertySingleValue",
        Name="ConstructionMethod",
        NominalValue=opened.create_entity("IfcLabel", "Precast"),
    )
    stated = opened.create_entity(
        "IfcPropertySet",
        GlobalId=ifcopenshell.guid.new(),
        Name="Pset_ConcreteElementGeneral",
        HasProperties=[said],
    )
    opened.create_entity(
        "IfcRelDefinesByProperties", GlobalId=ifcopenshell.guid.new(), RelatedObjects=[wall],
        RelatingPropertyDefinition=stated,
    )  # fmt: skip
    opened.write(str(copy))
    assert [part.method for part in pipeline.measure([copy]).measurement.parts] == ["precast"]


def test_a_shared_set_is_not_changed_for_a_neighbour(tmp_path: Path) -> None:
    # Two walls of different size share one set with one wrong volume, a third element has it too but is no
    # concrete: each wall gets its own figures, the post keeps what it had.
    model = Model("IFC2X3", "m")
    walls = [model.wall((0, 3 * i), (4 + i, 3 * i), 0.2, 3.0, made="In-Situ") for i in range(2)]
    post = model.column((20, 0), 0.2, 0.2, 3.0, material="Steel S355", made=None)
    source = model.save(tmp_path / "walls.ifc")
    opened = ifcopenshell.open(source)
    by = opened.by_type("IfcOwnerHistory")[0]
    shared = opened.create_entity(
        "IfcElementQuantity", GlobalId=ifcopenshell.guid.new(), OwnerHistory=by, Name="BaseQuantities",
        Quantities=[
            opened.create_entity("IfcQuantityVolume", Name="NetVolume", VolumeValue=99.0),
            opened.create_entity("IfcQuantityLength", Name="Perimeter", LengthValue=7.0),
        ],
    )  # fmt: skip
    opened.create_entity(
        "IfcRelDefinesByProperties", GlobalId=ifcopenshell.guid.new(), OwnerHistory=by,
        RelatingPropertyDefinition=shared,
        RelatedObjects=[opened.by_guid(element.GlobalId) for element in (*walls, post)],
    )  # fmt: skip
    opened.write(str(source))
    copy = tmp_path / "copy.ifc"
    write_enriched(copy, pipeline.measure([source]))
    found = [sets["BaseQuantities"] for sets in _sets(copy, "IfcWall")]
    assert [sets["NetVolume"] for sets in found] == pytest.approx([2.4, 3.0])
    assert [sets["Perimeter"] for sets in found] == [7.0, 7.0]
    assert [sets["BaseQuantities"]["NetVolume"] for sets in _sets(copy, "IfcColumn")] == [99.0]
    assert not complaints(copy)
    # What the author had declared is told with the figure that stands in its place.
    volumes = [q for q in ifcopenshell.open(copy).by_type("IfcQuantityVolume") if q.Name == "NetVolume"]
    assert sum("before: 99" in (volume.Description or "") for volume in volumes) == 2


def test_layers_that_are_no_concrete_keep_the_standards_figures_out(tmp_path: Path) -> None:
    model = Model("IFC4", "m")
    wall = model.wall((0, 0), (5, 0), 0.3, 3.0, material=None, made=None)
    model.layers(wall, [("Concrete C30/37 cast in place", 0.2), ("Mineral wool", 0.1)], axis=1, offset=-0.15)
    copy = tmp_path / "copy.ifc"
    write_enriched(copy, pipeline.measure([model.save(tmp_path / "wall.ifc")]))
    (sets,) = _sets(copy, "IfcWall")
    assert "Qto_WallBaseQuantities" not in sets
    assert sets["Takeoff_Quantities"]["ConcreteNetVolume"] == pytest.approx(3.0)


@pytest.mark.parametrize("schema", ["IFC2X3", "IFC4", "IFC4X3"])
def test_the_bill_as_cost_items(tmp_path: Path, schema: str) -> None:
    source = _building(tmp_path / "frame.ifc", schema, "ft")
    run = pipeline.bill([source])
    copy = tmp_path / "copy.ifc"
    write_enriched(copy, run)
    assert run.bill is not None
    model = ifcopenshell.open(copy)
    (schedule,) = model.by_type("IfcCostSchedule")
    assert schedule.PredefinedType == "PRICEDBILLOFQUANTITIES"
    items = {item.Description: item for item in model.by_type("IfcCostItem") if item.Description}
    billed = {item.key: item for section in run.bill.sections for item in section.items}
    dimensions = {dimension.item for dimension in run.bill.dimensions}
    assert items.keys() == {key for key in billed if key in dimensions}
    factors = {"m": FEET, "m2": FEET**2, "m3": FEET**3}
    checked = 0
    for key, entity in items.items():
        controls = [rel for rel in model.by_type("IfcRelAssignsToControl") if rel.RelatingControl == entity]
        names = {element.GlobalId for rel in controls for element in rel.RelatedObjects}
        assert names == {d.global_id for d in run.bill.dimensions if d.item == key}
        if billed[key].unit in factors and schema != "IFC2X3":
            (quantity,) = entity.CostQuantities
            assert quantity[3] * factors[billed[key].unit] == pytest.approx(billed[key].quantity, abs=1e-6)
            (value,) = entity.CostValues
            assert value.AppliedValue.ValueComponent.wrappedValue == billed[key].rate
            checked += 1
    assert checked or schema == "IFC2X3"
    numbers = {item.number for item in billed.values()}
    for sets in _sets(copy, "IfcWall"):
        assert set(sets["Takeoff_Result"]["BillItems"].split("; ")) <= numbers


@pytest.mark.parametrize("schema", ["IFC2X3", "IFC4"])
def test_written_twice_is_written_once(tmp_path: Path, schema: str) -> None:
    source = _building(tmp_path / "frame.ifc", schema, "mm")
    copies = [tmp_path / "once.ifc", tmp_path / "twice.ifc"]
    write_enriched(copies[0], pipeline.bill([source]))
    write_enriched(copies[1], pipeline.bill([copies[0]]))
    counts = [{e: len(ifcopenshell.open(copy).by_type(e)) for e in (
        "IfcRoot", "IfcElementQuantity", "IfcPropertySet", "IfcCostItem", "IfcRelDefinesByProperties",
        "IfcRelAssignsToControl", "IfcOwnerHistory", "IfcCostValue", "IfcPhysicalQuantity", "IfcMeasureWithUnit",
        "IfcMonetaryUnit", "IfcProperty", "IfcNamedUnit",
    )} for copy in copies]  # fmt: skip
    assert counts[0] == counts[1]
    if schema == "IFC2X3":  # the one that the validator is done with in a second
        assert not complaints(copies[1])


def test_several_models_go_into_a_folder(tmp_path: Path) -> None:
    sources = []
    for name, unit in (("one", "mm"), ("two", "ft")):
        model = Model("IFC4", unit, name=name)
        model.wall((0, 0 if name == "one" else 5), (5, 0 if name == "one" else 5), 0.2, 3.0, made="In-Situ")
        sources.append(model.save(tmp_path / f"{name}.ifc"))
    written = write_enriched(tmp_path / "copies", pipeline.bill(sources))
    assert [path.name for path in written] == ["one.ifc", "two.ifc"]
    for path in written:
        (sets,) = _sets(path, "IfcWall")
        assert sets["Takeoff_Quantities"]["ConcreteNetVolume"] > 0


def test_a_model_is_never_its_own_copy(tmp_path: Path) -> None:
    model = Model("IFC4", "mm")
    model.wall((0, 0), (5, 0), 0.2, 3.0)
    source = model.save(tmp_path / "wall.ifc")
    before = source.read_bytes()
    result = CliRunner().invoke(
        main, ["measure", str(source), "--out", str(tmp_path / "out"), "--ifc", str(source)]
    )
    assert result.exit_code == 1
    assert "is one of the models themselves" in result.stderr
    assert not (tmp_path / "out").exists()
    assert source.read_bytes() == before


def test_a_model_with_faulty_lines_is_copied_with_a_warning(tmp_path: Path) -> None:
    model = Model("IFC4", "mm")
    model.wall((0, 0), (5, 0), 0.2, 3.0, made="In-Situ")
    model.round_column((9, 0), 0.4, 3.0)
    source = model.save(tmp_path / "wall.ifc")
    text = source.read_text(encoding="utf-8")
    line = next(x for x in text.splitlines() if "IFCPOLYLINE" in x or "IFCRECTANGLEPROFILEDEF" in x)
    faulty = line.replace("IFCPOLYLINE", "IFCNOSUCHTHING").replace("IFCRECTANGLEPROFILEDEF", "IFCNOSUCHTHING")
    source.write_text(text.replace(line, faulty), encoding="utf-8")
    copy = tmp_path / "copy.ifc"
    result = CliRunner().invoke(
        main, ["measure", str(source), "--out", str(tmp_path / "out"), "--ifc", str(copy)]
    )
    assert result.exit_code == 0, result.output
    assert copy.exists()
    assert "the copy lacks what could not be read" in result.stderr


def test_an_alternative_is_not_put_into_the_model_as_it_is(tmp_path: Path) -> None:
    words = ["--alternatives", "a.toml", "--alternative", "precast", "--ifc", str(tmp_path / "copy.ifc")]
    result = CliRunner().invoke(
        main, ["bill", str(SAMPLES / "archive-ifc4.ifc"), "--out", str(tmp_path / "bill.xlsx"), *words]
    )
    assert result.exit_code == 2
    assert "leave --alternative out" in result.stderr
