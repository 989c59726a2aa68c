"""The convention: every choice that a surveyor may argue about, read from a data file."""

import tomllib
from bisect import bisect_left
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from takeoff.findings import InputError

Role = Literal["foundation", "slab", "column", "wall", "beam", "stair"]
Positive = Annotated[float, Field(ge=0, allow_inf_nan=False)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Overlaps(_Table):
    """Who keeps shared space."""

    keep: tuple[Role, ...]

    @field_validator("keep")
    @classmethod
    def _each_once(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        if sorted(value) != sorted(("foundation", "slab", "column", "wall", "beam", "stair")):
            raise ValueError("must name each of the six roles once")
        return value


class Contacts(_Table):
    """When faces touch and whom that relieves."""

    gap_mm: Positive
    relieve: Literal["both", "later"]
    joint_mm: Positive


class Slopes(_Table):
    """Limits between tops, top slopes and sides, degrees."""

    free_below_deg: Annotated[float, Field(ge=0, le=90)]
    side_within_deg: Annotated[float, Field(ge=0, le=90)]


class Voids(_Table):
    """Voids that stay in the quantity up to a size."""

    leave_in_concrete_m3: Positive
    leave_in_formwork_m2: Positive
    leave_in_floor_m2: Positive


class Ground(_Table):
    """Names by which a slab is known to lie on the ground."""

    slab_words: tuple[str, ...]


class Bands(_Table):
    """Upper limits of bands, ascending."""

    height_to_soffit_m: tuple[float, ...]
    slab_thickness_mm: tuple[float, ...]
    wall_thickness_mm: tuple[float, ...]
    edge_depth_mm: tuple[float, ...]
    beam_depth_mm: tuple[float, ...]
    column_girth_mm: tuple[float, ...]
    foundation_depth_mm: tuple[float, ...]
    hole_area_m2: tuple[float, ...]

    @field_validator("*")
    @classmethod
    def _ascending(cls, value: tuple[float, ...]) -> tuple[float, ...]:
        if any(b <= a for a, b in pairwise(value)) or any(v <= 0 for v in value):
            raise ValueError("must be positive and ascending")
        return value


class Edges(_Table):
    """How edges are billed."""

    measure: Literal["area", "length"]


class Reveals(_Table):
    """Whether opening reveals are an item of their own."""

    apart: bool


class Rounding(_Table):
    """Decimal places of bill quantities by unit."""

    m3: Annotated[int, Field(ge=0, le=6)]
    m2: Annotated[int, Field(ge=0, le=6)]
    m: Annotated[int, Field(ge=0, le=6)]
    t: Annotated[int, Field(ge=0, le=6)]


class Convention(_Table):
    """All measuring choices; see the comments in templates/conventions/net.toml."""

    name: str
    description: str
    overlaps: Overlaps
    contacts: Contacts
    slopes: Slopes
    voids: Voids
    ground: Ground
    bands: Bands
    edges: Edges
    reveals: Reveals
    rounding: Rounding


def load_convention(path: Path) -> Convention:
    """Read and check a convention file. Raises InputError with the place and the fault."""
    try:
        return Convention.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}); name a convention file") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: is no valid TOML: {error}") from error
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(step) for step in first["loc"])
        raise InputError(f"{path}: {where}: {first['msg']}; compare with the shipped net.toml") from error


def band(limits: Sequence[float], value: float, slack: float = 1e-6) -> str:
    """Words of the band in which a value falls: `to 150`, `150-300`, `over 450`.

    A value at a limit belongs to the band below it; `slack` (relative) keeps rounding noise from deciding.
    """
    if not limits:
        return ""
    place = bisect_left(limits, value * (1.0 - slack) - 1e-9)
    if place == 0:
        return f"to {limits[0]:g}"
    if place == len(limits):
        return f"over {limits[-1]:g}"
    return f"{limits[place - 1]:g}-{limits[place]:g}"
