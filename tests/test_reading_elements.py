"""What the reader says of an element: place, names, marks, materials, properties and declared quantities."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from build import Model, rectangle

from takeoff.reading.facts import Declared, ElementFacts, ModelFacts
from takeoff.reading.model import read_model

SCHEMAS = ("IFC2X3", "IFC4", "IFC4X3")

Read = Callable[[Model], ModelFacts]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    return lambda model: read_model(model.save(tmp_path / f"{model.name}.ifc"), tmp_path / "scratch")


def only(facts: ModelFacts) -> ElementFacts:
    assert len(facts.elements) == 1
    return facts.elements[0]


@pytest.mark.parametrize("schema", SCHEMAS)
@pytest.mark.parametrize("unit", ["m", "mm", "cm", "ft", "in"])
def test_units(schema: str, unit: str, read: Read) -> None:
    model = Model(schema, unit)
    model.storey("Upper", 3.1)
    wall = model.wall((0, 0), (5, 0), 0.3, 3.0, base=3.1, material=None)
    model.layers(wall, [("Concrete", 0.3)], axis=1, sense=-1, offset=0.15)
    model.quantities(
        wall,
        "Qto_WallBaseQuantities",
        {
            "Length": ("length", 5.0),
            "NetSideArea": ("area", 15.0),
            "NetVolume": ("volume", 4.5),
            "NetWeight": ("weight", 11250.0),
            "Pieces": ("count", 1),
        },
    )
    facts = read(model)
    assert facts.schema == schema
    assert facts.length_unit == pytest.approx(
        {"m": 1, "mm": 0.001, "cm": 0.01, "ft": 0.3048, "in": 0.0254}[unit]
    )
    element = only(facts)
    assert facts.storeys[0].elevation == pytest.approx(3.1)
    assert element.storey == "Upper"
    assert element.storey_elevation == pytest.approx(3.1)
    assert element.build_up is not None
    assert element.build_up.thickness == pytest.approx(0.3)
    assert (element.build_up.axis, element.build_up.sense) == (1, -1)
    assert element.build_up.offset == pytest.approx(0.15)
    assert [(d.name, d.kind) for d in element.declared] == [
        ("Length", "length"),
        ("NetSideArea", "area"),
        ("NetVolume", "volume"),
        ("NetWeight", "weight"),
        ("Pieces", "count"),
    ]
    assert [d.value for d in element.declared] == pytest.approx([5.0, 15.0, 4.5, 11250.0, 1.0], rel=1e-6)
    assert {d.set_name for d in element.declared} == {"Qto_WallBaseQuantities"}


def test_a_quantitys_own_unit_and_missing_units(read: Read) -> None:
    model = Model("IFC4", "mm")
    wall = model.wall((0, 0), (5, 0), 0.3, 3.0)
    litre = model.file.create_entity("IfcSIUnit", None, "VOLUMEUNIT", "DECI", "CUBIC_METRE")
    quantity = model.file.create_entity("IfcQuantityVolume", "Net", None, litre, 4500.0)
    found = model.root("IfcElementQuantity", Name="Ours", Quantities=[quantity])
    model.relate("IfcRelDefinesByProperties", RelatedObjects=[wall], RelatingPropertyDefinition=found)
    facts = read(model)
    assert only(facts).declared == (Declared("Ours", "Net", "volume", pytest.approx(4.5)),)
    assert not [f for f in facts.findings if f.kind == "unit-missing"]

    model = Model("IFC4", "mm")
    wall = model.wall((0, 0), (5, 0), 0.3, 3.0)
    model.quantities(wall, "Ours", {"Net": ("volume", 4.5)})
    assignment = model.project.UnitsInContext
    assignment.Units = [u for u in assignment.Units if u.UnitType != "VOLUMEUNIT"]
    facts = read(model)
    assert only(facts).declared[0].value == pytest.approx(4.5)
    assert [f.kind for f in facts.findings] == ["unit-missing"]
    assert "volume" in facts.findings[0].message


@pytest.mark.parametrize("schema", SCHEMAS)
def test_names_types_and_predefined_types(schema: str, read: Read) -> None:
    model = Model(schema)
    slab = model.slab(
        rectangle(0, 0, 4, 4),
        0.2,
        0.0,
        name="Raft",
        ObjectType="Ground slab",
        PredefinedType="BASESLAB",
        Description="with ribs",
    )
    other = model.slab(rectangle(5, 0, 9, 4), 0.2, 0.0, PredefinedType="NOTDEFINED")
    custom = model.slab(rectangle(10, 0, 14, 4), 0.2, 0.0, PredefinedType="USERDEFINED", ObjectType="Lid")
    model.type([slab, other], "Slab 200", "IfcSlabType", predefined_type="FLOOR")
    found = {e.global_id: e for e in read(model).elements}
    first = found[slab.GlobalId]
    assert (first.ifc_class, first.name, first.object_type, first.type_name, first.description) == (
        "IfcSlab",
        "Raft",
        "Ground slab",
        "Slab 200",
        "with ribs",
    )
    assert (first.predefined_type, first.role, first.subrole) == ("BASESLAB", "slab", "BASESLAB")
    assert (found[other.GlobalId].predefined_type, found[other.GlobalId].subrole) == ("FLOOR", "FLOOR")
    assert (found[custom.GlobalId].predefined_type, found[custom.GlobalId].subrole) == ("Lid", "Lid")


@pytest.mark.parametrize("schema", SCHEMAS)
def test_materials_of_every_form(schema: str, read: Read) -> None:
    model = Model(schema)
    make = model.file.create_entity
    single = model.wall((0, 0), (5, 0), 0.3, 3.0, material="Concrete C30/37")
    listed = model.wall((0, 1), (5, 1), 0.3, 3.0, material=["EPS", "Concrete", "EPS"])
    layered = model.wall((0, 2), (5, 2), 0.3, 3.0, material=None)
    model.layers(layered, [("Shell", 0.06), ("Core", 0.18), ("Shell", 0.06)])
    typed = model.wall((0, 3), (5, 3), 0.3, 3.0, material=None)
    over = model.wall((0, 4), (5, 4), 0.3, 3.0, material="Own")
    model.type([typed, over], "W", "IfcWallType", material="Of the type")
    none = model.wall((0, 5), (5, 5), 0.3, 3.0, material=None)
    if schema != "IFC2X3":
        constituents = [
            make("IfcMaterialConstituent", Name=k, Material=model.material(k)) for k in ("A", "B")
        ]
        parted = model.wall((0, 6), (5, 6), 0.3, 3.0, material=None)
        model.associate([parted], make("IfcMaterialConstituentSet", None, None, constituents))
        profile = make("IfcMaterialProfile", None, None, model.material("P"), model.rectangle(0.3, 0.3))
        profiles = make("IfcMaterialProfileSet", None, None, [profile])
        shaped = model.column((0, 7), 0.3, 0.3, 3.0, material=None)
        model.associate([shaped], make("IfcMaterialProfileSetUsage", profiles))
        named = make("IfcMaterial", "C30/37", None, "concrete")
        categorised = model.column((1, 7), 0.3, 0.3, 3.0, material=None)
        model.associate([categorised], named)
    found = {e.global_id: e for e in read(model).elements}
    assert found[single.GlobalId].materials == ("Concrete C30/37",)
    assert found[listed.GlobalId].materials == ("EPS", "Concrete")
    assert found[layered.GlobalId].materials == ("Shell", "Core")
    build_up = found[layered.GlobalId].build_up
    assert build_up is not None
    assert [(y.material, round(y.thickness, 6)) for y in build_up.layers] == [
        ("Shell", 0.06),
        ("Core", 0.18),
        ("Shell", 0.06),
    ]
    assert (build_up.axis, build_up.offset) == (None, None)
    assert found[typed.GlobalId].materials == ("Of the type",)
    assert found[over.GlobalId].materials == ("Own",)
    assert found[none.GlobalId].materials == ()
    if schema != "IFC2X3":
        assert found[parted.GlobalId].materials == ("A", "B")
        assert found[shaped.GlobalId].materials == ("P",)
        assert found[categorised.GlobalId].materials == ("C30/37",)
        assert found[categorised.GlobalId].material_categories == ("concrete",)


@pytest.mark.parametrize(
    ("axis", "sense", "offset"), [(1, 1, -0.15), (1, -1, 0.15), (2, -1, 0.3), (0, 1, 0.0)]
)
def test_layer_usages(axis: int, sense: int, offset: float, read: Read) -> None:
    model = Model("IFC4", "in")
    wall = model.wall((0, 0), (5, 0), 0.3, 3.0, material=None)
    model.layers(wall, [("A", 0.1), ("B", 0.2)], axis=axis, sense=sense, offset=offset)
    build_up = only(read(model)).build_up
    assert build_up is not None
    assert (build_up.axis, build_up.sense) == (axis, sense)
    assert build_up.offset == pytest.approx(offset, abs=1e-9)


@pytest.mark.parametrize("schema", SCHEMAS)
def test_property_sets_of_instance_and_type(schema: str, read: Read) -> None:
    model = Model(schema)
    wall = model.wall(
        (0, 0),
        (5, 0),
        0.3,
        3.0,
        made=None,
        properties={
            "Pset_ConcreteElementGeneral": {"ConstructionMethod": "Precast", "Empty": "  "},
            "Ours": {"Number": 3, "Real": 0.25, "Yes": True, "Both": ["a", "b"], "One": ["c"]},
            "Blank": {"Nothing": ""},
        },
    )
    model.type(
        [wall],
        "W",
        "IfcWallType",
        properties={
            "Pset_ConcreteElementGeneral": {"ConstructionMethod": "In-Situ", "StrengthClass": "C40/50"},
            "Of the type": {"Grade": "A"},
        },
    )
    element = only(read(model))
    assert element.properties == {
        "Pset_ConcreteElementGeneral": {"ConstructionMethod": "Precast", "StrengthClass": "C40/50"},
        "Ours": {"Number": 3, "Real": 0.25, "Yes": True, "Both": "a, b", "One": "c"},
        "Of the type": {"Grade": "A"},
    }


def test_bounded_listed_complex_and_empty_properties(read: Read) -> None:
    model = Model("IFC4")
    make = model.file.create_entity
    wall = model.wall((0, 0), (5, 0), 0.3, 3.0, made=None)
    real = [make("IfcReal", v) for v in (0.1, 0.2)]
    inner = make("IfcPropertySingleValue", "Deep", None, make("IfcLabel", "x"))
    made = [
        make("IfcPropertyBoundedValue", "Range", None, real[1], real[0]),
        make("IfcPropertyBoundedValue", "Set", None, real[1], real[0], None, make("IfcReal", 0.15)),
        make("IfcPropertyBoundedValue", "Upper", None, real[1]),
        make("IfcPropertyListValue", "Many", None, real),
        make("IfcComplexProperty", "Outer", None, "Usage", [inner]),
        make("IfcPropertySingleValue", "None"),
        make("IfcPropertySingleValue", "Unknown", None, make("IfcLogical", "UNKNOWN")),
        make("IfcPropertySingleValue", "Word", None, make("IfcLabel", "UNKNOWN")),
    ]
    found = model.root("IfcPropertySet", Name="S", HasProperties=made)
    model.relate("IfcRelDefinesByProperties", RelatedObjects=[wall], RelatingPropertyDefinition=found)
    assert only(read(model)).properties["S"] == {
        "Range": "0.1 to 0.2",
        "Set": 0.15,
        "Upper": "to 0.2",
        "Many": "0.1, 0.2",
        "Outer.Deep": "x",
        "Word": "UNKNOWN",
    }


def test_densities_come_in_kilograms(read: Read) -> None:
    model = Model("IFC4", "ft")
    make = model.file.create_entity
    wall = model.wall(
        (0, 0),
        (5, 0),
        0.3,
        3.0,
        made=None,
        properties={
            "Pset_ConcreteElementGeneral": {"ReinforcementVolumeRatio": ("IfcMassDensityMeasure", 90.0)}
        },
    )
    pound = make(
        "IfcConversionBasedUnit",
        make("IfcDimensionalExponents", 0, 1, 0, 0, 0, 0, 0),
        "MASSUNIT",
        "POUND",
        make(
            "IfcMeasureWithUnit",
            make("IfcMassMeasure", 0.45359237),
            make("IfcSIUnit", None, "MASSUNIT", "KILO", "GRAM"),
        ),
    )
    foot = next(u for u in model.project.UnitsInContext.Units if u.UnitType == "LENGTHUNIT")
    density = make(
        "IfcDerivedUnit",
        [make("IfcDerivedUnitElement", pound, 1), make("IfcDerivedUnitElement", foot, -3)],
        "MASSDENSITYUNIT",
    )
    ratio = make("IfcPropertySingleValue", "Ratio", None, make("IfcMassDensityMeasure", 5.0), density)
    found = model.root("IfcPropertySet", Name="Own unit", HasProperties=[ratio])
    model.relate("IfcRelDefinesByProperties", RelatedObjects=[wall], RelatingPropertyDefinition=found)
    sets = only(read(model)).properties
    assert sets["Pset_ConcreteElementGeneral"]["ReinforcementVolumeRatio"] == pytest.approx(90.0)
    assert sets["Own unit"]["Ratio"] == pytest.approx(5.0 * 0.45359237 / 0.3048**3)


@pytest.mark.parametrize("unit", ["mm", "ft"])
def test_quantities_in_property_sets(unit: str, read: Read) -> None:
    model = Model("IFC4", unit)
    model.wall(
        (0, 0),
        (5, 0),
        0.3,
        3.0,
        made=None,
        properties={
            "Figures": {
                "Net volume": ("IfcVolumeMeasure", 4.5),
                "Gewicht": ("IfcMassMeasure", 11000.0),
                "Volume": 4.6,
                "Length": ("IfcLengthMeasure", 5.0),
                "Reserve volume": ("IfcVolumeMeasure", 9.0),
                "Area": ("IfcVolumeMeasure", 7.0),
                "Inhoud": "viel",
                "Weight class": 3,
            }
        },
    )
    element = only(read(model))
    assert [(d.name, d.kind, pytest.approx(d.value)) for d in element.declared] == [
        ("Net volume", "volume", 4.5),
        ("Gewicht", "weight", 11000.0),
        ("Volume", "volume", 4.6),
        ("Length", "length", 5.0),
    ]
    assert {d.set_name for d in element.declared} == {"Figures"}


@pytest.mark.parametrize(
    ("tag", "properties", "mark"),
    [
        ("W-12", {}, "W-12"),
        ("4711", {}, ""),
        ("3f2504e0-4f89-11d3-9a0c-0305e82c3301", {}, ""),
        ("2O2Fr$t4X7Zf8NOew3FKau", {}, ""),
        ("ID55111bae-0000-04cd-3134-323731393039", {}, ""),
        ("12", {}, "12"),
        ("W-12", {"Data": {"Part mark": "P7"}}, "P7"),
        ("", {"Data": {"Assembly mark": "A1"}, "More": {"Mark": "M3"}}, "M3"),
        ("", {"Pset_PrecastConcreteElementFabrication": {"PieceMark": "PM9"}}, "PM9"),
        ("", {"Pset_WallCommon": {"Reference": "R5"}}, "R5"),
        ("", {"Pset_WallCommon": {"Reference": "Wall 30"}}, ""),
        ("", {"Data": {"Position": "Exterior", "Mark": True, "Marking": "no"}}, ""),
        ("", {"Data": {"Mark": 7.0}}, "7"),
    ],
)
def test_marks(tag: str, properties: dict[str, dict[str, Any]], mark: str, read: Read) -> None:
    model = Model("IFC4")
    model.wall((0, 0), (5, 0), 0.3, 3.0, name="Wall 30:a", Tag=tag or None, properties=properties)
    assert only(read(model)).mark == mark


@pytest.mark.parametrize("schema", SCHEMAS)
def test_classifications_layers_and_openings(schema: str, read: Read) -> None:
    model = Model(schema)
    wall = model.wall((0, 0), (5, 0), 0.3, 3.0)
    model.classify(wall, "21.2", "Outer walls")
    model.presentation_layer("S-WALL", [wall])
    source = model.source(model.extrusion(rectangle(0, 0, 1, 1), 1.0))
    box = model.product("IfcSlab", model.mapped(source))
    model.file.create_entity(
        "IfcPresentationLayerAssignment", Name="Inside", AssignedItems=[source.MappedRepresentation]
    )
    openings = [
        model.box_void(wall, (1, -0.2, 1), (2, 0.2, 2)),
        model.box_void(wall, (3, -0.2, 1), (4, 0.2, 2)),
    ]
    found = {e.global_id: e for e in read(model).elements}
    assert found[wall.GlobalId].classifications == ("21.2 Outer walls",)
    assert found[wall.GlobalId].presentation_layers == ("S-WALL",)
    assert found[box.GlobalId].presentation_layers == ("Inside",)
    assert found[wall.GlobalId].openings == tuple(o.id() for o in openings)
    assert found[wall.GlobalId].body == (wall.id(),)
    assert found[wall.GlobalId].body_materials == ()
    assert found[box.GlobalId].openings == ()


def test_projections_belong_to_the_body(read: Read) -> None:
    model = Model("IFC4")
    wall = model.wall((0, 0), (5, 0), 0.3, 3.0)
    rib = model.root(
        "IfcProjectionElement",
        ObjectPlacement=model.placement(wall.ObjectPlacement, (0, 0, 0)),
        Representation=model.shape([model.extrusion(rectangle(1, 0.15, 1.3, 0.4), 3.0)]),
    )
    model.relate("IfcRelProjectsElement", RelatingElement=wall, RelatedFeatureElement=rib)
    assert only(read(model)).body == (wall.id(), rib.id())


def test_duplicate_and_missing_global_ids(read: Read) -> None:
    model = Model("IFC4")
    first = model.wall((0, 0), (5, 0), 0.3, 3.0)
    second = model.wall((0, 1), (5, 1), 0.3, 3.0)
    second.GlobalId = first.GlobalId
    facts = read(model)
    assert len(facts.elements) == 2
    assert [(f.kind, f.global_id) for f in facts.findings] == [("duplicate-global-id", first.GlobalId)]


def test_a_global_id_that_is_none_is_told_and_the_element_stays_itself(read: Read) -> None:
    model = Model("IFC4")
    walls = [model.wall((0, float(n)), (5, float(n)), 0.3, 3.0) for n in range(5)]
    sound = walls[0].GlobalId
    walls[1].GlobalId = ""
    walls[2].GlobalId = "short"
    walls[3].GlobalId = sound[:-1] + "-"
    walls[4].GlobalId = "4" + sound[1:]
    facts = read(model)
    ids = [element.global_id for element in facts.elements]
    assert ids == [sound, f"#{walls[1].id()}", "short", f"{sound[:-1]}-", f"4{sound[1:]}"]
    told = [finding for finding in facts.findings if finding.kind == "malformed-global-id"]
    assert [finding.global_id for finding in told] == [ids[1]]
    assert "3 elements have no GlobalId" in told[0].message
    assert all(odd in told[0].message for odd in ids[1:4])
    assert ids[4] not in told[0].message  # another program's first character, but an identity all the same


def test_project_application_and_model_name(read: Read) -> None:
    model = Model("IFC4", name="harbour")
    model.wall((0, 0), (5, 0), 0.3, 3.0)
    facts = read(model)
    assert (facts.model, facts.project_name) == ("harbour", "harbour")
    assert facts.application.startswith("takeoff sample models")
