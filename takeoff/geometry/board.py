"""A board on which a worker writes what it is at, for the program to read when the worker dies or is late.

A message for each element would wake the program ten thousand times for nothing: it looks only when something is
wrong. The board is a few bytes of a file that both have in memory; it outlives whoever wrote on it.
"""

import contextlib
import mmap
import os
import struct
import tempfile
import time

_LAYOUT = struct.Struct("=dq")
"""When the element was begun, seconds of the machine's steady clock, and its key; the key is written last."""

NOBODY = -1
"""The key while the worker is between elements."""


class Board:
    """The board of one worker."""

    def __init__(self, path: str, handle: int | None = None) -> None:
        """Open the board at a path; `handle` keeps it where it has no place in a folder."""
        self.path = path
        self._handle = handle
        with open(path, "r+b") as file:
            self._memory = mmap.mmap(file.fileno(), _LAYOUT.size)

    @staticmethod
    def new() -> "Board":
        """A new, empty board: in memory only where the system lets others open it there, else in a small file."""
        handle, path = _made()
        os.write(handle, _LAYOUT.pack(0.0, NOBODY))
        if path:
            os.close(handle)
            return Board(path)
        return Board(_place_of(handle), handle)

    def begin(self, key: int) -> None:
        """Write that an element is begun."""
        # Time first: whoever reads in between sees the old key with too little time, never a new one that is late.
        struct.pack_into("=d", self._memory, 0, time.monotonic())
        struct.pack_into("=q", self._memory, 8, key)

    def clear(self) -> None:
        """Write that nothing is under way."""
        struct.pack_into("=q", self._memory, 8, NOBODY)

    def current(self) -> tuple[int | None, float]:
        """The key of the element that is under way, None between elements, and for how many seconds."""
        began, key = _LAYOUT.unpack_from(self._memory, 0)
        return (None, 0.0) if key == NOBODY else (key, time.monotonic() - began)

    def close(self) -> None:
        """Let go of the memory and take the file away."""
        self._memory.close()
        if self._handle is not None:
            os.close(self._handle)
            return
        with contextlib.suppress(OSError):  # somebody cleared the folder
            os.unlink(self.path)


def _made() -> tuple[int, str]:
    """A new file and its path, which is empty where it lies in memory only: then nothing of it outlives a kill."""
    if hasattr(os, "memfd_create"):
        handle = os.memfd_create("board")
        if os.path.exists(_place_of(handle)):
            return handle, ""
        os.close(handle)
    return tempfile.mkstemp(prefix="takeoff-", suffix=".board")


def _place_of(handle: int) -> str:
    return f"/proc/{os.getpid()}/fd/{handle}"
