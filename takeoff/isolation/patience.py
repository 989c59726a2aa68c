"""A bound on the time that work in this process may take."""

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from takeoff.isolation.supervision import bounded


class Overrun(Exception):
    """Work took longer than it may."""


@contextmanager
def patience(seconds: float) -> Iterator[None]:
    """Let what is done within this compute no longer than `seconds`: then Overrun is raised in it.

    The system's alarm is heard between the steps of the program; a call of a library that does not come back is
    left to the supervisor. Only the main thread hears alarms: in others, and where the system has none, there is no
    bound.
    """
    if not hasattr(signal, "setitimer") or threading.current_thread() is not threading.main_thread():
        yield
        return

    def ring(*_: Any) -> None:
        raise Overrun(overrun_words(seconds))

    before = signal.signal(signal.SIGPROF, ring)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        with bounded(seconds):
            yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)


def overrun_words(seconds: float) -> str:
    """What is said of work that took longer."""
    return f"it took longer than {seconds:.0f} s"
