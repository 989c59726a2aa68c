"""Meshes that files give badly: welded, turned, closed, or told apart as not measurable."""

import numpy as np
import pytest
from build import box_mesh, triangulated
from solid_models import SolidModel

from takeoff.geometry.booleans import lumps, manifold
from takeoff.geometry.edges import parted
from takeoff.geometry.mesh import Mesh, is_closed, volume
from takeoff.geometry.repair import mend


def box(low=(0.0, 0.0, 0.0), high=(1.0, 1.0, 1.0)):
    points, faces = box_mesh(low, high)
    return np.array(points, dtype=float), np.array(triangulated(faces))


def kinds(result):
    return [kind for kind, _ in result.remarks]


def test_a_sound_mesh_passes_unchanged():
    points, faces = box()
    mended = mend(Mesh.of(points, faces))
    assert (mended.condition, mended.remarks) == ("", ())
    assert volume(mended.mesh) == pytest.approx(1.0)


def test_corners_given_once_for_each_face_are_welded():
    points, faces = box()
    loose = Mesh.of(points[faces].reshape(-1, 3), np.arange(3 * len(faces)).reshape(-1, 3))
    mended = mend(loose)
    assert mended.condition == ""
    assert len(mended.mesh.vertices) == 8
    assert mended.remarks == ()


def test_wide_welding_is_told():
    points, faces = box()
    corners = points[faces].reshape(-1, 3) + np.random.default_rng(3).uniform(
        -4e-5, 4e-5, (3 * len(faces), 3)
    )
    mended = mend(Mesh.of(corners, np.arange(3 * len(faces)).reshape(-1, 3)))
    assert mended.condition == ""
    assert kinds(mended) == ["corners-joined"]
    assert volume(mended.mesh) == pytest.approx(1.0, rel=1e-3)


def test_inside_out_is_turned_and_told():
    points, faces = box()
    mended = mend(Mesh.of(points, faces[:, ::-1]))
    assert volume(mended.mesh) == pytest.approx(1.0)
    assert kinds(mended) == ["inside-out"]


@pytest.mark.parametrize("flipped", [[0], [1, 4, 7], [0, 2, 4, 6, 8, 10], list(range(11))])
def test_faces_turned_both_ways_are_turned_alike(flipped):
    points, faces = box()
    faces[flipped] = faces[flipped][:, ::-1]
    mended = mend(Mesh.of(points, faces))
    assert mended.condition == ""
    assert volume(mended.mesh) == pytest.approx(1.0)
    assert kinds(mended) == ["faces-turned"]


def test_a_corner_on_an_edge_of_another_face_is_joined():
    points, faces = box()
    middle = len(points)
    points = np.vstack([points, (points[4] + points[5]) / 2])
    split = [[4, middle, 0], [middle, 5, 0], [0, 5, 1]]
    side = [i for i, face in enumerate(faces.tolist()) if {0, 1}.issubset(face) or {4, 5}.issubset(face)]
    kept = [face for i, face in enumerate(faces.tolist()) if not set(face).issubset({0, 1, 4, 5})]
    assert len(side) > 0
    outward = np.array([face[::-1] for face in split])
    mended = mend(Mesh.of(points, np.concatenate([np.array(kept), outward])))
    assert mended.condition == ""
    assert is_closed(mended.mesh.faces)
    assert volume(mended.mesh) == pytest.approx(1.0)


def test_a_flat_gap_is_closed_and_told_with_its_area():
    points, faces = box()
    mended = mend(Mesh.of(points, faces[1:]))
    assert volume(mended.mesh) == pytest.approx(1.0)
    assert kinds(mended) == ["shell-closed"]
    assert "0.5000 m2" in mended.remarks[0][1]


def test_a_gap_that_is_not_flat_gives_no_volume():
    points, faces = box()
    two_sides = {frozenset((0, 1, 4, 5)), frozenset((1, 2, 5, 6))}
    kept = [face for face in faces.tolist() if not any(set(face) <= side for side in two_sides)]
    mended = mend(Mesh.of(points, np.array(kept)))
    assert mended.condition == "the surface is not closed"


@pytest.mark.parametrize(
    ("points", "faces", "condition"),
    [
        (np.full((3, 3), np.nan), [[0, 1, 2]], "coordinates that are no numbers"),
        (np.array([[0, 0, 0], [np.inf, 0, 0], [0, 1, 0]]), [[0, 1, 2]], "coordinates that are no numbers"),
        (np.zeros((4, 3)), [[0, 1, 2]], "no surface: all corners lie in one place"),
        (np.eye(3), np.zeros((0, 3)), "no faces"),
        (np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0]]), [[0, 1, 2], [2, 1, 0]], "no volume"),
    ],
)
def test_what_has_no_volume_says_so(points, faces, condition):
    assert mend(Mesh.of(points, np.array(faces))).condition == condition


