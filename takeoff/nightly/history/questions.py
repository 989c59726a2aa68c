"""Questions to the history, each answered as a table."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from fnmatch import fnmatchcase
from typing import Any

from sqlalchemy import Connection, func, select

from takeoff.findings import InputError
from takeoff.nightly.changes import Changes, compare
from takeoff.nightly.history.reading import read_version
from takeoff.nightly.history.schema import alerts, details, events, jobs, models, runs, versions
from takeoff.nightly.tables import TOTALS

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


@dataclass(frozen=True, slots=True)
class Answer:
    """A table: column names, and rows of texts, numbers and moments."""

    columns: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]

    def records(self) -> list[dict[str, Any]]:
        """The rows by column name."""
        return [dict(zip(self.columns, row, strict=True)) for row in self.rows]


def find_job(connection: Connection, name: str = "") -> int:
    """The number of a job by its name; without one, of the only job. Raises InputError when it is not clear."""
    known = {row.name: row.id for row in connection.execute(select(jobs))}
    if name and name in known:
        return int(known[name])
    if name or len(known) != 1:
        listed = "; ".join(sorted(known)) or "none"
        raise InputError(f"history: say with --name which job is meant (there: {listed})")
    return int(next(iter(known.values())))


def list_runs(connection: Connection, job: int) -> Answer:
    """Runs, the last first."""
    columns = ("id", "started", "finished", "state", "models", "measured", "unchanged", "failed", "waiting",
               "removed", "alerts", "net_total", "net_volume_m3", "share_volume", "summary")  # fmt: skip
    query = select(*(runs.c[name] for name in columns)).where(runs.c.job_id == job).order_by(runs.c.id.desc())
    return Answer(columns, tuple(tuple(row) for row in connection.execute(query)))


def list_models(connection: Connection, job: int) -> Answer:
    """Models with their state and the figures of their last good version."""
    figures = ("measured", "elements", "net_volume_m3", "formwork_m2", "reinforcement_kg", "share_volume",
               "net_total", "currency", "errors", "warnings")  # fmt: skip
    query = (
        select(
            models.c.name, models.c.state, models.c.reason, models.c.waiting, models.c.removed,
            versions.c.number.label("version"), *(versions.c[name] for name in figures), models.c.folder,
        )
        .outerjoin(versions, models.c.version_id == versions.c.id)
        .where(models.c.job_id == job)
    )  # fmt: skip
    columns = ("model", "state", "reason", "waiting", "removed", "version", *figures, "folder")
    return Answer(columns, _sorted(connection, query, 0))


def list_failing(connection: Connection, job: int) -> Answer:
    """Models whose last try failed: why, since when, how often, and when they are tried again."""
    query = (
        select(
            models.c.name, models.c.reason, models.c.since, models.c.attempts, models.c.next_attempt,
            versions.c.measured,
        )
        .outerjoin(versions, models.c.version_id == versions.c.id)
        .where(models.c.job_id == job, models.c.state == "failing", models.c.removed.is_(None))
    )  # fmt: skip
    columns = ("model", "reason", "since", "attempts", "next_attempt", "last_measured")
    return Answer(columns, _sorted(connection, query, 2, 0))


def list_waiting(connection: Connection, job: int) -> Answer:
    """Models that wait, because somebody seems to be writing their files."""
    query = select(models.c.name, models.c.waiting, models.c.waiting_since).where(
        models.c.job_id == job, models.c.waiting != "", models.c.removed.is_(None)
    )
    return Answer(("model", "reason", "since"), _sorted(connection, query, 2, 0))


def list_events(connection: Connection, job: int, run: int | None) -> Answer:
    """What happened to models: all that the report of `run` told, or (None) what no report has told yet."""
    query = (
        select(
            events.c.moment, models.c.name, events.c.kind, events.c.detail, versions.c.number, models.c.folder,
            versions.c.folder.label("place"), events.c.version_id, events.c.model_id,
        )
        .join(models, events.c.model_id == models.c.id)
        .outerjoin(versions, events.c.version_id == versions.c.id)
        .where(models.c.job_id == job, _told(events, run))
        .order_by(events.c.id)
    )  # fmt: skip
    columns = ("moment", "model", "event", "detail", "version", "folder", "place", "version_id", "model_id")
    return Answer(columns, _sorted(connection, query, 0, 1))


def list_alerts(connection: Connection, job: int, run: int | None) -> Answer:
    """Alerts that the report of `run` told, or (None) that no report has told yet."""
    query = (
        select(models.c.name, alerts.c.kind, alerts.c.message, alerts.c.value, alerts.c.threshold)
        .join(models, alerts.c.model_id == models.c.id)
        .where(models.c.job_id == job, _told(alerts, run))
        .order_by(alerts.c.id)
    )
    columns = ("model", "alert", "message", "value", "threshold")
    return Answer(columns, _sorted(connection, query, 0))


def last_run(connection: Connection, job: int) -> int | None:
    """The last run that was closed, None before the first."""
    query = select(func.max(runs.c.id)).where(runs.c.job_id == job, runs.c.state == "done")
    return connection.scalar(query)


def changes_since(
    connection: Connection, job: int, since: datetime | None, pattern: str = "*"
) -> tuple[tuple[str, Changes], ...]:
    """For each model that has a newer version: its last one against the last one before `since`.

    `since` None means: what the last run measured. A model without an older version is compared with nothing.
    """
    query = (
        select(models.c.name, versions.c.id, versions.c.run_id, versions.c.measured)
        .join(models, versions.c.model_id == models.c.id)
        .where(models.c.job_id == job)
        .order_by(models.c.id, versions.c.number)
    )
    last = last_run(connection, job)
    own: dict[str, list[Any]] = {}
    for row in connection.execute(query):
        if _fits(row.name, pattern):
            own.setdefault(row.name, []).append(row)
    found = []
    for name, rows in sorted(own.items()):
        recent = [row.run_id == last if since is None else row.measured >= since for row in rows]
        old = [row for row, is_recent in zip(rows, recent, strict=True) if not is_recent]
        if not recent[-1]:
            continue
        before = read_version(connection, old[-1].id) if old else None
        found.append((name, compare(before, read_version(connection, rows[-1].id))))
    return tuple(found)


def trend(connection: Connection, job: int, what: str, pattern: str = "*", together: bool = True) -> Answer:
    """How a figure moved: a row for each moment at which it was measured or models came and went.

    `what` is one of FIGURES, one of SHARES, or the key of a bill item (`*` stands for any characters). With
    `together` the models that fit `pattern` are summed, shares weighted; else each has rows of its own.
    Columns: moment, model (the number of models with `together`), value, unit.
    """
    values, unit = _values(connection, job, what)
    query = (
        select(versions.c.id, versions.c.measured, models.c.id.label("model"), models.c.name)
        .join(models, versions.c.model_id == models.c.id)
        .where(models.c.job_id == job)
    )
    steps: list[_Step] = []
    for row in connection.execute(query):
        if _fits(row.name, pattern) and row.id in values:
            steps.append(_Step(row.measured, row.id, row.model, row.name, "measured", values[row.id]))
    own = {step.model for step in steps}
    moves = (
        select(events.c.moment, events.c.kind, models.c.id.label("model"), models.c.name)
        .join(models, events.c.model_id == models.c.id)
        .where(models.c.job_id == job, events.c.kind.in_(("removed", "returned")))
    )
    for move in connection.execute(moves):
        if move.model in own:
            steps.append(_Step(move.moment, 0, move.model, move.name, move.kind, (0.0, 0.0)))
    steps.sort(key=lambda step: (step.moment, step.version, step.model))
    return Answer(
        ("moment", "models" if together else "model", "value", "unit"),
        tuple(_moved(steps, what, unit, together)),
    )


@dataclass(frozen=True, slots=True)
class _Step:
    """A model's figure from a moment on: `kind` is measured, removed or returned (with its last figure)."""

    moment: datetime
    version: int
    model: int
    name: str
    kind: str
    pair: tuple[float, float]


