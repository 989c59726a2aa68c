"""Solids cut under surfaces of many triangles."""

import numpy as np
import pytest

from takeoff.geometry import under_terrain
from takeoff.geometry.booleans import BooleanFailed
from takeoff.geometry.mesh import Mesh
from takeoff.geometry.under_terrain import BATCH, share_under

BOX = ((0.0, 0.0, 0.0), (10.0, 6.0, 4.0))


def _box(low, high):
    x0, y0, z0 = low
    x1, y1, z1 = high
    points = [(x, y, z) for z in (z0, z1) for x, y in ((x0, y0), (x1, y0), (x1, y1), (x0, y1))]
    faces = [
        (0, 2, 1), (0, 3, 2), (4, 5, 6), (4, 6, 7), (0, 1, 5), (0, 5, 4),
        (1, 2, 6), (1, 6, 5), (2, 3, 7), (2, 7, 6), (3, 0, 4), (3, 4, 7),
    ]  # fmt: skip
    return Mesh(np.array(points, dtype=float), np.array(faces, dtype=np.int64), np.zeros(12, dtype=np.int64))


def _surface(count, height, low=(-1.0, -1.0), high=(11.0, 7.0)):
    """A grid of 2 count**2 triangles at heights of plan points."""
    x, y = (np.linspace(low[k], high[k], count + 1) for k in (0, 1))
    gx, gy = np.meshgrid(x, y, indexing="ij")
    points = np.stack([gx, gy, height(gx, gy)], axis=-1)
    a, b, c, d = points[:-1, :-1], points[1:, :-1], points[1:, 1:], points[:-1, 1:]
    return np.concatenate(
        [np.stack([a, b, c], -2).reshape(-1, 3, 3), np.stack([a, c, d], -2).reshape(-1, 3, 3)]
    )


@pytest.mark.parametrize("whole", [True, False])
@pytest.mark.parametrize("count", [1, 8, 30])
def test_a_slope_cuts_a_box_in_the_same_way_by_few_and_by_many_triangles(count, whole, monkeypatch):
    # z = 1 + 0.1 x + 0.2 y over 10 x 6: mean 1 + 0.5 + 0.6 = 2.1 of 4.0 m
    triangles = _surface(count, lambda x, y: 1.0 + 0.1 * x + 0.2 * y)
    assert count < 30 or len(triangles) > 20 * BATCH
    if not whole:
        monkeypatch.setattr(under_terrain, "_sheet", lambda triangles, bottom: None)
    assert share_under(_box(*BOX), triangles) == pytest.approx(2.1 / 4.0, rel=1e-6)


def test_rough_ground_of_many_triangles_counts_each_of_them():
    # corners of the grid fall on the edges of the box, so each prism counts whole: area by mean height
    rough = np.random.default_rng(7)
    triangles = _surface(60, lambda x, y: rough.uniform(0.5, 3.5, x.shape), (0.0, 0.0), (10.0, 6.0))
    mean = triangles[:, :, 2].mean()
    assert share_under(_box(*BOX), triangles) == pytest.approx(mean / 4.0, rel=1e-6)


@pytest.mark.parametrize(("count", "turned"), [(40, True), (6, False)])
def test_two_sheets_count_once(count, turned):
    # the two sides of a block, and two sheets of one turn
    low = _surface(count, lambda x, y: 1.0 + 0.0 * x)
    low = low[:, ::-1] if turned else low
    high = _surface(count, lambda x, y: 3.0 + 0.0 * x)
    assert share_under(_box(*BOX), np.concatenate([low, high])) == pytest.approx(0.75, rel=1e-6)


def test_triangles_that_lie_on_one_spot_are_cut_one_by_one():
    many = np.repeat(_surface(1, lambda x, y: 2.0 + 0.0 * x), BATCH, axis=0)
    assert share_under(_box(*BOX), many) == pytest.approx(0.5, rel=1e-6)


def test_a_cut_that_fails_is_not_hidden(monkeypatch):
    def refuse(body, cutter):
        raise BooleanFailed("no")

    monkeypatch.setattr(under_terrain, "split", refuse)
    with pytest.raises(BooleanFailed):
        share_under(_box(*BOX), _surface(2, lambda x, y: 1.0 + 0.1 * x))
