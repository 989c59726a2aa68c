"""Sweeps along lines, which the geometry kernel makes: what it cannot be trusted with is refused or told before."""

import math
from typing import Any

from takeoff.geometry.refusals import Nonsense, Sheet, number, size

Entity = Any

_SWEEPS = ("IfcSweptDiskSolid", "IfcFixedReferenceSweptAreaSolid", "IfcSurfaceCurveSweptAreaSolid")


def check_sweep(item: Entity, sheet: Sheet) -> None:
    """Doubt a sweep along a part of its line, which kernels make along all of it.

    Raises Nonsense for a pipe whose radii contradict each other: kernels crash on it or make one up. Other items
    pass.
    """
    if not any(item.is_a(kind) for kind in _SWEEPS):
        return
    if item.is_a("IfcSweptDiskSolid"):
        outer = size(item, "Radius", sheet.scale)
        if item.InnerRadius is not None and size(item, "InnerRadius", sheet.scale) >= outer:
            raise Nonsense(f"a pipe with InnerRadius of {item.InnerRadius:g} in a Radius of {item.Radius:g}")
    whole = _range(item.Directrix, sheet)
    if whole is None:
        return
    start, end = (_parameter(getattr(item, name)) for name in ("StartParam", "EndParam"))
    begins = start is None or abs(start) <= 1e-6 * whole
    if not begins or not (end is None or abs(end - whole) <= 1e-3 * whole):
        sheet.doubt("sweep-doubtful", "a sweep along a part of its line may have been made along all of it")


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
