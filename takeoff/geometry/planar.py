"""Polygons put together, clipped and cut, where the geometry library gives up too.

The library raises an error on outlines that touch themselves by less than its rounding. Then both sides are made
valid first, then rounded to ever coarser grids; only what no grid settles is an error still.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
import shapely
from shapely.errors import GEOSException

GRIDS = (1e-9, 1e-7, 1e-6, 1e-5)
"""Sizes of the grids, metres, on which an operation is tried again: the coarsest moves a face by 0.01 mm."""


def union_all(shapes: Any, grid_size: float | None = None, axis: int | None = None) -> Any:
    """Union of shapes, as shapely's. Raises GEOSException when no way succeeds."""
    try:
        return shapely.union_all(shapes, grid_size=grid_size, axis=axis)
    except GEOSException:
        listed = np.asarray(shapes, dtype=object)
        if axis is not None:
            out = np.empty(listed.shape[0], dtype=object)
            out[:] = [union_all(row, grid_size) for row in listed]
            return out
        return _again(lambda grid: shapely.union_all(_valid(listed), grid_size=grid))


def intersection(first: Any, second: Any) -> Any:
    """What each of some shapes shares with its partner, as shapely's. Raises GEOSException when no way succeeds."""
    return _pairwise(shapely.intersection, first, second)


def difference(first: Any, second: Any) -> Any:
    """What each of some shapes has beyond its partner, as shapely's. Raises GEOSException when no way succeeds."""
    return _pairwise(shapely.difference, first, second)


def _pairwise(operation: Callable[..., Any], first: Any, second: Any) -> Any:
    try:
        return operation(first, second)
    except GEOSException:
        one, other = np.broadcast_arrays(np.asarray(first, dtype=object), np.asarray(second, dtype=object))
        if one.ndim == 0:
            return _settled(operation, one.item(), other.item())
        out = np.empty(len(one), dtype=object)
        out[:] = [_settled(operation, a, b) for a, b in zip(one, other, strict=True)]
        return out


def _settled(operation: Callable[..., Any], one: Any, other: Any) -> Any:
    try:
        return operation(one, other)
    except GEOSException:
        return _again(lambda grid: operation(_valid(one), _valid(other), grid_size=grid))


def _valid(shapes: Any) -> Any:
    return shapely.make_valid(shapes, method="structure", keep_collapsed=False)


def _again(operation: Callable[[float], Any]) -> Any:
    """The result of an operation on the finest grid on which it succeeds."""
    for grid in GRIDS[:-1]:
        try:
            return operation(grid)
        except GEOSException:
            continue
    return operation(GRIDS[-1])
