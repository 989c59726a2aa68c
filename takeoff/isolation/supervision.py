"""The program under the eyes of a process that begins it again where a library breaks down or never comes back.

Python hears no alarm while a library computes, and a library that breaks down takes its process along. Most of what
is risky is done in workers; measuring is not, since its results would have to travel. So the program goes on in a
child of itself, and the parent waits: where the child breaks down, or is longer at something than it may, it is ended
and the run begun once more, `careful`: then what may fail is tried first in copies of the process that may be lost.
"""

import atexit
import contextlib
import os
import signal
import sys
import threading
from collections.abc import Callable
from typing import NoReturn, ParamSpec, TypeVar

from takeoff.isolation import notes
from takeoff.isolation.forking import AVAILABLE, BREAKDOWNS, end_with
from takeoff.isolation.spent import Spent, computed

Given = ParamSpec("Given")
Answer = TypeVar("Answer")

LOOK_SECONDS = 0.2
"""How often the child is looked at."""

GRACE_SECONDS = 2.0
"""What the child may take beyond its bound: it ends by itself whatever is not one call of a library."""

ENDING_SECONDS = 2.0
"""What the child may take to end when it is asked to: within a call of a library it does not hear it."""

_PASSED_ON = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP) if AVAILABLE else ()
_TRIES = 2

_supervised = False
_careful = False
_hung: notes.Note | None = None
"""What the run before this one was over when it was ended for taking too long."""


def careful() -> bool:
    """Whether this run was begun once more, after a library broke down or hung."""
    return _careful


def hung() -> notes.Note | None:
    """What the run before this one took too long over, None where it did not."""
    return _hung


def supervise() -> None:
    """Go on in a child of this process, which itself waits for it and leaves as it left.

    To be called while there is one thread and nothing is open. Ctrl-C of a terminal reaches both; other signals are
    passed on. Where processes cannot be forked nothing happens.
    """
    global _careful, _hung, _supervised
    if not AVAILABLE or threading.active_count() > 1:
        return
    board = notes.Board()
    sys.stdout.flush()
    sys.stderr.flush()
    parent = os.getpid()
    heard = signal.pthread_sigmask(signal.SIG_BLOCK, {*_PASSED_ON, signal.SIGCHLD})
    for number in range(_TRIES):
        board.write(notes.NOBODY, 0.0)
        child = os.fork()
        if not child:
            notes.write_on(board)
            _careful, _supervised = number > 0, True
            _once_only()
            signal.pthread_sigmask(signal.SIG_SETMASK, heard)
            end_with(parent)
            return
        code, _hung = _watch(child, board)
        if not _hung and -code not in BREAKDOWNS:
            _leave(code)
        what = "was at one thing for too long" if _hung else f"broke down ({signal.Signals(-code).name})"
        last = number + 1 == _TRIES
        then = (
            "it did so again, nothing is to be had of it" if last else "everything is done again, with care"
        )
        print(f"takeoff: a library that the program uses {what}; {then}", file=sys.stderr, flush=True)
    os._exit(1)


def aside(work: Callable[Given, Answer]) -> Callable[Given, Answer]:
    """Work that has bounds of its own, in other processes: waiting for it counts for nothing."""

    def done(*given: Given.args, **named: Given.kwargs) -> Answer:
        with notes.waiting():
            return work(*given, **named)

    return done


def leave_at_once(code: object) -> None:
    """End a child of a supervisor with a code, without taking all that it holds to pieces first.

    Does nothing in any other process, nor where the code is no number (Python has more to say then).
    """
    code = 0 if code is None else code
    if not _supervised or not isinstance(code, int):
        return
    atexit._run_exitfuncs()
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(OSError, ValueError):  # closed, or nobody listens: that changes no code
            stream.flush()
    os._exit(code)


def _once_only() -> None:
    """Hear Ctrl-C once: where it comes from a terminal and is passed on too, the second must not disturb the end."""
    usual = signal.getsignal(signal.SIGINT)
    if not callable(usual):
        return

    def stop(number: int, frame: object) -> None:
        signal.signal(number, signal.SIG_IGN)
        raise KeyboardInterrupt

    signal.signal(signal.SIGINT, stop)


def _watch(child: int, board: notes.Board) -> tuple[int, notes.Note | None]:
    """Exit code of the child, and what it took too long over, where it was ended for that."""
    spent, late = Spent(child), None
    asked, computed_then = 0, 0.0
    while True:
        told = signal.sigtimedwait({*_PASSED_ON, signal.SIGCHLD}, LOOK_SECONDS)
        if told is not None and told.si_signo in _PASSED_ON:
            if told.si_code <= 0:  # of a process: what a terminal says the child hears itself
                os.kill(child, told.si_signo)
            if not asked and signal.getsignal(told.si_signo) != signal.SIG_IGN:
                asked, computed_then = told.si_signo, computed(child) or 0.0
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status), late
        if asked:
            if spent.on(asked, computed_then) > ENDING_SECONDS:
                os.kill(child, signal.SIGKILL)
                os.waitpid(child, 0)
                from takeoff.scratch import sweep  # rarely wanted, and not quickly read in

                sweep()
                print("takeoff: stopped; nothing was written", file=sys.stderr, flush=True)
                return 128 + asked, None
            continue
        note = board.read()
        if note.bound and not late and spent.on(note, note.began) > note.bound + GRACE_SECONDS:
            late = note
            os.kill(child, signal.SIGKILL)


def _leave(code: int) -> NoReturn:
    """End as the child did."""
    if code < 0:
        if -code != signal.SIGKILL:
            signal.signal(-code, signal.SIG_DFL)
        signal.pthread_sigmask(signal.SIG_SETMASK, set())
        os.kill(os.getpid(), -code)
    os._exit(code)
