"""The model folder as it stands: which files are there, and which somebody is still writing.

Nothing is opened for writing and no link is followed, so that the folder stays as it is and nothing outside it
is read.
"""

import os
import stat
from collections.abc import Iterator, Sequence
from fnmatch import fnmatchcase
from pathlib import Path

from msgspec import Struct

from takeoff.findings import InputError
from takeoff.nightly.names import escaped, shown

LOCKS = (
    "{name}.lock",
    "{name}.lck",
    "{stem}.lock",
    "{stem}.lck",
    "~${name}",
    ".~lock.{name}#",
    ".{name}.swp",
)
"""Files that programs put beside one that they have open."""

PARTIAL = (".part", ".partial", ".tmp", ".filepart", ".download", ".crdownload")
"""Endings that copying and synchronising programs put behind the name while the file arrives."""


class FoundFile(Struct, frozen=True):
    """A model file. `path` is relative to the folder with `/` between, as the system spells it.

    `busy` says in words why somebody seems to be writing it, else it is empty.
    """

    path: str
    size: int
    mtime_ns: int
    ctime_ns: int
    inode: int
    busy: str = ""

    @property
    def signature(self) -> tuple[int, int, int, int]:
        """What changes with the content: size, both times, and which file it is."""
        return (self.size, self.mtime_ns, self.ctime_ns, self.inode)


class Listing(Struct, frozen=True):
    """The model files, what was passed over and why, and the places that could not be looked into."""

    files: tuple[FoundFile, ...]
    passed_over: tuple[str, ...] = ()
    unseen: tuple[str, ...] = ()

    def hides(self, path: str) -> bool:
        """Whether the (escaped) `path` may still be there, in a place that could not be looked into."""
        return any(path == place or path.startswith(f"{place}/") for place in self.unseen)


def list_models(folder: Path, include: Sequence[str], exclude: Sequence[str], subfolders: bool) -> Listing:
    """Files under `folder` that fit a pattern of `include` and none of `exclude`, by path.

    A pattern with a `/` is tried on the whole relative path, another on the name; `*` stands for any
    characters, large and small letters are the same. Raises InputError when the folder cannot be read.
    """
    if not folder.is_dir():
        raise InputError(f"{shown(str(folder))}: there is no such folder; is the share mounted?")
    files: list[FoundFile] = []
    passed_over: list[str] = []
    unseen: list[str] = []
    waiting = [""]
    while waiting:
        place = waiting.pop()
        try:
            with os.scandir(folder / place) as entries:
                found = sorted(entries, key=lambda entry: entry.name)
        except OSError as fault:
            if not place:
                raise InputError(f"{shown(str(folder))}: cannot be read ({fault.strerror})") from None
            unseen.append(escaped(place))
            continue
        names = {entry.name.casefold() for entry in found}
        for entry in found:
            path = f"{place}/{entry.name}" if place else entry.name
            if _fits(path, exclude):
                continue
            if entry.is_symlink():
                if _fits(path, include) or (subfolders and entry.is_dir()):
                    passed_over.append(
                        f"{shown(path)}: is a link and not followed; only what lies in the folder itself is measured"
                    )
                continue
            if entry.is_dir(follow_symlinks=False):
                if subfolders:
                    waiting.append(path)
            elif _fits(path, include):
                taken = _taken(entry, path, names)
                if isinstance(taken, FoundFile):
                    files.append(taken)
                elif taken:
                    passed_over.append(taken)
                else:
                    unseen.append(escaped(path))
    return Listing(tuple(sorted(files, key=lambda file: file.path)), tuple(passed_over), tuple(unseen))


def stat_again(folder: Path, file: FoundFile) -> tuple[int, int, int, int] | None:
    """The signature of a listed file as it is now; None when it is gone or can't be looked at."""
    try:
        status = (folder / file.path).lstat()
    except OSError:
        return None
    return (status.st_size, status.st_mtime_ns, status.st_ctime_ns, status.st_ino)


def _taken(entry: "os.DirEntry[str]", path: str, names: set[str]) -> FoundFile | str:
    """The file with its signature; words when it is no plain file; empty when it can't be looked at."""
    try:
        # Not from the directory entry: on some systems that lacks the inode and has stale times.
        status = os.lstat(entry.path)
    except OSError:
        return ""
    if not stat.S_ISREG(status.st_mode):
        return f"{shown(path)}: is not a plain file"
    busy = next(iter(_locks(entry.name, names)), "")
    return FoundFile(path, status.st_size, status.st_mtime_ns, status.st_ctime_ns, status.st_ino, busy)


def _locks(name: str, names: set[str]) -> Iterator[str]:
    stem = name.rpartition(".")[0]
    candidates = [pattern.format(name=name, stem=stem) for pattern in LOCKS]
    candidates += [name + ending for ending in PARTIAL]
    for candidate in candidates:
        if candidate.casefold() in names:
            yield f"{shown(candidate)} lies beside it: somebody has it open, or it is still arriving"


def _fits(path: str, patterns: Sequence[str]) -> bool:
    low = path.casefold()
    name = low.rpartition("/")[2]
    return any(
        fnmatchcase(low if "/" in pattern else name, pattern.casefold().removeprefix("./"))
        for pattern in patterns
    )
