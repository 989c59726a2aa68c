"""Writing the history: each step of a run is one transaction, so that a run may end anywhere."""

import itertools
import socket
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime, timedelta
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar

from msgspec import Struct
from sqlalchemy import Connection, Engine, delete, func, insert, select, update
from sqlalchemy.exc import DBAPIError

from takeoff import __version__
from takeoff.findings import InputError
from takeoff.nightly.decisions import Decision
from takeoff.nightly.history.database import Hold, passes
from takeoff.nightly.history.known import KnownModel, known_models
from takeoff.nightly.history.schema import (
    alerts,
    details,
    events,
    files,
    inputs,
    jobs,
    models,
    runs,
    versions,
)
from takeoff.nightly.models import Model
from takeoff.nightly.names import escaped, folder_name, name_key, shown
from takeoff.nightly.tables import FORGETTABLE, Tables


class Alert(Struct, frozen=True):
    """Something that passed a threshold, or a state that a person must know of."""

    kind: str
    message: str
    value: float | None = None
    threshold: float | None = None


class VersionPlace(Struct, frozen=True):
    """Where the files of a version are: the model's folder, the version's in it, and whether it's published."""

    version: int
    model_folder: str
    folder: str


_Given = ParamSpec("_Given")
_Found = TypeVar("_Found")

PATIENCE_SECONDS = 300.0
"""How long a run waits for a database that is away or locked: a restart or a backup does not cost the night."""
PAUSE_SECONDS = 1.0


def _lasting(
    work: "Callable[Concatenate[History, _Given], _Found]",
) -> "Callable[Concatenate[History, _Given], _Found]":
    """The work, done again while the database is away; each is one transaction, so that nothing is there by half."""

    @wraps(work)
    def lasting(history: "History", *given: _Given.args, **named: _Given.kwargs) -> _Found:
        end = time.monotonic() + PATIENCE_SECONDS
        while True:
            try:
                return work(history, *given, **named)
            except DBAPIError as fault:
                if not passes(fault) or time.monotonic() > end:
                    raise
            while True:
                time.sleep(PAUSE_SECONDS)
                try:
                    if history.hold is None or history.hold.take():
                        break
                    if time.monotonic() > end:
                        raise InputError("history: another run took the job while the database was away")
                except DBAPIError:
                    if time.monotonic() > end:
                        raise

    return lasting


