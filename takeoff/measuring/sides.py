"""Which side of a wall is cast against the ground, where a rule says that one side of it is."""

from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from msgspec import Struct

from takeoff.findings import Finding
from takeoff.geometry.mesh import Ints
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.bodies import Body, noted
from takeoff.measuring.dimensions import Dimensions, measure_dimensions
from takeoff.measuring.enclosure import Enclosure, outside_part
from takeoff.told import Quantity, told

SMALLEST = 1e-3
"""Faces under this area, m2, tell nothing."""


class GroundSides(Struct, frozen=True, eq=False):
    """Regions of faces that are cast against the ground, by surface, and what had to be assumed."""

    regions: Mapping[int, shapely.Geometry]
    findings: tuple[Finding, ...]


def sides_against_ground(
    surfaces: Surfaces, bodies: Sequence[Body], rows_of: Sequence[Ints], convention_plumb_deg: float
) -> GroundSides:
    """The sides of walls marked as cast against the ground on one side that look away from all rooms.

    A wall that bounds no room shows two outer sides, or none: then the smaller is taken, and a finding says so.
    `convention_plumb_deg`: faces within this of plumb are sides.
    """
    marked = [
        number
        for number, body in enumerate(bodies)
        if body.formed and body.role == "wall" and body.element.ground is not None
        and body.element.ground.faces == "outside"
    ]  # fmt: skip
    if not marked:
        return GroundSides({}, ())
    counted = [number for number, body in enumerate(bodies) if body.concrete and len(rows_of[number])]
    sizes = {
        number: measure_dimensions(surfaces, rows_of[number], bodies[number].role, bodies[number].net)
        for number in noted(counted, bodies)
    }
    enclosure = Enclosure(sizes, surfaces, rows_of, counted)
    regions: dict[int, shapely.Geometry] = {}
    findings = []
    for number in noted(marked, bodies):
        sides = _broad_sides(surfaces, rows_of[number], sizes[number], convention_plumb_deg)
        found = {row: _outer(surfaces, row, enclosure) for row in sides}
        share = _share(surfaces, found)
        if 0.0 < share <= 0.6:
            regions |= {row: shape for row, shape in found.items() if not shape.is_empty}
            continue
        one = _smaller(surfaces, sides)
        regions |= {row: surfaces.polygon[row] for row in one}
        findings.append(_unknown(bodies[number], float(surfaces.area[list(one)].sum()) if one else 0.0))
    return GroundSides(regions, tuple(findings))


def _broad_sides(surfaces: Surfaces, rows: Ints, size: Dimensions, plumb: float) -> list[int]:
    """Upright faces along a wall, without its ends and openings."""
    return [
        int(row)
        for row in rows
        if abs(float(surfaces.rise[row])) <= plumb + 1e-6
        and surfaces.label[row] == 0
        and not surfaces.rim[row]
        and surfaces.area[row] > SMALLEST
        and float(np.diff(surfaces.polygon[row].bounds[::2])[0]) * float(surfaces.scale[row])
        > 1.05 * size.thickness + SMALLEST
    ]


def _outer(surfaces: Surfaces, row: int, enclosure: Enclosure) -> shapely.Geometry:
    """What of a face looks away from all that is enclosed at its middle height."""
    middle = float(surfaces.box[row, :, 2].mean())
    return outside_part(surfaces, row, surfaces.polygon[row], enclosure.at(middle))


def _share(surfaces: Surfaces, found: Mapping[int, shapely.Geometry]) -> float:
    """Part of all broad sides, by area, that looks outwards."""
    whole = sum(float(surfaces.area[row]) for row in found)
    outer = sum(float(shape.area) * float(surfaces.scale[row]) for row, shape in found.items())
    return outer / whole if whole > 0 else 0.0


def _smaller(surfaces: Surfaces, sides: Sequence[int]) -> list[int]:
    """The faces that look the way in which fewer m2 look; between equals that of the lower surface."""
    if not sides:
        return []
    first = surfaces.normal[sides[0]]
    one = [row for row in sides if float(surfaces.normal[row] @ first) > 0.0]
    other = [row for row in sides if row not in one]
    areas = [float(surfaces.area[rows].sum()) if rows else np.inf for rows in (one, other)]
    return other if areas[1] < areas[0] - 1e-6 else one


def _unknown(body: Body, area: float) -> Finding:
    facts = body.element.facts
    because = body.element.ground.evidence if body.element.ground else ""
    return Finding(
        "warning", "ground-side-unknown", facts.model, facts.global_id,
        f"{facts.name or facts.ifc_class}: one side is cast against the ground ({because}), but it bounds no room by "
        "which to tell the outer side; ask which side it is",
        told("the smaller side, {}, needs no form", Quantity(area, "m2", ".2f")), area, "m2",
    )  # fmt: skip
