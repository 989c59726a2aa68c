"""Whole bodies: boolean trees, mapped items, units, places, broken pieces, and models of other programs."""

import math
from pathlib import Path

import ifcopenshell
import numpy as np
import pytest
from build import box_mesh
from solid_models import SolidModel

from takeoff.geometry.bodies import Bodies, find_origin
from takeoff.geometry.mesh import areas, is_closed, volume
from takeoff.geometry.repair import mend
from takeoff.geometry.representations import body_representation
from takeoff.geometry.solids import SolidRequest
from takeoff.geometry.tessellation import tessellate


def kinds(result):
    return [kind for kind, _ in result.remarks]


@pytest.mark.parametrize(
    ("at", "normal", "agreement", "outline", "net"),
    [
        ((0, 0, 2), (0, 0, 1), False, (), 2.0),  # the material of the half-space is above: the top goes
        ((0, 0, 2), (0, 0, 1), True, (), 1.0),
        ((0, 0, 2), (0, 0, -1), True, (), 2.0),
        ((0, 0, 3), (0, 0, 1), False, (), 3.0),  # flush with the top: nothing goes
        ((2, 0, 2), (0.4, 0, 1), False, (), None),
        ((0, 0, 2), (0, 0, 1), False, ((0, 0), (1, 0), (1, 0.2), (0, 0.2)), 2.8),
        ((0, 0, 2), (0.1, 0, 1), False, ((-1, -1), (3, -1), (3, 1), (-1, 1)), None),
    ],
)
def test_half_spaces_clip_as_the_standard_says(at, normal, agreement, outline, net):
    model = SolidModel("mm")
    item = model.clipped(model.box((0, 0, 0), (5, 0.2, 3)), model.half_space(at, normal, agreement, outline))
    result = model.solve(model.product(item))
    (found,) = result.slices
    assert is_closed(found.mesh.faces)
    assert volume(tessellate(item)) == pytest.approx(found.net, rel=1e-6)
    if net is not None:
        assert found.net == pytest.approx(net, rel=1e-9)
    assert result.remarks == ()


def test_booleans_of_solids():
    model = SolidModel()
    one, other = model.box((0, 0, 0), (1, 1, 1)), model.box((0.5, 0, 0), (2, 1, 1))
    for operator, expected in (("UNION", 2.0), ("INTERSECTION", 0.5), ("DIFFERENCE", 0.5)):
        (found,) = model.solve(model.product(model.boolean(operator, one, other))).slices
        assert found.net == pytest.approx(expected, rel=1e-5)
    nothing = model.boolean("INTERSECTION", one, model.box((3, 0, 0), (4, 1, 1)))
    assert "empty" in model.solve(model.product(nothing)).condition


def test_ways_that_disagree_are_told_and_the_declared_volume_decides(monkeypatch):
    """A tree in which nothing is cut is asked of the kernels; here they are made to say another volume."""
    model = SolidModel()
    first = model.box((0, 0, 0), (5, 0.2, 3))
    beside = model.shell(*box_mesh((1, 0.1, 3.0), (2, 0.3, 4.0)))
    tree = model.boolean("DIFFERENCE", first, model.file.create_entity("IfcFacetedBrep", beside))
    body = model.product(tree)
    assert model.solve(body).remarks == ()
    monkeypatch.setattr("takeoff.geometry.items._boxes_meet", lambda *_: True)
    assert model.solve(body).remarks == ()  # the kernels agree: nothing to tell
    other = model.box((0, 0, 0), (5, 0.2, 2.8))
    monkeypatch.setattr(
        "takeoff.geometry.items.tessellate", lambda item, kernel, **_: tessellate(other, kernel)
    )
    for hint, expected in ((None, 3.0), (2.8, 2.8), (2.805, 2.8), (7.0, 3.0)):
        result = model.solve(body, hint=hint)
        assert result.slices[0].net == pytest.approx(expected)
        assert kinds(result) == ["volumes-disagree"]
        assert "3.0000 m3" in result.remarks[0][1]
        assert "2.8000 m3" in result.remarks[0][1]


