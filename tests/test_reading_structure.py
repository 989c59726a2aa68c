"""Which products are elements and what makes their bodies: roles, parts, stairs, roofs, assemblies, proxies."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from build import Model, box_mesh, rectangle

from takeoff.reading.facts import ElementFacts, ModelFacts
from takeoff.reading.model import read_model

SCHEMAS = ("IFC2X3", "IFC4", "IFC4X3")

Read = Callable[[Model], ModelFacts]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    return lambda model: read_model(model.save(tmp_path / f"{model.name}.ifc"), tmp_path / "scratch")


def by_id(facts: ModelFacts) -> dict[str, ElementFacts]:
    return {e.global_id: e for e in facts.elements}


def box(model: Model, low: tuple[float, ...], high: tuple[float, ...]) -> Any:
    return model.extrusion(rectangle(low[0], low[1], high[0], high[1]), high[2] - low[2])


def kinds(facts: ModelFacts) -> list[str]:
    return sorted(f.kind for f in facts.findings)


@pytest.mark.parametrize("schema", SCHEMAS)
@pytest.mark.parametrize("unit", ["mm", "ft"])
def test_roles_by_class(schema: str, unit: str, read: Read) -> None:
    model = Model(schema, unit, rotate_deg=20.0)
    cube = box(model, (0, 0, 0), (1, 1, 1))
    expected: dict[str, tuple[str, str]] = {}

    def add(role: str, subrole: str, ifc_class: str, *items: Any, **words: Any) -> None:
        expected[model.product(ifc_class, *(items or (cube,)), **words).GlobalId] = (role, subrole)

    add("wall", "", "IfcWall")
    add("wall", "", "IfcWallStandardCase")
    add("slab", "FLOOR", "IfcSlab", PredefinedType="FLOOR")
    add("column", "", "IfcColumn")
    add("beam", "", "IfcBeam")
    add("foundation", "STRIP_FOOTING", "IfcFooting", PredefinedType="STRIP_FOOTING")
    add(
        "foundation",
        "PILE",
        "IfcPile",
        PredefinedType="DRIVEN" if schema != "IFC2X3" else None,
        ConstructionType="CAST_IN_PLACE",
    )
    add("stair", "FLIGHT", "IfcStairFlight")
    add("slab", "RAMP_FLIGHT", "IfcRampFlight")
    add("slab", "RAMP", "IfcRamp")
    add("slab", "ROOF", "IfcRoof")
    upright = model.extrusion(model.rectangle(0.2, 0.2), 3.0)
    lying = model.extrusion(model.rectangle(0.2, 0.2), 3.0, axes=((1.0, 0.0, 0.0), (0.0, 1.0, 0.0)))
    add("column", "MEMBER", "IfcMember", upright)
    add("beam", "MEMBER", "IfcMember", lying)
    add("beam", "MEMBER", "IfcMember", upright, tilt=80.0)
    add("column", "MEMBER", "IfcMember", model.mapped(model.source(upright)))
    add("beam", "MEMBER", "IfcMember", model.brep(*box_mesh((0, 0, 0), (4.0, 0.2, 0.3))))
    add("slab", "PLATE", "IfcPlate", box(model, (0, 0, 0), (2, 2, 0.1)))
    add("wall", "PLATE", "IfcPlate", box(model, (0, 0, 0), (2, 0.1, 2)))
    if schema != "IFC2X3":
        add("wall", "PLATE", "IfcPlate", model.triangles(*box_mesh((0, 0, 0), (0.1, 2, 2))))
        add("slab", "HOLLOWCORE", "IfcBeam", PredefinedType="HOLLOWCORE")
        add("column", "POST", "IfcMember", lying, PredefinedType="POST")
    if schema == "IFC4X3":
        add("foundation", "CAISSON_FOUNDATION", "IfcCaissonFoundation")
    for ifc_class in ("IfcDoor", "IfcRailing", "IfcFlowSegment", "IfcFurnishingElement", "IfcCurtainWall"):
        model.product(ifc_class, cube)
    facts = read(model)
    assert {i: (e.role, e.subrole) for i, e in by_id(facts).items()} == expected
    assert not facts.findings


@pytest.mark.parametrize("schema", SCHEMAS)
def test_an_element_with_body_and_parts_counts_once(schema: str, read: Read) -> None:
    model = Model(schema)
    wall = model.wall((0, 0), (5, 0), 0.3, 3.0)
    part_class = "IfcBuildingElementPart"
    concrete = model.product(part_class, box(model, (0, 0, 0), (5, 0.2, 3)), filed=False, material="Concrete")
    foam = model.product(
        part_class, box(model, (0, 0, 0), (5, 0.1, 3)), filed=False, material="EPS", name="Foam"
    )
    lintel = model.beam((1, 0), (2, 0), 0.2, 0.2, 2.5, filed=False)
    model.aggregate(wall, [concrete, foam, lintel])
    facts = read(model)
    assert [(e.global_id, e.body) for e in facts.elements] == [(wall.GlobalId, (wall.id(),))]
    assert [(e.name, e.material, e.host) for e in facts.embedded] == [("Foam", "EPS", wall.GlobalId)]
    assert not facts.findings


@pytest.mark.parametrize("schema", SCHEMAS)
def test_a_bodyless_element_is_measured_from_its_concrete_parts(schema: str, read: Read) -> None:
    model = Model(schema)
    slab = model.product("IfcSlab", name="Plank", Tag="P1", properties={"Own": {"Grade": "mine"}})
    shell = model.product(
        "IfcBuildingElementProxy",
        box(model, (0, 0, 0), (5, 2, 0.06)),
        filed=False,
        name="Shell",
        material="Concrete",
        properties={"Own": {"Grade": "part", "Class": "XC1"}, "Part": {"Area": ("IfcAreaMeasure", 10.0)}},
    )
    girder = model.product(
        "IfcBuildingElementProxy", box(model, (0, 0, 0), (5, 0.1, 0.1)), filed=False, name="G"
    )
    block = model.product(
        "IfcBuildingElementProxy", box(model, (0, 0, 0), (1, 1, 0.1)), filed=False, name="GASBETON 100X"
    )
    anchor = model.product(
        "IfcDiscreteAccessory", box(model, (0, 0, 0), (0.1, 0.1, 0.1)), filed=False, name="A"
    )
    model.aggregate(slab, [girder, shell, block, anchor])
    opening = model.box_void(shell, (1, 1, 0), (2, 2, 1))
    facts = read(model)
    (element,) = facts.elements
    assert (element.global_id, element.role, element.mark, element.storey) == (
        slab.GlobalId,
        "slab",
        "P1",
        "Level 0",
    )
    assert element.body == (shell.id(),)
    assert element.body_materials == ("Concrete",)
    assert element.materials == ("Concrete",)
    assert element.openings == (opening.id(),)
    assert element.properties == {"Own": {"Grade": "mine", "Class": "XC1"}, "Part": {"Area": 10.0}}
    assert [(d.name, d.value) for d in element.declared] == [("Area", pytest.approx(10.0))]
    assert sorted((e.name, e.host) for e in facts.embedded) == [
        ("A", slab.GlobalId),
        ("G", slab.GlobalId),
        ("GASBETON 100X", slab.GlobalId),
    ]
    assert not facts.findings


@pytest.mark.parametrize("schema", SCHEMAS)
def test_a_wall_of_leaves_and_core_names_the_material_of_each_part(schema: str, read: Read) -> None:
    model = Model(schema)
    wall = model.product("IfcWall", name="Twin")
    parts = [
        model.product("IfcBuildingElementPart", box(model, (0, y, 0), (5, y + t, 3)), filed=False, material=m)
        for y, t, m in (
            (0, 0.06, "Precast concrete"),
            (0.06, 0.18, "In-situ concrete"),
            (0.24, 0.1, "EPS"),
            (0.34, 0.06, "Precast concrete"),
        )
    ]
    for part, volume in zip(parts, (0.9, 2.7, 1.5, 0.9), strict=True):
        model.quantities(part, "Qto", {"NetVolume": ("volume", volume)})
    model.aggregate(wall, parts)
    (element,) = read(model).elements
    assert element.body == (parts[0].id(), parts[1].id(), parts[3].id())
    assert element.body_materials == ("Precast concrete", "In-situ concrete", "Precast concrete")
    assert element.materials == ("Precast concrete", "In-situ concrete")
    assert [(d.name, d.value) for d in element.declared] == [("NetVolume", pytest.approx(4.5))]


def test_parts_of_parts_and_parts_of_unknown_material(read: Read) -> None:
    model = Model("IFC4")
    wall = model.product("IfcWall", name="Wall")
    group = model.product("IfcBuildingElementPart", filed=False)
    leaves = [
        model.product("IfcBuildingElementPart", box(model, (0, y, 0), (5, y + 0.1, 3)), filed=False)
        for y in (0.0, 0.1)
    ]
    sliver = model.product("IfcBuildingElementPart", box(model, (0, 0, 0), (1, 0.1, 1)), filed=False)
    model.aggregate(wall, [group])
    model.aggregate(group, leaves)
    model.aggregate(leaves[0], [sliver])
    timber = model.product("IfcWall", name="Frame")
    studs = [
        model.product("IfcMember", box(model, (x, 0, 0), (x + 0.1, 0.1, 3)), filed=False, material="Wood")
        for x in (0, 1)
    ]
    model.aggregate(timber, studs)
    found = by_id(read(model))
    assert found[wall.GlobalId].body == (leaves[0].id(), leaves[1].id())
    assert found[wall.GlobalId].body_materials == ("", "")
    assert found[timber.GlobalId].body == (studs[0].id(), studs[1].id())
    assert found[timber.GlobalId].materials == ("Wood",)
    assert len(found) == 2


@pytest.mark.parametrize("schema", SCHEMAS)
def test_a_stair_of_flights_and_landings(schema: str, read: Read) -> None:
    model = Model(schema)
    model.storey("Ground", 0.0)
    stair = model.product("IfcStair", name="Stair", material="Concrete C35/45", made="Precast")
    flight = model.product("IfcStairFlight", box(model, (0, 0, 0), (1, 3, 2)), filed=False)
    landing = model.product(
        "IfcSlab", box(model, (0, 3, 2), (2, 4, 2.2)), filed=False, material="Other", PredefinedType="LANDING"
    )
    stringer = model.product("IfcMember", box(model, (0, 0, 0), (0.1, 3, 2)), filed=False)
    railing = model.product("IfcRailing", box(model, (0, 0, 0), (0.1, 3, 1)), filed=False)
    model.aggregate(stair, [flight, landing, stringer, railing])
    facts = read(model)
    found = by_id(facts)
    assert {i: (e.role, e.subrole) for i, e in found.items()} == {
        flight.GlobalId: ("stair", "FLIGHT"),
        landing.GlobalId: ("stair", "LANDING"),
        stringer.GlobalId: ("stair", "STRINGER"),
    }
    assert found[flight.GlobalId].materials == ("Concrete C35/45",)
    assert found[landing.GlobalId].materials == ("Other",)
    assert (
        found[landing.GlobalId].properties["Pset_ConcreteElementGeneral"]["ConstructionMethod"] == "Precast"
    )
    assert {e.storey for e in found.values()} == {"Ground"}
    assert {e.assembly for e in found.values()} == {""}
    assert not facts.findings


def test_parts_beside_flights_take_the_stairs_material(read: Read) -> None:
    model = Model("IFC4")
    stair = model.product("IfcStair", material="Concrete")
    flight = model.product("IfcStairFlight", box(model, (0, 0, 0), (1, 3, 2)), filed=False)
    nosing = model.product("IfcBuildingElementPart", box(model, (0, 0, 0), (1, 1, 1)), filed=False)
    tread = model.product(
        "IfcBuildingElementPart", box(model, (0, 0, 0), (1, 1, 1)), filed=False, material="Oak"
    )
    model.aggregate(stair, [flight, nosing, tread])
    facts = read(model)
    assert {i: e.role for i, e in by_id(facts).items()} == {
        flight.GlobalId: "stair",
        nosing.GlobalId: "stair",
    }
    assert by_id(facts)[nosing.GlobalId].materials == ("Concrete",)
    assert kinds(facts) == ["proxy-left-out", "proxy-taken-in"]


def test_stairs_with_a_body_and_of_mere_parts(read: Read) -> None:
    model = Model("IFC4")
    solid = model.product("IfcStair", box(model, (0, 0, 0), (1, 3, 2)), name="Solid")
    model.aggregate(solid, [model.product("IfcStairFlight", box(model, (0, 0, 0), (1, 3, 2)), filed=False)])
    parted = model.product("IfcStair", name="Parted")
    step = model.product("IfcBuildingElementPart", box(model, (0, 0, 0), (1, 3, 2)), filed=False)
    model.aggregate(parted, [step])
    empty = model.product("IfcStair", name="Empty")
    facts = read(model)
    found = by_id(facts)
    assert found[solid.GlobalId].body == (solid.id(),)
    assert found[parted.GlobalId].body == (step.id(),)
    assert found[empty.GlobalId].body == ()
    assert len(found) == 3
    assert [(f.kind, f.global_id) for f in facts.findings] == [("no-body", empty.GlobalId)]


@pytest.mark.parametrize("schema", SCHEMAS)
def test_a_roof_of_slabs_hands_its_layers_and_openings_down(schema: str, read: Read) -> None:
    model = Model(schema)
    roof = model.product("IfcRoof", name="Roof")
    slabs = [model.slab(rectangle(x, 0, x + 4, 4), 0.3, 3.0, filed=False, material=None) for x in (0, 4)]
    model.aggregate(roof, slabs)
    model.layers(roof, [("Gravel", 0.1), ("Concrete", 0.2)], axis=2, sense=-1, offset=0.3)
    skylight = model.box_void(roof, (1, 1, 0), (2, 2, 5))
    found = by_id(read(model))
    assert set(found) == {s.GlobalId for s in slabs}
    for element in found.values():
        assert (element.role, element.subrole, element.storey) == ("slab", "ROOF", "Level 0")
        assert element.materials == ("Gravel", "Concrete")
        assert element.build_up is not None
        assert (element.build_up.axis, element.build_up.sense, element.build_up.offset) == (2, -1, None)
        assert element.openings == (skylight.id(),)


@pytest.mark.parametrize("schema", SCHEMAS)
def test_assemblies(schema: str, read: Read) -> None:
    model = Model(schema)
    big = model.beam((0, 0), (5, 0), 0.3, 0.5, 3.0, filed=False, Tag="b-1", made=None)
    small = model.beam((0, 0), (1, 0), 0.1, 0.1, 3.0, filed=False, made=None)
    model.quantities(big, "Q", {"NetVolume": ("volume", 0.75)})
    model.quantities(small, "Q", {"NetVolume": ("volume", 0.01)})
    plate = model.product(
        "IfcPlate", box(model, (0, 0, 0), (1, 1, 0.01)), filed=False, material="STEEL/S235", name="Plate"
    )
    ball = model.product(
        "IfcDiscreteAccessory",
        box(model, (0, 0, 0), (0.1, 0.1, 0.1)),
        filed=False,
        name="Ball",
        material="RUBBER",
    )
    odd = model.product(
        "IfcBeam", box(model, (0, 0, 0), (1, 0.1, 0.1)), filed=False, material="Undefined/3500"
    )
    inner = model.assembly("Insert", [plate, ball], filed=False)
    unit = model.assembly(
        "Unit",
        [inner, small, big, odd],
        Tag="U-7",
        AssemblyPlace="FACTORY",
        properties={"Delivery": {"Lot": "3"}},
    )
    alone = model.assembly(
        "Loose",
        [model.product("IfcBeam", box(model, (0, 0, 0), (1, 1, 1)), filed=False, material="STEEL/S235")],
    )
    facts = read(model)
    found = by_id(facts)
    assert len(found) == 5
    assert {unit.GlobalId, inner.GlobalId, alone.GlobalId}.isdisjoint(found)
    for element in (found[big.GlobalId], found[small.GlobalId], found[odd.GlobalId]):
        assert (element.assembly, element.assembly_mark) == (unit.GlobalId, "U-7")
        assert element.properties["IfcElementAssembly"] == {"AssemblyPlace": "FACTORY"}
        assert element.properties["Delivery"] == {"Lot": "3"}
        assert element.storey == "Level 0"
    assert found[big.GlobalId].mark == "b-1"
    assert found[small.GlobalId].mark == ""
    assert found[plate.GlobalId].assembly == inner.GlobalId
    assert sorted((e.name, e.host) for e in facts.embedded) == [
        ("Ball", big.GlobalId),
        ("Plate", big.GlobalId),
    ]
    assert not facts.findings


def test_an_assembly_of_mere_concrete_parts_is_an_element(read: Read) -> None:
    model = Model("IFC4")
    parts = [
        model.product(
            "IfcBuildingElementPart", box(model, (x, 0, 0), (x + 1, 0.2, 3)), filed=False, material="Concrete"
        )
        for x in (0, 1)
    ]
    wall = model.assembly("Sandwich wall", parts)
    model.assembly("Nothing", [])
    facts = read(model)
    (element,) = facts.elements
    assert (element.global_id, element.role) == (wall.GlobalId, "wall")
    assert element.body == (parts[0].id(), parts[1].id())
    assert kinds(facts) == ["proxy-taken-in"]


def test_concrete_in_a_class_that_is_no_concrete_work_is_told(read: Read) -> None:
    model = Model("IFC4")
    model.product("IfcWall", box(model, (0, 0, 0), (5, 1, 3)), material="Concrete")
    for number in range(2):
        model.product(
            "IfcRailing", box(model, (number, 0, 0), (1, 1, 1)), name=f"Parapet {number}", material="Concrete"
        )
    model.product("IfcRailing", box(model, (0, 0, 0), (1, 1, 1)), material="Oak")
    model.product("IfcFurniture", box(model, (0, 0, 0), (1, 1, 1)), material="Concrete")
    model.product("IfcRailing", material="Concrete")
    facts = read(model)
    assert len(facts.elements) == 1
    (told,) = [finding for finding in facts.findings if finding.kind == "class-left-out"]
    assert "2 IfcRailing (one is Parapet 0)" in told.message
    assert told.severity == "warning"