def test_a_cavity_is_kept_and_a_nested_solid_counts_once():
    outer, faces = box((-1, -1, -1), (2, 2, 2))
    inner, _ = box()
    both = np.vstack([outer, inner])
    cavity = mend(Mesh.of(both, np.vstack([faces, faces[:, ::-1] + 8])))
    assert volume(cavity.mesh) == pytest.approx(26.0)
    (hollow,) = lumps(cavity.mesh)
    assert hollow.volume() == pytest.approx(26.0)
    model = SolidModel()
    nested = model.brep(both.tolist(), np.vstack([faces, faces + 8]).tolist())
    found = model.solve(model.product(nested))
    assert found.slices[0].net == pytest.approx(27.0)
    assert [kind for kind, _ in found.remarks] == ["shell-within"]
    assert "1.0000 m3 less" in str(found.remarks[0][1])


def test_a_solid_within_a_cavity_is_no_doubt():
    outer, faces = box((-2, -2, -2), (3, 3, 3))
    middle, _ = box((-1, -1, -1), (2, 2, 2))
    inner, _ = box()
    three = np.vstack([faces, faces[:, ::-1] + 8, faces + 16])
    mended = mend(Mesh.of(np.vstack([outer, middle, inner]), three))
    assert (volume(mended.mesh), mended.remarks) == (pytest.approx(125 - 27 + 1), ())


def test_shells_that_touch_along_edges_are_parted():
    """Two boxes that share a face, welded, written as one body: paired at random their volume came out wrong."""
    first, faces = box()
    second, _ = box((1, 0, 0), (2, 1, 1))
    mesh = mend(Mesh.of(np.vstack([first, second]), np.vstack([faces, faces + 8]))).mesh
    assert len(mesh.vertices) == 12
    apart = parted(mesh)
    assert len(apart.vertices) == 16
    assert sorted(lump.volume() for lump in lumps(mesh)) == pytest.approx([1.0, 1.0])
    assert manifold(mesh).volume() == pytest.approx(2.0)
    model = SolidModel()
    body = model.product(model.brep(mesh.vertices.tolist(), mesh.faces.tolist()))
    (found,) = model.solve(body).slices
    assert found.net == pytest.approx(2.0, rel=1e-5)
    upright = model.opening(model.box((0.5, 0.25, -1), (1.5, 0.75, 2)))
    assert model.solve(body, [upright]).slices[0].net == pytest.approx(1.5, rel=1e-5)


def test_boxes_that_touch_along_one_edge_only():
    first, faces = box()
    second, _ = box((1, 1, 0), (2, 2, 1))
    mesh = mend(Mesh.of(np.vstack([first, second]), np.vstack([faces, faces + 8]))).mesh
    assert sorted(lump.volume() for lump in lumps(mesh)) == pytest.approx([1.0, 1.0])


PIT = [
    *[(x, y, z) for z in (0, 1) for x, y in ((0, 0), (4, 0), (4, 4), (0, 4))],
    *[(x, y, z) for z in (1, None) for x, y in ((1, 1), (3, 1), (3, 3), (1, 3))],
]


@pytest.mark.parametrize(("bottom", "told"), [(0.2, []), (-1.0, ["surface-folded"])])
def test_a_surface_that_passes_through_itself_is_told(bottom, told):
    """A slab with a pit; the pit is deeper than the slab in one case, so the surface is closed but wrong."""
    points = [(x, y, bottom if z is None else z) for x, y, z in PIT]
    sides = [[i, (i + 1) % 4, 4 + (i + 1) % 4, 4 + i] for i in range(4)]
    rim = [[4 + i, 4 + (i + 1) % 4, 8 + (i + 1) % 4, 8 + i] for i in range(4)]
    pit = [[8 + i, 8 + (i + 1) % 4, 12 + (i + 1) % 4, 12 + i] for i in range(4)]
    model = SolidModel()
    faces = [[0, 3, 2, 1], *sides, *rim, *pit, [12, 13, 14, 15]]
    result = model.solve(model.product(model.brep(points, faces)))
    assert kinds(result) == told
    assert result.slices[0].net == pytest.approx(16 - 4 * (1 - bottom))
