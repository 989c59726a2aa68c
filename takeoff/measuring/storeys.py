"""On which storey a body stands."""

from bisect import bisect_right
from collections.abc import Mapping, Sequence

from msgspec import Struct

from takeoff.reading.facts import Storey

REACH = 1.0
"""A storey's wall or column may begin this far, m, under its level (on a foundation, under a floor build-up)."""


class Levels(Struct, frozen=True):
    """Storeys from below and their elevations, m, the lowest of each name, and whether no two share a level."""

    storeys: tuple[Storey, ...]
    elevations: tuple[float, ...]
    named: Mapping[str, Storey]
    distinct: bool


def levels_of(storeys: Sequence[Storey]) -> Levels:
    """The levels of a model's storeys."""
    ordered = tuple(sorted(storeys, key=lambda storey: storey.elevation))
    return Levels(
        ordered,
        tuple(storey.elevation for storey in ordered),
        {storey.name: storey for storey in reversed(ordered)},
        len({round(storey.elevation, 3) for storey in ordered}) == len(ordered),
    )


def storey_of(role: str, low: float, high: float, filed: str, model: Levels) -> tuple[str, float | None]:
    """Name and level of the storey of a model where a body between heights `low` and `high` (m) stands.

    Walls and columns stand where their foot is; the storey that the model names is kept when the foot is
    near its level, so that a kicker or a pad does not move it. Other roles stay where the model files them.
    Without a filing the storey below the body is taken. Empty name when the model has no storeys.
    """
    levels, elevations = model.storeys, model.elevations
    named = model.named.get(filed)
    if not levels:
        return filed, None
    if named is not None:
        if role not in ("wall", "column") or not model.distinct:
            return named.name, named.elevation
        next_up = bisect_right(elevations, named.elevation)
        above = elevations[next_up] if next_up < len(elevations) else float("inf")
        if named.elevation - REACH <= low < above - min(REACH, (high - low) / 2.0):
            return named.name, named.elevation
    middle = min(low + REACH, (low + high) / 2.0) if role in ("wall", "column", "stair") else high
    stands = levels[max(bisect_right(elevations, middle + 1e-3) - 1, 0)]
    return stands.name, stands.elevation
