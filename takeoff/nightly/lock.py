"""One run at a time in an output folder; the lock of a run that died is no lock."""

import json
import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from filelock import FileLock, Timeout

from takeoff.findings import InputError

LOCK = ".nightly.lock"
HOLDER = ".nightly-run.json"


@contextmanager
def hold(out: Path) -> Iterator[str]:
    """Hold the output folder; gives words about a run that died holding it, else an empty text.

    The operating system holds the lock and lets go of it when the process ends, however it ends. Raises
    InputError, naming the run that is at work, when the folder is held.
    """
    lock = FileLock(out / LOCK)
    holder = out / HOLDER
    try:
        lock.acquire(timeout=0)
    except Timeout:
        raise InputError(f"{out}: another run is at work{_words(holder)}; nothing was done") from None
    except (OSError, NotImplementedError) as fault:
        raise InputError(
            f"{out}: cannot be locked ({fault}); put it on a file system that can lock"
        ) from fault
    try:
        died = f"the run{_words(holder)} ended without closing; this one goes on" if holder.exists() else ""
        mine = {
            "process": os.getpid(),
            "host": socket.gethostname(),
            "since": datetime.now(UTC).isoformat(timespec="seconds"),
        }
        try:
            holder.write_text(json.dumps(mine), encoding="utf-8")
        except OSError as fault:
            raise InputError(f"{out}: cannot be written ({fault.strerror}); give another place") from fault
        yield died
    finally:
        holder.unlink(missing_ok=True)
        lock.release()


def _words(holder: Path) -> str:
    try:
        told = json.loads(holder.read_text(encoding="utf-8"))
        return f" (process {told['process']} on {told['host']}, since {told['since']})"
    except (OSError, ValueError, KeyError, TypeError):
        return ""
