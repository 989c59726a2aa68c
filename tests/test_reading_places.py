"""Where the reader says that elements, storeys and models are: placements, units, the map."""

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from build import Model, rectangle

from takeoff.reading.facts import ElementFacts, ModelFacts
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
def test_storeys_far_away_and_turned(schema: str, read: Read) -> None:
    model = Model(schema, "ft", rotate_deg=33.7, offset=(4.0e6, -2.0e6, 120.0))
    model.storey("Roof", 6.2)
    model.storey("Cellar", -3.0)
    model.slab(rectangle(0, 0, 4, 4), 0.2, -3.0)
    facts = read(model)
    assert [s.name for s in facts.storeys] == ["Cellar", "Roof"]
    assert [s.elevation for s in facts.storeys] == pytest.approx([117.0, 126.2], abs=1e-6)
    assert only(facts).storey == "Cellar"
    assert not facts.findings


def test_storeys_all_placed_at_one_height_go_by_their_written_elevation(read: Read) -> None:
    model = Model("IFC4")
    for name, height in (("Ground", 0.0), ("First", 3.0)):
        storey = model.storey(name, 0.0)
        storey.Elevation = model.length(height)
    model.slab(rectangle(0, 0, 4, 4), 0.2, 0.0)
    facts = read(model)
    assert [(s.name, s.elevation) for s in facts.storeys] == [("Ground", 0.0), ("First", 3.0)]
    assert [f.kind for f in facts.findings] == ["storey-elevation"]


def test_a_storey_off_its_written_elevation_is_a_note(read: Read) -> None:
    model = Model("IFC4")
    for name, height in (("Ground", 0.0), ("First", 3.0), ("Second", 6.0)):
        model.storey(name, height)
    model.storeys["First"].Elevation = model.length(3.1)
    model.slab(rectangle(0, 0, 4, 4), 0.2, 6.0)
    facts = read(model)
    assert [s.elevation for s in facts.storeys] == pytest.approx([0.0, 3.0, 6.0])
    noted = [f for f in facts.findings if f.kind == "storey-elevation"]
    assert [f.global_id for f in noted] == [model.storeys["First"].GlobalId]
    assert "-0.100" in noted[0].message


def test_an_element_under_no_storey(read: Read) -> None:
    model = Model("IFC4")
    wall = model.wall((0, 0), (5, 0), 0.3, 3.0, filed=False)
    model.relate(
        "IfcRelContainedInSpatialStructure", RelatedElements=[wall], RelatingStructure=model.building
    )
    facts = read(model)
    assert only(facts).storey == ""
    assert only(facts).storey_elevation is None
    assert [(f.kind, f.global_id) for f in facts.findings] == [("no-storey", wall.GlobalId)]


def test_an_element_in_a_space_is_in_the_spaces_storey(read: Read) -> None:
    model = Model("IFC4")
    storey = model.storey("Ground", 0.0)
    space = model.root("IfcSpace", Name="Room")
    model.aggregate(storey, [space])
    column = model.column((0, 0), 0.3, 0.3, 3.0, filed=False)
    model.relate("IfcRelContainedInSpatialStructure", RelatedElements=[column], RelatingStructure=space)
    assert only(read(model)).storey == "Ground"


def multiplied(matrix: tuple[float, ...], point: tuple[float, float, float]) -> list[float]:
    return list((np.array(matrix).reshape(4, 4) @ [*point, 1.0])[:3])


@pytest.mark.parametrize("unit", ["mm", "ft", "m"])
def test_map_conversion(unit: str, read: Read) -> None:
    model = Model("IFC4", unit)
    model.wall((0, 0), (5, 0), 0.3, 3.0)
    metre = model.file.create_entity("IfcSIUnit", None, "LENGTHUNIT", None, "METRE")
    model.map_conversion(500000.0, 4000000.0, 12.5, turn=30.0)
    model.file.by_type("IfcProjectedCRS")[0].MapUnit = metre
    facts = read(model)
    assert facts.map_name == "EPSG:0000"
    assert facts.map_conversion is not None
    cos, sin = math.cos(math.pi / 6), 0.5
    expected = [500000.0 + 10 * cos - 2 * sin, 4000000.0 + 10 * sin + 2 * cos, 15.5]
    assert multiplied(facts.map_conversion, (10.0, 2.0, 3.0)) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("scale", "kept", "found"),
    [(None, 1.0, 0), (1.0, 1.0, 0), (0.9996, 0.9996, 0), (0.0009996, 0.9996, 0), (25.4, 1.0, 1)],
)
def test_scales_of_a_map_conversion(scale: float | None, kept: float, found: int, read: Read) -> None:
    model = Model("IFC4", "mm")
    model.wall((0, 0), (5, 0), 0.3, 3.0)
    model.map_conversion(100.0, 200.0, 0.0)
    model.file.by_type("IfcProjectedCRS")[0].MapUnit = model.file.create_entity(
        "IfcSIUnit", None, "LENGTHUNIT", None, "METRE"
    )
    model.file.by_type("IfcMapConversion")[0].Scale = scale
    facts = read(model)
    assert facts.map_conversion is not None
    assert multiplied(facts.map_conversion, (10.0, 0.0, 0.0)) == pytest.approx(
        [100.0 + 10.0 * kept, 200.0, 0.0]
    )
    assert len([f for f in facts.findings if f.kind == "map-scale"]) == found


def test_map_conversion_of_the_older_schema(read: Read) -> None:
    model = Model("IFC2X3", "mm")
    model.wall((0, 0), (5, 0), 0.3, 3.0)
    model.properties(
        model.site,
        "ePset_MapConversion",
        {
            "Eastings": 1000.0,
            "Northings": 2000.0,
            "OrthogonalHeight": 5.0,
            "XAxisAbscissa": 0.0,
            "XAxisOrdinate": 1.0,
        },
    )
    model.properties(model.site, "ePset_ProjectedCRS", {"Name": "Grid"})
    facts = read(model)
    assert facts.map_name == "Grid"
    assert facts.map_conversion is not None
    assert multiplied(facts.map_conversion, (10.0, 0.0, 1.0)) == pytest.approx([1000.0, 2010.0, 6.0])
    plain = Model("IFC2X3", name="plain")
    plain.wall((0, 0), (5, 0), 0.3, 3.0)
    assert read(plain).map_conversion is None
