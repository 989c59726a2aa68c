"""What is doubtful: proxies, markers, decking, elements without a body, and faults that cost one element."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from build import Model, rectangle

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


@pytest.mark.parametrize(
    ("identifier", "kind", "whether"),
    [
        ("Body", "SweptSolid", True),
        ("Shape", "Brep", True),
        (None, "SolidModel", True),
        ("body", None, True),
        ("Axis", "SweptSolid", False),
        ("Reference", "SweptSolid", False),
        ("Box", "BoundingBox", False),
    ],
)
def test_which_representations_are_a_body(
    identifier: str | None, kind: str | None, whether: bool, read: Read
) -> None:
    model = Model("IFC4")
    wall = model.wall((0, 0), (5, 0), 0.3, 3.0)
    shape = wall.Representation.Representations[0]
    shape.RepresentationIdentifier, shape.RepresentationType = identifier, kind
    facts = read(model)
    assert facts.elements[0].body == ((wall.id(),) if whether else ())
    assert kinds(facts) == ([] if whether else ["no-body"])


@pytest.mark.parametrize(
    ("name", "material", "size", "role"),
    [
        ("Fertigteilwand 20", "Beton C30/37", (3, 3, 3), "wall"),
        ("Breedplaatvloer", "Beton gewapend - prefab", (3, 3, 3), "slab"),
        ("Poteau P3", "Béton armé", (3, 3, 3), "column"),
        ("Viga 30x50", "Hormigón armado HA-25", (3, 3, 3), "beam"),
        ("Plinto", "Calcestruzzo C25/30", (3, 3, 3), "foundation"),
        ("Trappe", "Betong B35", (3, 3, 3), "stair"),
        ("Betoniseinä", None, (3, 3, 3), "wall"),
        ("Precast concrete balcony", None, (3, 3, 3), "slab"),
        ("Object", "Concrete", (5, 4, 0.2), "slab"),
        ("Object", "Concrete", (0.4, 0.4, 3.0), "column"),
        ("Object", "Concrete", (6, 0.3, 0.5), "beam"),
        ("Object", "Concrete", (6, 0.2, 3), "wall"),
        ("Object", "Concrete", (2, 2, 1), "foundation"),
        ("Concrete wall", "Brick", (3, 3, 3), None),
        ("Object", None, (3, 3, 3), None),
        ("ROOT", "Empty hatch (2)", (1, 1, 1), None),
        ("GASBETON 100X", None, (1, 1, 1), None),
        ("Wand", "Porenbeton", (1, 1, 1), None),
        ("Concrete pump", None, (3, 3, 3), None),
        ("Mur", "Béton cellulaire", (3, 3, 3), None),
        ("Wall", "Betonstahl B500", (3, 3, 3), None),
    ],
)
def test_proxies(
    name: str, material: str | None, size: tuple[float, ...], role: str | None, read: Read
) -> None:
    model = Model("IFC4", "ft", rotate_deg=33.7)
    model.product("IfcBuildingElementProxy", box(model, (0, 0, 0), size), name=name, material=material)
    facts = read(model)
    assert [e.role for e in facts.elements] == ([role] if role else [])
    assert kinds(facts) == ["proxy-taken-in" if role else "proxy-left-out"]
    assert name in facts.findings[0].message
    assert not role or role in facts.findings[0].assumed


def test_markers_without_a_solid_are_nothing(read: Read) -> None:
    model = Model("IFC4")
    marker = model.product(
        "IfcBuildingElementProxy",
        box(model, (0, 0, 0), (1, 1, 1)),
        name="concrete origin",
        material="Concrete",
    )
    line = model.file.create_entity("IfcPolyline", [model.point((0, 0, 0)), model.point((1, 0, 0))])
    shape = marker.Representation.Representations[0]
    shape.Items = [model.file.create_entity("IfcGeometricCurveSet", [line])]
    shape.RepresentationType = "GeometricSet"
    facts = read(model)
    assert not facts.elements
    assert not facts.findings


@pytest.mark.parametrize("schema", SCHEMAS)
def test_permanent_formwork_keeps_its_facts_without_a_role(schema: str, read: Read) -> None:
    model = Model(schema)
    sheet = box(model, (0, 0, 0), (3, 3, 0.05))
    cover = model.product("IfcCovering", sheet, name="Soffit", PredefinedType="CLADDING")
    deck = model.product("IfcPlate", sheet, name="Steel decking 60")
    plate = model.product("IfcPlate", sheet, name="Plate", material="Trapezblech")
    gusset = model.product("IfcPlate", sheet, name="Gusset")
    model.product("IfcCovering", name="without body")
    found = by_id(read(model))
    assert {i: e.role for i, e in found.items()} == {
        cover.GlobalId: "",
        deck.GlobalId: "",
        plate.GlobalId: "",
        gusset.GlobalId: "slab",
    }


def test_pieces_of_curtain_walls_and_railings_are_no_elements(read: Read) -> None:
    model = Model("IFC4")
    cube = box(model, (0, 0, 0), (1, 1, 1))
    for ifc_class in ("IfcCurtainWall", "IfcRailing"):
        whole = model.product(ifc_class)
        model.aggregate(
            whole,
            [model.product("IfcMember", cube, filed=False), model.product("IfcPlate", cube, filed=False)],
        )
    assert not read(model).elements


def test_an_element_without_body_stays_and_is_found(read: Read) -> None:
    model = Model("IFC4")
    wall = model.product("IfcWall", name="Ghost", material="Concrete")
    facts = read(model)
    assert [(e.global_id, e.role, e.body) for e in facts.elements] == [(wall.GlobalId, "wall", ())]
    assert [(f.severity, f.kind, f.global_id) for f in facts.findings] == [
        ("warning", "no-body", wall.GlobalId)
    ]


def test_loops_of_wholes_and_placements_end(read: Read) -> None:
    model = Model("IFC4")
    first = model.wall((0, 0), (5, 0), 0.3, 3.0, filed=False)
    second = model.wall((0, 1), (5, 1), 0.3, 3.0, filed=False)
    model.aggregate(first, [second])
    model.aggregate(second, [first])
    member = model.product("IfcMember", box(model, (0, 0, 0), (0.1, 0.1, 3)))
    member.ObjectPlacement.PlacementRelTo = member.ObjectPlacement
    facts = read(model)
    assert {e.global_id for e in facts.elements} >= {first.GlobalId, member.GlobalId}
    assert "aggregation-loop" in kinds(facts)


def test_a_broken_element_costs_that_element(read: Read, tmp_path: Path) -> None:
    model = Model("IFC4")
    good = model.wall((0, 0), (5, 0), 0.3, 3.0, made=None)
    bad = model.wall((0, 1), (5, 1), 0.3, 3.0, made=None, name="Bad", properties={"S": {"a": "b"}})
    path = model.save(tmp_path / "broken.ifc")
    text = path.read_text()
    shape = f"#{bad.Representation.id()}"
    assert f",{shape}," in text
    definition = next(line for line in text.splitlines() if line.startswith(f"{shape}="))
    path.write_text(text.replace(definition, f"{shape}=IFCPRODUCTDEFINITIONSHAPE($,$,(#999999));"))
    facts = read_model(path, tmp_path)
    assert good.GlobalId in by_id(facts)
    about = [f for f in facts.findings if f.global_id == bad.GlobalId]
    assert [f.kind for f in about] == ["no-body"]
