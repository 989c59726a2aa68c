"""Clipping in bulk gives what the geometry library gives, rectangles or not."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from takeoff.geometry.clipping import bounds_and_boxes, differences, intersections

_step = st.integers(0, 8).map(lambda step: step * 0.5)
_size = st.integers(1, 6).map(lambda step: step * 0.5)


@st.composite
def _polygon(draw: st.DrawFn) -> shapely.Polygon:
    x, y, width, depth = draw(_step), draw(_step), draw(_size), draw(_size)
    kind = draw(st.sampled_from(["box", "turned", "pierced", "triangle", "empty"]))
    box = shapely.box(x, y, x + width, y + depth)
    if kind == "turned":
        return shapely.affinity.rotate(box, 30.0)
    if kind == "pierced":
        return box.difference(shapely.box(x + width / 4, y + depth / 4, x + width / 2, y + depth / 2))
    if kind == "triangle":
        return shapely.Polygon([(x, y), (x + width, y), (x, y + depth)])
    return shapely.Polygon() if kind == "empty" else box


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(_polygon(), _polygon()), min_size=1, max_size=12))
def test_bulk_is_one_by_one(pairs: list) -> None:
    first, second = (np.array(side, dtype=object) for side in zip(*pairs, strict=True))
    for bulk, single in ((intersections, shapely.intersection), (differences, shapely.difference)):
        found, wanted = bulk(first, second), single(first, second)
        assert shapely.area(found) == pytest.approx(shapely.area(wanted), abs=1e-12)
        # Where areas touch only, a line or a point is no area: that much may differ.
        apart = shapely.area(shapely.symmetric_difference(found, wanted))
        assert apart == pytest.approx(np.zeros(len(pairs)), abs=1e-12)


def test_a_leaning_rectangle_is_none_along_the_axes() -> None:
    shapes = np.array([shapely.box(0, 0, 2, 1), shapely.affinity.rotate(shapely.box(0, 0, 2, 1), 1e-4)])
    assert bounds_and_boxes(shapes)[1].tolist() == [True, False]
