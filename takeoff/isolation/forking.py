"""Where processes may be forked, and how a child ends with its parent."""

import contextlib
import os
import signal
import sys
import threading

AVAILABLE = sys.platform == "linux"
"""Whether processes are forked: elsewhere that is not safe with native libraries loaded."""

_all_read_in = False


def ready() -> None:
    """Say that this process, and what is forked from it, has read in all libraries."""
    global _all_read_in
    _all_read_in = True


def is_ready() -> bool:
    """Whether forking this process is safe and saves reading in libraries again: all are here, and no thread runs."""
    return _all_read_in and threading.active_count() == 1


def bound_memory(limit: int) -> None:
    """A bound, in bytes, on the address space of this process, under the one that it was started with, if any."""
    if sys.platform == "win32":
        return
    import resource

    hard = resource.getrlimit(resource.RLIMIT_AS)[1]
    soft = limit if hard == resource.RLIM_INFINITY else min(limit, hard)
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_AS, (soft, hard))


def end_with(parent: int) -> None:
    """Have the kernel end this process when the process `parent`, which made it, ends; Linux only."""
    if sys.platform == "linux":
        import ctypes

        ctypes.CDLL(None).prctl(1, signal.SIGKILL)  # PR_SET_PDEATHSIG
        if os.getppid() != parent:
            os._exit(1)
