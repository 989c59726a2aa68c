"""Bodies that stand on grids, or of which the place cannot be read: never lost, and told of where it is a guess."""

import math
from typing import Any

import numpy as np
import pytest
from solid_models import SolidModel

from takeoff.geometry.mesh import volume


def _crossing(model: SolidModel, first: Any, second: Any, *offsets: float) -> Any:
    make = model.file.create_entity
    return make("IfcVirtualGridIntersection", [first, second], model.n(offsets))


def _grid(model: SolidModel, at: tuple[float, float, float], second: tuple[float, float]) -> tuple[Any, Any]:
    """An axis along x through y = 1, and one through (2, 0) along a direction, of a grid placed at a point."""
    make = model.file.create_entity
    lines = [[(-10, 1), (10, 1)], [(2, 0), (2 + second[0], second[1])]]
    axes = [make("IfcGridAxis", None, model.polyline(line, False), True) for line in lines]
    make("IfcGrid", "g" * 22, ObjectPlacement=model.place(at), UAxes=axes[:1], VAxes=axes[1:])
    return axes[0], axes[1]


@pytest.mark.parametrize("unit", ["m", "mm", "ft"])
@pytest.mark.parametrize("schema", ["IFC4", "IFC4X3"])
def test_a_body_stands_where_two_axes_cross(unit: str, schema: str) -> None:
    model = SolidModel(unit, schema)
    first, second = _grid(model, (100, 0, 3), (0, 5))
    place = model.file.create_entity(
        "IfcGridPlacement", PlacementLocation=_crossing(model, first, second, 0.25, 0.5, 1.0)
    )
    result = model.solve(model.product(model.box((0, 0, 0), (1, 1, 1)), placement=place))
    assert (result.condition, result.remarks) == ("", ())
    (found,) = result.slices
    # The crossing is (2, 1): 0.25 to the left of the first axis is up, 0.5 to the left of the second is back.
    assert found.mesh.box() == pytest.approx(np.array([[101.5, 1.25, 4], [102.5, 2.25, 5]]), abs=1e-6)


def test_skew_axes_and_both_kinds_of_reference_direction() -> None:
    model = SolidModel()
    first, second = _grid(model, (0, 0, 0), (1, 1))  # they cross at (3, 1)
    onward = [model.direction(0, 1, 0), _crossing(model, first, second, -1.0, 0.0)]
    for wish, angle in zip(onward, (math.pi / 2, -3 * math.pi / 4), strict=True):
        place = model.file.create_entity(
            "IfcGridPlacement",
            PlacementLocation=_crossing(model, first, second, 0.0, 0.0),
            PlacementRefDirection=wish,
        )
        (found,) = model.solve(model.product(model.box((0, 0, 0), (4, 1e-3, 1)), placement=place)).slices
        far = found.mesh.vertices[np.argmax(np.linalg.norm(found.mesh.vertices[:, :2] - [3, 1], axis=1))]
        assert far[:2] == pytest.approx([3 + 4 * math.cos(angle), 1 + 4 * math.sin(angle)], abs=2e-3)


def test_what_stands_at_axes_that_never_cross_is_measured_and_told() -> None:
    model = SolidModel()
    first, second = _grid(model, (5, 0, 0), (1, 0))
    place = model.file.create_entity(
        "IfcGridPlacement", PlacementLocation=_crossing(model, first, second, 0.0, 0.0)
    )
    result = model.solve(model.product(model.box((0, 0, 0), (1, 1, 1)), placement=place))
    assert [kind for kind, _ in result.remarks] == ["placement-missing"]
    assert volume(result.slices[0].mesh) == pytest.approx(1.0)


def test_a_place_without_a_location_costs_no_body() -> None:
    model = SolidModel()
    place = model.file.create_entity(
        "IfcLocalPlacement", model.place((0, 0, 7)), model.file.create_entity("IfcAxis2Placement3D")
    )
    result = model.solve(model.product(model.box((0, 0, 0), (1, 1, 1)), placement=place))
    assert [kind for kind, _ in result.remarks] == ["placement-missing"]
    assert result.slices[0].mesh.box() == pytest.approx(np.array([[0, 0, 7], [1, 1, 8]]))
