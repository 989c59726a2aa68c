"""`takeoff history`: questions to the history that nightly runs keep."""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from takeoff.commands.common import PATH, problems
from takeoff.findings import InputError

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from takeoff.nightly.history.questions import Answer


@click.group(short_help="What the nights kept: runs, models, failures, changes, trends.")
def history() -> None:
    """Ask the history of nightly runs. WHERE is their output folder or a database URL.

    Example: takeoff history trend results --of prefabrication
    """


def _asking(command: Callable[..., None]) -> Callable[..., None]:
    """What all questions share."""
    for option in reversed((
        click.argument("where"),
        click.option("--name", default="", help="Which job, where the history holds several."),
        click.option("--csv", "csv_file", type=PATH, help="Write the answer as CSV to this file."),
        click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON."),
    )):  # fmt: skip
        command = option(command)
    return command


@history.command()
@_asking
def runs(where: str, name: str, csv_file: Path | None, as_json: bool) -> None:
    """Runs, the last first."""
    from takeoff.nightly.history.questions import list_runs

    with _job(where, name) as (connection, job):
        _answer(list_runs(connection, job), csv_file, as_json)


@history.command()
@_asking
def models(where: str, name: str, csv_file: Path | None, as_json: bool) -> None:
    """Models with state and last good figures."""
    from takeoff.nightly.history.questions import list_models

    with _job(where, name) as (connection, job):
        _answer(list_models(connection, job), csv_file, as_json)


@history.command()
@_asking
def failing(where: str, name: str, csv_file: Path | None, as_json: bool) -> None:
    """Models that fail: why, since when, how often."""
    from takeoff.nightly.history.questions import list_failing

    with _job(where, name) as (connection, job):
        _answer(list_failing(connection, job), csv_file, as_json)


@history.command()
@_asking
@click.option("--run", type=int, help="Events told by the report of this run; default: the last.")
def events(where: str, name: str, csv_file: Path | None, as_json: bool, run: int | None) -> None:
    """What happened to models, as one report told it."""
    from takeoff.nightly.history.questions import Answer, last_run, list_events

    with _job(where, name) as (connection, job):
        found = list_events(connection, job, run if run is not None else last_run(connection, job))
        _answer(Answer(found.columns[:5], tuple(row[:5] for row in found.rows)), csv_file, as_json)


@history.command()
@_asking
@click.option(
    "--since", help="Compare with the last version before this day (2026-01-31); default: the last run."
)
@click.option("--model", default="*", help="Only models whose name fits this pattern.")
@click.option(
    "--of", type=click.Choice(["totals", "items", "elements"]), default="totals", help="What is compared."
)
def changes(
    where: str, name: str, csv_file: Path | None, as_json: bool, since: str | None, model: str, of: str
) -> None:
    """What changed since last night, or since a day."""
    from takeoff.nightly.changes import change_rows
    from takeoff.nightly.history.questions import Answer, changes_since

    with _job(where, name) as (connection, job):
        columns, rows = change_rows(changes_since(connection, job, _day(since), model), of)
        _answer(Answer(columns, rows), csv_file, as_json)


@history.command()
@_asking
@click.option("--of", "what", default="prefabrication", help="A figure, a share, or the key of a bill item.")
@click.option("--model", default="*", help="Only models whose name fits this pattern.")
@click.option("--each", is_flag=True, help="Each model by itself instead of the sum.")
def trend(
    where: str, name: str, csv_file: Path | None, as_json: bool, what: str, model: str, each: bool
) -> None:
    """How a quantity, money or share moved over time.

    Figures: concrete, gross-concrete, formwork, reinforcement, weight, net-total, grand-total, elements, pieces,
    errors, warnings, unpriced-items. Shares: prefabrication (of volume), prefabrication-value, -pieces, -weight,
    -wall-length, -floor-area. Keys of bill items may hold *.
    """
    from takeoff.nightly.history.trends import trend as ask

    with _job(where, name) as (connection, job):
        _answer(ask(connection, job, what, model, not each), csv_file, as_json)


@contextmanager
def _job(where: str, name: str) -> "Iterator[tuple[Connection, int]]":
    """A connection to the history at `where`, and the number of the job in it."""
    from sqlalchemy.exc import SQLAlchemyError

    from takeoff.nightly.history.database import history_url, open_database, words
    from takeoff.nightly.history.questions import find_job
    from takeoff.nightly.secrets import HISTORY, secret

    with problems():
        if "://" in where:
            url = history_url(where, Path())
        else:
            stated = secret(HISTORY) if not (Path(where) / "history.sqlite").exists() else ""
            url = history_url("", Path(where), stated)
        engine = open_database(url, create=False)
        try:
            with engine.connect() as connection:
                yield connection, find_job(connection, name)
        except SQLAlchemyError as fault:
            raise InputError(f"history: {words(fault)}") from fault
        finally:
            engine.dispose()


def _answer(answer: "Answer", csv_file: Path | None, as_json: bool) -> None:
    if csv_file is not None:
        from takeoff.nightly.changes import csv_lines
        from takeoff.outputs.files import write_whole

        rows = [[_plain(value) for value in row] for row in answer.rows]
        text = csv_lines(answer.columns, rows)
        write_whole(csv_file, partial(_write, text=text))
    if as_json:
        records = [{key: _plain(value) for key, value in row.items()} for row in answer.records()]
        click.echo(json.dumps(records, ensure_ascii=False, indent=1))
    elif csv_file is None:
        _table(answer)


def _write(path: Path, text: str) -> None:
    path.write_bytes(text.encode())


def _table(answer: "Answer") -> None:
    """The answer for a terminal; in a pipe tab-separated, so that no column is cut."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    console = Console()
    if not console.is_terminal:
        for row in (answer.columns, *answer.rows):
            click.echo("\t".join(_shown(value) for value in row))
        return
    table = Table(show_edge=False, pad_edge=False)
    for column in answer.columns:
        table.add_column(column, overflow="fold")
    for row in answer.rows:
        table.add_row(*(Text(_shown(value)) for value in row))
    console.print(table if answer.rows else "nothing")


def _shown(value: Any) -> str:
    from takeoff.nightly.names import escaped

    if value is None:
        return ""
    if isinstance(value, datetime):
        return f"{value:%Y-%m-%d %H:%M}"
    return f"{value:,.4f}" if isinstance(value, float) else escaped(str(value))


def _plain(value: Any) -> Any:
    return value.isoformat(timespec="seconds") if isinstance(value, datetime) else value


def _day(text: str | None) -> datetime | None:
    if text is None:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(f"--since {text}: is no day; write it like 2026-01-31") from None
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)
