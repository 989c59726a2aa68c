"""Sweeps along lines: which part of the line is meant, and what the geometry kernels cannot be trusted with.

Parameters are those of ISO 16739-1: a polyline's points count from 0, a circle has its angles in the file's unit, a
composite curve adds up the parameters of its segments.
"""

import math
from typing import Any

import numpy as np
from msgspec import Struct

from takeoff.geometry.curves import JOINED
from takeoff.geometry.lines import conic_turn, line_points
from takeoff.geometry.mesh import Floats
from takeoff.geometry.refusals import Nonsense, Sheet, Unread, number

Entity = Any

_SWEEPS = ("IfcSweptDiskSolid", "IfcFixedReferenceSweptAreaSolid", "IfcSurfaceCurveSweptAreaSolid")

_NEAR = 1e-3
"""Share of a line's parameters by which an end written with few digits may miss the line's end."""

_PARTLY = "a sweep along a part of its line may have been made along all of it"


class _Piece(Struct, frozen=True):
    """A curve of which the parameters are known, run through forward or backward; `reach` is how far they go."""

    curve: Entity
    forward: bool
    reach: float


def check_sweep(item: Entity, sheet: Sheet) -> None:
    """Doubt a sweep along a part of its line, which kernels make along all of it. Other items pass."""
    if any(item.is_a(kind) for kind in _SWEEPS) and not is_whole(item, sheet):
        sheet.doubt("sweep-doubtful", _PARTLY)


def is_whole(item: Entity, sheet: Sheet) -> bool:
    """Whether a sweep runs along all of its line; false as well where the line's parameters are not known."""
    if item.StartParam is None and item.EndParam is None:
        return True
    start, end = _parameter(item.StartParam), _parameter(item.EndParam)
    if _is_length(item.StartParam) or _is_length(item.EndParam):
        try:
            whole = float(_along(line_points(item.Directrix, sheet))[-1]) / sheet.scale
        except Unread:
            return False
        return _spans(start, end, 0.0, whole)
    return any(_spans(start, end, *known) for known in _known_ends(item.Directrix, sheet))


def part_of(item: Entity, points: Floats, sheet: Sheet) -> Floats:
    """The part of a line, given as points (n, 3), between the parameters of a sweep.

    Where the parameters fit the line in another way of counting, or cannot be known, the whole line with a doubt.
    Raises Nonsense for parameters that leave nothing.
    """
    if is_whole(item, sheet):
        return points
    start, end = _parameter(item.StartParam), _parameter(item.EndParam)
    if _is_length(item.StartParam) or _is_length(item.EndParam):
        at = _along(points) / sheet.scale
    else:
        try:
            points, at = _counted(_pieces(item.Directrix, sheet), sheet)
        except Unread:
            sheet.doubt("sweep-doubtful", _PARTLY)
            return points
    whole = float(at[-1])
    start, end = start or 0.0, whole if end is None else end
    said = f"a sweep from {start:g} to {end:g} along a line that ends at {whole:g}: check which part is meant"
    sheet.doubt("sweep-doubtful", said)
    if any(_spans(start, end, 0.0, other) for other in _other_counts(item.Directrix, sheet)):
        return points
    start, end = max(start, 0.0), min(end, whole)
    if not start < end:
        raise Nonsense(f"a sweep from {start:g} to {end:g} along its line")
    chosen = np.concatenate([[start], at[(at > start) & (at < end)], [end]])
    return np.column_stack([np.interp(chosen, at, points[:, axis]) for axis in range(3)])


def _spans(start: float | None, end: float | None, first: float, last: float) -> bool:
    """Whether a sweep from `start` to `end`, None where it does not say, runs from the first parameter to the last."""
    near = _NEAR * abs(last - first)
    return (start is None or abs(start - first) <= near) and (end is None or abs(end - last) <= near)


