"""Forked copies of this process at work, and what became of each."""

import os
import pickle
import select
import signal
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

from takeoff.isolation import notes
from takeoff.isolation.forking import BREAKDOWNS, end_with, leave_signals_to_parent
from takeoff.isolation.patience import Overrun, overrun_words
from takeoff.isolation.spent import Spent

LOOK_SECONDS = 0.1
"""How often it is looked how long a copy is at what it does."""


class Breakdown(Exception):
    """Work took its process along; `own`: it did so by itself, nobody ended it from outside."""

    def __init__(self, words: str, own: bool = True) -> None:
        super().__init__(words, own)
        self.words = words
        self.own = own

    def __str__(self) -> str:
        return self.words


class Lost(Exception):
    """Bodies over which work failed: what it failed with, by the number under which each is noted; none: not known."""

    def __init__(self, culprits: Mapping[int, str], words: str) -> None:
        super().__init__(dict(culprits), words)
        self.culprits = dict(culprits)
        self.words = words

    def __str__(self) -> str:
        return self.words


class Outcome(NamedTuple):
    """What became of a copy: its `answer`, or the `fault` that it met over the body of this `number`."""

    answer: Any = None
    fault: Exception | None = None
    number: int = notes.NOBODY


def words_of(fault: Exception) -> str:
    """A fault in few words."""
    return f"{type(fault).__name__}: {' '.join(str(fault).split())[:120]}"


class Copy:
    """A forked copy at work. It sees all that this process holds; what it answers or raises comes back pickled."""

    def __init__(self, work: Callable[[], Any]) -> None:
        parent = os.getpid()
        self._board = notes.Board()
        self._answers, told = os.pipe()
        self._pid = os.fork()
        if self._pid:
            os.close(told)
            self._spent = Spent(self._pid)
            self._ended = False
            return
        try:
            leave_signals_to_parent()
            end_with(parent)
            notes.write_on(self._board)
            answer: tuple[Any, Exception | None]
            try:
                answer = work(), None
            except Exception as problem:
                answer = None, problem
            number = self._board.read().number
            self._board.write(number, 0.0)  # whoever reads the answer may take his time
            with open(told, "wb") as sink:
                sink.write(_packed(*answer))
        finally:
            os._exit(0)  # an answer that is cut off is no answer

    def outcome(self) -> Outcome:
        """What became of it, once it has answered or ended. One that takes longer than it may is ended."""
        while not _told([self], LOOK_SECONDS):
            if late := self.late():
                return late
        return self.told()

    def late(self) -> Outcome | None:
        """What to say of a copy that takes longer than it may, None for any other."""
        note = self._board.read()
        if not note.bound or self._spent.on((note.number, note.began), note.began) <= note.bound:
            return None
        self.end()
        return Outcome(fault=Overrun(overrun_words(note.bound)), number=note.number)

    def told(self) -> Outcome:
        """What it told, having answered or ended."""
        with open(self._answers, "rb", closefd=False) as source:
            payload = source.read()
        number = self._board.read().number
        code = self.end()
        try:
            answer, fault = pickle.loads(payload)
        except Exception:  # nothing, or the beginning of an answer
            words = f"a library broke down over it (exit {code})"
            return Outcome(fault=Breakdown(words, -code in BREAKDOWNS), number=number)
        return Outcome(answer, fault, number if fault is not None else notes.NOBODY)

    def end(self) -> int:
        """End the copy, if it still runs; its exit code."""
        if self._ended:
            return 0
        self._ended = True
        os.close(self._answers)
        os.kill(self._pid, signal.SIGKILL)
        return os.waitstatus_to_exitcode(os.waitpid(self._pid, 0)[1])

    def fileno(self) -> int:
        """Where its answer is read."""
        return self._answers


def first_outcome(copies: Sequence[Copy]) -> tuple[Copy, Outcome]:
    """The first of copies that answers, ends or takes too long, and what became of it."""
    while True:
        for copy in _told(copies, LOOK_SECONDS):
            return copy, copy.told()
        for copy in copies:
            if late := copy.late():
                return copy, late


def _told(copies: Sequence[Copy], seconds: float) -> list[Copy]:
    """The copies that have an answer, or have ended, within so many seconds."""
    look = select.poll()
    of = {copy.fileno(): copy for copy in copies}
    for handle in of:
        look.register(handle, select.POLLIN)
    return [of[handle] for handle, _ in look.poll(seconds * 1e3)]


def _packed(answer: Any, fault: Exception | None) -> bytes:
    """An answer, or a fault, of which words are left where it cannot travel."""
    try:
        payload = pickle.dumps((answer, fault), protocol=pickle.HIGHEST_PROTOCOL)
        if fault is not None:
            pickle.loads(payload)
    except Exception:
        words = f"{type(fault).__name__}: {fault}" if fault is not None else "an answer that cannot travel"
        payload = pickle.dumps((None, RuntimeError(words)))
    return payload
