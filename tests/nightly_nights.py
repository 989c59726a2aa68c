"""Made nights for tests: small models in a folder, passes at stated dates, and the state they leave."""

import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from build import Model
from msgspec.structs import replace
from openpyxl import load_workbook
from sqlalchemy import select

from takeoff.nightly.finished import Pass
from takeoff.nightly.history.database import open_database
from takeoff.nightly.history.schema import alerts, details, events, files, inputs, models, versions
from takeoff.nightly.job import NightlyJob
from takeoff.nightly.log import Log
from takeoff.nightly.order import Order, PinnedRules
from takeoff.nightly.outcome import Outcome
from takeoff.nightly.place import find_place
from takeoff.nightly.report import Report
from takeoff.nightly.run import session
from takeoff.nightly.tables import COLUMNS, TOTALS
from takeoff.nightly.workers import LocalWorkers, Workers
from takeoff.settings import Settings

FIRST_NIGHT = datetime(2026, 3, 2, 2, 0, tzinfo=UTC)


def write_wall(path: Path, length: float, precast: bool = False, name: str = "Wall") -> Path:
    """A model of one concrete wall, 0.2 m thick and 3 m high: 0.6 m3 a metre."""
    model = Model("IFC4", "mm")
    words = {"made": "Precast"} if precast else {}
    model.wall((0, 0), (length, 0), thickness=0.2, height=3.0, name=name, **words)
    path.parent.mkdir(parents=True, exist_ok=True)
    model.save(path)
    return path


_MEASURED: dict[tuple[object, ...], Outcome] = {}


class RememberingWorkers(LocalWorkers):
    """Processes of this machine, which measure each content by each set of rules once for all tests."""

    def outcomes(self, orders: Sequence[Order], rules: PinnedRules) -> Iterator[Outcome]:
        keys = {order.number: (order.paths, order.digests, rules.key) for order in orders}
        for order in orders:
            if keys[order.number] in _MEASURED:
                yield replace(_MEASURED[keys[order.number]], number=order.number)
        for outcome in super().outcomes([o for o in orders if keys[o.number] not in _MEASURED], rules):
            _MEASURED[keys[outcome.number]] = outcome
            yield outcome


@dataclass
class Nights:
    """A model folder, its output, and a pass for each night."""

    root: Path
    job: NightlyJob = field(default_factory=lambda: NightlyJob(settle_seconds=0, models_at_once=2))
    history: str = ""
    crew: Callable[[], Workers] = lambda: RememberingWorkers(2)
    settings: Settings = field(default_factory=Settings)

    @property
    def folder(self) -> Path:
        return self.root / "models"

    @property
    def out(self) -> Path:
        return self.root / "out"

    @property
    def url(self) -> str:
        return self.history or f"sqlite:///{self.out / 'history.sqlite'}"

    def night(self, number: float, idle: bool = True) -> tuple[Pass | None, Report | None]:
        """The pass of a night, counted in days from the first; None and None when there was nothing to do."""
        now = FIRST_NIGHT + timedelta(days=number)
        place = find_place(self.folder, self.out, self.job, self.url)
        with session(place, Log(quiet=True)) as held:
            finished = held.run_pass(self.settings, self.job, 1, self.crew, lambda: now, idle)
            if finished is None:
                return None, None
            report = held.report(finished)
            held.close(finished, report, now)
            held.tidy(self.job, now)
        return finished, report


def happened(report: Report | None) -> list[tuple[str, str]]:
    """Events that a report tells: model and what."""
    assert report is not None
    return [(row["model"], row["event"]) for row in report.data["events"]]


def history_state(url: str) -> dict[str, Any]:
    """All that a history holds of models, without what differs from run to run: keys, moments, seconds."""
    engine = open_database(url, create=False)
    state: dict[str, Any] = {}
    with engine.connect() as connection:
        names = {row.id: row.name for row in connection.execute(select(models))}
        numbers = {row.id: (names[row.model_id], row.number) for row in connection.execute(select(versions))}
        skip = {
            "id",
            "job_id",
            "first_seen",
            "since",
            "next_attempt",
            "waiting_since",
            "removed",
            "version_id",
        }
        for row in connection.execute(select(models).order_by(models.c.name)).mappings():
            own = {key: value for key, value in row.items() if key not in skip}
            state["model", row["name"]] = (own, row["removed"] is not None, numbers.get(row["version_id"]))
        kept = ("content", "rules", "because", "folder", "published", "detailed", *TOTALS)
        for row in connection.execute(select(versions)).mappings():
            state["version", *numbers[row["id"]]] = {key: row[key] for key in kept if key != "seconds"}
        for table in (inputs, *details.values()):
            columns = [table.c[name] for name in COLUMNS.get(table.name, ("kind", "name", "value"))]
            for row in connection.execute(select(table.c.version_id, *columns).order_by(table.c.id)):
                state.setdefault((table.name, *numbers[row.version_id]), []).append(tuple(row[1:]))
        for row in connection.execute(select(files)):
            state["file", names[row.model_id], row.path] = (row.size, row.sha256)
        for table, columns in ((events, ("kind", "detail")), (alerts, ("kind", "message", "value"))):
            chosen = [table.c[name] for name in columns]
            query = select(table.c.model_id, table.c.version_id, *chosen).order_by(table.c.id)
            for row in connection.execute(query):
                place = (table.name, names[row.model_id])
                state.setdefault(place, []).append((numbers.get(row.version_id), *row[2:]))
    engine.dispose()
    return state


def output_state(out: Path) -> dict[str, Any]:
    """The files of models as they are for people: tables as text, workbooks by their cells, no moments."""
    state: dict[str, Any] = {}
    for path in sorted((out / "models").rglob("*")):
        place = str(path.relative_to(out))
        if path.suffix == ".csv":
            state[place] = path.read_bytes()
        elif path.suffix == ".xlsx":
            state[place] = _cells(path)
        elif path.is_file():
            state[place] = path.name
        else:
            state[place] = "folder"
    return state


def _cells(path: Path) -> Mapping[str, list[tuple[object, ...]]]:
    """Cells of a workbook by sheet, without the lines that name the moment of the run."""
    book = load_workbook(path)
    return {
        sheet.title: [row for row in sheet.iter_rows(values_only=True) if not any(_is_moment(v) for v in row)]
        for sheet in book
    }


def _is_moment(value: object) -> bool:
    return isinstance(value, datetime) or (isinstance(value, str) and any(
        word in value for word in ("Created", "created", "seconds", "UTC", "measured on")
    ))  # fmt: skip


def copy_tree(source: Path, target: Path) -> None:
    """A copy with times as they were."""
    shutil.copytree(source, target, copy_function=shutil.copy2)
