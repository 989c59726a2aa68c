"""The tables of the history. Changes here need a migration in `migrations/versions`, which a test compares."""

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    DateTime,
    Dialect,
    Double,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
)

from takeoff.nightly.tables import COLUMNS, TOTALS


class Moment(TypeDecorator[datetime]):
    """A moment in UTC; databases that keep no zone give it back with one all the same."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Into the database in UTC, without zone where the database knows none."""
        if value is None:
            return None
        value = value.astimezone(UTC)
        return value.replace(tzinfo=None) if dialect.name == "sqlite" else value

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Out of the database with its zone."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


metadata = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "ix": "ix_%(table_name)s_%(column_0_name)s",
    }
)

_TYPES: dict[type, Any] = {str: Text, float: Double, int: Integer}


def _key() -> "Column[int]":
    return Column("id", Integer, primary_key=True)


def _ref(name: str, target: str, nullable: bool = False) -> "Column[int]":
    return Column(name, Integer, ForeignKey(f"{target}.id", ondelete="CASCADE"), nullable=nullable)


jobs = Table(
    "jobs", metadata, _key(),
    Column("name", Text, nullable=False, unique=True),
)  # fmt: skip
"""One row for each nightly job that keeps its history here: by its name, else its model folder."""

runs = Table(
    "runs", metadata, _key(), _ref("job_id", "jobs"),
    Column("started", Moment, nullable=False),
    Column("finished", Moment),
    Column("state", String(16), nullable=False),
    Column("program", Text, nullable=False),
    Column("host", Text, nullable=False),
    Column("models", Integer), Column("measured", Integer), Column("unchanged", Integer),
    Column("failed", Integer), Column("waiting", Integer), Column("removed", Integer),
    Column("alerts", Integer),
    Column("net_total", Double), Column("net_volume_m3", Double), Column("share_volume", Double),
    Column("summary", Text, nullable=False, default=""),
    Index("ix_runs_job", "job_id", "id"),
)  # fmt: skip
"""One row for each run: `state` is running, done, failed, stopped or interrupted (it died)."""

models = Table(
    "models", metadata, _key(), _ref("job_id", "jobs"),
    Column("key", String(64), nullable=False),
    Column("name", Text, nullable=False),
    Column("together", Boolean, nullable=False),
    Column("folder", Text, nullable=False),
    Column("first_seen", Moment, nullable=False),
    Column("state", String(16), nullable=False),
    Column("reason", Text, nullable=False, default=""),
    Column("since", Moment),
    Column("content", String(64), nullable=False, default=""),
    Column("rules", String(64), nullable=False, default=""),
    Column("attempts", Integer, nullable=False, default=0),
    Column("next_attempt", Moment),
    Column("waiting", Text, nullable=False, default=""),
    Column("waiting_since", Moment),
    Column("removed", Moment),
    Column("version_id", Integer),
    UniqueConstraint("job_id", "key", name="uq_models_key"),
    UniqueConstraint("job_id", "folder", name="uq_models_folder"),
)  # fmt: skip
"""`state` is what came of the last try: new, measured, nothing, failing. `version_id` is the last good one."""

files = Table(
    "files", metadata, _key(), _ref("model_id", "models"),
    Column("key", String(64), nullable=False),
    Column("path", Text, nullable=False),
    Column("size", BigInteger, nullable=False),
    Column("mtime_ns", BigInteger, nullable=False),
    Column("ctime_ns", BigInteger, nullable=False),
    Column("inode", String(24), nullable=False),
    Column("sha256", String(64), nullable=False, default=""),
    UniqueConstraint("model_id", "key", name="uq_files_key"),
)  # fmt: skip
"""Files of a model as last seen; `sha256` is empty while one waits and has not been read."""

versions = Table(
    "versions", metadata, _key(), _ref("model_id", "models"), _ref("run_id", "runs"),
    Column("number", Integer, nullable=False),
    Column("content", String(64), nullable=False),
    Column("rules", String(64), nullable=False),
    Column("measured", Moment, nullable=False),
    Column("because", Text, nullable=False),
    Column("folder", Text, nullable=False),
    Column("published", Boolean, nullable=False, default=False),
    Column("detailed", Boolean, nullable=False, default=True),
    *(Column(name, _TYPES[kind]) for name, kind in TOTALS.items()),
    UniqueConstraint("model_id", "number", name="uq_versions_number"),
)  # fmt: skip
"""A measured version. `published`: its files are in place. `detailed`: elements and findings are still kept."""

inputs = Table(
    "inputs", metadata, _key(), _ref("version_id", "versions"),
    Column("kind", String(8), nullable=False),
    Column("name", Text, nullable=False),
    Column("value", Text, nullable=False),
    Index("ix_inputs_version", "version_id"),
)  # fmt: skip
"""What a version was made from: `kind` file (of the model, by SHA-256) or rule."""

events = Table(
    "events", metadata, _key(), _ref("run_id", "runs"), _ref("model_id", "models"),
    _ref("version_id", "versions", nullable=True),
    Column("moment", Moment, nullable=False),
    Column("kind", String(16), nullable=False),
    Column("detail", Text, nullable=False, default=""),
    _ref("told_run_id", "runs", nullable=True),
    Index("ix_events_run", "run_id"), Index("ix_events_model", "model_id"),
)  # fmt: skip
"""What happened to a model, and the run whose report told it (none yet: the next will)."""

alerts = Table(
    "alerts", metadata, _key(), _ref("run_id", "runs"), _ref("model_id", "models"),
    _ref("version_id", "versions", nullable=True),
    Column("kind", String(24), nullable=False),
    Column("message", Text, nullable=False),
    Column("value", Double), Column("threshold", Double),
    _ref("told_run_id", "runs", nullable=True),
    Index("ix_alerts_run", "run_id"),
)  # fmt: skip

details: dict[str, Table] = {
    name: Table(
        name, metadata, _key(), _ref("version_id", "versions"),
        Column("position", Integer, nullable=False),
        *(Column(column, _TYPES[kind]) for column, kind in columns.items()),
        Index(f"ix_{name}_version", "version_id"),
    )
    for name, columns in COLUMNS.items()
}  # fmt: skip
"""The rows of versions: elements, quantities, items, money, shares, findings, in their order."""
