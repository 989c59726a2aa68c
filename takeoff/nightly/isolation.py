"""One model in a process of its own, within limits of time and memory: its outcome, whatever happens."""

import contextlib
import json
import os
import pickle
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import psutil

from takeoff import __version__
from takeoff.nightly.names import shown
from takeoff.nightly.nursery import Child, Nursery
from takeoff.nightly.order import Order, PinnedRules
from takeoff.nightly.outcome import RESULT_LIMIT, Outcome, State
from takeoff.nightly.secrets import without_secrets
from takeoff.scratch import scratch_folder

BOOT = (
    "import sys; sys.path[:0] = sys.argv[1:2]; from pathlib import Path; "
    "from takeoff.nightly.child import serve; serve(Path(sys.argv[2]), int(sys.argv[3]))"
)
"""What the process runs: the package's own folder, the private folder and the parent are its arguments."""

LOOK_SECONDS = 0.2
"""How often memory is looked at."""

Answer = tuple[State, str, bytes]
"""The state, the reason where it is not `measured`, and the packed result."""

_Process = subprocess.Popen[bytes] | Child


class Isolation:
    """Runs orders, each in a process group of its own; `stop` ends all that are under way.

    With a nursery processes are forked from it, which spares each the reading in of libraries.
    """

    def __init__(self, nursery: Nursery | None = None) -> None:
        self._nursery = nursery
        self._running: set[_Process] = set()
        self._lock = threading.Lock()
        self._stopped = False

    def run(self, order: Order, rules: PinnedRules) -> Outcome:
        """Measure one model; any thread may call this, and several at once."""
        began = time.monotonic()
        if order.version != __version__:
            reason = f"{socket.gethostname()} has takeoff {__version__}, the run has {order.version}; install the same"
            return Outcome(order.number, "refused", reason, where=socket.gethostname())
        state: State
        with scratch_folder("model", order.scratch or None) as folder:
            try:
                state, reason, packed = self._measure(folder, order, rules)
            except OSError as fault:
                state, reason, packed = "failed", f"no process could be run for it ({fault})", b""
        seconds = round(time.monotonic() - began, 3)
        reason = shown_reason(reason, folder)
        return Outcome(order.number, state, reason, packed, seconds, socket.gethostname())

    def stop(self) -> None:
        """End all processes; orders under way and later ones come back as stopped."""
        with self._lock:
            self._stopped = True
            for process in self._running:
                _kill(process)

    def _measure(self, folder: Path, order: Order, rules: PinnedRules) -> Answer:
        (folder / "order.pickle").write_bytes(pickle.dumps((order, rules)))
        (folder / "temporary").mkdir()
        process = self._start(folder)
        if process is None:
            return "stopped", "the run was stopped", b""
        try:
            limit = _watch(process, order)
        finally:
            with self._lock:
                self._running.discard(process)
            _kill(process)
        if self._stopped:
            return "stopped", "the run was stopped", b""
        if limit:
            return "failed", limit, b""
        return _answer(folder, process)

    def _start(self, folder: Path) -> _Process | None:
        scratch = str(folder / "temporary")
        with self._lock, (folder / "stderr.txt").open("wb") as errors:
            if self._stopped:
                return None
            process: _Process | None = None
            if self._nursery is not None:
                with contextlib.suppress(OSError):
                    process = self._nursery.fork(folder, scratch, errors.fileno())
            process = process or _started(folder, scratch, errors.fileno())
            self._running.add(process)
            return process


def _started(folder: Path, scratch: str, errors: int) -> subprocess.Popen[bytes]:
    """A process from nothing that carries out the order in `folder`."""
    root = str(Path(__file__).resolve().parents[2])
    return subprocess.Popen(
        [sys.executable, "-P", "-c", BOOT, root, str(folder), str(os.getpid())],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=errors,
        cwd=folder,
        env={**without_secrets(), "TMPDIR": scratch, "TEMP": scratch, "TMP": scratch},
        start_new_session=True,
    )


def run_order(order: Order, rules: PinnedRules) -> Outcome:
    """Measure one model on the machine on which this is called (on a cluster: a worker)."""
    return Isolation().run(order, rules)


def shown_reason(reason: str, folder: Path) -> str:
    """A reason in one line, bounded, without the private folder in the paths it names."""
    for private in (f"{folder}{os.sep}models{os.sep}", f"{folder}{os.sep}"):
        reason = reason.replace(private, "")
    safe = "; ".join(line.strip() for line in reason.splitlines() if line.strip())
    return "".join(c if c.isprintable() else shown(c) for c in safe)[:800]


def _watch(process: _Process, order: Order) -> str:
    """Wait for the end; where a limit is passed say which, having killed the process group."""
    end = time.monotonic() + order.limits.seconds
    while True:
        try:
            process.wait(LOOK_SECONDS)
            return ""
        except subprocess.TimeoutExpired:
            pass
        if time.monotonic() > end:
            _kill(process)
            return f"it took longer than {order.limits.seconds / 60:g} minutes"
        if _memory(process.pid) > order.limits.memory:
            _kill(process)
            return f"it needs more than {order.limits.memory / 2**30:.1f} GB of memory"


def _memory(pid: int) -> int:
    """Bytes that a process and those it started fill; pages that they share count for each."""
    total = 0
    with contextlib.suppress(psutil.Error):
        own = psutil.Process(pid)
        for process in (own, *own.children(recursive=True)):
            with contextlib.suppress(psutil.Error):
                total += process.memory_info().rss
    return total


def _kill(process: _Process) -> None:
    """End a process with all that it started."""
    if sys.platform == "win32":
        with contextlib.suppress(psutil.Error):
            for child in psutil.Process(process.pid).children(recursive=True):
                with contextlib.suppress(psutil.Error):
                    child.kill()
        process.kill()
    elif process.returncode is None or _group_lives(process.pid):
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(process.pid, signal.SIGKILL)
    if process.stdin is not None:
        with contextlib.suppress(OSError):
            process.stdin.close()
    process.wait()


def _group_lives(group: int) -> bool:
    """Whether a process of the group is left, after its leader ended: then its number is not given anew."""
    try:
        os.killpg(group, 0)
    except (ProcessLookupError, PermissionError):
        return False
    return True


def _answer(folder: Path, process: _Process) -> Answer:
    result, failure = folder / "result.zip", folder / "failure.json"
    if result.is_file():
        if result.stat().st_size > RESULT_LIMIT:
            return "failed", "its result is out of bounds; look at the model by hand", b""
        return "measured", "", result.read_bytes()
    if failure.is_file():
        told = json.loads(failure.read_text(encoding="utf-8"))
        state: State = told["state"]
        return state, str(told["reason"]), b""
    code = process.returncode
    if code == -signal.SIGTERM or (sys.platform != "win32" and code == -signal.SIGKILL):
        return (
            "failed",
            f"its process was killed from outside (signal {-code}); was the machine out of memory?",
            b"",
        )
    words = (folder / "stderr.txt").read_text(encoding="utf-8", errors="replace").strip().splitlines()
    said = f": {words[-1][:300]}" if words else ""
    return "failed", f"its process crashed (exit {code}){said}", b""