def _known_ends(curve: Entity, sheet: Sheet) -> list[tuple[float, float]]:
    """First and last parameter of a curve as its standard or its common use counts them; none where not known."""
    kind = curve.is_a()
    if kind == "IfcIndexedPolyCurve":
        count = len(curve.Points.CoordList) - 1
        return [(0.0, float(end)) for end in {count, len(curve.Segments or ()) or count}]
    if kind.startswith(("IfcBSplineCurveWith", "IfcRationalBSplineCurveWith")):
        return [(float(curve.Knots[0]), float(curve.Knots[-1]))]
    try:
        ends = [(0.0, sum(piece.reach for piece in _pieces(curve, sheet)))]
    except Unread:
        return []
    if kind == "IfcTrimmedCurve":
        trims = (curve.Trim1, curve.Trim2)
        given = [value[0] for trim in trims for value in trim if not value.is_a("IfcCartesianPoint")]
        if len(given) == 2:
            ends.append((number(given[0], "a parameter"), number(given[1], "a parameter")))
    return ends


def _other_counts(curve: Entity, sheet: Sheet) -> list[float]:
    """Where a curve would end for a writer who counts its segments, or its angles in the other unit."""
    counts = []
    if curve.is_a("IfcCompositeCurve"):
        counts.append(float(len(curve.Segments)))
    for angle in (1.0, math.radians(1.0)):
        counts.append(sum(piece.reach for piece in _pieces(curve, Sheet(sheet.scale, angle))))
    return counts


def _pieces(curve: Entity, sheet: Sheet, depth: int = 0) -> list[_Piece]:
    """The pieces of a curve, in order, with their parameters. Raises Unread where these are not known."""
    if depth > 20:
        raise Nonsense("a curve that is part of itself")
    kind = curve.is_a()
    if kind == "IfcPolyline":
        return [_Piece(curve, True, float(len(curve.Points) - 1))]
    if kind in ("IfcCircle", "IfcEllipse"):
        return [_Piece(curve, True, 2.0 * math.pi / sheet.angle)]
    if kind == "IfcTrimmedCurve" and curve.BasisCurve.is_a() in ("IfcCircle", "IfcEllipse"):
        return [_Piece(curve, True, abs(conic_turn(curve, sheet)[1]) / sheet.angle)]
    if kind == "IfcTrimmedCurve" and curve.BasisCurve.is_a("IfcLine"):
        unit = number(curve.BasisCurve.Dir.Magnitude, "a length") * sheet.scale
        return [_Piece(curve, True, float(_along(line_points(curve, sheet))[-1]) / unit)]
    if kind != "IfcCompositeCurve" or any(part.is_a("IfcCurveSegment") for part in curve.Segments):
        raise Unread(f"a part of an {kind}")
    pieces: list[_Piece] = []
    for segment in curve.Segments:
        inner = _pieces(segment.ParentCurve, sheet, depth + 1)
        if not segment.SameSense:
            inner = [_Piece(piece.curve, not piece.forward, piece.reach) for piece in reversed(inner)]
        if segment.is_a("IfcReparametrisedCompositeCurveSegment"):
            share = number(segment.ParamLength, "a parameter") / sum(piece.reach for piece in inner)
            inner = [_Piece(piece.curve, piece.forward, piece.reach * share) for piece in inner]
        pieces += inner
    return pieces


def _counted(pieces: list[_Piece], sheet: Sheet) -> tuple[Floats, Floats]:
    """Points (n, 3) along pieces that follow on each other, and the parameter at each (n,). Raises Unread for gaps."""
    points: list[Floats] = []
    at: list[Floats] = []
    reached = 0.0
    for piece in pieces:
        part = line_points(piece.curve, sheet)
        part = part if piece.forward else part[::-1]
        if points and float(np.abs(points[-1][-1] - part[0]).max()) > JOINED:
            raise Unread("a part of a line with gaps")
        first = 1 if points else 0
        points.append(part[first:])
        at.append(reached + np.linspace(0.0, piece.reach, len(part))[first:])
        reached += piece.reach
    return np.concatenate(points), np.concatenate(at)


def _along(points: Floats) -> Floats:
    """Distance (n,) along a line at each of its points (n, 3)."""
    return np.append(0.0, np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1)))


def _is_length(value: Any) -> bool:
    return hasattr(value, "is_a") and "LengthMeasure" in value.is_a()


def _parameter(value: Any) -> float | None:
    if value is None:
        return None
    return number(value[0] if hasattr(value, "is_a") else value, "a parameter")
