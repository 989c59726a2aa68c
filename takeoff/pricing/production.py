"""Production data: what a crew, a crane and a week do, by which quantities become time (`production.toml`)."""

import re
from pathlib import Path
from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from takeoff.data_files import checked_table, read_toml
from takeoff.pricing.alternatives import Doubt


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Trade(_Table):
    """Work of one kind: bill items by key (patterns as in rates.csv), and how fast it goes.

    Either `hours` for one unit of the item and a `crew` of so many people, or `per_day` units for one of
    `teams` (crane and gang).
    """

    name: str = Field(min_length=1)
    items: tuple[str, ...] = Field(min_length=1)
    unit: str
    hours: Doubt | None = None
    crew: Annotated[float, Field(gt=0)] = 1.0
    per_day: Doubt | None = None
    teams: Annotated[float, Field(gt=0)] = 1.0
    source: str = Field(min_length=1)

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if (self.hours is None) == (self.per_day is None):
            raise ValueError("give either hours (for one unit) or per_day (units for one team)")
        if self.per_day is not None and self.per_day.low <= 0:
            raise ValueError("per_day must be above 0")
        return self

    @property
    def doubt(self) -> Doubt:
        """The production figure, whichever way it is stated."""
        figure = self.hours or self.per_day
        assert figure is not None
        return figure

    def takes(self, key: str) -> bool:
        """Whether an item of that key is work of this trade."""
        return any(matches_key(pattern, key) for pattern in self.items)


class Stage(_Table):
    """A step of the sequence in each storey: its trades, and the days to wait when they are done."""

    name: str = Field(min_length=1)
    trades: tuple[Trade, ...] = Field(alias="trade", min_length=1)
    wait_days: Doubt = Doubt(low=0.0, likely=0.0, high=0.0)
    because: str = ""


class Production(_Table):
    """The whole file. `overlap` is the share of the shorter trades of a stage that goes on beside the longest."""

    hours_a_day: Annotated[float, Field(gt=0, le=24)]
    days_a_week: Annotated[float, Field(gt=0, le=7)]
    overlap: Annotated[float, Field(ge=0, le=1)]
    site_cost_a_week: Doubt
    site_cost_source: str = Field(min_length=1)
    caution: str = Field(min_length=1)
    stages: tuple[Stage, ...] = Field(alias="stage", min_length=1)
    not_timed: tuple[str, ...] = ()
    file: str = ""

    def trade_of(self, key: str) -> tuple[int, int] | None:
        """Positions of the stage and trade that take an item; None where none does."""
        for number, stage in enumerate(self.stages):
            for place, trade in enumerate(stage.trades):
                if trade.takes(key):
                    return number, place
        return None


def matches_key(pattern: str, key: str) -> bool:
    """Whether a key fits a pattern: `*` stands for any words; a pattern ending in `.*` takes the bare key too."""
    head, _, last = pattern.rpartition(".")
    if last == "*" and head:
        shape = ".*".join(map(re.escape, head.split("*"))) + r"(\..*)?"
    else:
        shape = ".*".join(map(re.escape, pattern.split("*")))
    return re.fullmatch(shape, key) is not None


def load_production(path: Path) -> Production:
    """Read a production file (TOML). Raises InputError naming file, place and fault."""
    return checked_table(path, {**read_toml(path), "file": str(path)}, Production)
