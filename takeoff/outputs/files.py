"""Files that appear whole or not at all."""

import os
import secrets
import shutil
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from takeoff.findings import InputError

FLUSHED = 8
"""Files of a folder that are flushed to the disk at the same time."""


def write_whole(path: Path, write: Callable[[Path], None]) -> None:
    """Have `write` fill a temporary file beside `path`, then put it in place in one step.

    Whatever `write` raises leaves `path` as it was and no file behind.

    Raises:
        InputError: the folder is missing, `path` is a folder, or it may not be written.
    """
    target = Path(os.path.realpath(path))
    if target.is_dir():
        raise InputError(f"{path}: is a folder; give the name of a file to write")
    _require_parent(path, target)
    partial = _sibling(target)
    try:
        with _told_plainly(path):
            write(partial)
            _flush(partial)
            os.replace(partial, target)
    finally:
        with suppress(OSError):  # it was never made, or the disk takes nothing any more
            partial.unlink()


def write_folder_whole(
    path: Path, write: Callable[[Path], None], is_ours: Callable[[Path], bool], last: str
) -> None:
    """Have `write` fill a temporary folder beside `path`, then put its files in place together.

    A folder that does not exist appears in one step. Into one that exists files are only put when it is empty
    or `is_ours(folder)` says that it holds an earlier run; its other files stay. If a file cannot be put in
    place, those already exchanged are put back. The file named `last` tells whose folder it is and is
    exchanged after the others.

    Raises:
        InputError: `path` is a file or a folder with other content, its parent is missing, or it may not be
            written.
    """
    target = Path(os.path.realpath(path))
    if target.exists() and not target.is_dir():
        raise InputError(f"{path}: is a file; give the name of a folder to write")
    _require_parent(path, target)
    with _told_plainly(path):
        if target.is_dir() and any(target.iterdir()) and not is_ours(target):
            raise InputError(
                f"{path}: holds other files and no earlier run of takeoff; give a new or empty folder"
            )
    partial = _sibling(target)
    try:
        with _told_plainly(path):
            partial.mkdir()
            write(partial)
            _flush_all(list(partial.iterdir()))
            if target.is_dir():
                _exchange(partial, target, last)
            else:
                os.replace(partial, target)
    finally:
        shutil.rmtree(partial, ignore_errors=True)


def _exchange(source: Path, target: Path, last: str) -> None:
    """Move the files of `source` into `target`; on failure restore what `target` held and raise."""
    kept = source / "kept"
    names = sorted((file.name for file in source.iterdir()), key=lambda name: (name == last, name))
    kept.mkdir()
    moved: list[str] = []
    try:
        for name in names:
            if (target / name).exists():
                os.replace(target / name, kept / name)
            moved.append(name)
            os.replace(source / name, target / name)
    except OSError:
        for name in reversed(moved):
            (target / name).unlink(missing_ok=True)
            if (kept / name).exists():
                os.replace(kept / name, target / name)
        raise


def _require_parent(path: Path, target: Path) -> None:
    if not target.parent.is_dir():
        raise InputError(f"{path}: there is no folder {target.parent}; make it or give another place")


def _sibling(target: Path) -> Path:
    """A free hidden name beside `target`, so that the last step is a rename within one file system."""
    return target.with_name(f".{target.name[:100]}.{secrets.token_hex(6)}.part")


def _flush_all(files: Sequence[Path]) -> None:
    """Flush files at the same time: the disk does them together, where one by one each waits for its turn."""
    faults: list[OSError] = []

    def flush(share: Sequence[Path]) -> None:
        try:
            for file in share:
                _flush(file)
        except OSError as fault:
            faults.append(fault)

    threads = [threading.Thread(target=flush, args=(files[first::FLUSHED],)) for first in range(FLUSHED)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if faults:
        raise faults[0]


def _flush(file: Path) -> None:
    with file.open("rb+") as stream:
        os.fsync(stream.fileno())


@contextmanager
def _told_plainly(path: Path) -> Iterator[None]:
    try:
        yield
    except PermissionError as error:
        raise InputError(
            f"{path}: may not be written; close it in other programs, check the rights, or give another place"
        ) from error
    except OSError as error:
        raise InputError(f"{path}: cannot be written: {error.strerror or error}") from error
