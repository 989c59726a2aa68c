"""Panelling data: when and how a body is divided into pieces."""

from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, model_validator

from takeoff.data_files import load_table

Positive = Annotated[float, Field(gt=0.0, allow_inf_nan=False)]
Figure = Annotated[float, Field(ge=0.0, allow_inf_nan=False)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class WallRule(_Table):
    """Largest panels of a wall (m, t) and where joints may not be."""

    most_length: Positive
    most_height: Positive
    most_weight: Positive
    least_width: Figure
    from_opening: Figure
    from_end: Figure

    @model_validator(mode="after")
    def _sides(self) -> "WallRule":
        if self.most_height > self.most_length:
            raise ValueError("most_height is the shorter side and cannot be more than most_length")
        return self


class SlabRule(_Table):
    """Width and largest size of the pieces of a floor (m, t); floors up to `as_one` wide stay as they are."""

    module: Positive
    as_one: Positive
    most_length: Positive
    most_weight: Positive
    least_width: Figure

    @model_validator(mode="after")
    def _module(self) -> "SlabRule":
        if self.least_width >= self.module:
            raise ValueError("least_width must be less than the module")
        return self


class PanellingRules(_Table):
    """The whole of a panelling file."""

    divide_marked: bool
    wall: WallRule
    tilt_up: WallRule = Field(alias="tilt-up")
    slab: SlabRule

    def rule_for(self, method: str, role: str) -> WallRule | SlabRule | None:
        """The rule for a piece, None where such pieces are not divided."""
        if role == "slab":
            return self.slab if method == "precast" else None
        if role != "wall":
            return None
        return self.tilt_up if method == "tilt-up" else self.wall


def load_panelling(path: Path) -> PanellingRules:
    """Read a panelling file (TOML). Raises InputError naming the file, the entry and what is wrong with it."""
    return load_table(path, PanellingRules)