def _moved(steps: Sequence[_Step], what: str, unit: str, together: bool) -> list[tuple[Any, ...]]:
    rows: list[tuple[Any, ...]] = []
    now: dict[int, tuple[float, float]] = {}
    last: dict[int, tuple[float, float]] = {}
    for step in steps:
        if step.kind == "measured":
            now[step.model] = last[step.model] = step.pair
        elif step.kind == "removed":
            now.pop(step.model, None)
        elif step.model in last:
            now[step.model] = last[step.model]
        if together:
            if rows and rows[-1][0] == step.moment:
                rows.pop()
            rows.append((step.moment, len(now), _figure(list(now.values()), what in SHARES), unit))
        elif step.kind == "measured":
            rows.append((step.moment, step.name, _figure([step.pair], what in SHARES), unit))
    return rows


def _values(connection: Connection, job: int, what: str) -> tuple[dict[int, tuple[float, float]], str]:
    """By version the figure as (value, weight), and its unit. Raises InputError for what is not known."""
    of_job = (
        select(versions.c.id).join(models, versions.c.model_id == models.c.id).where(models.c.job_id == job)
    )
    if what in FIGURES:
        column, unit = FIGURES[what]
        query = select(versions.c.id, versions.c[column]).where(versions.c.id.in_(of_job))
        found = {row[0]: (float(row[1]), 1.0) for row in connection.execute(query) if row[1] is not None}
        if TOTALS[column] is float and not unit:
            unit = (
                connection.scalar(select(func.max(versions.c.currency)).where(versions.c.id.in_(of_job)))
                or ""
            )
        return found, unit
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


def _figure(pairs: Sequence[tuple[float, float]], is_share: bool) -> float | None:
    """The sum, or for shares prefabricated over all."""
    value = sum(pair[0] for pair in pairs)
    if not is_share:
        return value
    total = sum(pair[1] for pair in pairs)
    return value / total if total else None


def _sorted(connection: Connection, query: Any, *places: int) -> tuple[tuple[Any, ...], ...]:
    """The rows by these columns: sorted here, since databases put letters in different orders."""
    rows = [tuple(row) for row in connection.execute(query)]
    return tuple(sorted(rows, key=lambda row: [row[place] for place in places]))


def _told(table: Any, run: int | None) -> Any:
    return table.c.told_run_id.is_(None) if run is None else table.c.told_run_id == run


def _fits(name: str, pattern: str) -> bool:
    return fnmatchcase(name.casefold(), pattern.casefold())
