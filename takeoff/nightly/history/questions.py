"""Questions to the history, each answered as a table."""

from datetime import datetime
from fnmatch import fnmatchcase
from typing import Any

from msgspec import Struct
from sqlalchemy import Connection, func, select

from takeoff.findings import InputError
from takeoff.nightly.changes import Changes, compare
from takeoff.nightly.history.reading import read_version
from takeoff.nightly.history.schema import alerts, events, jobs, models, runs, versions


class Answer(Struct, frozen=True):
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
    """Models with their state and the figures of their last good version; none for one without concrete now."""
    figures = ("measured", "elements", "net_volume_m3", "formwork_m2", "reinforcement_kg", "share_volume",
               "net_total", "currency", "errors", "warnings", "units")  # fmt: skip
    query = (
        select(
            models.c.name, models.c.state, models.c.reason, models.c.waiting, models.c.removed,
            versions.c.number.label("version"), *(versions.c[name] for name in figures), models.c.folder,
        )
        .outerjoin(versions, (models.c.version_id == versions.c.id) & (models.c.state != "nothing"))
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

    `since` None means: what the last report told, also where runs that died had measured it. A model without an
    older version is compared with nothing.
    """
    query = (
        select(models.c.id.label("model"), models.c.name, versions.c.id, versions.c.measured)
        .join(models, versions.c.model_id == models.c.id)
        .where(models.c.job_id == job)
        .order_by(models.c.id, versions.c.number)
    )
    told = select(events.c.version_id).where(
        events.c.told_run_id == last_run(connection, job), events.c.version_id.is_not(None)
    )
    last = set(connection.scalars(told))
    own: dict[int, list[Any]] = {}
    for row in connection.execute(query):
        if fits_name(row.name, pattern):
            own.setdefault(row.model, []).append(row)
    found = []
    for rows in sorted(own.values(), key=lambda rows: (rows[0].name, rows[0].model)):
        name = rows[0].name
        recent = [row.id in last if since is None else row.measured >= since for row in rows]
        old = [row for row, is_recent in zip(rows, recent, strict=True) if not is_recent]
        if not recent[-1]:
            continue
        before = read_version(connection, old[-1].id) if old else None
        found.append((name, compare(before, read_version(connection, rows[-1].id))))
    return tuple(found)


def _sorted(connection: Connection, query: Any, *places: int) -> tuple[tuple[Any, ...], ...]:
    """The rows by these columns: sorted here, since databases put letters in different orders."""
    rows = [tuple(row) for row in connection.execute(query)]
    return tuple(sorted(rows, key=lambda row: [row[place] for place in places]))


def _told(table: Any, run: int | None) -> Any:
    return table.c.told_run_id.is_(None) if run is None else table.c.told_run_id == run


def fits_name(name: str, pattern: str) -> bool:
    """Whether a model's name fits a pattern; large and small letters are the same."""
    return fnmatchcase(name.casefold(), pattern.casefold())
