"""Near boxes by the grid are those that a comparison of all with all finds."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from takeoff.geometry.neighbours import near_pairs


def _brute(boxes, gap):
    count = len(boxes)
    return {
        (i, j)
        for i in range(count)
        for j in range(i + 1, count)
        if np.all(boxes[i, 0] <= boxes[j, 1] + gap) and np.all(boxes[j, 0] <= boxes[i, 1] + gap)
    }


@settings(max_examples=60, deadline=None)
@given(
    arrays(np.float64, (12, 3), elements=st.floats(-50, 50)),
    arrays(np.float64, (12, 3), elements=st.floats(0.001, 30)),
    st.sampled_from([0.0, 0.005, 1.0]),
)
def test_pairs_are_those_of_a_full_comparison(low, size, gap):
    boxes = np.stack([low, low + size], axis=1)
    found = {tuple(pair) for pair in near_pairs(boxes, gap).tolist()}
    missing = _brute(boxes, gap - 1e-9) - found
    surplus = found - _brute(boxes, gap + 1e-9)
    assert not missing
    assert not surplus


def test_a_large_slab_meets_each_small_column_once():
    slab = [[0, 0, 3], [30, 30, 3.2]]
    columns = [[[x, y, 0], [x + 0.4, y + 0.4, 3]] for x in range(0, 30, 5) for y in range(0, 30, 5)]
    pairs = near_pairs(np.array([slab, *columns], dtype=float), 0.005)
    assert pairs.tolist() == [[0, i + 1] for i in range(len(columns))]
