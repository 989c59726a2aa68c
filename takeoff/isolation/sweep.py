"""One piece of work over many things, done in copies of this process that may be lost: whom it fails over is found.

Each thing over which a copy hangs, breaks down or raises costs its copy, and what it takes until that is seen; the
copy's other things go to another. So several of them are waited for side by side.
"""

from collections import deque
from collections.abc import Callable, Hashable
from typing import Any, NamedTuple, TypeVar

from takeoff.findings import InputError
from takeoff.isolation import notes
from takeoff.isolation.copies import Breakdown, Copy, Lost, Outcome, first_outcome, words_of
from takeoff.isolation.patience import SHORT, Overrun

Part = TypeVar("Part")

SMALLEST = 32
"""Things that a copy is given at once at least, a fork costs some milliseconds; of many it is given more."""

SHARES = 8
"""Into how many a piece is divided that failed over nobody by name, and how many a process is given of all."""

MOST = 1000
"""Things that may be lost before the rest is given up."""

ENDED = 3
"""Copies that may be ended from outside."""


class _Piece(NamedTuple):
    """Numbers that one copy does: `again` after it broke down over them, with `share` of the usual bound."""

    wanted: range
    again: bool = False
    share: float = 1.0


def sweep(
    work: Callable[[range], Part],
    count: int,
    processes: int,
    pack: Callable[[Part], Any],
    unpack: Callable[[Any], Part],
    who: Callable[[int], Hashable],
) -> list[Part]:
    """Results of `work` over the numbers 0 to `count`, in consecutive ranges, in order; `who` a number stands for.

    Results pass back through `pack` and `unpack`. What broke down is done once more, it may have been by chance.
    Raises Lost with all over whom the work fails, once the others have been through.
    """
    size = max(SMALLEST, -(-count // (processes * SHARES)))
    search = _Search(
        count, [_Piece(range(low, min(low + size, count))) for low in range(0, count, size)], who
    )
    results: dict[int, Part] = {}
    busy: dict[Copy, _Piece] = {}
    try:
        with notes.waiting():
            while search.todo or busy:
                while search.todo and len(busy) < processes:
                    piece = search.todo.popleft()
                    busy[Copy(lambda piece=piece: pack(search.do(work, piece)))] = piece  # type: ignore[misc]
                copy, outcome = first_outcome(list(busy))
                piece = busy.pop(copy)
                if outcome.fault is None:
                    results[piece.wanted.start] = unpack(outcome.answer)
                else:
                    search.take_apart(piece, outcome)
    finally:
        for copy in busy:
            copy.end()
    if search.lost:
        raise Lost(search.lost, next(iter(search.lost.values())))
    return [results[start] for start in sorted(results)]


class _Search:
    """What is to be done yet, and what was lost."""

    def __init__(self, count: int, pieces: list[_Piece], who: Callable[[int], Hashable]) -> None:
        self.todo = deque(pieces)
        self.lost: dict[int, str] = {}
        self._count = count
        self._who = who
        self._ended = 0

    def do(self, work: Callable[[range], Part], piece: _Piece) -> Part:
        """In a copy: the piece, within its part of the bound on all."""
        rest, usual = notes.allowed()
        part = usual + max(rest - usual, 0.0) * len(piece.wanted) / self._count
        with notes.bounds(part * piece.share, usual, notes.of_own()):
            return work(piece.wanted)

    def take_apart(self, piece: _Piece, outcome: Outcome) -> None:
        """Find out whom a piece failed over; what is left of it is to be done still. Raises InputError, Lost."""
        fault = outcome.fault
        assert fault is not None
        if isinstance(fault, InputError):
            raise fault
        if isinstance(fault, Breakdown) and not fault.own:
            self._ended += 1
            if self._ended > ENDED:
                raise Lost({}, str(fault))
            self.todo.append(piece)
            return
        named = [n for n in piece.wanted if notes.number_of(self._who(n)) == outcome.number]
        if not named and len(piece.wanted) == 1:
            named = list(piece.wanted)
        if not named:
            self._divide(piece, fault)
            return
        self.todo += [
            piece._replace(wanted=run) for run in _runs([n for n in piece.wanted if n not in named])
        ]
        if isinstance(fault, Breakdown) and not piece.again:
            self.todo += [_Piece(run, again=True, share=piece.share) for run in _runs(named)]
            return
        self.lost[notes.number_of(self._who(named[0]))] = words_of(fault)
        if len(self.lost) > MOST:
            raise Lost(self.lost, str(fault))

    def _divide(self, piece: _Piece, fault: Exception) -> None:
        """Smaller pieces of one that failed over nobody by name."""
        share = SHORT if isinstance(fault, Overrun) else piece.share
        size = -(-len(piece.wanted) // SHARES)
        for start in range(piece.wanted.start, piece.wanted.stop, size):
            self.todo.append(_Piece(range(start, min(start + size, piece.wanted.stop)), piece.again, share))


def _runs(numbers: list[int]) -> list[range]:
    """Ascending numbers as ranges of consecutive ones."""
    runs: list[range] = []
    for number in numbers:
        if runs and runs[-1].stop == number:
            runs[-1] = range(runs[-1].start, number + 1)
        else:
            runs.append(range(number, number + 1))
    return runs
