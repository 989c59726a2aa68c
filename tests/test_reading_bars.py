"""Reinforcement in the model: whose it is, how many bars, what they weigh and what that rests on."""

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from build import Model, box_mesh, rectangle, tube_mesh

from takeoff.reading.bars import STEEL_KG_M3, curve_length
from takeoff.reading.facts import Bar, ModelFacts
from takeoff.reading.model import read_model

SCHEMAS = ("IFC2X3", "IFC4", "IFC4X3")

Read = Callable[[Model], ModelFacts]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    return lambda model: read_model(model.save(tmp_path / f"{model.name}.ifc"), tmp_path / "scratch")


def only(facts: ModelFacts) -> Bar:
    assert len(facts.bars) == 1
    return facts.bars[0]


def kg_a_metre(diameter: float) -> float:
    return math.pi * diameter**2 / 4 * STEEL_KG_M3


LINE = [(0, 0, 0), (3, 0, 0)]


@pytest.mark.parametrize("schema", SCHEMAS)
@pytest.mark.parametrize("unit", ["mm", "ft"])
def test_bars_of_an_element_by_diameter_length_and_number(schema: str, unit: str, read: Read) -> None:
    model = Model(schema, unit)
    wall = model.wall((0, 0), (5, 0), 0.3, 3.0)
    bars = model.bar(LINE, 0.016, count=7, spacing=(0, 0, 0.15))
    model.aggregate(wall, [bars])
    facts = read(model)
    bar = only(facts)
    assert (bar.global_id, bar.kind, bar.count, bar.host) == (bars.GlobalId, "bar", 7, wall.GlobalId)
    assert (bar.diameter, bar.length) == (pytest.approx(0.016), pytest.approx(3.0))
    assert bar.mass == pytest.approx(7 * 3.0 * kg_a_metre(0.016))
    assert "nominal diameter and bar length" in bar.basis
    assert [e.global_id for e in facts.elements] == [wall.GlobalId]
    assert not facts.embedded
    assert not facts.findings


@pytest.mark.parametrize(
    ("weights", "mass", "basis"),
    [
        ({"Weight": 33.2}, 33.2, "declared Q.Weight"),
        ({"Weight": 33.2 / 7}, 33.2, "declared Q.Weight of one bar, times 7"),
        ({"Weight": 33.2 / 7, "Total Weight": 33.3}, 33.3, "declared Q.Total Weight"),
        ({"Weight": 0.0}, 7 * 3.0 * math.pi * 0.016**2 / 4 * 7850, "nominal diameter and bar length"),
    ],
)
@pytest.mark.parametrize("as_properties", [True, False])
def test_declared_weights(
    weights: dict[str, float], mass: float, basis: str, as_properties: bool, read: Read
) -> None:
    model = Model("IFC4")
    bars = model.bar(LINE, 0.016, count=7, spacing=(0, 0, 0.15))
    if as_properties:
        model.properties(bars, "Q", {k: ("IfcMassMeasure", v) for k, v in weights.items()})
    else:
        model.quantities(bars, "Q", {k: ("weight", v) for k, v in weights.items()})
    bar = only(read(model))
    assert bar.mass == pytest.approx(mass, rel=1e-3)
    assert bar.basis.startswith(basis)
    assert bar.host == ""


def test_a_written_diameter_that_the_weight_denies(read: Read) -> None:
    model = Model("IFC4")
    bars = model.bar(LINE, 0.010, count=7, spacing=(0, 0, 0.15))
    model.quantities(bars, "Q", {"Weight": ("weight", 7 * 3.0 * 0.395)})
    facts = read(model)
    bar = only(facts)
    assert bar.diameter == pytest.approx(0.008)
    assert bar.mass == pytest.approx(8.295)
    assert [f.kind for f in facts.findings] == ["bar-diameter-differs"]
    assert "10 mm" in facts.findings[0].message


def test_numbers_of_bars_that_are_not_drawn_one_by_one(read: Read) -> None:
    model = Model("IFC4")
    counted = model.bar(LINE, 0.012, name="counted")
    model.quantities(counted, "Q", {"Count": ("count", 9)})
    told = model.bar(LINE, 0.012, name="told")
    model.properties(told, "P", {"Number of bars": 4})
    undrawn = model.product(
        "IfcReinforcingBar",
        name="undrawn",
        filed=False,
        NominalDiameter=model.length(0.012),
        BarLength=model.length(2.0),
    )
    found = {bar.global_id: bar for bar in read(model).bars}
    assert found[counted.GlobalId].count == 9
    assert found[counted.GlobalId].mass == pytest.approx(27.0 * kg_a_metre(0.012))
    assert found[told.GlobalId].count == 4
    assert found[undrawn.GlobalId].mass == pytest.approx(2.0 * kg_a_metre(0.012))


