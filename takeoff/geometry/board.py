"""A board on which a worker writes what it is at, for the program to read when the worker dies or is late.

A message for each element would wake the program ten thousand times for nothing: it looks only when something is
wrong. The board is a few bytes of a file that both have in memory; it outlives whoever wrote on it.
"""

import contextlib
import mmap
import os
import tempfile
import time

_WORD = 8
"""Bytes of a figure: when the element was begun, seconds of the machine's steady clock; what its worker had computed
by then, seconds of processor time; then its key."""
_WORDS = 3

NOBODY = -1
"""The key while the worker is between elements."""


class Board:
    """The board of one worker."""

    def __init__(self, path: str, handle: int | None = None) -> None:
        """Open the board at a path; `handle` keeps it where it has no place in a folder."""
        self.path = path
        self._handle = handle
        with open(path, "r+b") as file:
            self._memory = mmap.mmap(file.fileno(), _WORDS * _WORD)
        # A figure of such a view is one store: `struct` clears bytes before it fills them, and whoever reads in
        # between takes the element for one that was begun when the machine was.
        view = memoryview(self._memory)
        self._views = (view[: 2 * _WORD].cast("d"), view[2 * _WORD :].cast("q"))

    @staticmethod
    def new() -> "Board":
        """A new, empty board: in memory only where the system lets others open it there, else in a small file."""
        handle, path = _made()
        os.truncate(handle, _WORDS * _WORD)
        if path:
            os.close(handle)
            board = Board(path)
        else:
            board = Board(_place_of(handle), handle)
        board.clear()
        return board

    def begin(self, key: int) -> None:
        """Write that an element is begun."""
        # Time first: whoever reads in between sees the old key with too little time, never a new one that is late.
        began, current = self._views
        began[0] = time.monotonic()
        began[1] = time.process_time()
        current[0] = key

    def clear(self) -> None:
        """Write that nothing is under way."""
        self._views[1][0] = NOBODY

    def current(self) -> tuple[int | None, float]:
        """The key of the element that is under way, None between elements, and for how many seconds."""
        began, current = self._views
        key = current[0]
        return (None, 0.0) if key == NOBODY else (key, time.monotonic() - began[0])

    def computed(self) -> float:
        """What the worker had computed when it began what it is at, seconds of processor time."""
        before: float = self._views[0][1]
        return before

    def close(self) -> None:
        """Let go of the memory and take the file away."""
        for view in self._views:
            view.release()
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
