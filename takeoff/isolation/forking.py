"""Where processes may be forked, and how a child ends with its parent."""

import contextlib
import os
import signal
import sys
import threading

AVAILABLE = sys.platform == "linux"
"""Whether processes are forked: elsewhere that is not safe with native libraries loaded."""

BREAKDOWNS = (
    (signal.SIGSEGV, signal.SIGABRT, signal.SIGBUS, signal.SIGFPE, signal.SIGILL) if AVAILABLE else ()
)
"""Signals by which a library takes its process along; others come from outside."""

ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
"""Settings of a process whose libraries start no threads of their own: a fork would lack them, and matrices here
are too small to be divided."""

NO_PLUGINS = {"PYDANTIC_DISABLE_PLUGINS": "__all__"}
"""No other package that happens to be installed has a say in data files, nor is looked for."""

_own = False


def own_process() -> None:
    """Say that this process, and what is forked from it, runs this program and nothing else.

    To be called before numpy is read in, which starts its threads then.
    """
    global _own
    _own = True
    for name, value in {**ONE_THREAD, **NO_PLUGINS}.items():
        os.environ.setdefault(name, value)


def may_fork() -> bool:
    """Whether this process may be forked, which saves reading in libraries again: nobody's thread runs in it."""
    return AVAILABLE and _own and threading.active_count() == 1


def bound_memory(limit: int) -> None:
    """A bound, in bytes, on the address space of this process, under the one that it was started with, if any."""
    if sys.platform == "win32":
        return
    import resource

    hard = resource.getrlimit(resource.RLIMIT_AS)[1]
    soft = limit if hard == resource.RLIM_INFINITY else min(limit, hard)
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_AS, (soft, hard))


def leave_signals_to_parent() -> None:
    """Let Ctrl-C be heard by the program only, and be ended by whoever asks, without the program's tidying up."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_DFL)


def end_with(parent: int) -> None:
    """Have the kernel end this process when the process `parent`, which made it, ends; Linux only."""
    if sys.platform == "linux":
        import ctypes

        ctypes.CDLL(None).prctl(1, signal.SIGKILL)  # PR_SET_PDEATHSIG
        if os.getppid() != parent:
            os._exit(1)


ENOUGH = 1 << 30
"""Address space, bytes, with which small models are measured for certain: less is named as what is wrong."""


def memory_given() -> int | None:
    """Bytes of address space that whoever started this process gave it; None: no bound, or not known."""
    if sys.platform == "win32":
        return None
    import resource

    soft = resource.getrlimit(resource.RLIMIT_AS)[0]
    return None if soft == resource.RLIM_INFINITY else soft


def short_of_memory(words: str = "memory") -> str:
    """What to say of a failure that too little memory explains; empty where there is enough, or no sign of it.

    `words` are what is known of the failure.
    """
    given = memory_given()
    signs = ("memory", "failed to map", "cannot allocate", "start new thread")
    if given is None or given >= ENOUGH or not any(sign in words.lower() for sign in signs):
        return ""
    return (
        f"{given / 1e9:.1f} GB of memory are too little for it; allow the program 1 GB at least (ulimit -v)"
    )