def test_lengths_from_the_drawn_line_and_sizes_from_the_type(read: Read) -> None:
    model = Model("IFC4", "in")
    rods = [model.rod([(0, y, 0), (1 + y, y, 0)], 0.006) for y in (0.0, 1.0, 2.0)]
    tapering = model.product("IfcReinforcingBar", *rods, name="tapering", filed=False)
    typed = model.product("IfcReinforcingBar", name="typed", filed=False)
    kind = model.type([typed], "B12", "IfcReinforcingBarType")
    assert kind is not None
    kind.NominalDiameter, kind.BarLength = model.length(0.012), model.length(2.5)
    nothing = model.product("IfcReinforcingBar", name="nothing", filed=False)
    facts = read(model)
    found = {bar.global_id: bar for bar in facts.bars}
    assert found[tapering.GlobalId].count == 3
    assert found[tapering.GlobalId].length == pytest.approx(2.0)
    assert found[tapering.GlobalId].mass == pytest.approx(6.0 * kg_a_metre(0.012))
    assert "drawn length" in found[tapering.GlobalId].basis
    assert found[typed.GlobalId].mass == pytest.approx(2.5 * kg_a_metre(0.012))
    assert (found[nothing.GlobalId].mass, found[nothing.GlobalId].basis) == (0.0, "not known")
    assert [(f.kind, f.global_id) for f in facts.findings] == [("bar-mass-unknown", nothing.GlobalId)]


@pytest.mark.parametrize("schema", SCHEMAS)
def test_fabric_and_tendons(schema: str, read: Read) -> None:
    model = Model(schema)
    slab = model.slab(rectangle(0, 0, 6, 2.4), 0.2, 0.0)
    mesh = model.product(
        "IfcReinforcingMesh",
        model.rod(LINE, 0.004),
        filed=False,
        MeshLength=6000.0,
        MeshWidth=2400.0,
        LongitudinalBarNominalDiameter=8.0,
        TransverseBarNominalDiameter=6.0,
        LongitudinalBarCrossSectionArea=50.3e-6,
        TransverseBarCrossSectionArea=28.3e-6,
        LongitudinalBarSpacing=150.0,
        TransverseBarSpacing=250.0,
    )
    tendon = model.product(
        "IfcTendon",
        model.rod(LINE, 0.00765),
        filed=False,
        PredefinedType="STRAND",
        NominalDiameter=15.3,
        CrossSectionArea=140e-6,
    )
    conduit = model.product("IfcTendonAnchor", model.rod(LINE, 0.02), filed=False, name="Anchor")
    model.aggregate(slab, [mesh, tendon, conduit])
    facts = read(model)
    found = {bar.kind: bar for bar in facts.bars}
    assert set(found) == {"fabric", "tendon"}
    assert found["fabric"].mass == pytest.approx(
        (50.3e-6 / 0.15 + 28.3e-6 / 0.25) * 6.0 * 2.4 * 7850, rel=1e-6
    )
    assert found["tendon"].mass == pytest.approx(140e-6 * 3.0 * 7850, rel=1e-6)
    assert {bar.host for bar in facts.bars} == {slab.GlobalId}
    assert [(e.name, e.host) for e in facts.embedded] == [("Anchor", slab.GlobalId)]


def test_hosts_by_assembly_nesting_assignment_and_property(read: Read) -> None:
    model = Model("IFC4")
    wall = model.wall((0, 0), (5, 0), 0.3, 3.0, filed=False, made=None)
    small = model.wall((0, 0), (1, 0), 0.3, 3.0, filed=False, made=None)
    steel = model.beam((0, 0), (1, 0), 0.3, 0.5, 3.0, filed=False, material="Steel S355")
    for element, volume in ((wall, 4.5), (small, 0.9), (steel, 9.0)):
        model.quantities(element, "Q", {"NetVolume": ("volume", volume)})
    caged = model.bar(LINE, 0.012, name="caged")
    cage = model.assembly("Cage", [caged], filed=False, PredefinedType="REINFORCEMENT_UNIT")
    direct = model.bar(LINE, 0.012, name="direct")
    model.assembly("Unit", [small, wall, steel, cage, direct])
    column = model.column((9, 0), 0.3, 0.3, 3.0, Tag="C-1")
    nested = model.bar(LINE, 0.012, name="nested")
    model.relate("IfcRelNests", RelatingObject=column, RelatedObjects=[nested])
    served = model.bar(LINE, 0.012, name="served")
    model.relate("IfcRelAssignsToProduct", RelatedObjects=[served], RelatingProduct=column)
    named = model.bar(LINE, 0.012, name="named", properties={"P": {"Host GUID": column.GlobalId}})
    marked = model.bar(LINE, 0.012, name="marked", properties={"P": {"Host mark": "C-1"}})
    loose = model.bar(LINE, 0.012, name="loose")
    only_steel = model.bar(LINE, 0.012, name="only steel")
    model.assembly(
        "Steel unit", [only_steel, model.beam((0, 0), (1, 0), 0.3, 0.5, 3.0, filed=False, material="Steel")]
    )
    hosts = {bar.global_id: bar.host for bar in read(model).bars}
    assert hosts == {
        caged.GlobalId: wall.GlobalId,
        direct.GlobalId: wall.GlobalId,
        nested.GlobalId: column.GlobalId,
        served.GlobalId: column.GlobalId,
        named.GlobalId: column.GlobalId,
        marked.GlobalId: column.GlobalId,
        loose.GlobalId: "",
        only_steel.GlobalId: "",
    }