class History:
    """The history of one job, held by `hold`."""

    def __init__(self, engine: Engine, job_name: str, hold: Hold | None = None) -> None:
        self.engine = engine
        self.hold = hold
        with self.begin() as connection:
            number = connection.scalar(select(jobs.c.id).where(jobs.c.name == job_name))
            if number is None:
                number = _inserted(connection, jobs, name=job_name)
        self.job: int = number

    @contextmanager
    def begin(self) -> Iterator[Connection]:
        """A transaction that is wholly kept or wholly not."""
        with self.engine.begin() as connection:
            yield connection

    @_lasting
    def read(self, ask: Callable[[Connection], _Found]) -> _Found:
        """The answer to a question that is put to the database."""
        with self.engine.connect() as connection:
            return ask(connection)

    @_lasting
    def known(self) -> dict[str, KnownModel]:
        """The models by key, as the last run left them."""
        with self.engine.connect() as connection:
            return known_models(connection, self.job)

    @_lasting
    def start_run(self, now: datetime) -> tuple[int, list[datetime]]:
        """A new run; and when those runs began that died without closing, which are marked as interrupted."""
        with self.begin() as connection:
            dead = (runs.c.job_id == self.job) & (runs.c.state == "running")
            began = list(connection.scalars(select(runs.c.started).where(dead).order_by(runs.c.id)))
            connection.execute(update(runs).where(dead).values(state="interrupted"))
            run = _inserted(
                connection, runs, job_id=self.job, started=now, state="running", program=__version__,
                host=socket.gethostname(),
            )  # fmt: skip
        return run, began

    @_lasting
    def finish_run(self, run: int, state: str, now: datetime, figures: Mapping[str, Any]) -> None:
        """Close a run; with state `done` all that was not told yet counts as told by it."""
        with self.begin() as connection:
            connection.execute(
                update(runs).where(runs.c.id == run).values(state=state, finished=now, **figures)
            )
            if state == "done":
                own = select(models.c.id).where(models.c.job_id == self.job)
                for table in (events, alerts):
                    untold = table.c.told_run_id.is_(None) & table.c.model_id.in_(own)
                    connection.execute(update(table).where(untold).values(told_run_id=run))

    @_lasting
    def see(
        self,
        run: int,
        decisions: Sequence[Decision],
        gone: Sequence[KnownModel],
        alert: Alert | None,
        now: datetime,
    ) -> dict[str, int]:
        """Note what was found; gives the number of each model by key.

        New models are added, renamed ones take their new name, files their new signature; who waits, came
        back or is gone becomes an event, once, and `alert` is raised for each that is gone.
        """
        with self.begin() as connection:
            numbers = {}
            for decision in decisions:
                number = self._number(connection, run, decision, now)
                numbers[decision.model.key] = number
                self._note(connection, run, number, decision, now)
            for model in gone:
                values: dict[str, Any] = {"removed": now, "waiting": "", "waiting_since": None}
                connection.execute(update(models).where(models.c.id == model.number).values(**values))
                _event(connection, run, model.number, "removed", now)
                _alert(connection, run, model.number, [alert] if alert else [], None)
            return numbers

    @_lasting
    def measured(
        self, run: int, decision: Decision, number: int, tables: Tables, rules: tuple[str, Mapping[str, str]],
        folder: str, version: int, told: Sequence[Alert], detail: str, now: datetime,
    ) -> int:  # fmt: skip
        """Keep a measured version, number `version` of its model, whole; gives its key."""
        with self.begin() as connection:
            kept = select(versions.c.id).where(
                versions.c.model_id == number, versions.c.number == version, versions.c.run_id == run
            )
            there = connection.scalar(kept)
            if there is not None:  # kept just before the database was away, and its answer was lost
                return int(there)
            key = _inserted(
                connection, versions, model_id=number, run_id=run, number=version, content=decision.content,
                rules=rules[0], measured=now, because=decision.because, folder=folder, published=False,
                detailed=True, **tables.totals,
            )  # fmt: skip
            rows = [
                {"version_id": key, "kind": "file", "name": shown(file.path), "value": digest}
                for file, digest in zip(decision.model.files, decision.digests, strict=True)
            ]
            rows += [
                {"version_id": key, "kind": "rule", "name": name, "value": value}
                for name, value in rules[1].items()
            ]
            connection.execute(insert(inputs), rows)
            for name, table in details.items():
                records = [
                    {"version_id": key, "position": place, **record}
                    for place, record in enumerate(tables.records(name))
                ]
                if records:
                    connection.execute(insert(table), records)
            self._tried(connection, number, decision, rules[0], "measured", "", now, version_id=key)
            kind = "measured" if decision.because == "retry" else decision.because
            _event(connection, run, number, kind, now, detail, key)
            _alert(connection, run, number, told, key)
        return key

    @_lasting
    def not_measured(
        self, run: int, decision: Decision, number: int, rules: str, state: str, reason: str,
        told: Sequence[Alert], now: datetime, wait: timedelta | None,
    ) -> None:  # fmt: skip
        """Keep that a model holds nothing or fails; `wait` is the time until it is tried again."""
        with self.begin() as connection:
            before = connection.execute(select(models).where(models.c.id == number)).one()
            again = before.state == state and before.reason == reason
            attempts = before.attempts + 1 if state == "failing" else 0
            self._tried(
                connection, number, decision, rules, state, reason, now, attempts=attempts,
                next_attempt=now + wait if wait is not None else None,
                since=before.since if again else now,
            )  # fmt: skip
            if not again:
                _event(connection, run, number, "failed" if state == "failing" else "nothing", now, reason)
                _alert(connection, run, number, told, None)

    @_lasting
    def moved(self, run: int, decision: Decision, number: int, reason: str, now: datetime) -> None:
        """Keep that a model changed while it was measured: it waits, and its files count as not read."""
        with self.begin() as connection:
            _wait(connection, run, number, reason, now)
            connection.execute(update(files).where(files.c.model_id == number).values(sha256=""))

    @_lasting
    def alert(self, run: int, number: int, told: Alert) -> None:
        """An alert that comes with no new version."""
        with self.begin() as connection:
            _alert(connection, run, number, [told], None)

    @_lasting
    def alerted(self, number: int, kind: str, since: datetime) -> bool:
        """Whether a model has had an alert of this kind in a run since a moment."""
        with self.engine.connect() as connection:
            query = (
                select(alerts.c.id)
                .join(runs, alerts.c.run_id == runs.c.id)
                .where(alerts.c.model_id == number, alerts.c.kind == kind, runs.c.started >= since)
            )
            return connection.execute(query.limit(1)).first() is not None

    @_lasting
    def folder(self, number: int) -> str:
        """The output folder of a model."""
        with self.engine.connect() as connection:
            return str(connection.scalar(select(models.c.folder).where(models.c.id == number)))

    @_lasting
    def last_version(self, number: int) -> tuple[int, int]:
        """Key and number of the last good version of a model, zeros where there is none."""
        with self.engine.connect() as connection:
            row = connection.execute(
                select(versions.c.id, versions.c.number)
                .join(models, models.c.version_id == versions.c.id)
                .where(models.c.id == number)
            ).first()
            return (row.id, row.number) if row else (0, 0)

    @_lasting
    def unpublished(self) -> list[VersionPlace]:
        """Last versions of models whose files are not in their place yet."""
        with self.engine.connect() as connection:
            rows = connection.execute(
                select(versions.c.id, models.c.folder.label("place"), versions.c.folder)
                .join(models, models.c.version_id == versions.c.id)
                .where(models.c.job_id == self.job, ~versions.c.published)
                .order_by(versions.c.id)
            )
            return [VersionPlace(row.id, row.place, row.folder) for row in rows]

    @_lasting
    def published(self, version: int) -> None:
        """Note that the files of a version are in place."""
        with self.begin() as connection:
            connection.execute(update(versions).where(versions.c.id == version).values(published=True))

    @_lasting
    def outlived(self, keep: int, removed_before: datetime) -> list[VersionPlace]:
        """Versions whose files and details have served: those before the last `keep` of a model, and all of a
        model that is gone since before `removed_before`."""
        with self.engine.connect() as connection:
            own = (models.c.job_id == self.job) & versions.c.detailed
            joined = select(models.c.id).join(versions, versions.c.model_id == models.c.id).where(own)
            many = joined.group_by(models.c.id).having(func.count() > keep)
            gone = joined.where(models.c.removed < removed_before)
            rows = connection.execute(
                select(versions.c.id, models.c.folder.label("place"), versions.c.folder, models.c.id.label("model"),
                       (models.c.removed < removed_before).label("gone"))
                .join(models, versions.c.model_id == models.c.id)
                .where(own, models.c.id.in_(many) | models.c.id.in_(gone))
                .order_by(models.c.id, versions.c.number.desc())
            ).all()  # fmt: skip
        found = []
        for _, group in itertools.groupby(rows, key=lambda row: row.model):
            found += [row for place, row in enumerate(group) if place >= keep or row.gone]
        return [VersionPlace(row.id, row.place, row.folder) for row in found]

    @_lasting
    def kept_folders(self) -> dict[str, set[str]]:
        """The version folders that are kept, by the output folder of their model."""
        with self.engine.connect() as connection:
            rows = connection.execute(
                select(models.c.folder.label("place"), versions.c.folder)
                .outerjoin(versions, (versions.c.model_id == models.c.id) & versions.c.detailed)
                .where(models.c.job_id == self.job)
            )
            found: dict[str, set[str]] = {}
            for row in rows:
                found.setdefault(row.place, set()).update([row.folder] if row.folder else [])
            return found

    @_lasting
    def forget(self, version: int) -> None:
        """Forget elements, places and findings of a version; totals, quantities, items, money and shares stay."""
        with self.begin() as connection:
            for name in FORGETTABLE:
                connection.execute(delete(details[name]).where(details[name].c.version_id == version))
            connection.execute(
                update(versions).where(versions.c.id == version).values(detailed=False, published=True)
            )

    def _number(self, connection: Connection, run: int, decision: Decision, now: datetime) -> int:
        """The model's number, having added it or given it its new name."""
        model = decision.model
        if decision.known is not None:
            return decision.known.number
        if decision.renamed_from is not None:
            old = decision.renamed_from
            values = {"key": model.key, "name": model.name, "together": model.together, "removed": None}
            connection.execute(update(models).where(models.c.id == old.number).values(**values))
            _event(connection, run, old.number, "renamed", now, f"was {old.name}")
            return old.number
        return _inserted(
            connection, models, job_id=self.job, key=model.key, name=model.name, together=model.together,
            folder=self._free_folder(connection, model), first_seen=now, state="new",
        )  # fmt: skip

    def _free_folder(self, connection: Connection, model: Model) -> str:
        """An output folder of its own: a renamed model keeps the one of its first name."""
        name = folder_name(model.name, model.key)
        candidates = itertools.chain([name], (f"{name}-{number}" for number in itertools.count(2)))
        taken = select(models.c.id).where(models.c.job_id == self.job)
        return next(
            free for free in candidates if connection.scalar(taken.where(models.c.folder == free)) is None
        )

    def _note(self, connection: Connection, run: int, number: int, decision: Decision, now: datetime) -> None:
        old = decision.known or decision.renamed_from
        if decision.action == "waiting":
            _wait(connection, run, number, decision.because, now)
        elif old is not None and (old.waiting or old.removed) and decision.action != "unseen":
            values: dict[str, Any] = {"waiting": "", "waiting_since": None, "removed": None}
            connection.execute(update(models).where(models.c.id == number).values(**values))
            if decision.returned:
                _event(connection, run, number, "returned", now)
        _files(connection, number, decision)

    def _tried(
        self, connection: Connection, number: int, decision: Decision, rules: str, state: str, reason: str,
        now: datetime, **more: Any,
    ) -> None:  # fmt: skip
        values = {
            "state": state, "reason": reason, "content": decision.content, "rules": rules, "since": now,
            "attempts": 0, "next_attempt": None, "waiting": "", "waiting_since": None, "removed": None, **more,
        }  # fmt: skip
        connection.execute(update(models).where(models.c.id == number).values(**values))


