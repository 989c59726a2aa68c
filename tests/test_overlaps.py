"""Shared space goes to one body: volumes after overlaps add up to the union, whatever the arrangement."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from meshes import Manifold, box, cylinder, mesh

from takeoff.geometry.mesh import is_closed, volume
from takeoff.geometry.neighbours import near_pairs
from takeoff.geometry.overlaps import CUT, here, resolve_overlaps


def _resolve(solids, whole=None, apart=None, rank=None):
    meshes = [mesh(solid) for solid in solids]
    count = len(meshes)
    pairs = near_pairs(np.array([m.box() for m in meshes]))
    return resolve_overlaps(
        meshes,
        rank or [(i,) for i in range(count)],
        whole or [False] * count,
        pairs,
        apart or [True] * count,
    )


def _volumes(resolved):
    return [sum(volume(lump) for lump in lumps) for lumps in resolved.lumps]


def test_a_column_through_a_slab_becomes_two_lumps():
    slab, column = box((0, 0, 0), (4, 3, 0.2)), box((1, 1, -3), (0.4, 0.4, 6))
    resolved = _resolve([slab, column])
    assert _volumes(resolved) == pytest.approx([2.4, 0.96 - 0.032])
    assert sorted(round(volume(lump), 6) for lump in resolved.lumps[1]) == pytest.approx([0.448, 0.48])
    assert all(CUT in lump.labels for lump in resolved.lumps[1])
    assert resolved.overlaps[0].volume == pytest.approx(0.032)


def test_lumps_stay_together_where_they_are_not_wanted_apart():
    slab, beam = box((1, 0, 0), (0.4, 3, 1)), box((0, 1, 0), (4, 0.3, 0.5))
    resolved = _resolve([slab, beam], apart=[False, False])
    assert len(resolved.lumps[1]) == 1
    assert _volumes(resolved)[1] == pytest.approx(0.6 - 0.06)


@pytest.mark.parametrize("apart", [True, False])
def test_a_body_wholly_within_another_leaves_a_cavity_there(apart):
    inner = box((1, 1, 1), (1, 1, 1))
    through = box((4, -1, -1), (0.5, 5, 5))  # parts the outer body in two: the cavity stays with its own one
    resolved = _resolve([inner, through, box((0, 0, 0), (6, 3, 3))], apart=[apart] * 3)
    assert _volumes(resolved) == pytest.approx([1.0, 12.5, 54.0 - 4.5 - 1.0])
    lumps = sorted(round(volume(lump), 6) for lump in resolved.lumps[2])
    assert lumps == pytest.approx([13.5, 36.0 - 1.0] if apart else [48.5])
    assert all(is_closed(lump.faces) for lump in resolved.lumps[2])


def test_touching_bodies_are_not_cut():
    resolved = _resolve(
        [box((0, 0, 0), (1, 1, 1)), box((1, 0, 0), (1, 1, 1)), box((0, 0, 1.0001), (1, 1, 1))]
    )
    assert not resolved.overlaps
    assert _volumes(resolved) == pytest.approx([1, 1, 1])


def test_pieces_keep_their_shape_and_the_clash_is_told():
    resolved = _resolve([box((0, 0, 0), (1, 1, 1)), box((0.5, 0, 0), (1, 1, 1))], whole=[True, True])
    assert _volumes(resolved) == pytest.approx([1, 1])
    assert [(o.volume, o.cut, o.same) for o in resolved.overlaps] == [(pytest.approx(0.5), False, False)]


def test_one_thing_twice_counts_once_even_for_pieces():
    resolved = _resolve([box((0, 0, 0), (1, 1, 1))] * 2, whole=[True, True])
    assert _volumes(resolved) == pytest.approx([1, 0])
    assert resolved.overlaps[0].same


def test_two_tessellations_of_one_circle_do_not_overlap():
    slab = box((0, 0, 0), (4, 3, 0.2)) - cylinder((1, 1, -1), 0.3, 3.0, sides=126, turn=1.2)
    resolved = _resolve([cylinder((1, 1, -1), 0.3, 3.0, sides=100), slab])
    assert not resolved.overlaps


_grid = st.integers(0, 6).map(lambda step: step * 0.5)
_size = st.integers(1, 5).map(lambda step: step * 0.5)
_boxes = st.lists(
    st.tuples(st.tuples(_grid, _grid, _grid), st.tuples(_size, _size, _size)),
    min_size=2,
    max_size=6,
    unique=True,
)


@settings(max_examples=80, deadline=None)
@given(_boxes, st.sampled_from([0.0, 33.7]))
def test_volumes_after_overlaps_sum_to_the_union(boxes, turn):
    solids = [box(low, size).rotate((0, 0, turn)) for low, size in boxes]
    resolved = _resolve(solids)
    union = Manifold.batch_boolean([box(low, size) for low, size in boxes], _add()).volume()
    assert not resolved.doubts
    assert sum(_volumes(resolved)) == pytest.approx(union, rel=1e-4)
    assert all(is_closed(lump.faces) for lumps in resolved.lumps for lump in lumps)


def _add():
    import manifold3d

    return manifold3d.OpType.Add


def test_an_arrangement_that_repeats_is_worked_out_once():
    asked = []

    def crew(tasks):
        asked.extend(tasks)
        return here(tasks)

    solids = []
    for storey in range(3):
        z = 3.1 * storey
        solids += [box((0, 0, z), (4, 3, 0.2)), box((1, 1, z - 1), (0.4, 0.4, 1.5))]
    solids.append(box((1, 1, 20), (0.4, 0.4, 1.5)))
    meshes = [mesh(solid) for solid in solids]
    pairs = near_pairs(np.array([m.box() for m in meshes]))
    rank = [(i,) for i in range(7)]
    resolved = resolve_overlaps(meshes, rank, [False] * 7, pairs, [True] * 7, crew)
    assert len(asked) == 1
    assert _volumes(resolved) == pytest.approx([2.4, 0.208] * 3 + [0.24])
    lows = [min(lump.vertices[:, 2].min() for lump in lumps) for lumps in resolved.lumps[1:6:2]]
    assert lows == pytest.approx([-1.0, 2.1, 5.2])


def test_what_cannot_be_worked_out_is_a_doubt_and_keeps_its_shape():
    solids = [box((0, 0, 0), (4, 3, 0.2)), box((1, 1, -1), (0.4, 0.4, 3))]
    meshes = [mesh(solid) for solid in solids]
    pairs = near_pairs(np.array([m.box() for m in meshes]))
    resolved = resolve_overlaps(
        meshes, [(0,), (1,)], [False] * 2, pairs, [True] * 2, lambda tasks: [None] * len(tasks)
    )
    assert resolved.doubts == ((0, 1),)
    assert _volumes(resolved) == pytest.approx([2.4, 0.48])