@pytest.mark.parametrize("material", ["REBAR_MESH/B500", "Betonstahl BSt 500", "Wapeningsstaal FeB500"])
def test_reinforcement_modelled_as_beams(material: str, read: Read) -> None:
    model = Model("IFC2X3")
    concrete = model.beam((0, 0), (5, 0), 0.3, 0.5, 3.0, filed=False, made=None)
    mesh = model.beam(
        (0, 0),
        (5, 0),
        0.01,
        0.01,
        3.0,
        filed=False,
        material=material,
        made=None,
        properties={"Data": {"Weight": ("IfcMassMeasure", 0.92)}},
    )
    model.assembly("Unit", [concrete, mesh])
    facts = read(model)
    bar = only(facts)
    assert (bar.kind, bar.mass, bar.host) == ("fabric", pytest.approx(0.92), concrete.GlobalId)
    assert [e.global_id for e in facts.elements] == [concrete.GlobalId]
    assert not facts.embedded


def curve(model: Model, ifc_class: str, *values: Any, **named: Any) -> Any:
    return model.file.create_entity(ifc_class, *values, **named)


def test_lengths_of_lines() -> None:
    model = Model("IFC4", "m")
    points = curve(
        model, "IfcCartesianPointList3D", [(0, 0, 0), (1, 0, 0), (1.5, 0.5, 0), (1, 1, 0), (0, 1, 0)]
    )
    bent = curve(
        model,
        "IfcIndexedPolyCurve",
        points,
        [
            curve(model, "IfcLineIndex", (1, 2)),
            curve(model, "IfcArcIndex", (2, 3, 4)),
            curve(model, "IfcLineIndex", (4, 5)),
        ],
    )
    assert curve_length(bent) == pytest.approx(2.0 + math.pi * 0.5)
    shallow = curve(
        model,
        "IfcCartesianPointList3D",
        [
            (0, 0, 0),
            (math.sin(0.05) * 9, 9 - math.cos(0.05) * 9, 0),
            (math.sin(0.1) * 9, 9 - math.cos(0.1) * 9, 0),
        ],
    )
    arc = curve(model, "IfcIndexedPolyCurve", shallow, [curve(model, "IfcArcIndex", (1, 2, 3))])
    assert curve_length(arc) == pytest.approx(0.9, rel=1e-9)
    assert curve_length(curve(model, "IfcIndexedPolyCurve", points)) == pytest.approx(
        2.0 + 2 * math.sqrt(0.5)
    )
    plane = curve(model, "IfcAxis2Placement3D", model.point((0, 0, 0)))
    circle = curve(model, "IfcCircle", plane, 2.0)

    def trimmed(first: float, last: float, sense: bool) -> Any:
        ends = [[curve(model, "IfcParameterValue", v)] for v in (first, last)]
        return curve(model, "IfcTrimmedCurve", circle, *ends, sense, "PARAMETER")

    assert curve_length(trimmed(0.0, 270.0, True), math.radians(1.0)) == pytest.approx(3 * math.pi)
    assert curve_length(trimmed(0.0, 270.0, False), math.radians(1.0)) == pytest.approx(math.pi)
    straight = curve(model, "IfcPolyline", [model.point((0, 0, 0)), model.point((0, 3, 4))])
    segments = [
        curve(model, "IfcCompositeCurveSegment", "CONTINUOUS", True, part)
        for part in (straight, trimmed(0.0, 90.0, True))
    ]
    whole = curve(model, "IfcCompositeCurve", segments, False)
    assert curve_length(whole, math.radians(1.0)) == pytest.approx(5.0 + math.pi)
    by_points = curve(
        model,
        "IfcTrimmedCurve",
        circle,
        [model.point((2, 0, 0))],
        [model.point((0, -2, 0))],
        True,
        "CARTESIAN",
    )
    assert curve_length(by_points) == pytest.approx(3 * math.pi)
    assert curve_length(curve(model, "IfcEllipse", plane, 1.0, 2.0)) is None


