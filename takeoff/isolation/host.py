"""The program's side of a process that holds one open model."""

import contextlib
import gc
import os
import select
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from takeoff.cache.columns import unpacked
from takeoff.findings import InputError
from takeoff.isolation import forking
from takeoff.isolation.channel import Channel
from takeoff.isolation.spent import Spent

if TYPE_CHECKING:
    from takeoff.reading.facts import ModelFacts

BOOT = (
    "import sys; sys.path[:0] = sys.argv[1:2]; from takeoff.isolation.host_process import serve; "
    "serve(int(sys.argv[2]), int(sys.argv[3]))"
)
"""What the process runs: the package's own folder, its parent and its memory are its arguments."""

BYTE_SECONDS = 1e-5
"""Patience with a byte of a file that is read, seconds: about a hundred times what it takes."""

LOOK_SECONDS = 0.2
"""How often it is looked how long a file takes."""

REAP_SECONDS = 0.002
"""How often it is asked whether a worker has ended."""


class Worker:
    """A forked worker, to be used as one that was started by `subprocess`."""

    def __init__(self, host: "Host", pid: int, asked: int, told: int) -> None:
        self.stdin = open(asked, "wb")  # noqa: SIM115 (closed with the process)
        self.stdout = open(told, "rb")  # noqa: SIM115
        self.pid = pid
        self._host = host
        self._code: int | None = None

    def kill(self) -> None:
        """End it at once."""
        if self._code is None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self.pid, signal.SIGKILL)

    def wait(self, timeout: float | None = None) -> int:
        """Its exit code, once it has ended. Raises subprocess.TimeoutExpired where it takes longer."""
        until = None if timeout is None else time.monotonic() + timeout
        while self._code is None:
            try:
                self._code = self._host.ask("reap", self.pid)
            except EOFError:
                self._code = -signal.SIGKILL  # the host has ended, and its workers with it
            if self._code is None:
                if until is not None and time.monotonic() > until:
                    raise subprocess.TimeoutExpired("worker", timeout or 0.0)
                time.sleep(REAP_SECONDS)
        with contextlib.suppress(OSError):
            self.stdin.close()
        self.stdout.close()
        return self._code


class Host:
    """A process that holds one model. Started at once; ends with `end` or with this process."""

    def __init__(self, memory: int = 0) -> None:
        ours, theirs = socket.socketpair()
        self.process = _forked(theirs, memory) if forking.may_fork() else _started(theirs, memory)
        self.channel = Channel(ours)
        self.lock = threading.Lock()
        self.path = ""
        self.spare: list[Any] = []
        """Workers that have done what they were forked for; each has an `end`."""
        self._reading: tuple[Path, float] | None = None
        self._spent = Spent(self.process.pid)

    def begin_reading(self, path: Path, scratch: Path, name: str, limit_seconds: float) -> None:
        """Have the facts of a model read; `facts` fetches them."""
        size = path.stat().st_size if path.is_file() else 0
        self._reading = path, limit_seconds + size * BYTE_SECONDS
        self.channel.send(("read", (path, scratch, name)))

    def facts(self) -> "ModelFacts":
        """The facts that are being read. Raises InputError, one line, also when reading crashes or hangs."""
        assert self._reading is not None
        path, limit = self._reading
        try:
            self._await_answer(limit)
            facts: ModelFacts = unpacked(self._answer())
        except TimeoutError:
            self.end()
            raise InputError(
                f"{path}: reading it took longer than {limit:.0f} s; it is damaged or far too large, export it again"
            ) from None
        except EOFError:
            code = self.end()
            cure = forking.short_of_memory()
            said = f"the IFC library broke down over it (exit {code}); it is damaged, export it again"
            raise InputError(f"{path}: {cure or said}") from None
        except RuntimeError as problem:
            self.end()
            cure = forking.short_of_memory(str(problem))
            raise InputError(f"{path}: {cure or f'cannot be read ({problem}); export it again'}") from None
        self.path = facts.path
        return facts

    def ask(self, what: str, given: Any) -> Any:
        """Answer to a question. Raises RuntimeError with the words of what failed, EOFError when the process ends."""
        with self.lock:
            self.channel.send((what, given))
            return self._answer()

    def open(self, path: str) -> None:
        """Open a file that need not be read."""
        self.ask("open", path)
        self.path = path

    def begin_origin(self, products: Sequence[int], transform: Any, limit_seconds: float) -> None:
        """Have an origin (3,) near the bodies of some products found, of their places where drawing them takes longer.

        `origin` fetches it, before anything else is asked.
        """
        self.channel.send(("origin", (list(products), transform, limit_seconds)))

    def origin(self) -> Any:
        """The origin that is being found. Raises as `ask` does."""
        return self._answer()

    def fork(self) -> Worker:
        """A new worker that has the model open."""
        asked_read, asked_write = os.pipe()
        told_read, told_write = os.pipe()
        try:
            with self.lock:
                self.channel.send(("fork", None), (asked_read, told_write))
                number = self._answer()
        except BaseException:
            os.close(asked_write)
            os.close(told_read)
            raise
        finally:
            os.close(asked_read)
            os.close(told_write)
        return Worker(self, number, asked_write, told_read)

    def end(self) -> int:
        """End the process and its workers at once; its exit code."""
        for worker in self.spare:
            worker.end()
        self.spare.clear()
        self.process.kill()
        code = self.process.wait()
        self.channel.close()
        return code

    def _await_answer(self, limit: float) -> None:
        """Wait until an answer begins. Raises TimeoutError when the process takes longer than `limit` seconds."""
        answers = select.poll()
        answers.register(self.channel.end, select.POLLIN)
        while not answers.poll(LOOK_SECONDS * 1e3):
            if self._spent.on("reading") > limit:
                raise TimeoutError

    def _answer(self) -> Any:
        (kind, value), _ = self.channel.receive()
        if kind == "input":
            raise InputError(value)
        if kind == "failed":
            raise RuntimeError(value)
        return value


class _Forked:
    """A host that was forked from this process."""

    def __init__(self, pid: int) -> None:
        self.pid = pid
        self._code: int | None = None

    def kill(self) -> None:
        """End it at once."""
        if self._code is None:
            os.kill(self.pid, signal.SIGKILL)  # not waited for yet, so the number is still its own

    def wait(self) -> int:
        """Its exit code, once it has ended."""
        if self._code is None:
            self._code = os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])
        return self._code


def _forked(end: socket.socket, memory: int) -> _Forked:
    """A host that has all libraries of this process at once."""
    parent = os.getpid()
    pid = os.fork()
    if pid:
        end.close()
        return _Forked(pid)
    code = 1
    try:
        from takeoff.isolation.host_process import serve

        gc.freeze()  # what is shared stays shared: the collector writes into all that it visits
        gc.enable()
        os.dup2(end.fileno(), 0)
        os.closerange(3, os.sysconf("SC_OPEN_MAX"))
        serve(parent, memory)
        code = 0
    finally:
        os._exit(code)


def _started(end: socket.socket, memory: int) -> subprocess.Popen[bytes]:
    """A host from nothing."""
    environment = {**os.environ, **forking.ONE_THREAD}
    root = str(Path(__file__).resolve().parents[2])
    try:
        return subprocess.Popen(
            [sys.executable, "-P", "-c", BOOT, root, str(os.getpid()), str(memory)],
            stdin=end.fileno(),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env=environment,
        )
    finally:
        end.close()
