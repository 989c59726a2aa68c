"""A bound on the time that work in this process may take."""

import signal
import threading
import time
from collections.abc import Hashable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from takeoff.isolation import notes

SHORT = 0.25
"""Part of its bound that a thing may take on a further try, where the first took all of it: one that hangs shall not
cost all of it twice."""

LOOKS = 10
"""How often within the shortest bound it is looked whether one is passed."""

_SHORTEST, _LONGEST = 0.02, 1.0
"""Between two looks, seconds of processor time."""


class Overrun(Exception):
    """Work took longer than it may."""


@contextmanager
def patience(rest: float, usual: float = 0.0, own: Mapping[Hashable, float] | None = None) -> Iterator[None]:
    """Let what is done within this compute no longer than `rest` seconds: then Overrun is raised in it.

    Time begins anew whenever a body is noted, which may take `usual` seconds, or its `own`; see `notes.bounds`. The
    system's alarm is heard between the steps of the program; a call of a library that does not come back is left to
    the supervisor. Only the main thread hears alarms: in others, and where the system has none, there is no bound.
    """
    with notes.bounds(rest, usual, own):
        if not hasattr(signal, "setitimer") or threading.current_thread() is not threading.main_thread():
            yield
            return

        def look(*_: Any) -> None:
            note = notes.current()
            if note.bound and time.process_time() - note.began > note.bound:
                raise Overrun(overrun_words(note.bound))

        before = signal.signal(signal.SIGPROF, look)
        tick = min(max(min(rest, usual or rest) / LOOKS, _SHORTEST), _LONGEST)
        signal.setitimer(signal.ITIMER_PROF, tick, tick)
        try:
            yield
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0.0)
            signal.signal(signal.SIGPROF, before)


def overrun_words(seconds: float) -> str:
    """What is said of work that took longer."""
    return f"it took longer than {seconds:.0f} s"
