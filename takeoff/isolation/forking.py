"""Where processes may be forked, and how a child ends with its parent."""

import os
import signal
import sys

AVAILABLE = sys.platform == "linux"
"""Whether processes are forked: elsewhere that is not safe with native libraries loaded."""


def end_with(parent: int) -> None:
    """Have the kernel end this process when the process `parent`, which made it, ends; Linux only."""
    if sys.platform == "linux":
        import ctypes

        ctypes.CDLL(None).prctl(1, signal.SIGKILL)  # PR_SET_PDEATHSIG
        if os.getppid() != parent:
            os._exit(1)