def _inserted(connection: Connection, table: Any, **values: Any) -> int:
    key = connection.execute(insert(table).values(**values)).inserted_primary_key
    assert key is not None
    return int(key[0])


def _event(
    connection: Connection, run: int, number: int, kind: str, now: datetime, detail: str = "",
    version: int | None = None,
) -> None:  # fmt: skip
    connection.execute(
        insert(events).values(
            run_id=run, model_id=number, version_id=version, moment=now, kind=kind, detail=detail
        )
    )


def _alert(connection: Connection, run: int, number: int, told: Sequence[Alert], version: int | None) -> None:
    for alert in told:
        connection.execute(
            insert(alerts).values(
                run_id=run, model_id=number, version_id=version, kind=alert.kind, message=alert.message,
                value=alert.value, threshold=alert.threshold,
            )
        )  # fmt: skip


def _wait(connection: Connection, run: int, number: int, reason: str, now: datetime) -> None:
    before = connection.execute(select(models.c.waiting_since).where(models.c.id == number)).scalar()
    values = {"waiting": reason, "waiting_since": before or now, "removed": None}
    connection.execute(update(models).where(models.c.id == number).values(**values))
    if before is None:
        _event(connection, run, number, "waiting", now, reason)


def _files(connection: Connection, number: int, decision: Decision) -> None:
    """Keep the signatures of the files where they or their content changed."""
    if decision.action == "unseen":
        return
    old = decision.known or decision.renamed_from
    before = old.files if old else {}
    found = {name_key("path", file.path): (file, digest) for file, digest in
             zip(decision.model.files, decision.digests, strict=True)}  # fmt: skip
    same = {key: known for key, known in before.items() if key in found}
    if len(same) == len(found) == len(before) and all(
        known.signature == found[key][0].signature and known.sha256 == found[key][1]
        for key, known in same.items()
    ):
        return
    connection.execute(delete(files).where(files.c.model_id == number))
    connection.execute(
        insert(files),
        [
            {
                "model_id": number, "key": key, "path": escaped(file.path), "size": file.size,
                "mtime_ns": file.mtime_ns, "ctime_ns": file.ctime_ns, "inode": str(file.inode), "sha256": digest,
            }
            for key, (file, digest) in found.items()
        ],
    )  # fmt: skip
