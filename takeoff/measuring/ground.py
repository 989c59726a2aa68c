"""Where the ground is: for each body the level or the terrain from which concrete counts as below ground.

In this order: what the user gives, the terrain, levels written at the building, a slab on the ground, storeys. Each
building of a model has its own. Whatever was not given is told, and sources that contradict each other are.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from msgspec import Struct

from takeoff.findings import Finding
from takeoff.geometry.mesh import Floats
from takeoff.measuring.ground_bounds import Ground, Level
from takeoff.measuring.ground_level import GroundLevel
from takeoff.measuring.site_terrain import (
    ReadTerrain,
    unread_findings,
)
from takeoff.measuring.stated_levels import NEAR_ZERO, SLAB, Datum, Site, Stated, stated_levels
from takeoff.measuring.terrain_walk import TerrainWalk
from takeoff.told import joined, told

if TYPE_CHECKING:
    from takeoff.measuring.bodies import Body
    from takeoff.measuring.convention import Convention
    from takeoff.measuring.dimensions import Dimensions
    from takeoff.reading.facts import ModelFacts

GIVEN = "given for this run"


class Grounds(Struct, frozen=True, eq=False):
    """The ground at each body (None: not known), as one level for the record, and what is to be told of it."""

    of: tuple[Ground | None, ...]
    level: GroundLevel
    findings: tuple[Finding, ...]


def find_grounds(
    given: float | None,
    models: "Sequence[ModelFacts]",
    bodies: "Sequence[Body]",
    sizes: "Sequence[Dimensions]",
    grounded: Sequence[bool],
    terrains: Sequence[ReadTerrain],
    origin: Floats,
    convention: "Convention",
) -> Grounds:
    """The ground at all bodies.

    `given` metres above the models' zero; `grounded[b]` says that body b is a slab on the ground; meshes and
    `terrains` are relative to `origin` (3,).
    """
    limits = convention.ground
    datum = Datum(models, float(origin[2]))
    sites = _sites(models, bodies)
    stated = {
        site: stated_levels(site, [n for n in members if bodies[n].concrete], models, bodies, grounded, datum)
        for site, members in sites.items()
    }
    findings: list[Finding] = [*unread_findings(terrains)]
    for levels in stated.values():
        findings += levels.findings
    walk = TerrainWalk(terrains, bodies, sizes, limits.terrain_reach_mm / 1e3)
    findings += walk.findings(limits.sheets_apart_mm / 1e3)
    of: list[Ground | None] = [None] * len(bodies)
    used: dict[str, list[tuple[float, float]]] = defaultdict(list)
    for site, members in sites.items():
        found = stated[site].levels
        if given is not None:
            found = [Stated(given + datum.lift, GIVEN), *found]
        first = found[0] if found else None
        on_terrain = [] if given is not None else [n for n in members if walk.covers[n]]
        surface = walk.ground
        for n in members:
            if first is not None:
                of[n] = Level(first.height - datum.shift)
        for n in on_terrain:
            of[n] = surface
        span = walk.span(members if given is not None else on_terrain)
        if span is not None and given is None:
            used[told("the terrain: {}", walk.terrain.said)].append((span[0], span[1]))
        if first is not None and (span is None or given is not None):
            used[first.source].append((first.height - datum.shift,) * 2)
        findings += _contradictions(
            site, found, span, given is not None, limits.levels_differ_mm / 1e3, datum, walk
        )
    level = _record(used, walk, datum)
    findings += _assumed(used, models, datum, walk)
    return Grounds(tuple(of), level, tuple(findings))


def _sites(models: "Sequence[ModelFacts]", bodies: "Sequence[Body]") -> Mapping[Site, list[int]]:
    """Bodies by the building that they stand in."""
    only = {
        model.model: model.buildings[0].global_id if len(model.buildings) == 1 else "" for model in models
    }
    sites: dict[Site, list[int]] = defaultdict(list)
    for number, body in enumerate(bodies):
        facts = body.element.facts
        sites[facts.model, facts.building or only.get(facts.model, "")].append(number)
    return sites


def _contradictions(
    site: Site,
    levels: Sequence[Stated],
    span: tuple[float, float] | None,
    given: bool,
    differ: float,
    datum: Datum,
    walk: TerrainWalk,
) -> list[Finding]:
    """A finding where sources lie further than `differ` m from the one that was used."""
    said: list[object] = []
    if span is not None and not given:
        low, high = (height + datum.shift for height in span)
        first = told("{} ({})", _range(span, datum), walk.terrain.said)
    elif levels:
        low = high = levels[0].height
        first = told("{} ({})", datum.told(low - datum.shift), levels[0].source)
        levels = levels[1:]
        if span is not None and max(abs(height + datum.shift - low) for height in span) > differ:
            said.append(told("{} ({})", _range(span, datum), walk.terrain.said))
    else:
        return []
    others = [
        level
        for level in levels
        if not low - differ <= level.height <= high + differ
        # the floor of a basement contradicts nobody
        and not (level.source == SLAB and level.height < low - NEAR_ZERO)
    ]
    said += [told("{} ({})", datum.told(level.height - datum.shift), level.source) for level in others]
    if not said:
        return []
    text = told("the ground would lie at {}; ask which is right", joined(" or ", said))
    return [Finding("warning", "ground-levels-differ", site[0], site[1], text, told("ground at {}", first))]


def _range(span: tuple[float, float], datum: Datum) -> str:
    if span[1] - span[0] < 1e-3:
        return told("{}", datum.told(span[0]))
    return told("{} to {}", datum.told(span[0]), datum.told(span[1]))


def _record(used: Mapping[str, list[tuple[float, float]]], walk: TerrainWalk, datum: Datum) -> GroundLevel:
    """All grounds as one record."""
    if not used:
        return GroundLevel(None, "the models show neither terrain nor a basement nor a slab on the ground")
    spans = [span for found in used.values() for span in found]
    low, high = min(span[0] for span in spans), max(span[1] for span in spans)
    first = next(iter(used.values()))[0]
    height = float(walk.heights.mean()) if first[0] != first[1] else first[0]
    zero = datum.shift - datum.lift
    apart = high - low > 1e-3
    return GroundLevel(
        height + zero,
        "; ".join(str(source) for source in used),
        low + zero if apart else None,
        high + zero if apart else None,
    )


def _assumed(
    used: Mapping[str, list[tuple[float, float]]],
    models: "Sequence[ModelFacts]",
    datum: Datum,
    walk: TerrainWalk,
) -> list[Finding]:
    """A note for each source of the ground that was not given but assumed."""
    findings = []
    for source, spans in used.items():
        if source == GIVEN:
            continue
        levels = sorted({(round(low, 4), round(high, 4)) for low, high in spans})
        shown = joined(", ", [_range(span, datum) for span in levels])
        findings.append(
            Finding(
                "note",
                "ground-level-assumed",
                walk.terrain.model if walk.terrain.said and walk.terrain.said in source else models[0].model,
                "",
                "no ground level was given; ask for the levels of the site and give them with --ground-level",
                told("ground at {}: {}", shown, source),
            )
        )
    return findings
