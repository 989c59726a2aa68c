"""Sweeps along lines: which part of the line is meant, and what the geometry kernels cannot be trusted with."""

import math
from typing import Any

import numpy as np

from takeoff.geometry.mesh import Floats
from takeoff.geometry.refusals import Nonsense, Sheet, Unread, number

Entity = Any

_SWEEPS = ("IfcSweptDiskSolid", "IfcFixedReferenceSweptAreaSolid", "IfcSurfaceCurveSweptAreaSolid")


def check_sweep(item: Entity, sheet: Sheet) -> None:
    """Doubt a sweep along a part of its line, which kernels make along all of it. Other items pass."""
    if not any(item.is_a(kind) for kind in _SWEEPS) or is_whole(item, sheet):
        return
    sheet.doubt("sweep-doubtful", "a sweep along a part of its line may have been made along all of it")


def is_whole(item: Entity, sheet: Sheet) -> bool:
    """Whether a sweep runs along all of its line, as far as the line's parameters are known."""
    whole = _range(item.Directrix, sheet)
    if whole is None:
        return True
    start, end = (_parameter(getattr(item, name)) for name in ("StartParam", "EndParam"))
    begins = start is None or abs(start) <= 1e-6 * whole
    return begins and (end is None or abs(end - whole) <= 1e-3 * whole)


def part_of(item: Entity, points: Floats, sheet: Sheet) -> Floats:
    """The part of a line, given as points (n, 3), between the parameters of a sweep.

    Parameters are those of ISO 16739-1: a polyline's points count from 0, a circle has its angles. Raises Unread for
    a part of another line, Nonsense for parameters that leave nothing.
    """
    if is_whole(item, sheet):
        return points
    curve = item.Directrix
    whole = _range(curve, sheet)
    assert whole is not None
    if curve.is_a() not in ("IfcPolyline", "IfcCircle", "IfcEllipse"):
        raise Unread(f"a part of an {curve.is_a()}")
    start, end = (_parameter(getattr(item, name)) for name in ("StartParam", "EndParam"))
    start, end = start or 0.0, whole if end is None else end
    said = f"a sweep from {start:g} to {end:g} along a line that ends at {whole:g}: check which part is meant"
    sheet.doubt("sweep-doubtful", said)
    start, end = max(start, 0.0), min(end, whole)
    if not start < end:
        raise Nonsense(f"a sweep from {start:g} to {end:g} along its line")
    at = np.linspace(0.0, whole, len(points))
    inner = at[(at > start) & (at < end)]
    chosen = np.concatenate([[start], inner, [end]])
    return np.column_stack([np.interp(chosen, at, points[:, axis]) for axis in range(3)])


def _range(curve: Entity, sheet: Sheet) -> float | None:
    """The parameter at the end of a curve that begins at 0 by ISO 16739-1, None where it is not known."""
    kind = curve.is_a()
    if kind == "IfcPolyline":
        return float(len(curve.Points) - 1)
    if kind == "IfcCompositeCurve" and not any(part.is_a("IfcCurveSegment") for part in curve.Segments):
        return float(len(curve.Segments))
    if kind in ("IfcCircle", "IfcEllipse"):
        return 2.0 * math.pi / sheet.angle
    return None


def _parameter(value: Any) -> float | None:
    if value is None:
        return None
    return number(value[0] if hasattr(value, "is_a") else value, "a parameter")
