"""The alternatives file: what is made otherwise, at what rates and allowances, and what moves together."""

from pathlib import Path
from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from takeoff.data_files import CURE, checked_table, read_toml
from takeoff.findings import InputError
from takeoff.measuring.changes import Change

AS_MODELLED = "As modelled"
"""Name of the base where the file gives it none."""

Share = Annotated[float, Field(ge=0, le=1)]
Figure = Annotated[float, Field(ge=0, allow_inf_nan=False)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Doubt(_Table):
    """A figure with the range in which it may turn out, low <= likely <= high."""

    low: Figure
    likely: Figure
    high: Figure

    @model_validator(mode="before")
    @classmethod
    def _plain_number(cls, value: object) -> object:
        if isinstance(value, int | float) and not isinstance(value, bool):
            return {"low": value, "likely": value, "high": value}
        return value

    @model_validator(mode="after")
    def _rises(self) -> Self:
        if not self.low <= self.likely <= self.high:
            raise ValueError(
                f"low, likely, high have to rise, found {self.low:g}, {self.likely:g}, {self.high:g}"
            )
        return self


class OwnRate(_Table):
    """A rate that holds in one alternative only; `item` is a key or a pattern as in rates.csv."""

    item: str = Field(min_length=1)
    unit: str
    rate: Figure
    low: Figure | None = None
    high: Figure | None = None
    source: str = Field(min_length=1)
    note: str = ""

    @model_validator(mode="after")
    def _rises(self) -> Self:
        low = self.rate if self.low is None else self.low
        high = self.rate if self.high is None else self.high
        if not low <= self.rate <= high:
            raise ValueError(f"low, rate, high have to rise, found {low:g}, {self.rate:g}, {high:g}")
        return self


class OwnAllowance(_Table):
    """A reinforcement allowance that holds in one alternative only, in the fields of allowances.csv."""

    role: str = "*"
    method: str = "*"
    strength_class: str = "*"
    name: str = "*"
    unit: str
    low: Figure
    likely: Figure
    high: Figure
    source: str = Field(min_length=1)

    @field_validator("unit")
    @classmethod
    def _known_unit(cls, value: str) -> str:
        if value not in ("kg/m3", "kg/m2"):
            raise ValueError(f"{value!r} is none of kg/m3, kg/m2")
        return value

    @model_validator(mode="after")
    def _rises(self) -> Self:
        if not self.low <= self.likely <= self.high:
            raise ValueError(
                f"low, likely, high have to rise, found {self.low:g}, {self.likely:g}, {self.high:g}"
            )
        return self


class Alternative(_Table):
    """A name and a list of changes to the base; `rates` is a file whose lines go before the base's.

    `panelling` overrides entries of the panelling file (`wall`, `tilt-up`, `slab`).
    """

    name: str = Field(min_length=1)
    note: str = ""
    changes: tuple[Change, ...] = Field(default=(), alias="change")
    rates: str = ""
    own_rates: tuple[OwnRate, ...] = Field(default=(), alias="rate")
    allowances: tuple[OwnAllowance, ...] = Field(default=(), alias="allowance")
    panelling: dict[str, dict[str, Figure]] = {}

    @model_validator(mode="after")
    def _not_empty(self) -> Self:
        if not (self.changes or self.rates or self.own_rates or self.allowances):
            raise ValueError("has no change, rate or allowance of its own; it would be the base again")
        return self


class Driver(_Table):
    """Prices that move together: keys of items or names of resources (patterns), and how closely (0 to 1)."""

    name: str = Field(min_length=1)
    items: tuple[str, ...] = Field(min_length=1)
    correlation: Share = 1.0


class Alternatives(_Table):
    """The whole file. `draws` and `seed` are those of the risk; `folder` is where its paths begin."""

    base: str = AS_MODELLED
    alternatives: tuple[Alternative, ...] = Field(alias="alternative", min_length=1)
    drivers: tuple[Driver, ...] = Field(default=(), alias="driver")
    break_even: tuple[str, ...] = ()
    draws: Annotated[int, Field(ge=100, le=1_000_000)] = 10_000
    seed: Annotated[int, Field(ge=0)] = 1
    file: str = ""

    @model_validator(mode="after")
    def _names_differ(self) -> Self:
        names = [self.base, *(alternative.name for alternative in self.alternatives)]
        for name in names:
            if sum(other.casefold() == name.casefold() for other in names) > 1:
                raise ValueError(
                    f"the name {name!r} is used twice; every alternative and the base need their own"
                )
        return self

    @property
    def names(self) -> tuple[str, ...]:
        """The base's name, then those of the alternatives."""
        return (self.base, *(alternative.name for alternative in self.alternatives))

    def find(self, name: str) -> Alternative:
        """The alternative of that name. Raises InputError."""
        for alternative in self.alternatives:
            if alternative.name.casefold() == name.casefold():
                return alternative
        known = ", ".join(alternative.name for alternative in self.alternatives)
        raise InputError(f"{self.file}: no alternative is called '{name}'; there are {known}")


def load_alternatives(path: Path) -> Alternatives:
    """Read and check an alternatives file (TOML). Raises InputError naming file, place and fault."""
    content = read_toml(path)
    if "file" in content:
        raise InputError(f"{path}: 'file' is not known; {CURE}")
    return checked_table(path, {**content, "file": str(path)}, Alternatives)
