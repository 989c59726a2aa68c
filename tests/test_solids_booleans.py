"""Bodies joined and voids cut: hand cases, and boxes on a grid counted cube by cube."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from solid_models import SolidModel

from takeoff.geometry.booleans import BooleanFailed, join, lumps, manifold, mesh_of, proved, split
from takeoff.geometry.extrusions import prism
from takeoff.geometry.flush import overlap
from takeoff.geometry.mesh import Mesh, areas, is_closed, volume


def box(low, high):
    outline = np.array(
        [[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]], dtype=float
    )
    solid = prism([outline], np.array([0.0, 0.0, high[2] - low[2]]))
    return solid.moved(np.array([0.0, 0.0, low[2]], dtype=float))


@pytest.fixture
def wall():
    model = SolidModel("mm")
    return model, model.product(model.box((0, 0, 0), (5, 0.2, 3)))


def test_an_opening_is_what_it_removes(wall):
    model, body = wall
    opening = model.opening(model.box((1, -0.5, 1), (2, 0.5, 2)))
    beside = model.opening(model.box((7, -0.5, 1), (8, 0.5, 2)))
    result = model.solve(body, [opening, beside])
    (found,) = result.slices
    assert found.gross == pytest.approx(3.0, rel=1e-9)
    assert found.net == pytest.approx(2.8, rel=1e-9)
    assert result.opening_volumes == pytest.approx([0.2, 0.0])


def test_faces_tell_which_opening_cut_them(wall):
    model, body = wall
    first = model.opening(model.box((1, -0.5, 1), (2, 0.5, 2)))
    second = model.opening(model.box((3, -0.5, 0), (4, 0.5, 2.5)))
    mesh = model.solve(body, [first, second]).slices[0].mesh
    sizes = areas(mesh.corners)
    assert sizes[mesh.labels == 1].sum() == pytest.approx(4 * 0.2, rel=1e-6)
    assert sizes[mesh.labels == 2].sum() == pytest.approx((2.5 + 2.5 + 1) * 0.2, rel=1e-6)
    assert sizes[mesh.labels == 0].sum() == pytest.approx(
        2 * (15 - 1 - 2.5) + 2 * 3 * 0.2 + (5 + 4) * 0.2, rel=1e-6
    )


def test_an_opening_of_two_boxes_that_touch_in_the_face_of_the_wall(wall):
    """One box in the wall, one before it: as one operand with its inner faces the kernel cut it wrongly."""
    model, body = wall
    opening = model.opening(model.box((1, 0, 1), (2, 0.2, 2)), model.box((1, 0.2, 1), (2, 0.4, 2)))
    assert model.solve(body, [opening]).slices[0].net == pytest.approx(2.8, rel=1e-9)


@pytest.mark.parametrize("error", [0.0, 1e-9, -1e-9, 1e-7, -1e-7, 5e-6, -5e-6])
def test_an_opening_nearly_flush_with_the_wall_leaves_no_skin(wall, error):
    model, body = wall
    opening = model.opening(model.box((1, -error, 1), (2, 0.2 + error, 2)))
    (found,) = model.solve(body, [opening]).slices
    assert found.net == pytest.approx(2.8, rel=1e-9)
    assert areas(found.mesh.corners).sum() == pytest.approx(2 * 14 + 2 * 8 * 0.2 + 4 * 0.2, rel=1e-9)


def test_a_recess_is_no_hole_however_thin_what_remains(wall):
    model, body = wall
    recess = model.opening(model.box((1, 0.001, 1), (2, 0.4, 2)))
    (found,) = model.solve(body, [recess]).slices
    assert found.net == pytest.approx(3.0 - 0.199, rel=1e-9)


def test_openings_that_overlap_deduct_once(wall):
    model, body = wall
    openings = [model.opening(model.box((x, -1, 0), (x + 1, 1, 2))) for x in (1.0, 1.5)]
    result = model.solve(body, openings)
    assert result.slices[0].net == pytest.approx(3.0 - 1.5 * 2 * 0.2, rel=1e-9)
    assert sum(result.opening_volumes) == pytest.approx(0.6, rel=1e-9)


def test_an_opening_without_shape_is_told(wall):
    model, body = wall
    result = model.solve(body, [model.opening()])
    assert result.slices[0].net == pytest.approx(3.0)
    assert [kind for kind, _ in result.remarks] == ["opening-not-read"]


def test_openings_that_remove_all(wall):
    model, body = wall
    result = model.solve(body, [model.opening(model.box((-1, -1, -1), (9, 9, 9)))])
    assert result.slices == (None,)
    assert [kind for kind, _ in result.remarks] == ["nothing-left"]


def test_items_that_overlap_count_once_and_touching_ones_lose_their_inner_faces():
    model = SolidModel()
    items = [
        model.box((0, 0, 0), (5, 0.2, 3)),
        model.box((4, 0, 0), (6, 0.2, 3)),
        model.box((6, 0, 0), (7, 0.2, 3)),
    ]
    (found,) = model.solve(model.product(*items)).slices
    assert found.net == pytest.approx(7 * 0.6, rel=1e-5)
    assert areas(found.mesh.corners).sum() == pytest.approx(2 * (21 + 1.4 + 0.6), rel=1e-5)
    assert set(found.mesh.labels.tolist()) == {0}


def test_one_thing_written_twice_counts_once():
    model = SolidModel()
    item = model.box((0, 0, 0), (5, 0.2, 3))
    twin = model.box((0, 0, 0), (5, 0.2, 3))
    assert model.solve(model.product(item, twin)).slices[0].net == pytest.approx(3.0, rel=1e-6)


def test_a_proof_that_does_not_add_up_is_no_proof():
    assert proved(3.0, 1.0, 2.0)
    assert not proved(3.0, 1.0, 2.001)
    assert not proved(1.0, -1.0, 2.0)


def test_a_kernel_that_never_adds_up_is_not_believed(monkeypatch):
    monkeypatch.setattr("takeoff.geometry.booleans.proved", lambda *_: False)
    with pytest.raises(BooleanFailed):
        split.__globals__["_joined"](_bare(box((0, 0, 0), (1, 1, 1))), _bare(box((1, 0, 0), (2, 1, 1))))


def _bare(mesh: Mesh):
    import manifold3d

    return manifold3d.Manifold(manifold3d.Mesh64(mesh.vertices, mesh.faces.astype(np.uint64)))


cell = st.integers(0, 5)
grid_box = st.tuples(cell, cell, cell, st.integers(1, 3), st.integers(1, 3), st.integers(1, 3))


def cells(boxes) -> np.ndarray:
    grid = np.zeros((9, 9, 9), dtype=bool)
    for x, y, z, a, b, c in boxes:
        grid[x : x + a, y : y + b, z : z + c] = True
    return grid


def bare_faces(grid: np.ndarray) -> int:
    """Sides of cubes with no cube beside them."""
    padded = np.pad(grid, 1).astype(int)
    return sum(int(np.abs(np.diff(padded, axis=axis)).sum()) for axis in range(3))


def check_grid(bodies, voids, placement):
    """Measure boxes given in half metres and compare with the count of their cubes."""
    model = SolidModel("ft")
    place = [model.place(**placement) for _ in range(len(voids) + 1)]
    made = [model.box(*np.array([[x, y, z], [x + a, y + b, z + c]]) / 2.0) for x, y, z, a, b, c in bodies]
    openings = [
        model.opening(model.box(*np.array([[x, y, z], [x + a, y + b, z + c]]) / 2.0), placement=place[number])
        for number, (x, y, z, a, b, c) in enumerate(voids)
    ]
    origin = placement.get("at", (0, 0, 0))
    result = model.solve(model.product(*made, placement=place[-1]), openings, origin=origin)
    gross, removed = cells(bodies), cells(voids)
    net = np.count_nonzero(gross & ~removed) / 8.0
    assert result.condition == ""
    if net == 0.0:
        assert result.slices == (None,)
        return
    (found,) = result.slices
    assert found.gross == pytest.approx(np.count_nonzero(gross) / 8.0, rel=1e-4, abs=1e-4)
    assert found.net == pytest.approx(net, rel=1e-4, abs=1e-4)
    assert is_closed(found.mesh.faces)
    assert areas(found.mesh.corners).sum() == pytest.approx(bare_faces(gross & ~removed) / 4.0, abs=2e-3)
    assert sum(result.opening_volumes) == pytest.approx(np.count_nonzero(gross & removed) / 8.0, abs=2e-4)


@settings(max_examples=120, deadline=None)
@given(st.lists(grid_box, min_size=1, max_size=5), st.lists(grid_box, max_size=4))
def test_boxes_on_a_grid_joined_and_cut_count_as_their_cubes(bodies, voids):
    """Faces, edges and corners coincide all the time here, the hard case of every boolean kernel."""
    check_grid(bodies, voids, {})


@settings(max_examples=60, deadline=None)
@given(st.lists(grid_box, min_size=1, max_size=4), st.lists(grid_box, min_size=1, max_size=4))
def test_boxes_on_a_turned_grid_far_away(bodies, voids):
    """The same, in feet, turned, 4,000 km away, openings placed on their own: faces coincide to a nanometre."""
    check_grid(bodies, voids, {"at": (4.0e6, 5.0e5, 30.0), "x": (math.cos(0.6), math.sin(0.6), 0.0)})


def test_lumps_and_join_undo_each_other():
    apart = [manifold(box((i * 2, 0, 0), (i * 2 + 1, 1, 1))) for i in range(4)]
    whole = join(apart)
    assert whole.volume() == pytest.approx(4.0)
    assert len(lumps(mesh_of(whole))) == 4
    assert volume(mesh_of(whole)) == pytest.approx(4.0)


@settings(max_examples=300, deadline=None)
@given(st.lists(st.integers(0, 5), min_size=12, max_size=12))
def test_overlap_of_triangles_is_that_of_their_areas(numbers):
    """Two triangles on a small grid, where sides and corners meet often, against polygon clipping."""
    import shapely

    pair = np.array(numbers, dtype=float).reshape(2, 1, 3, 2)
    first, second = (shapely.Polygon(triangle[0]) for triangle in pair)
    if first.area > 0.0 and second.area > 0.0:
        assert overlap(pair[0], pair[1]) == (first.intersection(second).area > 1e-6)
