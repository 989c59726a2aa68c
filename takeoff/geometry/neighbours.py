"""Which boxes are near each other: a grid of several cell sizes, in three dimensions."""

import numpy as np

from takeoff.geometry.mesh import Floats, Ints


def near_pairs(boxes: Floats, gap: float = 0.0) -> Ints:
    """Pairs (i, j), i < j, of boxes that overlap or lie within `gap` metres on every axis.

    `boxes` is (n, 2, 3): lowest and highest corner. Returns (k, 2), sorted. Each box is filed at the level
    whose cells are at least as large as itself and is looked up at every coarser level in use, so a box
    meets few cells and time grows with the number of boxes and of pairs.
    """
    count = len(boxes)
    if count < 2:
        return np.empty((0, 2), dtype=np.int64)
    low = boxes[:, 0] - gap / 2.0
    high = boxes[:, 1] + gap / 2.0
    size = np.maximum((high - low).max(axis=1), 1e-3)
    level = np.ceil(np.log2(size)).astype(np.int64)
    origin = low.min(axis=0)
    found = []
    for this in np.unique(level):
        cell = 2.0 ** float(this)
        own = np.flatnonzero(level == this)
        smaller = np.flatnonzero(level <= this)
        own_cells, own_items = _cells(low, high, own, origin, cell)
        all_cells, all_items = _cells(low, high, smaller, origin, cell)
        first, second = _same_cell(own_cells, own_items, all_cells, all_items)
        touching = np.all(low[first] <= high[second], axis=1) & np.all(low[second] <= high[first], axis=1)
        first, second = first[touching], second[touching]
        different = first != second
        first, second = first[different], second[different]
        found.append(np.column_stack([np.minimum(first, second), np.maximum(first, second)]))
    pairs = np.concatenate(found) if found else np.empty((0, 2), dtype=np.int64)
    codes = np.unique(pairs[:, 0] * count + pairs[:, 1])
    return np.column_stack([codes // count, codes % count])


def _cells(low: Floats, high: Floats, items: Ints, origin: Floats, cell: float) -> tuple[Ints, Ints]:
    """Cells that each item touches, as codes, with the item repeated for each: two (k,) arrays."""
    first = np.floor((low[items] - origin) / cell).astype(np.int64)
    last = np.floor((high[items] - origin) / cell).astype(np.int64)
    span = last - first + 1
    number = span.prod(axis=1)
    owner = np.repeat(np.arange(len(items)), number)
    step = np.arange(len(owner)) - np.repeat(np.cumsum(number) - number, number)
    spans = span[owner]
    x = first[owner, 0] + step % spans[:, 0]
    y = first[owner, 1] + step // spans[:, 0] % spans[:, 1]
    z = first[owner, 2] + step // (spans[:, 0] * spans[:, 1])
    # 21 bits an axis: a million cells each way before codes could meet, and a false meeting is filtered anyway
    return (x << 42) | (y << 21) | z, items[owner]


def _same_cell(cells_a: Ints, items_a: Ints, cells_b: Ints, items_b: Ints) -> tuple[Ints, Ints]:
    """All (item of a, item of b) that share a cell."""
    order = np.argsort(cells_b, kind="stable")
    cells_b, items_b = cells_b[order], items_b[order]
    start = np.searchsorted(cells_b, cells_a, side="left")
    end = np.searchsorted(cells_b, cells_a, side="right")
    first, position = ragged_product(start, end)
    return items_a[first], items_b[position]


def ragged_product(start: Ints, end: Ints) -> tuple[Ints, Ints]:
    """For each row r the numbers start[r] .. end[r]-1: returns (row, number), both (k,)."""
    number = end - start
    row = np.repeat(np.arange(len(start)), number)
    offset = np.arange(len(row)) - np.repeat(np.cumsum(number) - number, number)
    return row, start[row] + offset
