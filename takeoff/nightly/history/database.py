"""The database of the history: opened by URL, its tables brought to this program's version."""

import contextlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError, DBAPIError, OperationalError, SQLAlchemyError

from takeoff.findings import InputError
from takeoff.nightly.secrets import HISTORY

SCRIPTS = Path(__file__).parent / "migrations"
FILE_NAME = "history.sqlite"

_PASSING = ("08", "53", "57")
"""Classes of PostgreSQL's error codes: connection, resources, intervention of an operator."""

_DRIVERS = {"postgresql": "postgresql+psycopg", "postgres": "postgresql+psycopg"}


def history_url(stated: str, out: Path, from_environment: str = "") -> str:
    """The URL to use: that of the environment, the stated one, or a SQLite file in `out`.

    Raises InputError for a stated URL with a password in it: job files and arguments are read by others.
    """
    if from_environment:
        return from_environment
    if not stated:
        return f"sqlite:///{out / FILE_NAME}"
    if make_known_url(stated).password:
        raise InputError(
            f"history: a password does not belong in a job file or argument; give the URL in {HISTORY} "
            "or the password in PGPASSWORD"
        )
    return stated


def make_known_url(url: str) -> URL:
    """The URL taken apart. Raises InputError unless it is one of SQLite or PostgreSQL."""
    try:
        known = make_url(url)
    except ArgumentError:
        raise InputError(
            "history: the database URL cannot be read; write sqlite:///FILE or postgresql://HOST/NAME"
        ) from None
    known = known.set(drivername=_DRIVERS.get(known.drivername, known.drivername))
    if known.get_backend_name() not in ("sqlite", "postgresql"):
        raise InputError(f"history: {known.get_backend_name()} is not known; use sqlite or postgresql")
    return known


def open_database(url: str, create: bool = True, scripts: Path = SCRIPTS) -> Engine:
    """An engine on the history, its tables made or migrated (with `create`; else they must be current).

    Raises InputError when the database can't be reached, or was written by a newer program.
    """
    known = make_known_url(url)
    shown = known.render_as_string(hide_password=True)
    if known.get_backend_name() == "sqlite" and not create and not Path(known.database or "").is_file():
        raise InputError(f"{known.database}: there is no history; run `takeoff nightly` first")
    try:
        engine = create_engine(known)
    except ImportError:
        raise InputError(
            f"history {shown}: needs the extra 'postgres': pip install 'takeoff[postgres]'"
        ) from None
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _sqlite_connect)
    try:
        _migrate(engine, shown, create, scripts)
    except SQLAlchemyError as fault:
        engine.dispose()
        raise InputError(f"history {shown}: {words(fault)}") from fault
    return engine


def words(fault: SQLAlchemyError) -> str:
    """What the database said, in one line."""
    said = str(getattr(fault, "orig", None) or fault).strip().splitlines()
    return said[0][:300] if said else type(fault).__name__


class Hold:
    """A job held in the database against other runs, also those on other machines and into other folders.

    PostgreSQL forgets the hold with the connection; SQLite has none, there the lock of the output folder does.
    """

    def __init__(self, engine: Engine, job: str) -> None:
        self._engine = engine
        self._name = {"name": f"takeoff nightly {job}"}
        self._connection: Connection | None = None

    def take(self) -> bool:
        """Take the hold, or make sure of it after the database was away; False when another run has it."""
        if self._engine.dialect.name != "postgresql":
            return True
        if self._connection is not None:
            try:
                self._connection.execute(text("SELECT 1"))
                self._connection.commit()
                return True
            except SQLAlchemyError:
                self.release()
        connection = self._engine.connect()
        try:
            lock = text("SELECT pg_try_advisory_lock(hashtextextended(:name, 0))")
            held = bool(connection.execute(lock, self._name).scalar())
            connection.commit()
        except SQLAlchemyError:
            connection.invalidate()
            connection.close()
            raise
        if held:
            self._connection = connection
        else:
            connection.close()
        return held

    def release(self) -> None:
        """Let go of it; a connection that is lost has done so itself."""
        connection, self._connection = self._connection, None
        if connection is None:
            return
        with contextlib.suppress(SQLAlchemyError):
            # The hold ends with the session in the database, whatever state it is in.
            connection.invalidate()
            connection.close()


@contextmanager
def alone(engine: Engine, job: str) -> Iterator[Hold]:
    """The hold of a job, let go at the end. Raises InputError when another run has it."""
    hold = Hold(engine, job)
    if not hold.take():
        raise InputError(f"history: another run of {job!r} is at work; nothing was done")
    try:
        yield hold
    finally:
        hold.release()


def passes(fault: DBAPIError) -> bool:
    """Whether a fault may pass by waiting: the server is away or restarts, the file is locked by another."""
    if fault.connection_invalidated:
        return True
    if not isinstance(fault, OperationalError):
        return False
    code = getattr(fault.orig, "sqlstate", None)
    if code is not None:
        return str(code)[:2] in _PASSING
    said = str(fault.orig)
    return "locked" in said or "busy" in said or type(fault.orig).__module__.startswith("psycopg")


def _sqlite_connect(connection: Any, record: Any) -> None:
    del record
    connection.execute("PRAGMA foreign_keys=ON")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("PRAGMA busy_timeout=20000")


def _migrate(engine: Engine, shown: str, create: bool, scripts: Path) -> None:
    config = Config()
    config.set_main_option("script_location", str(scripts).replace("%", "%%"))
    steps = ScriptDirectory.from_config(config)
    with engine.connect() as connection:
        current = MigrationContext.configure(connection).get_current_revision()
        if current == steps.get_current_head():
            return
        if current is not None and current not in {step.revision for step in steps.walk_revisions()}:
            raise InputError(f"history {shown}: was written by a newer takeoff ({current}); update this one")
        if not create and current is None:
            raise InputError(f"history {shown}: holds no history; run `takeoff nightly` first")
    with engine.begin() as connection:
        _begin_ddl(connection)
        config.attributes["connection"] = connection
        command.upgrade(config, "head")


def _begin_ddl(connection: Connection) -> None:
    """Make table changes part of the transaction: SQLite's driver would commit before them."""
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql("BEGIN IMMEDIATE")
