"""What this process is at, on a board that its parent sees too: whom it is handling, since when, how long it may.

Whoever ends a process that hangs, or finds one that a library brought down, reads there what it was over. A note is
three stores into memory, so it is made for each body.
"""

import mmap
import time
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from typing import NamedTuple, TypeVar

Thing = TypeVar("Thing")

_WORDS = 3
_BITS = (1 << 52) - 1
"""Numbers that a figure of the board holds exactly."""

NOBODY = 0
"""The number while no body by itself is handled."""


class Note(NamedTuple):
    """What a process is at: the number of a body, or NOBODY; what it had computed when that began, and how long it
    may take, seconds of processor time (0: as long as it likes)."""

    number: int
    began: float
    bound: float


class Board:
    """The board of one process, seen by those that it was forked from after it was made."""

    def __init__(self, memory: "mmap.mmap | bytearray | None" = None) -> None:
        self._view = memoryview(mmap.mmap(-1, _WORDS * 8) if memory is None else memory).cast("d")

    def read(self) -> Note:
        """What the process is at."""
        view = self._view
        while True:
            number = view[0]
            note = Note(int(number), view[1], view[2])
            if view[0] == number:
                return note

    def write(self, number: int, bound: float) -> None:
        """Write what this process is at from now on."""
        # The number last: whoever reads in between sees the old one with too little time, never a new one that is late.
        view = self._view
        view[1] = time.process_time()
        view[2] = bound
        view[0] = number


_board = Board(bytearray(_WORDS * 8))
_usual: float = 0.0
_own: Mapping[Hashable, float] = {}
_rest: float = 0.0


def write_on(board: Board) -> None:
    """Make this process write on a board from now on."""
    global _board
    _board = board
    nothing()


def number_of(who: Hashable) -> int:
    """The number of a body under which it is noted: the same in this process and all that are forked from it."""
    return (hash(who) & _BITS) or 1


def at(who: Hashable) -> None:
    """Note who is handled from now on."""
    _board.write(number_of(who), _own.get(who, _usual))


def each(things: Iterable[Thing], who: Callable[[Thing], Hashable]) -> Iterator[Thing]:
    """Things one after the other; whom each stands for is noted until the next is asked for.

    Where handling one raises, its note stays for whoever wants to know over whom.
    """
    for thing in things:
        at(who(thing))
        yield thing
    nothing()


def nothing() -> None:
    """Note that what follows is done for many at once."""
    _board.write(NOBODY, _rest)


def current() -> Note:
    """What this process is at."""
    return _board.read()


@contextmanager
def bounds(rest: float, usual: float = 0.0, own: Mapping[Hashable, float] | None = None) -> Iterator[None]:
    """Let what is done within take no longer, without a sign of progress, than `rest` seconds of processor time.

    Each body that is noted may take `usual` seconds, or those in `own`. 0: no bound.
    """
    global _rest, _usual, _own
    before = _rest, _usual, _own
    _rest, _usual, _own = rest, usual, own or {}
    nothing()
    number = NOBODY
    try:
        yield
    except BaseException:
        number = _board.read().number  # whoever handles the fault reads who it was over
        raise
    finally:
        _rest, _usual, _own = before
        _board.write(number, _rest)


@contextmanager
def waiting() -> Iterator[None]:
    """Wait for other processes, which have bounds of their own: that counts for nothing."""
    note = _board.read()
    _board.write(note.number, 0.0)
    try:
        yield
    finally:
        _board.write(note.number, note.bound)


def allowed() -> tuple[float, float]:
    """Seconds that what is done for many at once may take, and what a body usually may."""
    return _rest, _usual


def of_own() -> Mapping[Hashable, float]:
    """Seconds that bodies may take which are no usual ones."""
    return _own
