"""Where a nightly job reads and writes."""

from pathlib import Path

from msgspec import Struct

from takeoff.findings import InputError
from takeoff.nightly.history.database import history_url
from takeoff.nightly.job import NightlyJob
from takeoff.nightly.secrets import HISTORY, secret


class Place(Struct, frozen=True):
    """Where a nightly job reads and writes, and the name under which the history knows it."""

    folder: Path
    out: Path
    url: str
    job_name: str


def find_place(folder: Path, out: Path, job: NightlyJob, stated_history: str = "") -> Place:
    """The places of a job. Raises InputError where the output would lie in the model folder or around it."""
    folder, out = folder.resolve(), out.resolve()
    if out == folder or folder in out.parents:
        raise InputError(f"{out}: lies in the model folder, where nothing is written; give another place")
    if out in folder.parents:
        raise InputError(f"{out}: lies around the model folder; give a folder of its own for the output")
    url = history_url(stated_history or job.history, out, secret(HISTORY))
    file = url.removeprefix("sqlite:///") if url.startswith("sqlite:///") else ""
    if file and folder in Path(file).resolve().parents:
        raise InputError(f"{file}: lies in the model folder, where nothing is written; give another place")
    return Place(folder, out, url, job.name or str(folder))
