"""Limits of the checks before signing, from a data file."""

from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from takeoff.data_files import load_table
from takeoff.measuring.plan import ROLES

Positive = Annotated[float, Field(gt=0.0)]
Share = Annotated[float, Field(gt=0.0, lt=1.0)]


def _rising(limits: tuple[float, float]) -> tuple[float, float]:
    if not 0.0 <= limits[0] < limits[1]:
        raise ValueError("the lower limit has to be less than the upper one, neither below 0")
    return limits


Limits = Annotated[tuple[float, float], AfterValidator(_rising)]


def _known_roles(by_role: dict[str, tuple[float, float]]) -> dict[str, tuple[float, float]]:
    for role in by_role:
        if role not in ROLES:
            raise ValueError(f"{role} is none of {', '.join(ROLES)}")
    return by_role


LimitsByRole = Annotated[dict[str, Limits], AfterValidator(_known_roles)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class FloorLimits(_Table):
    """Concrete to floor area, m3/m2."""

    concrete: Limits
    least_storeys: Annotated[int, Field(ge=1)]


class RepeatLimits(_Table):
    """Differences between storeys, as shares of the usual storey."""

    near: Share
    far: Share
    least_storeys: Annotated[int, Field(ge=3)]


class RatioLimits(_Table):
    """Usual ratios by role: formwork m2/m3, steel kg/m3, thickness m."""

    least_volume: Positive
    formwork: LimitsByRole
    steel: LimitsByRole
    thickness: LimitsByRole
    floor: FloorLimits
    repeat: RepeatLimits


class DeclaredLimits(_Table):
    """When a declared quantity differs: shares, m3, kg/m3."""

    difference: Share
    close: Share
    total: Limits
    least_volume: Positive
    density: Limits
    light_density: Limits


class Checks(_Table):
    """The whole of a checks file."""

    ratios: RatioLimits
    declared: DeclaredLimits


def load_checks(path: Path) -> Checks:
    """Read a checks file (TOML). Raises InputError naming the file, the entry and what is wrong with it."""
    return load_table(path, Checks)
