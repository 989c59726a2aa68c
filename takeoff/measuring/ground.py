"""Where the ground is: the level from which concrete and its outer faces count as below ground."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from takeoff.findings import Finding
from takeoff.told import Quantity, told

if TYPE_CHECKING:
    from takeoff.measuring.bodies import Body
    from takeoff.reading.facts import ModelFacts

NEAR_ZERO = 1.5
"""A storey within this of zero, m, with another under it, is taken for the one that lies at the ground."""


@dataclass(frozen=True, slots=True)
class GroundLevel:
    """`height` in metres above the models' zero, None where nothing tells; `source` in words for Basis."""

    height: float | None
    source: str


def find_ground_level(
    given: float | None,
    models: "Sequence[ModelFacts]",
    bodies: "Sequence[Body]",
    grounded: Sequence[bool],
    shift: float,
) -> GroundLevel:
    """The ground level: given by the user, else the storey at zero that has a basement, else a ground slab's top.

    `grounded[b]` says that body b is a slab on the ground; `shift` is the height of the meshes' origin, m.
    """
    if given is not None:
        return GroundLevel(given, "given for this run")
    levels = sorted({round(storey.elevation, 4) for model in models for storey in model.storeys})
    entry = [
        level for level in levels if abs(level) <= NEAR_ZERO and any(other < level - 1.5 for other in levels)
    ]
    if entry:
        level = min(entry, key=abs)
        names = {s.name for m in models for s in m.storeys if abs(s.elevation - level) < 1e-3}
        return GroundLevel(
            level, f"level of storey {', '.join(sorted(names))}, the one at zero above a basement"
        )
    tops = [
        float(body.mesh.vertices[:, 2].max()) + shift
        for body, flat in zip(bodies, grounded, strict=True)
        if flat and body.concrete
    ]
    if tops:
        return GroundLevel(max(tops), "top of the highest slab on the ground")
    return GroundLevel(None, "the models show neither a basement nor a slab on the ground")


def ground_finding(level: GroundLevel, models: "Sequence[ModelFacts]") -> list[Finding]:
    """A note when the ground level was not given but assumed."""
    if level.height is None or level.source == "given for this run":
        return []
    return [
        Finding(
            "note",
            "ground-level-assumed",
            models[0].model,
            "",
            "no ground level was given; ask for the levels of the site and give them with --ground-level",
            told("ground at {}: {}", Quantity(level.height, "m", "+.3f"), level.source),
        )
    ]
