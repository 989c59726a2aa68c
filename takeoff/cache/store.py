"""A folder of results by key: private, bounded in size, safe under concurrent use, never trusted when torn.

An entry is one file, put in place whole by a rename and read only when its checksum is right; a reader therefore
sees an entry or none, whoever writes beside it. Entries are pickles, so the folder must belong to the user alone,
and only records of this program and of its array libraries are let in.
"""

import contextlib
import hashlib
import io
import os
import pickle
import secrets
import stat
import time
from pathlib import Path
from typing import Any

LIMIT = 1 << 30
"""Bytes that all entries together may take; the least recently used go first."""

SHARE = 4
"""One entry may take at most this part (1 / SHARE) of the limit."""

STALE_SECONDS = 3600.0
"""A file that was being written for longer than this was left behind by a writer that died."""

_MAGIC = b"takeoff cache 2\n"
_DIGEST = 32
_TRUSTED = ("takeoff.", "numpy.", "shapely.")
_BUILTINS = {"set", "frozenset", "slice", "complex", "bytearray", "range"}


class Store:
    """Results by key in a folder. No method raises for what goes wrong with the folder: a miss is no fault."""

    def __init__(self, folder: Path, limit: int = LIMIT) -> None:
        self.folder = folder
        self.limit = limit

    def get(self, key: str) -> Any:
        """The result kept under `key`, None where there is none that can be trusted."""
        path = self._path(key)
        try:
            content = path.read_bytes()
        except OSError:
            return None
        payload = memoryview(content)[len(_MAGIC) + _DIGEST :]
        head = _MAGIC + _checksum(key, payload)
        if content[: len(head)] != head:
            self._drop(path)
            return None
        try:
            value = _Unpickler(io.BytesIO(payload)).load()
        except Exception:  # a record that has changed its form, a class that is no more: as good as absent
            self._drop(path)
            return None
        with contextlib.suppress(OSError):
            os.utime(path)
        return value

    def put(self, key: str, value: Any) -> None:
        """Keep a result, then drop old ones until all fit."""
        payload = pickle.dumps(value, protocol=pickle.HIGHEST_PROTOCOL)
        if len(payload) > self.limit // SHARE:
            return
        path = self._path(key)
        partial = path.with_name(f".{secrets.token_hex(8)}.part")
        try:
            with partial.open("xb") as stream:
                stream.write(_MAGIC)
                stream.write(_checksum(key, payload))
                stream.write(payload)
            os.replace(partial, path)
        except OSError:
            self._drop(partial)
            return
        self._prune()

    def _path(self, key: str) -> Path:
        return self.folder / f"{key}.entry"

    @staticmethod
    def _drop(path: Path) -> None:
        with contextlib.suppress(OSError):
            path.unlink()

    def _prune(self) -> None:
        """Drop the least recently used entries while all together are over the limit, and what writers left."""
        entries = []
        now = time.time()
        try:
            with os.scandir(self.folder) as listing:
                for item in listing:
                    state = item.stat(follow_symlinks=False)
                    if item.name.endswith(".entry"):
                        entries.append((state.st_mtime, state.st_size, item.path))
                    elif item.name.endswith(".part") and now - state.st_mtime > STALE_SECONDS:
                        self._drop(Path(item.path))
        except OSError:
            return
        total = sum(size for _, size, _ in entries)
        for _, size, path in sorted(entries):
            if total <= self.limit:
                break
            self._drop(Path(path))
            total -= size


def _checksum(key: str, payload: bytes | memoryview) -> bytes:
    """Checksum of an entry under its key: a whole entry in another's place is no entry."""
    sum_ = hashlib.sha256(key.encode() + b"\n")
    sum_.update(payload)
    return sum_.digest()


class _Unpickler(pickle.Unpickler):
    """Reads records of this program and arrays, nothing else."""

    def find_class(self, module: str, name: str) -> Any:
        if module == "builtins" and name in _BUILTINS:
            return super().find_class(module, name)
        if module.startswith(_TRUSTED) or module in ("numpy", "shapely", "collections"):
            return super().find_class(module, name)
        if (module, name) in (("pathlib", "PosixPath"), ("pathlib", "WindowsPath")):
            return super().find_class(module, name)
        raise pickle.UnpicklingError(f"{module}.{name} has no place in the cache")


def open_store() -> Store | None:
    """The store in the user's cache folder, None where no private folder can be had there."""
    from platformdirs import user_cache_path

    return store_in(user_cache_path("takeoff", appauthor=False))


def store_in(folder: Path) -> Store | None:
    """The store in `folder`, made where it is missing; None where somebody else could have written into it."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        state = folder.lstat()
        if not stat.S_ISDIR(state.st_mode):
            return None
        if os.name == "posix":
            if state.st_uid != os.geteuid() or state.st_mode & 0o022:
                return None
            if state.st_mode & 0o077:
                folder.chmod(0o700)
    except OSError:
        return None
    return Store(folder)
