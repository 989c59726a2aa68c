"""Layers cut from bodies: walls, slabs, sloped, turned, curved, and layers that do not fit."""

import math

import numpy as np
import pytest
from solid_models import SolidModel

from takeoff.geometry.mesh import areas, is_closed
from takeoff.geometry.solids import Slicing

TWIN = ((0.0, 0.06), (0.06, 0.24), (0.24, 0.3))
TWO = ((0.0, 0.1), (0.1, 0.3))


def across(bounds=TWO, axis=1, sense=1, offset=0.0, total=None):
    return Slicing(axis, sense, offset, bounds, total if total is not None else bounds[-1][1])


def gross(result):
    assert result.condition == ""
    return [found.gross if found else None for found in result.slices]


def span(found, axis):
    return found.mesh.box()[:, axis].tolist()


def kinds(result):
    return [kind for kind, _ in result.remarks]


@pytest.fixture
def wall():
    model = SolidModel("mm")
    return model, model.box((0, 0, 0), (5, 0.3, 3))


@pytest.mark.parametrize(
    "place", [{}, {"at": (100, 50, 3), "x": (0.8, 0.6, 0)}, {"z": (0, 0.6, 0.8), "x": (1, 0, 0)}]
)
def test_leaf_core_leaf_wherever_the_wall_stands(wall, place):
    model, body = wall
    placement = model.place(**place)
    opening = model.opening(model.box((1, -0.1, 1), (2, 0.4, 2)), placement=model.place(inside=placement))
    result = model.solve(model.product(body, placement=placement), [opening], across(TWIN))
    assert gross(result) == pytest.approx([0.9, 2.7, 0.9])
    assert [found.net for found in result.slices] == pytest.approx([0.84, 2.52, 0.84])
    assert sum(found.gross for found in result.slices) == pytest.approx(4.5)
    assert result.remarks == ()
    for found, thickness in zip(result.slices, (0.06, 0.18, 0.06), strict=True):
        assert is_closed(found.mesh.faces)
        reveal = areas(found.mesh.corners)[found.mesh.labels == 1].sum()
        assert reveal == pytest.approx(4 * thickness, rel=1e-6)


@pytest.mark.parametrize(
    ("stated", "first", "remark"),
    [
        (across(), [0.0, 0.1], []),
        (across(offset=None), [0.0, 0.1], []),
        (across(axis=None, offset=None), [0.0, 0.1], []),
        (across(sense=-1, offset=0.3), [0.2, 0.3], []),
        (across(sense=-1, offset=None), [0.2, 0.3], []),
        (across(sense=-1, offset=0.0), [0.0, 0.1], ["layers-mirrored"]),
        (across(offset=0.3), [0.2, 0.3], ["layers-mirrored"]),
        (across(offset=-0.15), [0.0, 0.1], ["layers-moved"]),
    ],
)
def test_where_layer_one_lies(wall, stated, first, remark):
    model, body = wall
    result = model.solve(model.product(body), slicing=stated)
    assert gross(result) == pytest.approx([1.5, 3.0])
    assert span(result.slices[0], 1) == pytest.approx(first)
    assert kinds(result) == remark


def test_a_slab_extruded_downward_keeps_its_first_layer_at_the_reference(wall):
    model, _ = wall
    item = model.extrusion(model.profile([(0, 0), (6, 0), (6, 4), (0, 4)]), 0.3, along=(0, 0, -1))
    result = model.solve(model.product(item), slicing=across(axis=2))
    assert span(result.slices[0], 2) == pytest.approx([-0.1, 0.0])
    assert kinds(result) == ["layers-mirrored"]


@pytest.mark.parametrize("stated", [2, None])
def test_a_sloped_slab_is_sliced_across_its_own_faces(stated):
    model = SolidModel()
    slope = math.radians(30)
    item = model.extrusion(
        model.profile([(0, 0), (6, 0), (6, 4), (0, 4)]),
        0.2,
        z=(-math.sin(slope), 0, math.cos(slope)),
        x=(math.cos(slope), 0, math.sin(slope)),
    )
    offset = 0.0 if stated == 2 else None
    result = model.solve(model.product(item), slicing=across(((0, 0.05), (0.05, 0.2)), stated, offset=offset))
    assert gross(result) == pytest.approx([24 * 0.05, 24 * 0.15])
    lower, upper = (found.mesh.vertices[:, 2].mean() for found in result.slices)
    assert lower < upper
    assert result.remarks == ()


def test_an_oblique_extrusion_is_sliced_across_its_thickness():
    model = SolidModel()
    item = model.extrusion(
        model.profile([(0, 0), (6, 0), (6, 4), (0, 4)]),
        0.2 / math.cos(0.3),
        along=(math.sin(0.3), 0, math.cos(0.3)),
    )
    result = model.solve(model.product(item), slicing=across(((0, 0.05), (0.05, 0.2)), 2))
    assert gross(result) == pytest.approx([24 * 0.05, 24 * 0.15])


