"""Where the ground is: for each body the level or the terrain from which concrete counts as below ground.

In this order: what the user gives, the terrain, levels written at the building, a slab on the ground, storeys. Each
building of a model has its own. Whatever was not given is told, and sources that contradict each other are.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from takeoff.findings import Finding
from takeoff.geometry.mesh import Floats
from takeoff.measuring.ground_bounds import Ground, Level, Terrain
from takeoff.measuring.ground_level import GroundLevel
from takeoff.measuring.site_terrain import (
    ReadTerrain,
    SiteTerrain,
    doubt_findings,
    near_terrain,
    unread_findings,
)
from takeoff.reading.common_map import map_transforms
from takeoff.told import Quantity, counted, joined, told

if TYPE_CHECKING:
    from takeoff.measuring.bodies import Body
    from takeoff.measuring.convention import Convention
    from takeoff.measuring.dimensions import Dimensions
    from takeoff.reading.facts import ModelFacts

NEAR_ZERO = 1.5
"""A storey within this of its building's zero, m, with another under it, is taken for the one that lies at the ground.
A slab on the ground that lies deeper than this under that storey is the floor of a basement."""

OUT_OF_REACH = 3.0
"""A stated level further than this above or below all concrete of its building, m, has another zero."""

SPACING = 1.0
"""Longest step along the outline of a body at which the terrain is asked for its height, m."""

GIVEN = "given for this run"
SLAB = "top of the highest slab on the ground"

Site = tuple[str, str]
"""Model and GlobalId of a building (empty: none)."""


@dataclass(frozen=True, slots=True)
class Stated:
    """A level that one source states, m in the common system, and which source in words."""

    height: float
    source: str


@dataclass(frozen=True, slots=True, eq=False)
class Grounds:
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
    datum = _Datum(models, float(origin[2]))
    sites = _sites(models, bodies)
    stated = {
        site: _stated(site, [n for n in members if bodies[n].concrete], models, bodies, grounded, datum)
        for site, members in sites.items()
    }
    findings: list[Finding] = [*unread_findings(terrains)]
    for site, levels in stated.items():
        findings += levels.findings
        del site
    walk = _Walk(terrains, bodies, sizes, limits.terrain_reach_mm / 1e3)
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


class _Datum:
    """Heights: `shift` that of the meshes' origin in the common system, `lift` that of the models' zero."""

    def __init__(self, models: "Sequence[ModelFacts]", shift: float) -> None:
        self.shift = shift
        matrices = map_transforms(models)
        self._of = {name: 0.0 if m is None else float(m[2, 3]) for name, m in matrices.items()}
        lifts = set(self._of.values())
        self.lift = lifts.pop() if len(lifts) == 1 else 0.0

    def common(self, model: str, height: float) -> float:
        """A model's own height in the common system."""
        return height + self._of.get(model, 0.0)

    def told(self, height: float) -> Quantity:
        """A height relative to the origin as people read it: above the models' zero."""
        return Quantity(height + self.shift - self.lift, "m", "+.3f")


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


@dataclass(frozen=True, slots=True)
class _Levels:
    levels: list[Stated]
    findings: list[Finding]


def _stated(
    site: Site,
    members: Sequence[int],
    models: "Sequence[ModelFacts]",
    bodies: "Sequence[Body]",
    grounded: Sequence[bool],
    datum: _Datum,
) -> _Levels:
    """The levels that a building's attributes, its slabs on the ground and its storeys state, in this order.

    Where a building has no storeys or slabs of its own those of all models count.
    """
    levels: list[Stated] = []
    findings: list[Finding] = []
    for model in models:
        for building in model.buildings:
            if (model.model, building.global_id) != site or building.ground is None:
                continue
            height = datum.common(model.model, building.ground)
            if _within(height - datum.shift, members, bodies):
                levels.append(Stated(height, building.said))
            elif members:
                text = told(
                    "building {}: {} puts the ground at {}, far from all of its concrete; ask for the level",
                    building.name,
                    building.said,
                    datum.told(height - datum.shift),
                )
                findings.append(
                    Finding(
                        "warning", "ground-levels-differ", model.model, building.global_id, text, "not used"
                    )
                )
    own = _entry(models, site, datum)
    entry = own or _entry(models, None, datum)
    slabs = _slab(members, bodies, grounded, datum, entry)
    if slabs is None and entry is None:
        slabs = _slab(range(len(bodies)), bodies, grounded, datum, entry)
    levels += [level for level in (slabs, entry) if level is not None]
    return _Levels(levels, findings)


def _within(height: float, members: Sequence[int], bodies: "Sequence[Body]") -> bool:
    """Whether a height lies at the concrete of these bodies, or little above or below all of it."""
    boxes = [bodies[n].mesh.box()[:, 2] for n in members]
    if not boxes:
        return False
    low, high = min(box[0] for box in boxes), max(box[1] for box in boxes)
    return bool(low - OUT_OF_REACH <= height <= high + OUT_OF_REACH)


