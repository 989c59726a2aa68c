"""Work tried in a copy of this process that may be lost."""

import os
import pickle
import select
import signal
from collections.abc import Callable

from takeoff.isolation.forking import end_with, leave_signals_to_parent
from takeoff.isolation.patience import Overrun, overrun_words
from takeoff.isolation.spent import Spent

_LOOK_SECONDS = 0.1


class Breakdown(Exception):
    """Work took its process along."""


def tried(work: Callable[[], object], seconds: float) -> None:
    """Do work in a forked copy of this process, for nothing but to see whether it can be done.

    Raises what the work raises there, Overrun where it takes longer than `seconds`, Breakdown where the copy dies of
    it.
    """
    parent = os.getpid()
    answers, told = os.pipe()
    copy = os.fork()
    if not copy:
        _do(work, told, parent)
    os.close(told)
    try:
        spent = Spent(copy)
        while not select.select([answers], [], [], _LOOK_SECONDS)[0]:
            if spent.on("work") > seconds:
                raise Overrun(overrun_words(seconds))
        with open(answers, "rb", closefd=False) as source:
            payload = source.read()
    finally:
        os.close(answers)
        os.kill(copy, signal.SIGKILL)
        status = os.waitpid(copy, 0)[1]
    if not payload:
        raise Breakdown(f"a library broke down over it (exit {os.waitstatus_to_exitcode(status)})")
    fault = pickle.loads(payload)
    if fault is not None:
        raise fault


def _do(work: Callable[[], object], told: int, parent: int) -> None:
    """In the copy: do the work and tell what it raised."""
    try:
        leave_signals_to_parent()
        end_with(parent)
        fault = None
        try:
            work()
        except Exception as problem:
            fault = problem
        try:
            payload = pickle.dumps(fault)
            pickle.loads(payload)
        except Exception:  # a fault with more to it than words
            payload = pickle.dumps(RuntimeError(f"{type(fault).__name__}: {fault}"))
        with open(told, "wb") as sink:
            sink.write(payload)
    finally:
        os._exit(0)