def test_a_wrong_axis_is_found_out_and_told():
    model = SolidModel()
    result = model.solve(model.product(model.box((0, 0, 0), (0.3, 5, 3))), slicing=across())
    assert gross(result) == pytest.approx([1.5, 3.0])
    assert kinds(result) == ["layers-turned"]


@pytest.mark.parametrize(
    ("bounds", "expected"),
    [
        (((0, 0.1), (0.1, 0.2)), [3.0, 1.5]),
        (((0, 0.05), (0.05, 0.2)), [0.75, 3.75]),
        (((0, 0.1), (0.1, 0.5)), [1.5, 3.0]),
        (((0, 0.2), (0.2, 0.45), (0.45, 0.6)), [3.0, 1.5, None]),
    ],
)
def test_layers_that_do_not_add_up_to_the_body_are_told(wall, bounds, expected):
    model, body = wall
    result = model.solve(model.product(body), slicing=across(bounds))
    assert [found and found.gross for found in result.slices] == [
        value if value is None else pytest.approx(value) for value in expected
    ]
    assert kinds(result) == ["layers-do-not-fit"]
    assert "0.3000 m" in result.remarks[0][1]


def test_parts_beyond_the_layers_go_to_the_outer_one(wall):
    model, body = wall
    pier = model.box((2, 0.3, 0), (2.5, 0.5, 3))
    result = model.solve(model.product(body, pier), slicing=across())
    assert gross(result) == pytest.approx([1.5, 3.0 + 0.3], rel=1e-5)
    assert kinds(result) == ["body-beyond-layers"]


def test_a_gable_wall_keeps_its_layers(wall):
    model, body = wall
    left = model.half_space((0, 0, 2), (-0.4, 0, 1), False)
    right = model.half_space((5, 0, 2), (0.4, 0, 1), False)
    result = model.solve(model.product(model.clipped(model.clipped(body, left), right)), slicing=across())
    assert gross(result) == pytest.approx([12.5 * 0.1, 12.5 * 0.2])


def ring(model, inner, outer, start, end, centre):
    """An annular sector by true arcs."""
    make = model.file.create_entity
    angles = (start, (start + end) / 2, end)
    points = [
        (centre[0] + radius * math.cos(a), centre[1] + radius * math.sin(a))
        for radius in (outer, inner)
        for a in angles
    ]
    rows = make("IfcCartesianPointList2D", [model.n(point) for point in points])
    segments = [
        make("IfcArcIndex", [1, 2, 3]),
        make("IfcLineIndex", [3, 6]),
        make("IfcArcIndex", [6, 5, 4]),
        make("IfcLineIndex", [4, 1]),
    ]
    return make(
        "IfcArbitraryClosedProfileDef", "AREA", None, make("IfcIndexedPolyCurve", rows, segments, False)
    )


@pytest.mark.parametrize(
    ("sense", "first"),
    [
        (-1, (4.0, 4.1)),  # away from the centre, where the body lies
        (1, (4.0, 4.1)),  # stated toward the centre: mirrored, layer 1 stays at the reference line
    ],
)
def test_layers_of_a_curved_wall_are_concentric(sense, first):
    """Centre at (0, 4), inner radius 4: the reference line passes the element's origin, y looks to the centre."""
    model = SolidModel("mm")
    body = model.product(model.extrusion(ring(model, 4.0, 4.3, -math.pi / 2, 0.0, (0.0, 4.0)), 3.0))
    result = model.solve(body, slicing=across(sense=sense))
    exact = [math.pi / 4 * (b * b - a * a) * 3.0 for a, b in ((4.0, 4.1), (4.1, 4.3))]
    assert gross(result) == pytest.approx(exact, rel=1e-3)
    radius = np.linalg.norm(result.slices[0].mesh.vertices[:, :2] - [0.0, 4.0], axis=1)
    assert (radius.min(), radius.max()) == pytest.approx(first, abs=1e-3)
    assert kinds(result) == ([] if sense == -1 else ["layers-mirrored"])


def test_layers_of_a_pipe_are_counted_outward_and_told():
    model = SolidModel()
    profile = model.file.create_entity("IfcCircleHollowProfileDef", "AREA", None, None, 1.3, 0.3)
    result = model.solve(model.product(model.extrusion(profile, 3.0)), slicing=across())
    exact = [math.pi * (b * b - a * a) * 3.0 for a, b in ((1.0, 1.1), (1.1, 1.3))]
    assert gross(result) == pytest.approx(exact, rel=1e-3)
    assert kinds(result) == ["layers-curved"]


def test_layers_far_from_the_own_origin_are_found_by_their_offset():
    model = SolidModel()
    outline = [(5e6, 4e6), (5e6 + 5, 4e6), (5e6 + 5, 4e6 + 0.3), (5e6, 4e6 + 0.3)]
    body = model.product(model.extrusion(model.profile(outline), 3.0))
    result = model.solve(body, slicing=across(sense=-1, offset=4e6 + 0.3), origin=(5e6, 4e6, 0))
    assert gross(result) == pytest.approx([1.5, 3.0])
    assert span(result.slices[0], 1) == pytest.approx([0.2, 0.3], abs=1e-8)
    assert result.remarks == ()
