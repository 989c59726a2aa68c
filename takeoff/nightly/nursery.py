"""The run's side of the process from which those that measure are forked."""

import contextlib
import os
import select
import signal
import socket
import subprocess
import sys
import threading
import weakref
from pathlib import Path
from typing import Any

from takeoff.isolation import forking
from takeoff.isolation.channel import Channel
from takeoff.nightly.secrets import without_secrets

BOOT = (
    "import sys; sys.path[:0] = sys.argv[1:2]; from takeoff.nightly.nursery_process import tend; "
    "tend(int(sys.argv[2]))"
)
"""What the process runs: the package's own folder and its parent are its arguments."""


def available() -> bool:
    """Whether processes can be forked here and their end be waited for."""
    if not forking.AVAILABLE or not hasattr(os, "pidfd_open"):
        return False
    try:
        os.close(os.pidfd_open(os.getpid()))
    except OSError:
        return False
    return True


class Child:
    """A forked process at the head of a group of its own, to be used as one that `subprocess` started.

    Several threads may wait for it, as the one that watches it and the one that ends the run do.
    """

    stdin = None

    def __init__(self, nursery: "Nursery", pid: int) -> None:
        self.pid = pid
        self.returncode: int | None = None
        self._nursery = nursery
        self._lock = threading.Lock()
        self._ends = os.pidfd_open(pid)
        weakref.finalize(self, os.close, self._ends)

    def wait(self, timeout: float | None = None) -> int:
        """Its exit code, once it has ended. Raises subprocess.TimeoutExpired where it takes longer."""
        if self.returncode is None:
            look = select.poll()
            look.register(self._ends, select.POLLIN)
            if not look.poll(None if timeout is None else timeout * 1000.0):
                raise subprocess.TimeoutExpired("takeoff", timeout or 0.0)
            with self._lock:
                if self.returncode is None:
                    self.returncode = self._reaped()
        return self.returncode

    def _reaped(self) -> int:
        try:
            return int(self._nursery.ask("reap", self.pid))
        except EOFError:
            return -signal.SIGKILL  # the nursery has ended, and its children with it

    def kill(self) -> None:
        """End it at once."""
        if self.returncode is None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self.pid, signal.SIGKILL)


class Nursery:
    """Starts its process when the first child is asked for, and again should it have ended; `end` ends both."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._channel: Channel | None = None
        self._lock = threading.Lock()

    def start(self) -> None:
        """Start the process; it ends with the thread that calls this. Raises OSError."""
        ours, theirs = socket.socketpair()
        environment = {**without_secrets(), **forking.ONE_THREAD}
        root = str(Path(__file__).resolve().parents[2])
        try:
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-c", BOOT, root, str(os.getpid())],
                stdin=theirs.fileno(),
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                env=environment,
                start_new_session=True,
            )
        finally:
            theirs.close()
        self._channel = Channel(ours)

    def fork(self, folder: Path, scratch: str, errors: int) -> Child:
        """A process that carries out the order in `folder` and writes errors to a handle. Raises OSError."""
        try:
            return Child(self, self.ask("fork", (folder, scratch), (errors,)))
        except EOFError as problem:
            raise OSError("the process that starts others has ended") from problem

    def ask(self, what: str, given: Any, handles: tuple[int, ...] = ()) -> Any:
        """Answer to a question. Raises EOFError when the process has ended."""
        with self._lock:
            if self._channel is None:
                raise EOFError("no process")
            self._channel.send((what, given), handles)
            return self._channel.receive()[0]

    def end(self) -> None:
        """End the process and its children at once."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
        with self._lock:
            if self._channel is not None:
                self._channel.close()
            self._process = self._channel = None
