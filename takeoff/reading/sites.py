"""What a model says of the ground: products that may be the terrain, and levels written at its buildings."""

import contextlib
import math
from typing import Any

import numpy as np

from takeoff.findings import Finding
from takeoff.reading.attributes import attribute, clean, first_line, identity, name_of
from takeoff.reading.facts import BuildingFacts, TerrainFacts
from takeoff.reading.places import Placements
from takeoff.reading.relations import Relations
from takeoff.told import Quantity, told

FILLS = ("BACKFILL", "EMBANKMENT", "SLOPEFILL")
"""Fills (IFC4X3) whose top is ground; others lie beneath a road or a slab."""


def read_terrains(model: Any, proxies: list[Any]) -> tuple[TerrainFacts, ...]:
    """Products with a shape that may be the terrain: sites, geographic elements, fills, and `proxies` by their name.

    Which of them is taken is for who measures to say: names are matched against words of a data file.
    """
    found = []
    for name in ("IfcSite", "IfcGeographicElement", "IfcEarthworksFill", "IfcCivilElement"):
        try:
            products = model.by_type(name)
        except RuntimeError:
            continue  # a class that the schema does not have
        found += products
    terrains = []
    for product in [*found, *proxies]:
        with contextlib.suppress(RuntimeError):  # what cannot be read of it is told where elements are read
            terrain = _terrain(product)
            if terrain is not None:
                terrains.append(terrain)
    return tuple(terrains)


def _terrain(product: Any) -> TerrainFacts | None:
    shape = attribute(product, "Representation")
    if shape is None or not attribute(shape, "Representations"):
        return None
    kind = product.is_a()
    predefined = clean(attribute(product, "PredefinedType")).upper()
    if kind == "IfcEarthworksFill" and predefined not in FILLS:
        return None
    if predefined in ("USERDEFINED", "NOTDEFINED"):
        predefined = ""
    object_type = clean(attribute(product, "ObjectType"))
    return TerrainFacts(product.id(), identity(product), kind, predefined, object_type, name_of(product))


def read_buildings(
    model: Any, relations: Relations, placements: Placements, name: str
) -> tuple[dict[int, BuildingFacts], list[Finding]]:
    """Buildings by STEP id, each with the ground level that its attributes state, and what cannot be read."""
    buildings: dict[int, BuildingFacts] = {}
    findings: list[Finding] = []
    for building in model.by_type("IfcBuilding"):
        zero, ground, said = 0.0, None, ""
        try:
            zero = _own_zero(building, relations, placements)
            ground, said = _stated(building, zero, relations, placements)
        except Exception as fault:
            text = f"building cannot be read ({first_line(fault)})"
            findings.append(Finding("warning", "unreadable", name, identity(building), text))
        buildings[building.id()] = BuildingFacts(identity(building), name_of(building), zero, ground, said)
    return buildings, findings


def building_of(product: Any, relations: Relations, buildings: dict[int, BuildingFacts]) -> str:
    """GlobalId of the building that a product stands in; empty where the model does not say."""
    if len(buildings) == 1:
        return next(iter(buildings.values())).global_id
    for whole in (product, *relations.ancestors(product)):
        place = relations.container.get(whole.id(), whole)
        for space in (place, *relations.ancestors(place)):
            building = buildings.get(space.id())
            if building is not None:
                return building.global_id
    return ""


def _stated(
    building: Any, zero: float, relations: Relations, placements: Placements
) -> tuple[float | None, str]:
    """Height of the ground in the model, m, by a building's attributes and its own `zero`, in words
    how it was worked out; None where nothing is stated.

    Both attributes are heights above the sea; the reference height is that of the building's own zero, from which
    storeys count. Without it the site's height above the sea stands in, and without both the model's zero. Zero over
    zero states nothing: programs write it where nobody said anything.
    """
    terrain = _metres(building, "ElevationOfTerrain", placements)
    if terrain is None:
        return None, ""
    shown = Quantity(terrain, "m", "+.3f")
    reference = _metres(building, "ElevationOfRefHeight", placements)
    site = next((whole for whole in relations.ancestors(building) if whole.is_a("IfcSite")), None)
    level = _metres(site, "RefElevation", placements) if site is not None else None
    if terrain == 0.0 and (level if reference is None else reference) in (None, 0.0):
        return None, ""
    if reference is not None:
        words = told(
            "the building's ElevationOfTerrain of {} over its ElevationOfRefHeight of {}",
            shown,
            Quantity(reference, "m", "+.3f"),
        )
        return zero + terrain - reference, words
    if site is not None and level is not None:
        words = told(
            "the building's ElevationOfTerrain of {} over the site's RefElevation of {}",
            shown,
            Quantity(level, "m", "+.3f"),
        )
        return float(placements.of(site)[2, 3]) + terrain - level, words
    return terrain, told("the building's ElevationOfTerrain of {}, taken from the model's zero", shown)


def _own_zero(building: Any, relations: Relations, placements: Placements) -> float:
    """Height of the level from which the building's storeys count, m: by its storeys, else by its placement."""
    zeros = []
    for part in relations.descendants(building):
        if part.is_a("IfcBuildingStorey"):
            written = _metres(part, "Elevation", placements)
            if written is not None:
                zeros.append(float(placements.of(part)[2, 3]) - written)
    # Storeys that are all placed at one height say nothing of it: their written heights count from there.
    return float(np.median(zeros)) if zeros and np.ptp(zeros) < 1e-3 else float(placements.of(building)[2, 3])


def _metres(thing: Any, name: str, placements: Placements) -> float | None:
    value = attribute(thing, name)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return None
    return float(value) * placements.length
