"""How figures moved from run to run: of single models, or of all together."""

import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from fnmatch import fnmatchcase
from itertools import groupby
from typing import Any

from msgspec import Struct
from sqlalchemy import Connection, select

from takeoff.findings import InputError
from takeoff.nightly.history.questions import Answer, fits_name
from takeoff.nightly.history.schema import details, events, models, runs, versions
from takeoff.nightly.tables import TOTALS
from takeoff.pricing.unit_systems import METRIC, SYSTEMS

SHARES = {"prefabrication": "volume", "prefabrication-value": "value", "prefabrication-pieces": "pieces",
          "prefabrication-weight": "weight", "prefabrication-wall-length": "wall length",
          "prefabrication-floor-area": "floor area"}  # fmt: skip
"""Shares that can be asked for, and what they compare."""

FIGURES = {
    "concrete": ("net_volume_m3", "m3"), "gross-concrete": ("gross_volume_m3", "m3"),
    "formwork": ("formwork_m2", "m2"), "reinforcement": ("reinforcement_kg", "kg"), "weight": ("weight_t", "t"),
    "net-total": ("net_total", ""), "grand-total": ("grand_total", ""), "elements": ("elements", "nr"),
    "pieces": ("pieces", "nr"), "errors": ("errors", "nr"), "warnings": ("warnings", "nr"),
    "unpriced-items": ("unpriced_items", "nr"),
}  # fmt: skip
"""Totals that can be asked for, with their column and unit."""


Pair = tuple[float, float]
"""A figure and its weight: prefabricated and total for a share, value and 1 for others."""


class _Step(Struct, frozen=True):
    """What became of a model in a run: measured, removed, found without concrete, or returned with its last figure."""

    run: int
    version: int
    model: int
    name: str
    kind: str
    pair: Pair


def trend(connection: Connection, job: int, what: str, pattern: str = "*", together: bool = True) -> Answer:
    """How a figure moved: a row for each run in which it was measured or models came and went.

    `what` is one of FIGURES, one of SHARES, or the key of a bill item (`*` stands for any characters). With
    `together` the models that fit `pattern` are summed, shares weighted; else each has rows of its own. What a
    run measured that died counts for the run that went on. Columns: moment (the run's begin), models (how
    many are there) or model, value, unit (that of the last bill). Raises InputError for what is not known.
    """
    values, unit = _values(connection, job, what)
    moments = _moments(connection, job)
    steps = sorted(
        _steps(connection, job, values, pattern), key=lambda step: (step.run, step.version, step.model)
    )
    rows: list[tuple[Any, ...]] = []
    now: dict[int, Pair] = {}
    last: dict[int, Pair] = {}
    for moment, own in groupby(steps, key=lambda step: moments[step.run]):
        for step in own:
            if step.kind == "measured":
                now[step.model] = last[step.model] = step.pair
                if not together:
                    rows.append((moment, step.name, _figure([step.pair], what), unit))
            elif step.kind in ("removed", "nothing"):
                now.pop(step.model, None)
            elif step.model in last:
                now[step.model] = last[step.model]
        if together:
            rows.append((moment, len(now), _figure(list(now.values()), what), unit))
    return Answer(("moment", "models" if together else "model", "value", "unit"), tuple(rows))


def _moments(connection: Connection, job: int) -> dict[int, datetime]:
    """For each run the begin of the one that closed what it did: itself, or the first closed one after it."""
    found: dict[int, datetime] = {}
    closed: datetime | None = None
    query = (
        select(runs.c.id, runs.c.started, runs.c.state).where(runs.c.job_id == job).order_by(runs.c.id.desc())
    )
    for row in connection.execute(query):
        if row.state == "done" or closed is None:
            closed = row.started
        found[row.id] = closed
    return found


def _steps(connection: Connection, job: int, values: Mapping[int, Pair], pattern: str) -> Sequence[_Step]:
    query = (
        select(versions.c.id, versions.c.run_id, models.c.id.label("model"), models.c.name)
        .join(models, versions.c.model_id == models.c.id)
        .where(models.c.job_id == job)
    )
    steps = [
        _Step(row.run_id, row.id, row.model, row.name, "measured", values[row.id])
        for row in connection.execute(query)
        if row.id in values and fits_name(row.name, pattern)
    ]
    own = {step.model for step in steps}
    moves = (
        select(events.c.run_id, events.c.kind, models.c.id.label("model"), models.c.name)
        .join(models, events.c.model_id == models.c.id)
        .where(models.c.job_id == job, events.c.kind.in_(("removed", "returned", "nothing")))
    )
    # Version 0: a model comes back before it is measured anew.
    steps += [
        _Step(move.run_id, 0, move.model, move.name, move.kind, (0.0, 0.0))
        for move in connection.execute(moves)
        if move.model in own
    ]
    return steps


def _values(connection: Connection, job: int, what: str) -> tuple[dict[int, Pair], str]:
    """By version the figure as (value, weight), and its unit. Raises InputError for what is not known."""
    of_job = (
        select(versions.c.id).join(models, versions.c.model_id == models.c.id).where(models.c.job_id == job)
    )
    if what in FIGURES:
        column, unit = FIGURES[what]
        query = select(versions.c.id, versions.c[column]).where(versions.c.id.in_(of_job))
        found = {row[0]: (float(row[1]), 1.0) for row in connection.execute(query) if row[1] is not None}
        last = connection.execute(
            select(versions.c.currency, versions.c.units)
            .where(versions.c.id.in_(of_job))
            .order_by(versions.c.id.desc())
            .limit(1)
        ).first()
        if TOTALS[column] is float and not unit:
            return found, (last.currency if last else "")
        system = SYSTEMS.get(last.units if last else "", METRIC)
        factor = system.factor(unit)
        return {key: (value * factor, weight) for key, (value, weight) in found.items()}, system.unit(unit)
    if what in SHARES:
        shares = details["shares"]
        query = select(shares.c.version_id, shares.c.prefabricated, shares.c.total).where(
            shares.c.version_id.in_(of_job), shares.c.grouped_by == "all", shares.c.measure == SHARES[what]
        )
        return {row[0]: (row[1] or 0.0, row[2] or 0.0) for row in connection.execute(query)}, ""
    items = details["items"]
    query = select(items.c.version_id, items.c.key, items.c.quantity, items.c.unit).where(
        items.c.version_id.in_(of_job)
    )
    sums: dict[int, float] = dict.fromkeys(connection.scalars(of_job), 0.0)
    units = set()
    for row in connection.execute(query):
        if fnmatchcase(row.key, what):
            sums[row.version_id] += row.quantity or 0.0
            units.add(row.unit)
    if not units:
        known = ", ".join((*FIGURES, *SHARES))
        raise InputError(f"history: {what!r} is no figure ({known}) and no key of a bill item")
    if len(units) > 1:
        raise InputError(f"history: {what!r} fits items of several units ({', '.join(sorted(units))})")
    return {version: (value, 1.0) for version, value in sums.items()}, units.pop()


def _figure(pairs: Sequence[Pair], what: str) -> float | None:
    """The sum, or for shares prefabricated over all."""
    value = math.fsum(pair[0] for pair in pairs)
    if what not in SHARES:
        return value
    total = math.fsum(pair[1] for pair in pairs)
    return value / total if total else None
