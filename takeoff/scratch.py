"""Folders for what a run writes on its way, and the end of those whose run was killed.

Whoever makes a folder keeps it locked for as long as he lives; the system lets go of the lock when he dies, however
that happens. So a folder of this machine that can be locked belongs to nobody, whatever number its process had. Where
there are no such locks nothing is taken away.
"""

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

PREFIX = "takeoff-"
UNMARKED = ".new"
"""The end of the name of a folder that is not locked yet."""

_swept: set[str] = set()


@contextmanager
def scratch_folder(kind: str, within: str | os.PathLike[str] | None = None) -> Iterator[Path]:
    """A private folder that is taken away at the end, with all in it; `within` a folder, or the system's own for that.

    Such folders there whose owner is dead are taken away first, once a process. Raises OSError where none can be made.
    """
    place = Path(within or tempfile.gettempdir())
    if str(place) not in _swept:
        _swept.add(str(place))
        sweep(place)
    folder = Path(tempfile.mkdtemp(UNMARKED, f"{PREFIX}{kind}-{_machine()}-", place))
    held = None
    try:
        held = _locked(folder)
        if held is not None:
            marked = folder.with_name(folder.name.removesuffix(UNMARKED))
            folder.rename(marked)
            folder = marked
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        if held is not None:
            os.close(held)


def sweep(place: str | os.PathLike[str] | None = None) -> None:
    """Take away folders of this machine whose owner is dead; what cannot be looked at, or taken away, stays."""
    mine = f"-{_machine()}-"
    with suppress(OSError), os.scandir(place or tempfile.gettempdir()) as entries:
        for entry in entries:
            name = entry.name
            if not name.startswith(PREFIX) or mine not in name or name.endswith(UNMARKED):
                continue
            held = _locked(Path(entry.path))
            if held is not None:
                shutil.rmtree(entry.path, ignore_errors=True)
                os.close(held)


def _locked(folder: Path) -> int | None:
    """The handle that keeps a folder of this user locked; None where somebody else does, or there are no locks."""
    try:
        import fcntl
    except ImportError:  # this system has none
        return None
    try:
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
    except OSError:
        return None
    try:
        if os.fstat(handle).st_uid == os.getuid():
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return handle
    except OSError:
        pass
    os.close(handle)
    return None


def _machine() -> str:
    """The name of this machine, as it may stand in that of a file."""
    name = os.uname().nodename if hasattr(os, "uname") else ""
    return "".join(c if c.isalnum() else "_" for c in name) or "_"
