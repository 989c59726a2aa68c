"""Levels of the ground that a building's attributes, its slabs on the ground and its storeys state."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from msgspec import Struct

from takeoff.findings import Finding
from takeoff.reading.common_map import map_transforms
from takeoff.told import Quantity, told

if TYPE_CHECKING:
    from takeoff.measuring.bodies import Body
    from takeoff.reading.facts import ModelFacts

NEAR_ZERO = 1.5
"""A storey within this of its building's zero, m, with another under it, is taken for the one that lies at the ground.
A slab on the ground that lies deeper than this under that storey is the floor of a basement."""

OUT_OF_REACH = 3.0
"""A stated level further than this above or below all concrete of its building, m, has another zero."""

SLAB = "top of the highest slab on the ground"

Site = tuple[str, str]
"""Model and GlobalId of a building (empty: none)."""


class Stated(Struct, frozen=True):
    """A level that one source states, m in the common system, and which source in words."""

    height: float
    source: str


class Datum:
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


class StatedLevels(Struct, frozen=True):
    """Levels, best first, and what is to be told of those that were not used."""

    levels: list[Stated]
    findings: list[Finding]


def stated_levels(
    site: Site,
    members: Sequence[int],
    models: "Sequence[ModelFacts]",
    bodies: "Sequence[Body]",
    grounded: Sequence[bool],
    datum: Datum,
) -> StatedLevels:
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
    return StatedLevels(levels, findings)


def _within(height: float, members: Sequence[int], bodies: "Sequence[Body]") -> bool:
    """Whether a height lies at the concrete of these bodies, or little above or below all of it."""
    boxes = [bodies[n].mesh.box()[:, 2] for n in members]
    if not boxes:
        return False
    low, high = min(box[0] for box in boxes), max(box[1] for box in boxes)
    return bool(low - OUT_OF_REACH <= height <= high + OUT_OF_REACH)


def _entry(models: "Sequence[ModelFacts]", site: Site | None, datum: Datum) -> Stated | None:
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
    datum: Datum,
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
