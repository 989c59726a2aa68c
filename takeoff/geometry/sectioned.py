"""Solids through upright sections along a line, as roads, kerbs and bridge decks are drawn (ISO 16739-1, 8.8.3.62).

The geometry kernels make none of them, or nothing that can be trusted.
"""

from itertools import pairwise
from typing import Any

import numpy as np

from takeoff.geometry.extrusions import cap, sides
from takeoff.geometry.lines import apart, line_points
from takeoff.geometry.mesh import Floats, Mesh
from takeoff.geometry.profiles import Area, profile_areas, signed_area
from takeoff.geometry.refusals import Nonsense, Sheet, Unread, number

Entity = Any

BEYOND = 1e-3
"""Share of a line's length by which a section may lie before or beyond it: chords are shorter than their arcs."""


def sectioned(item: Entity, sheet: Sheet) -> Mesh:
    """Mesh of an IfcSectionedSolidHorizontal in the item's coordinates, metres.

    Sections stand upright and across the line, x to the left, y up; between them corners go straight from one to
    the next, and legs of the line meet in the plane that halves their corner. Raises Unread for other items, lines,
    sections that are turned and outlines that do not match, Nonsense for what makes no solid.
    """
    if item.is_a() != "IfcSectionedSolidHorizontal":
        raise Unread(item.is_a())
    profiles, positions = list(item.CrossSections), list(item.CrossSectionPositions)
    if len(profiles) != len(positions) or len(profiles) < 2:
        raise Nonsense(f"{len(profiles)} sections in {len(positions)} places")
    line = apart(line_points(item.Directrix, sheet))
    places = np.array([_place(position, item.Directrix, sheet) for position in positions])
    areas = [_one_area(profile, sheet) for profile in profiles]
    if (np.diff(places[:, 0]) < 0.0).all():
        sheet.doubt("sweep-doubtful", "sections that run against their line: made from the last to the first")
        places, areas = places[::-1], areas[::-1]
    sizes = [len(ring) for ring in areas[0]]
    if any([len(ring) for ring in area] != sizes for area in areas):
        raise Unread("sections of different outlines")
    outlines = np.array([np.concatenate(area) + place[1:] for area, place in zip(areas, places, strict=True)])
    _tell_twist(areas, sheet)
    rings = _rings(line, places[:, 0], outlines)
    steps, count = len(rings), len(rings[0])
    faces = [cap(areas[0])[:, ::-1], cap(areas[-1]) + (steps - 1) * count]
    faces += [sides(tuple(sizes)) + step * count for step in range(steps - 1)]
    return Mesh.of(rings.reshape(-1, 3), np.concatenate(faces))


def _place(position: Entity, line: Entity, sheet: Sheet) -> tuple[float, float, float]:
    """Distance along the line, shift to the left and up, metres, of a section."""
    point = position.Location
    if position.is_a() != "IfcAxis2PlacementLinear" or not point.is_a("IfcPointByDistanceExpression"):
        raise Unread(f"a section at {position.is_a()} of {point.is_a()}")
    if point.BasisCurve.id() != line.id():
        raise Unread("a section placed along another line")
    along = point.DistanceAlong
    if not along.is_a("IfcLengthMeasure") and not along.is_a("IfcNonNegativeLengthMeasure"):
        raise Unread(f"a section at {along.is_a()}")
    for name, usual in (("Axis", (0.0, 0.0, 1.0)), ("RefDirection", (1.0, 0.0, 0.0))):
        given = getattr(position, name)
        if given is not None and tuple(given[0]) != usual:
            raise Unread("a section that is turned")
    if point.OffsetLongitudinal:
        raise Unread("a section beside its place along the line")
    figures = (along[0], point.OffsetLateral or 0.0, point.OffsetVertical or 0.0)
    distance, left, up = (number(figure, "a distance of a section") * sheet.scale for figure in figures)
    return distance, left, up


def _one_area(profile: Entity, sheet: Sheet) -> Area:
    areas = profile_areas(profile, sheet)
    if len(areas) != 1:
        raise Unread("a section of several areas")
    return areas[0]


def _tell_twist(areas: list[Area], sheet: Sheet) -> None:
    """Doubt sections whose outlines are turned against each other: halfway they are smaller than at either end."""
    for one, other in pairwise(areas):
        middle = [(first + last) / 2.0 for first, last in zip(one, other, strict=True)]
        least = min(_enclosed(one), _enclosed(other))
        if _enclosed(middle) < (1.0 - 1e-6) * least:
            sheet.doubt(
                "taper-twisted", "sections whose outlines are turned against each other: check the volume"
            )


def _enclosed(area: Area) -> float:
    return sum(signed_area(ring) for ring in area)


def _rings(line: Floats, stations: Floats, outlines: Floats) -> Floats:
    """Corners (k, n, 3) of the sections at `stations` (s,) with `outlines` (s, n, 2), and at the corners between."""
    steps = np.diff(line, axis=0)
    along = np.append(0.0, np.cumsum(np.linalg.norm(steps, axis=1)))
    whole = float(along[-1])
    if not (np.diff(stations) > 1e-6).all():
        raise Nonsense("sections that do not follow on each other along their line")
    if stations[0] < -BEYOND * whole or stations[-1] > (1.0 + BEYOND) * whole:
        raise Nonsense(f"a section at {stations[-1]:g} m of a line of {whole:g} m")
    stations = np.clip(stations, 0.0, whole)
    level = np.linalg.norm(steps[:, :2], axis=1)
    if (level < 1e-6 * np.linalg.norm(steps, axis=1)).any():
        raise Nonsense("upright sections along a line that is upright too")
    ways = np.column_stack([steps[:, :2] / level[:, None], np.zeros(len(steps))])
    inner = along[1:-1]
    corner = (inner > stations[0] + 1e-6) & (inner < stations[-1] - 1e-6)
    at = np.unique(np.concatenate([stations, inner[corner]]))
    at = at[np.append(True, np.diff(at) > 1e-6)]
    # Of a corner both legs have a say, of any other place the one leg that it lies on.
    before = np.clip(np.searchsorted(along, at - 1e-6, side="right") - 1, 0, len(ways) - 1)
    after = np.clip(np.searchsorted(along, at + 1e-6, side="right") - 1, 0, len(ways) - 1)
    before[0], after[-1] = after[0], before[-1]
    halves = ways[before] + ways[after]
    lengths = np.linalg.norm(halves, axis=1, keepdims=True)
    if (lengths < 1e-3).any():
        raise Nonsense("sections along a line that runs back into itself")
    halves /= lengths
    left = np.column_stack([-halves[:, 1], halves[:, 0], np.zeros(len(halves))])
    left /= np.einsum("kd,kd->k", halves, ways[before])[
        :, None
    ]  # wider across the corner than across the leg
    centre = np.column_stack([np.interp(at, along, line[:, axis]) for axis in range(3)])
    flat = np.empty((len(at), outlines.shape[1], 2))
    for place in np.ndindex(outlines.shape[1:]):
        flat[(slice(None), *place)] = np.interp(at, stations, outlines[(slice(None), *place)])
    rings: Floats = centre[:, None] + flat[..., :1] * left[:, None]
    rings[..., 2] += flat[..., 1]
    forward = np.einsum("knd,kd->kn", np.diff(rings, axis=0), ways[after[:-1]])
    if (forward <= 0.0).any():
        raise Nonsense("a bend that is tighter than the sections reach inward")
    return rings
