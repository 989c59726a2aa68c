"""Extruded areas and their profiles against hand formulas and against the geometry kernel."""

import math

import numpy as np
import pytest
from solid_models import SolidModel

from takeoff.geometry.mesh import areas, is_closed, volume
from takeoff.geometry.tessellation import tessellate

# Kind, attributes in metres, area in m2 by hand.
PROFILES = [
    ("IfcRectangleProfileDef", {"XDim": 0.3, "YDim": 0.6}, 0.18),
    (
        "IfcRoundedRectangleProfileDef",
        {"XDim": 0.3, "YDim": 0.6, "RoundingRadius": 0.05},
        0.18 - (4 - math.pi) * 0.0025,
    ),
    ("IfcRectangleHollowProfileDef", {"XDim": 0.3, "YDim": 0.6, "WallThickness": 0.05}, 0.18 - 0.2 * 0.5),
    ("IfcCircleProfileDef", {"Radius": 0.3}, math.pi * 0.09),
    ("IfcCircleHollowProfileDef", {"Radius": 0.3, "WallThickness": 0.1}, math.pi * (0.09 - 0.04)),
    ("IfcEllipseProfileDef", {"SemiAxis1": 0.5, "SemiAxis2": 0.2}, math.pi * 0.1),
    ("IfcTrapeziumProfileDef", {"BottomXDim": 0.6, "TopXDim": 0.4, "YDim": 0.5, "TopXOffset": 0.1}, 0.25),
    ("IfcLShapeProfileDef", {"Depth": 0.5, "Width": 0.4, "Thickness": 0.1}, 0.08),
    (
        "IfcTShapeProfileDef",
        {"Depth": 0.5, "FlangeWidth": 0.4, "WebThickness": 0.1, "FlangeThickness": 0.15},
        0.095,
    ),
    (
        "IfcUShapeProfileDef",
        {"Depth": 0.5, "FlangeWidth": 0.4, "WebThickness": 0.1, "FlangeThickness": 0.15},
        0.14,
    ),
    (
        "IfcCShapeProfileDef",
        {"Depth": 0.5, "Width": 0.4, "WallThickness": 0.05, "Girth": 0.1},
        0.025 + 0.035 + 0.005,
    ),
    (
        "IfcIShapeProfileDef",
        {"OverallWidth": 0.4, "OverallDepth": 0.6, "WebThickness": 0.1, "FlangeThickness": 0.15},
        0.15,
    ),
]
CURVED = (
    "IfcRoundedRectangleProfileDef",
    "IfcCircleProfileDef",
    "IfcCircleHollowProfileDef",
    "IfcEllipseProfileDef",
)


@pytest.mark.parametrize(("kind", "sizes", "area"), PROFILES, ids=[row[0] for row in PROFILES])
@pytest.mark.parametrize("unit", ["m", "ft"])
def test_profile_areas_and_places_are_those_of_the_standard(kind, sizes, area, unit):
    model = SolidModel(unit)
    scaled = {name: value / model.scale for name, value in sizes.items()}
    position = model.file.create_entity(
        "IfcAxis2Placement2D",
        model.file.create_entity("IfcCartesianPoint", model.n((1.0, 2.0))),
        model.file.create_entity("IfcDirection", [math.cos(0.4), math.sin(0.4)]),
    )
    profile = model.file.create_entity(kind, ProfileType="AREA", Position=position, **scaled)
    item = model.extrusion(profile, 2.5)
    product = model.product(item)
    (found,) = model.solve(product).slices
    assert is_closed(found.mesh.faces)
    assert found.net == pytest.approx(2.5 * area, rel=1e-3 if kind in CURVED else 1e-9)
    # The kernel puts it in the same place: same box, same centre of volume within the deflection.
    other = tessellate(item)
    assert found.mesh.box() == pytest.approx(other.box(), abs=1e-3)
    assert volume(other) == pytest.approx(found.net, rel=1e-3 if kind in CURVED else 1e-8)