def test_mapped_items_are_scaled_turned_and_mirrored():
    model = SolidModel("mm")
    source = model.source([model.extrusion(model.profile([(0, 0), (2, 0), (0, 1)]), 1.0)])
    plain = model.mapped(source, Axis1=model.direction(0, 1, 0), Axis3=model.direction(0, 0, 1))
    mirrored = model.mapped(
        source,
        Axis1=model.direction(1, 0, 0),
        Axis2=model.direction(0, -1, 0),
        Axis3=model.direction(0, 0, 1),
    )
    stretched = model.mapped(source, Scale=2.0, Scale2=3.0, Scale3=0.5)
    for item, expected, low, high in (
        (plain, 1.0, (-1, 0, 0), (0, 2, 1)),
        (mirrored, 1.0, (0, -1, 0), (2, 0, 1)),
        (stretched, 3.0, (0, 0, 0), (4, 3, 0.5)),
    ):
        (found,) = model.solve(model.product(item)).slices
        assert found.net == pytest.approx(expected)
        assert volume(found.mesh) == pytest.approx(expected)
        assert found.mesh.box() == pytest.approx(np.array([low, high]), abs=1e-9)


def test_equal_mapped_shapes_are_worked_out_once_and_placed_each():
    model = SolidModel()
    source = model.source([model.box((0, 0, 0), (5, 0.2, 3))])
    products = [model.product(model.mapped(source), placement=model.place((i, 0, 0))) for i in range(3)]
    wider = model.product(model.mapped(source, Scale=2.0))
    bodies = Bodies(model.file)
    calls = []
    inner = bodies._shape
    bodies._shape = lambda *given: calls.append(1) or inner(*given)
    results = [
        bodies.result(SolidRequest(i, (number,)), np.zeros(3)) for i, number in enumerate([*products, wider])
    ]
    assert len(calls) == 2
    assert [result.slices[0].net for result in results] == pytest.approx([3.0, 3.0, 3.0, 24.0])
    assert [result.slices[0].mesh.box()[0, 0] for result in results[:3]] == pytest.approx([0.0, 1.0, 2.0])


def test_parts_of_one_element_are_one_body_voided_by_all_its_openings():
    model = SolidModel("mm")
    home = model.place((10, 0, 0), x=(0, 1, 0))
    one = model.product(model.box((0, 0, 0), (2, 0.2, 3)), placement=home)
    other = model.product(model.box((0, 0, 0), (2, 0.2, 3)), placement=model.place((1.5, 0, 0), inside=home))
    opening = model.opening(model.box((1, -1, 1), (3, 1, 2)), placement=model.place(inside=home))
    (found,) = model.solve([one, other], [opening]).slices
    assert found.gross == pytest.approx(3.5 * 0.6, rel=1e-6)
    assert found.net == pytest.approx(3.5 * 0.6 - 0.4, rel=1e-6)
    assert found.mesh.box() == pytest.approx(np.array([[9.8, 0, 0], [10, 3.5, 3]]), abs=1e-6)


@pytest.mark.parametrize("unit", ["m", "mm", "ft"])
@pytest.mark.parametrize("far", [0.0, 4.0e6])
@pytest.mark.parametrize("turn", [0.0, 0.588])
def test_unit_place_and_turn_change_nothing(unit, far, turn):
    model = SolidModel(unit)
    site = model.place((far, far / 8, 0), x=(math.cos(turn), math.sin(turn), 0))
    body = model.product(model.box((0, 0, 0), (5, 0.3, 3)), placement=model.place((1, 2, 0), inside=site))
    opening = model.opening(model.box((1, 0, 1), (2, 0.3, 2)), placement=model.place((1, 2, 0), inside=site))
    origin = (far, far / 8, 0)
    (found,) = model.solve(body, [opening], origin=origin).slices
    assert found.net == pytest.approx(4.5 - 0.3, rel=1e-7)
    turned = np.array([[math.cos(turn), -math.sin(turn), 0], [math.sin(turn), math.cos(turn), 0], [0, 0, 1]])
    corner = turned @ [1.0, 2.0, 0.0]
    assert np.linalg.norm(found.mesh.vertices - corner, axis=1).min() < 1e-6
    assert areas(found.mesh.corners).sum() == pytest.approx(2 * (15 - 1) + 16 * 0.3 + 4 * 0.3, rel=1e-6)


