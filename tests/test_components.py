"""Components are those that a search along the edges finds."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from takeoff.geometry.edges import connected


def _search(count, edges):
    label = list(range(count))
    for _ in range(count):
        for a, b in edges:
            label[a] = label[b] = min(label[a], label[b])
    return label


@given(
    st.integers(1, 25).flatmap(
        lambda n: st.tuples(st.just(n), st.lists(st.tuples(st.integers(0, n - 1), st.integers(0, n - 1))))
    )
)
def test_components_are_those_of_a_search(graph):
    count, edges = graph
    found = connected(np.array(edges, dtype=np.int64).reshape(-1, 2), count)
    wanted = _search(count, edges)
    assert {(a, b) for a in range(count) for b in range(count) if found[a] == found[b]} == {
        (a, b) for a in range(count) for b in range(count) if wanted[a] == wanted[b]
    }


def test_a_long_chain_is_one():
    steps = np.arange(99_999)
    shuffled = np.random.default_rng(1).permutation(100_000)
    assert np.ptp(connected(np.column_stack([shuffled[steps], shuffled[steps + 1]]), 100_000)) == 0