HOOKED = [
    (0.0, 0.0, 0.3),
    (0.0, 0.0, 0.05),
    (0.05, 0.0, 0.0),
    (2.95, 0.0, 0.0),
    (3.0, 0.0, 0.05),
    (3.0, 0.0, 0.3),
]
HOOKED_LENGTH = 2.9 + 2 * (0.25 + math.hypot(0.05, 0.05))


@pytest.mark.parametrize("schema", SCHEMAS)
@pytest.mark.parametrize("sides", [6, 8, 12, 24])
@pytest.mark.parametrize("line", [LINE, HOOKED], ids=["straight", "hooked"])
def test_a_bar_drawn_by_its_faces_has_the_size_of_its_body(schema, sides, line, read: Read) -> None:  # type: ignore[no-untyped-def]
    model = Model(schema, "mm")
    wall = model.wall((0, 0), (5, 0), 0.3, 3.0)
    line = [tuple(map(float, point)) for point in line]
    bars = model.product(
        "IfcReinforcingBar", model.brep(*tube_mesh(line, 0.016, sides)), name="Bar", filed=False
    )
    model.aggregate(wall, [bars])
    bar = only(read(model))
    length = 3.0 if len(line) == 2 else HOOKED_LENGTH
    assert bar.count == 1
    assert bar.diameter == pytest.approx(0.016)
    assert bar.length == pytest.approx(length, rel=0.01)
    assert bar.mass == pytest.approx(length * kg_a_metre(0.016), rel=0.01)
    assert "drawn body" in bar.basis


def test_bars_of_a_set_that_one_mesh_shows_are_counted(read: Read) -> None:
    model = Model("IFC4", "ft")
    wall = model.wall((0, 0), (5, 0), 0.3, 3.0)
    points, faces = [], []
    for i in range(4):
        own, sides = tube_mesh([(0.0, 0.1 * i, 0.0), (2.0, 0.1 * i, 0.0)], 0.012, 12)
        faces += [[corner + len(points) for corner in side] for side in sides]
        points += own
    bars = model.product("IfcReinforcingBar", model.brep(points, faces), name="Bars", filed=False)
    model.aggregate(wall, [bars])
    bar = only(read(model))
    assert (bar.count, bar.diameter) == (4, pytest.approx(0.012))
    assert bar.mass == pytest.approx(8.0 * kg_a_metre(0.012), rel=0.005)


def test_a_plate_is_no_bar(read: Read) -> None:
    model = Model("IFC4", "mm")
    wall = model.wall((0, 0), (5, 0), 0.3, 3.0)
    plate = model.product(
        "IfcReinforcingBar", model.brep(*box_mesh((0, 0, 0), (1.0, 0.05, 0.01))), name="Flat", filed=False
    )
    model.aggregate(wall, [plate])
    facts = read(model)
    assert only(facts).mass == 0.0
    assert [finding.kind for finding in facts.findings] == ["bar-mass-unknown"]


def test_a_sheet_drawn_wire_by_wire_is_one_sheet(read: Read) -> None:
    model = Model("IFC4", "mm")
    slab = model.slab(rectangle(0, 0, 5, 2), 0.2, 0.0)
    wires = [model.rod([(0, 0.15 * i, 0), (4.5, 0.15 * i, 0)], 0.004) for i in range(11)]
    wires += [model.rod([(0.15 * i, 0, 0), (0.15 * i, 1.5, 0)], 0.004) for i in range(31)]
    sized = {
        "MeshLength": model.length(4.5), "MeshWidth": model.length(1.5),
        "LongitudinalBarNominalDiameter": model.length(0.008), "TransverseBarNominalDiameter": model.length(0.008),
        "LongitudinalBarSpacing": model.length(0.15), "TransverseBarSpacing": model.length(0.15),
    }  # fmt: skip
    sheet = model.product("IfcReinforcingMesh", *wires, name="Sheet", filed=False, **sized)
    bare = model.product("IfcReinforcingMesh", *wires, name="Bare", filed=False)
    model.aggregate(slab, [sheet, bare])
    by_name = {bar.name: bar for bar in read(model).bars}
    assert by_name["Sheet"].count == by_name["Bare"].count == 1
    assert by_name["Sheet"].mass == pytest.approx(2 * 4.5 * 1.5 / 0.15 * kg_a_metre(0.008))
    assert by_name["Bare"].mass == pytest.approx((11 * 4.5 + 31 * 1.5) * kg_a_metre(0.008))
    assert "drawn wires" in by_name["Bare"].basis
