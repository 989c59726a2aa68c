"""A bound on the time that work in this process may take."""

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


class Overrun(Exception):
    """Work took longer than it may."""


@contextmanager
def patience(seconds: float) -> Iterator[None]:
    """Let what is done within this last no longer than `seconds`: then Overrun is raised in it.

    The system's alarm is heard between the steps of the program, so one call of a library is never cut in two. Only
    the main thread hears alarms: in others, and where the system has none, there is no bound.
    """
    if not hasattr(signal, "setitimer") or threading.current_thread() is not threading.main_thread():
        yield
        return

    def ring(*_: Any) -> None:
        raise Overrun(f"it took longer than {seconds:.0f} s")

    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)
