"""The terrain that models show: which products are it, one surface of them all, and what is doubtful about it."""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from takeoff.findings import Finding
from takeoff.geometry.heights import Heights
from takeoff.geometry.mesh import Floats
from takeoff.geometry.terrain_requests import TerrainResult
from takeoff.measuring.name_patterns import fits_any
from takeoff.reading.facts import TerrainFacts
from takeoff.told import Quantity, counted, joined, told

MARGIN = 30.0
"""Terrain further than this from all concrete in plan, metres, decides nothing."""


class ReadTerrain(Struct, frozen=True, eq=False):
    """A product that is terrain, the model it stands in, and what was read of its shape."""

    model: str
    facts: TerrainFacts
    result: TerrainResult


def is_terrain(facts: TerrainFacts, words: Sequence[str]) -> bool:
    """Whether a product is terrain: sites and fills are, others by their predefined type or by `words` in a name."""
    if facts.ifc_class in ("IfcSite", "IfcEarthworksFill") or facts.predefined_type == "TERRAIN":
        return True
    return fits_any(tuple(words), (facts.name, facts.object_type))


class SiteTerrain(Struct, frozen=True, eq=False):
    """The terrain near the concrete: `heights` None where there is none; `said` names the products."""

    heights: Heights | None
    said: str
    model: str


def near_terrain(read: Sequence[ReadTerrain], box: Floats) -> SiteTerrain:
    """The terrain within `MARGIN` of a plan box (2, 2) of all concrete."""
    pieces, names = [], []
    model = ""
    for terrain in read:
        mesh = terrain.result.mesh
        if mesh is None:
            continue
        corners = mesh.corners
        low, high = corners[:, :, :2].min(axis=1), corners[:, :, :2].max(axis=1)
        near = ((low <= box[1] + MARGIN) & (high >= box[0] - MARGIN)).all(axis=1)
        if near.any():
            pieces.append(corners[near])
            model = model or terrain.model
            by = " (by its contours and points)" if terrain.result.by_lines else ""
            names.append(f"{terrain.facts.ifc_class} {terrain.facts.name or terrain.facts.global_id}{by}")
    heights = Heights(np.concatenate(pieces)) if pieces else None
    if heights is not None and not len(heights):
        heights = None
    return SiteTerrain(heights, joined(", ", names), model)


def unread_findings(read: Sequence[ReadTerrain]) -> list[Finding]:
    """A finding for each product that is terrain by its class or name and whose shape cannot be used, or not all."""
    findings = []
    for terrain in read:
        said = f"{terrain.facts.ifc_class} {terrain.facts.name}".rstrip()
        place = (terrain.model, terrain.facts.global_id)
        if terrain.result.condition:
            text = f"terrain {said}: {terrain.result.condition}; ask for it as triangles"
            findings.append(Finding("warning", "terrain-not-used", *place, text, "no terrain there"))
        findings += [
            Finding(
                "warning", "terrain-doubtful", *place, f"terrain {said}: {remark}", "the ground without them"
            )
            for remark in terrain.result.remarks
        ]
    return findings


def doubt_findings(
    terrain: SiteTerrain, points: Floats, away: Floats, beyond: int, reach: float, apart: float
) -> list[Finding]:
    """What is doubtful about a terrain at the outlines of what lies in the ground (`points` (n, 2), `away` from it).

    `beyond` elements reach over its edge by more than `reach` m; sheets over `apart` m from each other are told.
    """
    heights = terrain.heights
    if heights is None or not len(points):
        return []
    found = []
    if heights.holes > 0.01:
        found.append(
            (
                told(
                    "the terrain has holes of {} in all near the concrete",
                    Quantity(heights.holes, "m2", ".1f"),
                ),
                "closed between the corners of their rims",
            )
        )
    if beyond:
        text = told(
            "the terrain ends under {} by more than {}",
            counted(beyond, "element"),
            Quantity(reach, "m", ".2f"),
        )
        found.append((text, "the height of its nearest point there"))
    sheets = float(heights.sheets(points).max())
    if sheets > apart:
        text = told(
            "sheets of the terrain lie one above the other beside the concrete, by up to {} (a fold, or two surfaces)",
            Quantity(sheets, "m", ".2f"),
        )
        found.append((text, "the highest of them"))
    upright = heights.upright_near(points, reach)
    if upright:
        words = counted(upright, "piece of the terrain stands", "pieces of the terrain stand")
        found.append(
            (f"{words} upright near the concrete (a wall, a pit)", "the ground at the foot and at the head")
        )
    return [
        Finding(
            "warning", "terrain-doubtful", terrain.model, "", told("{}; ask for the terrain", text), assumed
        )
        for text, assumed in found
    ]