def test_a_profile_with_fillets_is_left_to_the_kernel():
    model = SolidModel("mm")
    profile = model.file.create_entity(
        "IfcLShapeProfileDef", "AREA", None, None, 100.0, 100.0, 10.0, 12.0, None, None
    )
    (found,) = model.solve(model.product(model.extrusion(profile, 1.0))).slices
    plain = 0.1 * 0.01 + 0.09 * 0.01
    fillet = (1 - math.pi / 4) * 0.012**2
    assert found.net == pytest.approx(plain + fillet, rel=1e-3)


@pytest.mark.parametrize("depth_sign", [1, -1])
def test_an_oblique_extrusion_counts_its_height_not_its_length(depth_sign):
    model = SolidModel()
    along = (math.sin(0.5), 0.0, depth_sign * math.cos(0.5))
    item = model.extrusion(model.profile([(0, 0), (2, 0), (2, 1), (0, 1)]), 3.0, along=along)
    (found,) = model.solve(model.product(item)).slices
    assert found.net == pytest.approx(2.0 * 3.0 * math.cos(0.5), rel=1e-12)
    assert volume(found.mesh) > 0.0


def test_holes_of_a_profile_are_left_out_with_their_faces():
    model = SolidModel("mm")
    hole = [(1, 1), (1, 2), (2, 2), (2, 1)]
    item = model.extrusion(model.profile([(0, 0), (4, 0), (4, 3), (0, 3)], [hole]), 0.2)
    (found,) = model.solve(model.product(item)).slices
    assert found.net == pytest.approx(11 * 0.2, rel=1e-12)
    assert areas(found.mesh.corners).sum() == pytest.approx(2 * 11 + 14 * 0.2 + 4 * 0.2, rel=1e-12)


def test_an_outline_that_reaches_its_hole_through_a_slit_has_no_faces_in_the_slit():
    model = SolidModel()
    outline = [(0, 0), (4, 0), (4, 4), (0, 4), (0, 0), (1, 1), (1, 3), (3, 3), (3, 1), (1, 1)]
    result = model.solve(model.product(model.extrusion(model.profile(outline), 1.0)))
    (found,) = result.slices
    assert found.net == pytest.approx(12.0, rel=1e-12)
    assert areas(found.mesh.corners).sum() == pytest.approx(2 * 12 + 16 + 8, rel=1e-12)
    assert result.remarks == ()


def test_an_outline_that_crosses_itself_is_counted_once_and_told():
    model = SolidModel()
    outline = [(0, 0), (1, 1), (1, 0), (0, 1)]
    result = model.solve(model.product(model.extrusion(model.profile(outline), 1.0)))
    assert result.slices[0].net == pytest.approx(0.5, abs=1e-5)
    assert [kind for kind, _ in result.remarks] == ["outline-crosses"]


