"""Facets, curved surfaces and contacts of simple solids, against areas by hand."""

import math

import numpy as np
import pytest
from meshes import box, cylinder, mesh

from takeoff.geometry.contacts import find_contacts
from takeoff.geometry.facets import make_facets
from takeoff.geometry.mesh import Mesh, volume, volumes_of
from takeoff.geometry.neighbours import near_pairs
from takeoff.geometry.surfaces import make_surfaces


def _surfaces(*solids):
    return make_surfaces(make_facets([mesh(solid) for solid in solids]))


def _contacts(*solids, gap=0.005):
    meshes = [mesh(solid) for solid in solids]
    surfaces = make_surfaces(make_facets(meshes))
    return surfaces, find_contacts(surfaces, near_pairs(np.array([m.box() for m in meshes]), gap), gap)


@pytest.mark.parametrize("turn", [(0, 0, 0), (0, 0, 33.7), (10, 20, 30)])
def test_a_pierced_slab_has_one_polygon_a_face(turn):
    slab = box((0, 0, 0), (4, 3, 0.2)) - box((1, 1, -1), (1, 1, 2))
    facets = make_facets([mesh(slab.rotate(turn))])
    assert len(facets) == 10
    assert sorted(facets.area.round(9)) == pytest.approx([0.2] * 4 + [0.6] * 2 + [0.8] * 2 + [11.0] * 2)
    assert [polygon.area for polygon in facets.polygon] == pytest.approx(facets.area)
    assert sorted(facets.area[facets.rim].round(9)) == pytest.approx([0.2] * 4)
    assert sum(len(polygon.interiors) for polygon in facets.polygon) == 2


def test_an_upstand_is_no_rim():
    slab = box((0, 0, 0), (4, 3, 0.2)) + box((1, 1, 0.2), (1, 1, 0.5))
    facets = make_facets([mesh(slab)])
    assert not facets.rim.any()
    assert facets.area.sum() == pytest.approx(2 * 12 + 2 * (4 + 3) * 0.2 + 4 * 0.5)


def test_a_round_column_is_one_surface_with_its_true_area():
    surfaces = _surfaces(cylinder((5, 7, 0), 0.3, 3.0))
    curved = np.flatnonzero(surfaces.curved)
    assert len(curved) == 1
    assert surfaces.area[curved[0]] == pytest.approx(2 * math.pi * 0.3 * 3.0, rel=1e-6)
    assert surfaces.radius[curved[0]] == pytest.approx(0.3, rel=1e-9)


def test_a_column_of_twelve_sides_is_flat():
    surfaces = _surfaces(cylinder((0, 0, 0), 0.3, 3.0, sides=12))
    assert not surfaces.curved.any()
    assert len(surfaces) == 14


def test_a_half_round_wall_end_and_its_flat_sides_are_told_apart():
    wall = box((0, 0, 0), (4, 0.3, 3)) + cylinder((4, 0.15, 0), 0.15, 3.0)
    surfaces = _surfaces(wall)
    curved = surfaces.curved & np.isfinite(surfaces.radius)
    assert surfaces.area[curved].sum() == pytest.approx(math.pi * 0.15 * 3.0, rel=2e-2)
    flat = ~surfaces.curved & (np.abs(surfaces.normal[:, 2]) < 0.5)
    assert surfaces.area[flat].max() == pytest.approx(12.0, rel=1e-2)


@pytest.mark.parametrize(("apart", "area"), [(0.0, 0.5), (0.004, 0.5), (-0.004, 0.5), (0.006, 0.0)])
def test_contact_within_the_gap_only(apart, area):
    _, contacts = _contacts(box((0, 0, 0), (1, 1, 1)), box((0.5, 0, 1 + apart), (1, 1, 1)))
    assert contacts.area.sum() == pytest.approx(area)
    assert len(contacts) == (1 if area else 0)


@pytest.mark.parametrize("turn", [(0, 0, 0), (0, 0, 33.7), (12, 25, 40)])
def test_contact_does_not_depend_on_the_direction(turn):
    one, two = box((0, 0, 0), (2, 2, 1)), box((0.5, 0.5, 1), (3, 1, 1))
    _, contacts = _contacts(one.rotate(turn), two.rotate(turn))
    assert contacts.area.tolist() == pytest.approx([1.5])


def test_a_round_column_fills_a_hole_facetted_otherwise():
    slab = box((0, 0, 0), (4, 3, 0.2)) - cylinder((1, 1, -1), 0.3, 3.0, sides=126, turn=1.234)
    surfaces, contacts = _contacts(cylinder((1, 1, -1), 0.3, 3.0, sides=100), slab)
    assert contacts.area.sum() == pytest.approx(2 * math.pi * 0.3 * 0.2, rel=1e-3)
    assert surfaces.curved[contacts.first].all()


def test_same_side_faces_do_not_touch():
    _, contacts = _contacts(box((0, 0, 0), (1, 1, 1)), box((1.5, 0, 0), (1, 1, 1)), gap=0.005)
    assert len(contacts) == 0


def test_a_hollow_body_keeps_its_inner_faces():
    pipe = cylinder((0, 0, 0), 0.5, 2.0) - cylinder((0, 0, -1), 0.3, 4.0)
    surfaces = _surfaces(pipe)
    outer = surfaces.curved & ~surfaces.hollow
    inner = surfaces.curved & surfaces.hollow
    assert surfaces.area[outer].sum() == pytest.approx(2 * math.pi * 0.5 * 2, rel=1e-6)
    assert surfaces.area[inner].sum() == pytest.approx(2 * math.pi * 0.3 * 2, rel=1e-6)


def test_no_meshes_make_no_surfaces():
    surfaces = make_surfaces(make_facets([]))
    assert len(surfaces) == 0
    assert len(find_contacts(surfaces, np.empty((0, 2), dtype=np.int64), 0.005)) == 0


def test_volumes_of_many_meshes_are_those_of_each():
    meshes = [mesh(box((100, 0, 3), (1, 2, 3))), mesh(cylinder((0, 0, 0), 0.3, 2.0))]
    none = Mesh.of(np.empty((0, 3)), np.empty((0, 3), dtype=np.int64))
    found = volumes_of([meshes[0], none, meshes[1]])
    assert found == pytest.approx([6.0, 0.0, volume(meshes[1])], abs=1e-12)
    assert volumes_of([none]) == [0.0]
    assert volumes_of([]) == []
