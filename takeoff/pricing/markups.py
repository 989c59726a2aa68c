"""Markups on the net total: preliminaries, overheads and profit, contingency, tax (`markups.toml`)."""

import tomllib
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from takeoff.findings import InputError
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
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as fault:
        raise InputError(f"{path}: the markups cannot be read: {fault.strerror}") from fault
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise InputError(f"{path}: not a TOML text file: {fault}") from fault
    try:
        return MarkupPlan.model_validate({**content, "file": str(path)})
    except ValidationError as fault:
        first = fault.errors()[0]
        place = ", ".join(f"markup {step + 1}" if isinstance(step, int) else step for step in first["loc"])
        place = place.replace("markup, markup", "markup")
        raise InputError(f"{path}: {place}: {first['msg'][:1].lower()}{first['msg'][1:]}") from fault


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