def test_coordinates_within_the_body_may_be_far_away_too():
    model = SolidModel("mm")
    corner = np.array([5.0e6, 4.0e6, 0.0])
    body = model.product(model.brep(*moved_box((0, 0, 0), (5, 0.3, 3), corner)))
    opening = model.opening(model.brep(*moved_box((1, 0, 1), (2, 0.3, 2), corner)))
    (found,) = model.solve(body, [opening], origin=corner).slices
    assert found.net == pytest.approx(4.2, rel=1e-6)
    assert found.mesh.box() == pytest.approx(np.array([[0, 0, 0], [5, 0.3, 3]]), abs=1e-6)


def moved_box(low, high, shift):
    points, faces = box_mesh(low, high)
    return [tuple(np.array(point) + shift) for point in points], faces


def test_a_transform_is_applied_before_the_origin():
    model = SolidModel()
    body = model.product(model.box((0, 0, 0), (5, 0.3, 3)))
    matrix = np.array([[0.0, -1, 0, 4e6], [1, 0, 0, 5e5], [0, 0, 1, 20], [0, 0, 0, 1]])
    (found,) = model.solve(body, origin=(4e6, 5e5, 0), transform=matrix).slices
    assert found.mesh.box() == pytest.approx(np.array([[-0.3, 0, 20], [0, 5, 23]]), abs=1e-8)
    assert volume(found.mesh) == pytest.approx(4.5)


def test_the_origin_lies_near_the_bodies():
    model = SolidModel("mm")
    near = [
        model.product(model.box((0, 0, 0), (1, 1, 1)), placement=model.place((i, 0, 0))) for i in range(5)
    ]
    assert find_origin(model.file, near) == pytest.approx([0, 0, 0])
    stray = model.product(model.box((0, 0, 0), (1, 1, 1)))
    far = [
        model.product(model.brep(*moved_box((0, 0, 0), (1, 1, 1), np.array([5.0e6, 4.0e6, i]))))
        for i in range(5)
    ]
    found = find_origin(model.file, [*far, stray])
    assert np.abs(found - [5.0e6, 4.0e6, 0]).max() < 10
    assert (found == np.round(found)).all()
    assert find_origin(model.file, []) == pytest.approx([0, 0, 0])


def test_a_small_broken_piece_is_left_out_a_large_one_costs_the_body():
    model = SolidModel()
    wall = model.box((0, 0, 0), (5, 0.2, 3))
    points, faces = box_mesh((0, 0, 3), (0.02, 0.02, 3.02))
    small = model.file.create_entity("IfcFacetedBrep", model.shell(points, faces[:1] + faces[3:]))
    result = model.solve(model.product(wall, small))
    assert result.slices[0].net == pytest.approx(3.0)
    assert kinds(result) == ["piece-left-out"]
    points, faces = box_mesh((0, 0, 3), (3, 0.2, 4))
    large = model.file.create_entity("IfcFacetedBrep", model.shell(points, faces[:1] + faces[3:]))
    result = model.solve(model.product(wall, large))
    assert result.slices == ()
    assert "1 of 2 pieces" in result.condition
    assert "not closed" in result.condition


def test_what_has_no_body_says_so():
    model = SolidModel()
    assert model.solve(model.product()).condition == "no body geometry"
    line = model.polyline([(0, 0, 0), (1, 0, 0)], closed=False)
    assert model.solve(model.product(line)).condition == "no body geometry"


def test_faces_that_refer_to_missing_points_say_so():
    model = SolidModel()
    points = model.file.create_entity(
        "IfcCartesianPointList3D", [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]
    )
    item = model.file.create_entity("IfcTriangulatedFaceSet", points, None, None, [[1, 2, 9]])
    assert "a point that is not there" in model.solve(model.product(item)).condition


@pytest.mark.parametrize("kind", ["IfcTriangulatedFaceSet", "IfcPolygonalFaceSet"])
def test_face_sets(kind):
    model = SolidModel("mm")
    rows, faces = box_mesh((0, 0, 0), (1, 2, 0.5))
    points = model.file.create_entity("IfcCartesianPointList3D", [model.n(row) for row in rows])
    if kind == "IfcPolygonalFaceSet":
        made = [model.file.create_entity("IfcIndexedPolygonalFace", [i + 1 for i in face]) for face in faces]
        item = model.file.create_entity(kind, points, None, made)
    else:
        index = [[f[0] + 1, f[i] + 1, f[i + 1] + 1] for f in faces for i in (1, 2)]
        item = model.file.create_entity(kind, points, None, None, index)
    assert model.solve(model.product(item)).slices[0].net == pytest.approx(1.0)


