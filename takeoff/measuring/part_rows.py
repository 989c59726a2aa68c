"""Rows of elements.csv for measured bodies."""

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np
import shapely

from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.bodies import Body
from takeoff.measuring.convention import Convention, band
from takeoff.measuring.dimensions import Dimensions
from takeoff.measuring.formwork import FormedBody
from takeoff.measuring.handling import Handling
from takeoff.measuring.holes import LeftIn
from takeoff.measuring.records import HoleRow, MeasuredPart


def part_rows(
    bodies: Sequence[Body],
    sizes: Sequence[Dimensions],
    surfaces: Surfaces,
    formed: Mapping[int, FormedBody],
    holes: Sequence[HoleRow],
    below: Mapping[int, float],
    left_in: Mapping[int, LeftIn],
    convention: Convention,
    handling: Handling,
) -> list[MeasuredPart]:
    """A row for each concrete body; `below` is the volume, m3, below ground by position in `bodies`."""
    pierced: dict[tuple[str, str, int], float] = defaultdict(float)
    for hole in holes:
        pierced[hole.model, hole.global_id, hole.part] += hole.area_m2
    upright = np.abs(surfaces.normal[:, 2]) < 0.5
    sides = np.bincount(surfaces.part[upright], surfaces.area[upright], len(bodies)).tolist()
    girths = shapely.length(np.array([size.outline for size in sizes], dtype=object)).tolist()
    densities: dict[tuple[str, str], float] = {}
    parts = []
    for number, (body, size) in enumerate(zip(bodies, sizes, strict=True)):
        if not body.concrete:
            continue
        facts = body.element.facts
        result = formed.get(number)
        mix = body.plan.strength_class, body.plan.material
        if mix not in densities:
            densities[mix] = handling.density_of(*mix)
        parts.append(
            MeasuredPart(
                model=facts.model,
                global_id=facts.global_id,
                part=body.number,
                ifc_class=facts.ifc_class,
                name=facts.name,
                type_name=facts.type_name,
                mark=facts.mark,
                storey=body.storey,
                role=body.role,
                subrole=body.element.subrole,
                method=body.method,
                evidence=body.plan.evidence,
                material=body.plan.material,
                strength_class=body.plan.strength_class,
                gross_volume_m3=body.gross,
                net_volume_m3=body.net,
                overlap_volume_m3=max(body.before - body.net, 0.0)
                if abs(body.before - body.net) > 1e-9
                else 0.0,
                length_m=size.length,
                width_m=size.width,
                height_m=size.height,
                plan_area_m2=size.plan_area + (left_in[number].floor if number in left_in else 0.0),
                side_area_m2=_side_area(sides[number], body, size),
                formwork_m2=result.area if result is not None else None,
                weight_t=body.net * densities[mix] / 1e3,
                lump=body.lump,
                thickness_m=size.thickness,
                size_band=_size_band(body, size, girths[number], convention),
                assembly=facts.assembly,
                opening_area_m2=pierced.get(body.key, 0.0),
                below_ground_m3=below.get(number),
                left_in_m3=left_in[number].concrete if number in left_in and body.formed else 0.0,
            )
        )
    return parts


def _side_area(upright: float, body: Body, size: Dimensions) -> float:
    """Area of one face of a wall net of openings; of all upright faces (`upright` m2) for other roles, m2."""
    return upright if body.role != "wall" or size.thickness <= 0 else body.net / size.thickness


def _size_band(body: Body, size: Dimensions, girth: float, convention: Convention) -> str:
    """The band of size that drives the price of placing concrete in this role; `girth` m around the plan."""
    bands = convention.bands
    if body.role == "wall":
        return band(bands.wall_thickness_mm, size.thickness * 1e3)
    if body.role == "slab":
        return band(bands.slab_thickness_mm, size.thickness * 1e3)
    if body.role == "beam":
        return band(bands.beam_depth_mm, size.thickness * 1e3)
    if body.role == "column":
        return band(bands.column_girth_mm, girth * 1e3)
    if body.role == "foundation":
        return band(bands.foundation_depth_mm, size.thickness * 1e3)
    return ""