def _entry(models: "Sequence[ModelFacts]", site: Site | None, datum: _Datum) -> Stated | None:
    """The level of the storey at zero that has another under it, of one building or of all."""
    zeros = {
        (model.model, building.global_id): building.zero for model in models for building in model.buildings
    }
    storeys = [
        (model.model, storey, round(storey.elevation - zeros.get((model.model, storey.building), 0.0), 4))
        for model in models
        for storey in model.storeys
        if site is None or (model.model == site[0] and storey.building in ("", site[1]))
    ]
    levels = [level for _, _, level in storeys]
    entry = [level for level in levels if abs(level) <= NEAR_ZERO and level > min(levels) + 1.5]
    if not entry:
        return None
    nearest = min(sorted(entry), key=abs)
    here = [(model, storey) for model, storey, level in storeys if abs(level - nearest) < 1e-3]
    names = sorted({storey.name for _, storey in here})
    said = f"level of storey {', '.join(names)}, the one at zero above a basement"
    return Stated(datum.common(here[0][0], here[0][1].elevation), said)


def _slab(
    members: Sequence[int],
    bodies: "Sequence[Body]",
    grounded: Sequence[bool],
    datum: _Datum,
    entry: Stated | None,
) -> Stated | None:
    """The top of the highest slab on the ground, unless it is the floor of a basement."""
    tops = [
        float(bodies[n].mesh.vertices[:, 2].max()) + datum.shift
        for n in members
        if grounded[n] and bodies[n].concrete
    ]
    if not tops or (entry is not None and max(tops) < entry.height - NEAR_ZERO):
        return None
    return Stated(max(tops), SLAB)


class _Walk:
    """The terrain along the outlines of all concrete: who stands on it, how high it is there, what is doubtful.

    `covers[b]`: body b stands on the terrain or within `reach` m of it; `ground` is the terrain as ground.
    """

    def __init__(
        self,
        terrains: Sequence[ReadTerrain],
        bodies: "Sequence[Body]",
        sizes: "Sequence[Dimensions]",
        reach: float,
    ) -> None:
        self.reach = reach
        self.covers = np.zeros(len(bodies), dtype=bool)
        self.terrain = SiteTerrain(None, "", "")
        self.ground: Ground | None = None
        self.points = np.zeros((0, 2))
        self.away = self.heights = np.zeros(0)
        self.owner = np.zeros(0, dtype=np.int64)
        self.missed = 0
        concrete = [n for n, body in enumerate(bodies) if body.concrete and not sizes[n].outline.is_empty]
        if not concrete or not any(terrain.result.mesh is not None for terrain in terrains):
            return
        outlines = np.array([sizes[n].outline for n in concrete], dtype=object)
        low_x, low_y, high_x, high_y = shapely.total_bounds(outlines)
        self.terrain = near_terrain(terrains, np.array([[low_x, low_y], [high_x, high_y]]))
        if self.terrain.heights is None:
            self.missed = len(concrete)
            return
        # only what may lie in the ground has to know where it is
        top = float(self.terrain.heights.corners[:, :, 2].max())
        bottoms = np.array([bodies[n].mesh.box()[0, 2] for n in concrete])
        outlines, members = outlines[bottoms < top], np.array(concrete)[bottoms < top]
        lines, which = shapely.get_coordinates(shapely.segmentize(outlines, SPACING), return_index=True)
        heights, away = self.terrain.heights.at(lines)
        nearest = np.full(len(members), np.inf)
        np.minimum.at(nearest, which, away)
        self.covers[members[nearest <= reach]] = True
        highest = np.full(len(members), -np.inf)
        np.maximum.at(highest, which, heights)
        deep = bottoms[bottoms < top] < highest
        self.missed = int(np.count_nonzero(deep & (nearest > reach)))
        kept = (deep & (nearest <= reach))[which]
        self.points, self.away, self.heights, self.owner = (
            lines[kept],
            away[kept],
            heights[kept],
            members[which[kept]],
        )
        self.ground = Terrain(self.terrain.heights)

    def span(self, members: Sequence[int]) -> tuple[float, float] | None:
        """Lowest and highest terrain, relative to the origin, along those of some bodies that reach into it."""
        here = np.isin(self.owner, members)
        return (float(self.heights[here].min()), float(self.heights[here].max())) if here.any() else None

    def findings(self, apart: float) -> list[Finding]:
        """What is doubtful."""
        found = []
        if self.missed and self.terrain.heights is not None:
            text = told(
                "the terrain ({}) does not reach {}; ask for the terrain around the whole building",
                self.terrain.said,
                counted(
                    self.missed, "element that may lie in the ground", "elements that may lie in the ground"
                ),
            )
            found.append(
                Finding(
                    "warning",
                    "terrain-not-used",
                    self.terrain.model,
                    "",
                    text,
                    "the other sources of the level there",
                )
            )
        elif self.missed:
            text = "the terrain of the models lies far from all concrete; ask whether the models sit together"
            found.append(
                Finding("warning", "terrain-not-used", "", "", text, "the other sources of the level")
            )
        beyond = len(np.unique(self.owner[self.away > self.reach]))
        found += doubt_findings(self.terrain, self.points, self.away, beyond, self.reach, apart)
        return found


def _contradictions(
    site: Site,
    levels: Sequence[Stated],
    span: tuple[float, float] | None,
    given: bool,
    differ: float,
    datum: _Datum,
    walk: _Walk,
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


def _range(span: tuple[float, float], datum: _Datum) -> str:
    if span[1] - span[0] < 1e-3:
        return told("{}", datum.told(span[0]))
    return told("{} to {}", datum.told(span[0]), datum.told(span[1]))


def _record(used: Mapping[str, list[tuple[float, float]]], walk: _Walk, datum: _Datum) -> GroundLevel:
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
    datum: _Datum,
    walk: _Walk,
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