def test_voids_of_a_brep_are_cavities_whichever_way_they_look():
    model = SolidModel()
    outer = model.shell(*box_mesh((0, 0, 0), (3, 3, 3)))
    points, faces = box_mesh((1, 1, 1), (2, 2, 2))
    for turned in (faces, [face[::-1] for face in faces]):
        item = model.file.create_entity("IfcFacetedBrepWithVoids", outer, [model.shell(points, turned)])
        assert model.solve(model.product(item)).slices[0].net == pytest.approx(26.0)


def requests_of(file, classes):
    out = []
    for element in (element for kind in classes for element in file.by_type(kind)):
        if body_representation(element) is not None:
            openings = [rel.RelatedOpeningElement.id() for rel in getattr(element, "HasOpenings", ())]
            out.append(SolidRequest(element.id(), (element.id(),), tuple(openings)))
    return out


def opened(shared_models: Path, name: str, tmp_path: Path):
    import zipfile

    with zipfile.ZipFile(shared_models / "models" / f"{name}.ifczip") as archive:
        archive.extractall(tmp_path)
    (path,) = tmp_path.glob("*.ifc")
    return ifcopenshell.open(path)


MODELS = [
    "hollow-core-floor",
    "house",
    "plank-floor",
    "precast-balconies",
    "precast-stairs",
    "sand-lime-walls",
    "two-houses",
]


@pytest.mark.parametrize("name", MODELS)
def test_models_of_other_programs_measure_as_the_kernel_does(shared_models, tmp_path, name):
    """Read directly and cut here, against the kernel's own tessellation with and without its opening cuts."""
    file = opened(shared_models, name, tmp_path)
    bodies = Bodies(file)
    compared = 0
    for request in requests_of(
        file, ["IfcWall", "IfcSlab", "IfcFooting", "IfcBeam", "IfcColumn", "IfcStair"]
    ):
        result = bodies.result(request, np.zeros(3))
        assert result.condition == ""
        element = file.by_id(request.key)
        representation = body_representation(element)
        overlapping_items = len(representation.Items) > 3
        if overlapping_items or "faces-turned" in kinds(result):
            continue
        curved = any(part.is_a("IfcConic") for part in file.traverse(representation))
        (found,) = result.slices
        for value, cut in ((found.gross, False), (found.net, True)):
            other = mend(tessellate(element, "opencascade", representation, cut))
            assert other.condition == ""
            assert volume(other.mesh) == pytest.approx(value, rel=1e-3 if curved else 1e-6), element
            compared += 1
    assert compared > 4


def test_a_surface_model_with_faces_turned_both_ways_has_its_declared_volume(shared_models, tmp_path):
    file = opened(shared_models, "two-houses", tmp_path)
    turned = [
        result
        for request in requests_of(file, ["IfcWall"])
        if "faces-turned" in kinds(result := Bodies(file).result(request, np.zeros(3)))
    ]
    assert [result.slices[0].net for result in turned] == pytest.approx([25.8301], abs=1e-4)


@pytest.mark.parametrize(
    ("name", "classes", "expected"),
    [
        ("plank-floor", ["IfcSlab"], 52.8715 + 198.5822),
        ("precast-stairs", ["IfcStair"], 5.1659),
        ("precast-balconies", ["IfcSlab"], 2.9993),
        ("two-houses", ["IfcFooting"], 16.5280),
        ("house", ["IfcWall"], 54.50),
    ],
)
def test_totals_that_others_worked_out(shared_models, tmp_path, name, classes, expected):
    """Net volumes that were declared, or computed independently of this project, rounded as they were given."""
    file = opened(shared_models, name, tmp_path)
    bodies = Bodies(file)
    results = [bodies.result(request, np.zeros(3)) for request in requests_of(file, classes)]
    total = sum(found.net for result in results for found in result.slices)
    assert total == pytest.approx(expected, rel=1e-4)
