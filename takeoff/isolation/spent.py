"""Time that another process has spent on one thing: what it computed and slept, not what it waited for its turn.

On a busy machine a process waits for a processor, for the disk, or for whoever stopped it. That says nothing of what
it does, so patience is not counted in it: a slow machine must not change a figure.
"""

import sys
import time
from pathlib import Path

_SAMPLE_SECONDS = 0.1
"""How often it is looked whether a process sleeps."""

_LONGEST_SAMPLE = 1.0
"""What one look may count for, seconds: whoever looks may have had to wait himself."""


def computed(pid: int) -> float | None:
    """Seconds of processor time that a process has taken; None where the system does not tell."""
    if sys.platform != "linux":
        return None
    try:
        return time.clock_gettime((~pid << 3) | 2)  # the clock of a process, see clock_getcpuclockid(3)
    except OSError:
        return None


def asleep(pid: int) -> bool:
    """Whether a process waits for something that is neither a processor nor the disk."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] == "S"
    except OSError:
        return False


class Spent:
    """The time that a process spends on one thing after the other."""

    def __init__(self, pid: int) -> None:
        self._pid = pid
        self._what: object = None
        self._slept = 0.0
        self._began = self._looked = time.monotonic()
        self._taken = 0.0

    def on(self, what: object, before: float = 0.0) -> float:
        """Seconds spent on `what`, which began when the process had computed for `before` seconds.

        To be asked now and then: sleep is seen only while somebody looks.
        """
        now, taken = time.monotonic(), computed(self._pid)
        if what != self._what:
            self._what, self._slept, self._began = what, 0.0, now
            self._looked, self._taken = now, taken or 0.0
        if taken is None:
            return now - self._began
        if now - self._looked >= _SAMPLE_SECONDS:
            if asleep(self._pid):
                idle = now - self._looked - (taken - self._taken)
                self._slept += min(max(idle, 0.0), _LONGEST_SAMPLE)
            self._looked, self._taken = now, taken
        return taken - before + self._slept