def test_arcs_of_a_profile_by_every_kind_of_curve():
    """A half disc of radius 0.5 drawn three ways: trimmed circle, arc through points, composite of both senses."""
    expected = math.pi * 0.25 / 2.0 * 2.0
    model = SolidModel("mm")
    make = model.file.create_entity
    circle = make("IfcCircle", make("IfcAxis2Placement2D", make("IfcCartesianPoint", [0.0, 0.0])), 500.0)
    value = lambda number: (make("IfcParameterValue", number),)  # noqa: E731
    point = lambda x, y: make("IfcCartesianPoint", [x, y])  # noqa: E731
    trimmed = make("IfcTrimmedCurve", circle, value(0.0), value(math.pi), True, "PARAMETER")
    backward = make("IfcTrimmedCurve", circle, value(math.pi), value(0.0), False, "PARAMETER")
    corners = make("IfcTrimmedCurve", circle, (point(500.0, 0.0),), (point(-500.0, 0.0),), True, "CARTESIAN")
    base = make("IfcPolyline", [point(-500.0, 0.0), point(500.0, 0.0)])
    outlines = []
    for curve, sense in ((trimmed, True), (backward, False), (corners, True)):
        pieces = [
            make("IfcCompositeCurveSegment", "CONTINUOUS", same, part)
            for part, same in ((curve, sense), (base, True))
        ]
        outlines.append(make("IfcCompositeCurve", pieces, False))
    points = make("IfcCartesianPointList2D", [[500.0, 0.0], [0.0, 500.0], [-500.0, 0.0]])
    segments = [make("IfcArcIndex", [1, 2, 3]), make("IfcLineIndex", [3, 1])]
    outlines.append(make("IfcIndexedPolyCurve", points, segments, False))
    for outline in outlines:
        profile = make("IfcArbitraryClosedProfileDef", "AREA", None, outline)
        (found,) = model.solve(model.product(model.extrusion(profile, 2.0))).slices
        assert found.net == pytest.approx(expected, rel=1e-3)
        assert found.mesh.box()[1] == pytest.approx([0.5, 0.5, 2.0], abs=1e-9)


def test_arcs_of_large_radius_stay_near_their_arc():
    model = SolidModel()
    profile = model.file.create_entity("IfcCircleProfileDef", "AREA", None, None, 50.0)
    (found,) = model.solve(model.product(model.extrusion(profile, 1.0))).slices
    middle = found.mesh.vertices[:-1, :2] / 2 + found.mesh.vertices[1:, :2] / 2
    radius = np.linalg.norm(middle, axis=1)
    assert radius[radius > 45.0].min() > 50.0 - 0.00021
    assert found.net == pytest.approx(math.pi * 2500.0, rel=1e-4)


def test_tapered_footing_and_primitives_by_their_formulas():
    model = SolidModel("mm")
    make = model.file.create_entity
    square = lambda side: make("IfcRectangleProfileDef", "AREA", None, None, side, side)  # noqa: E731
    tapered = make(
        "IfcExtrudedAreaSolidTapered",
        square(2000.0),
        model.axes(),
        model.direction(0, 0, 1),
        600.0,
        square(1000.0),
    )
    expected = [(tapered, 0.6 / 3 * (4 + 2 + 1), 1e-9)]
    expected.append((make("IfcBlock", model.axes(), 1000.0, 2000.0, 500.0), 1.0, 1e-9))
    expected.append((make("IfcRectangularPyramid", model.axes(), 1000.0, 2000.0, 600.0), 0.4, 1e-9))
    expected.append((make("IfcRightCircularCylinder", model.axes(), 1000.0, 300.0), math.pi * 0.09, 1e-3))
    expected.append((make("IfcRightCircularCone", model.axes(), 1000.0, 300.0), math.pi * 0.03, 1e-3))
    expected.append((make("IfcSphere", model.axes(), 500.0), math.pi / 6.0, 1e-3))
    for item, volume_by_hand, tolerance in expected:
        shape = item if item.is_a("IfcSweptAreaSolid") else make("IfcCsgSolid", item)
        result = model.solve(model.product(shape))
        assert result.condition == ""
        assert result.slices[0].net == pytest.approx(volume_by_hand, rel=tolerance), item.is_a()
        assert is_closed(result.slices[0].mesh.faces)


def test_what_is_not_read_directly_comes_from_the_kernel():
    model = SolidModel("mm")
    axis = model.file.create_entity("IfcAxis1Placement", model.point(0, 0, 0), model.direction(0, 1, 0))
    outline = model.profile([(1, 0), (1.3, 0), (1.3, 0.2), (1, 0.2)])
    revolved = model.file.create_entity("IfcRevolvedAreaSolid", outline, model.axes(), axis, math.pi)
    (found,) = model.solve(model.product(revolved)).slices
    assert found.net == pytest.approx(math.pi * 0.2 * (1.69 - 1.0) / 2.0, rel=1e-3)
