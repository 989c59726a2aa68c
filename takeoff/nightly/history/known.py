"""What the history knows of the models of a job before a run."""

from collections.abc import Mapping
from datetime import datetime

from msgspec import Struct
from sqlalchemy import Connection, select

from takeoff.nightly.history.schema import files, models, versions
from takeoff.nightly.stillness import Signature


class KnownFile(Struct, frozen=True):
    """A file as last seen; `sha256` is empty when it was never read."""

    path: str
    signature: Signature
    sha256: str


class KnownModel(Struct, frozen=True):
    """A model as the last run left it. `rules` and `content` are those of the last try.

    `kept`: there is no version, or the files and elements of the last one are there still.
    """

    number: int
    key: str
    name: str
    folder: str
    state: str
    content: str
    rules: str
    attempts: int
    next_attempt: datetime | None
    reason: str
    waiting: str
    waiting_since: datetime | None
    removed: bool
    version: int | None
    version_rules: str
    kept: bool
    files: Mapping[str, KnownFile]


def known_models(connection: Connection, job: int) -> dict[str, KnownModel]:
    """All models of a job by key, with their files by key."""
    own: dict[int, dict[str, KnownFile]] = {}
    query = select(files).join(models, files.c.model_id == models.c.id).where(models.c.job_id == job)
    for row in connection.execute(query):
        signature = (row.size, row.mtime_ns, row.ctime_ns, int(row.inode))
        own.setdefault(row.model_id, {})[row.key] = KnownFile(row.path, signature, row.sha256)
    query = (
        select(models, versions.c.rules.label("version_rules"), versions.c.detailed)
        .outerjoin(versions, models.c.version_id == versions.c.id)
        .where(models.c.job_id == job)
        .order_by(models.c.id)
    )
    return {
        row.key: KnownModel(
            row.id, row.key, row.name, row.folder, row.state, row.content, row.rules, row.attempts,
            row.next_attempt, row.reason, row.waiting, row.waiting_since, row.removed is not None,
            row.version_id, row.version_rules or "", row.detailed is not False, own.get(row.id, {}),
        )
        for row in connection.execute(query)
    }  # fmt: skip
