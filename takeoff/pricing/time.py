"""Time: quantities over production rates, storey by storey in a simple sequence.

In each storey the stages of the production file follow one another. Within a stage the longest trade counts in
full and the others by the share that does not overlap with it; then comes the wait (curing, striking). The
storeys follow one another from below. That orders alternatives; it is no programme of works.
"""

from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from takeoff.findings import InputError
from takeoff.pricing.production import Production, Trade, matches_key
from takeoff.pricing.records import Bill
from takeoff.pricing.unit_systems import unit_system

Floats = NDArray[np.float64]


class Task(Struct, frozen=True):
    """Work of one trade in one stage of one storey; `days` by the likely production."""

    storey: str
    stage: int
    trade: int
    quantity: float
    days: float


class Step(Struct, frozen=True):
    """A stage in a storey: its tasks, the days that they take together, and the wait after them."""

    storey: str
    stage: int
    tasks: tuple[Task, ...]
    work_days: float
    wait_days: float


class Programme(Struct, frozen=True):
    """The steps in their order. `untimed` are keys of items that no trade takes and that are not left out."""

    steps: tuple[Step, ...]
    untimed: tuple[str, ...]
    days: float
    weeks: float


def make_programme(bill: Bill, production: Production, storeys: Sequence[str]) -> Programme:
    """The programme of a bill; `storeys` from below, others follow in the order in which they come.

    Raises InputError where an item that a trade takes is measured in another unit than the trade's.
    """
    system = unit_system(bill.units)
    metric = {shown: unit for unit, shown in system.units.items()}
    items = {item.key: item for section in bill.sections for item in section.items}
    where = {key: production.trade_of(item.rate_key) for key, item in items.items()}
    for name, taken in where.items():
        if taken is not None:
            unit = metric.get(items[name].unit, items[name].unit)
            trade = production.stages[taken[0]].trades[taken[1]]
            if unit != trade.unit:
                raise InputError(
                    f"{production.file}: trade '{trade.name}' is in {trade.unit}, and its item {name} is measured "
                    f"in {unit}; correct the items or the unit"
                )
    sums: dict[tuple[str, int, int], float] = {}
    order: dict[str, int] = {storey: place for place, storey in enumerate(storeys)}
    for dimension in bill.dimensions:
        taken = where.get(dimension.item)
        if taken is None:
            continue
        order.setdefault(dimension.storey, len(order))
        unit = metric.get(items[dimension.item].unit, "")
        look = (dimension.storey, *taken)
        sums[look] = sums.get(look, 0.0) + dimension.quantity / system.factor(unit)
    steps: list[Step] = []
    for storey in sorted(order, key=lambda name: order[name]):
        for number, stage in enumerate(production.stages):
            tasks = tuple(
                Task(storey, number, place, quantity, quantity * _days_a_unit(trade, production))
                for place, trade in enumerate(stage.trades)
                if (quantity := sums.get((storey, number, place), 0.0)) > 0
            )
            if tasks:
                work = together([task.days for task in tasks], production.overlap)
                steps.append(Step(storey, number, tasks, work, stage.wait_days.likely))
    days = sum(step.work_days + step.wait_days for step in steps)
    left = [
        item.key
        for key, item in items.items()
        if where[key] is None and not _left_out(production, item.rate_key)
    ]
    return Programme(tuple(steps), tuple(left), days, days / production.days_a_week)


def _left_out(production: Production, key: str) -> bool:
    return any(matches_key(pattern, key) for pattern in production.not_timed)


def _days_a_unit(trade: Trade, production: Production) -> float:
    if trade.hours is not None:
        return trade.hours.likely / (trade.crew * production.hours_a_day)
    return 1.0 / (trade.doubt.likely * trade.teams)


def together(days: Sequence[float], overlap: float) -> float:
    """Days of several trades of one stage: the longest, and of the others what does not go on beside it."""
    longest = max(days)
    return longest + (1.0 - overlap) * (sum(days) - longest)


def weeks_drawn(
    programme: Programme,
    production: Production,
    figures: Mapping[tuple[int, int], Floats],
    waits: Mapping[int, Floats],
) -> Floats | float:
    """Weeks for drawn production figures (n,) by stage and trade, and waits (n,) by stage; others are likely."""
    total: Floats | float = 0.0
    for step in programme.steps:
        stage = production.stages[step.stage]
        days: list[Floats | float] = []
        for task in step.tasks:
            trade = stage.trades[task.trade]
            figure = figures.get((task.stage, task.trade), trade.doubt.likely)
            if trade.hours is not None:
                days.append(task.quantity * figure / (trade.crew * production.hours_a_day))
            else:
                days.append(task.quantity / (figure * trade.teams))
        longest = days[0]
        for more in days[1:]:
            longest = np.maximum(longest, more)
        whole = sum(days)
        total = total + longest + (1.0 - production.overlap) * (whole - longest)
        total = total + waits.get(step.stage, stage.wait_days.likely)
    return total / production.days_a_week
