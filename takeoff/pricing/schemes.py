"""Scoring schemes: any authority's points as data, read and checked."""

from itertools import pairwise
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, field_validator

from takeoff.data_files import checked_table, read_toml
from takeoff.findings import InputError
from takeoff.measuring.handling import matches
from takeoff.measuring.records import MeasuredPart


def _as_list(value: object) -> object:
    return [value] if isinstance(value, str) else value


Texts = Annotated[tuple[str, ...], BeforeValidator(_as_list)]
Roles = Annotated[
    tuple[Literal["wall", "slab", "column", "beam", "foundation", "stair"], ...], BeforeValidator(_as_list)
]
Methods = Annotated[tuple[Literal["precast", "tilt-up", "cast-in-place"], ...], BeforeValidator(_as_list)]
Measure = Literal["volume", "weight", "wall length", "floor area", "frame members", "pieces", "value"]
Figure = Annotated[float, Field(ge=0.0, allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0.0, le=1.0)]
Code = Annotated[str, Field(min_length=1, max_length=12)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class System(_Table):
    """What a part of the structure counts as. `mixed`: units with cast concrete in the same element."""

    name: Annotated[str, Field(min_length=1)]
    method: Methods = ()
    role: Roles = ()
    subrole: Texts = ()
    words: Texts = ()
    mixed: bool | None = None

    def fits(self, part: MeasuredPart, mixed: bool) -> bool:
        """Whether a part counts as this system; `mixed` tells of its element."""
        return (
            (not self.method or part.method in self.method)
            and (not self.role or part.role in self.role)
            and (not self.subrole or part.subrole in self.subrole)
            and (self.mixed is None or self.mixed == mixed)
            and (
                not self.words
                or any(matches(text, self.words) for text in (part.name, part.type_name, part.material))
            )
        )


class ScoredPart(_Table):
    """Points for a weighted share of a measure."""

    code: Code
    title: Annotated[str, Field(min_length=1)]
    measure: Measure
    role: Roles = ()
    points: Figure
    least: Share = 0.0
    weight: dict[str, Share]

    def weight_of(self, system: str) -> float:
        """Weight of a system, that of `*` where it is not named."""
        return self.weight.get(system, self.weight.get("*", 0.0))


class Bonus(_Table):
    """Points for repetition by the highest step that the share reaches."""

    code: Code
    title: Annotated[str, Field(min_length=1)]
    measure: Annotated[
        str, Field(pattern=r"^(pieces in groups of (2|5|10|20) or more|storey height|floor outline)$")
    ]
    role: Literal["", "wall", "slab", "column", "beam", "foundation", "stair"] = ""
    steps: Annotated[tuple[tuple[Share, Figure], ...], Field(min_length=1)]

    @field_validator("steps")
    @classmethod
    def _ascending(cls, steps: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
        if any(low[0] >= high[0] for low, high in pairwise(steps)):
            raise ValueError("shares of the steps must ascend")
        return steps


class Caps(_Table):
    """Highest sums."""

    parts: Figure
    bonus: Figure


class Scheme(_Table):
    """A whole scheme. `file` is where it was read from."""

    name: Annotated[str, Field(min_length=1)]
    notice: Annotated[str, Field(min_length=1)]
    most: Figure
    system: Annotated[tuple[System, ...], Field(min_length=1)]
    part: Annotated[tuple[ScoredPart, ...], Field(min_length=1)]
    bonus: tuple[Bonus, ...] = ()
    caps: Caps
    file: str = ""


def load_scheme(path: Path) -> Scheme:
    """Read a scoring file (TOML). Raises InputError naming the file, the entry and what is wrong with it."""
    content = {**read_toml(path), "file": path.name}
    scheme = checked_table(path, content, Scheme, cure="compare it with the shipped example")
    codes = [part.code.casefold() for part in scheme.part] + [bonus.code.casefold() for bonus in scheme.bonus]
    if twice := next((code for code in codes if codes.count(code) > 1), ""):
        raise InputError(f"{path}: code {twice} stands twice; give each part and bonus a code of its own")
    names = {system.name for system in scheme.system}
    if len({name.casefold() for name in names}) < len(scheme.system):
        raise InputError(f"{path}: two systems have one name; give each a name of its own")
    for part in scheme.part:
        if unknown := sorted(part.weight.keys() - names - {"*"}):
            raise InputError(f"{path}: part {part.code} weighs `{unknown[0]}`, which is none of its systems")
    return scheme
