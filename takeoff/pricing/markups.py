"""Markups on the net total: preliminaries, overheads and profit, contingency, tax (`markups.toml`)."""

from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from takeoff.data_files import checked_table, read_toml
from takeoff.pricing.money import exact_sum, percentage
from takeoff.pricing.records import Markup


class MarkupRule(BaseModel):
    """A markup: `percent` of the net total, or of the running total of net and the markups before it."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: str = Field(min_length=1)
    percent: float = Field(ge=-100, le=100, allow_inf_nan=False)
    on: Literal["net", "running"]
    source: str = ""
    typed: bool = False


class MarkupPlan(BaseModel):
    """The currency's name and the markups in their order; `file` is the path they were read from."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    currency: str = Field(min_length=1)
    markup: tuple[MarkupRule, ...] = ()
    file: str = ""


def load_markups(path: Path) -> MarkupPlan:
    """Markups from a TOML file. Raises InputError naming file, place and fault."""
    return checked_table(path, {**read_toml(path), "file": str(path)}, MarkupPlan)


def apply_markups(net_total: float, plan: MarkupPlan) -> tuple[tuple[Markup, ...], float]:
    """The markup lines with base and amount, each to the cent, and the grand total."""
    running = net_total
    lines: list[Markup] = []
    for rule in plan.markup:
        base = net_total if rule.on == "net" else running
        amount = percentage(base, rule.percent)
        lines.append(Markup(rule.name, rule.percent, base, amount, rule.on == "net", rule.typed))
        running = exact_sum((running, amount))
    return tuple(lines), running
