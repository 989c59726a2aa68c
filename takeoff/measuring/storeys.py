"""On which storey a body stands."""

from collections.abc import Sequence
from dataclasses import dataclass

from takeoff.reading.facts import Storey

REACH = 1.0
"""A storey's wall or column may begin this far, m, under its level (on a foundation, under a floor build-up)."""


@dataclass(frozen=True, slots=True)
class Levels:
    """Storeys from below, and whether no two share a level."""

    storeys: tuple[Storey, ...]
    distinct: bool


def levels_of(storeys: Sequence[Storey]) -> Levels:
    """The levels of a model's storeys."""
    ordered = tuple(sorted(storeys, key=lambda storey: storey.elevation))
    return Levels(ordered, len({round(storey.elevation, 3) for storey in ordered}) == len(ordered))


def storey_of(role: str, low: float, high: float, filed: str, model: Levels) -> tuple[str, float | None]:
    """Name and level of the storey of a model where a body between heights `low` and `high` (m) stands.

    Walls and columns stand where their foot is; the storey that the model names is kept when the foot is
    near its level, so that a kicker or a pad does not move it. Other roles stay where the model files them.
    Without a filing the storey below the body is taken. Empty name when the model has no storeys.
    """
    levels, distinct = model.storeys, model.distinct
    named = next((storey for storey in levels if storey.name == filed), None)
    if not levels:
        return filed, None
    if named is not None:
        if role not in ("wall", "column") or not distinct:
            return named.name, named.elevation
        above = next(
            (storey.elevation for storey in levels if storey.elevation > named.elevation), float("inf")
        )
        if named.elevation - REACH <= low < above - min(REACH, (high - low) / 2.0):
            return named.name, named.elevation
    middle = min(low + REACH, (low + high) / 2.0) if role in ("wall", "column", "stair") else high
    below = [storey for storey in levels if storey.elevation <= middle + 1e-3]
    stands = below[-1] if below else levels[0]
    return stands.name, stands.elevation
