"""Solids worked out in worker processes, so that a crash or a hang costs one element.

Each worker opens the file once and writes every element on a board before it begins, so that the parent knows whom
a dead worker died of. That element is tried once more, alone, with the second geometry kernel.
"""

import contextlib
import math
import os
import pickle
import queue
import subprocess
import sys
import threading
from collections import deque
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from msgspec import Struct, field
from msgspec.structs import replace

from takeoff.findings import InputError
from takeoff.geometry.board import Board
from takeoff.geometry.errands import Done, Errand
from takeoff.geometry.mesh import Floats
from takeoff.geometry.solids import SolidRequest, SolidResult
from takeoff.geometry.terrain_requests import TerrainRequest, TerrainResult
from takeoff.geometry.tessellation import KERNELS
from takeoff.geometry.worker import Job
from takeoff.isolation.forking import ONE_THREAD, short_of_memory
from takeoff.isolation.patience import SHORT
from takeoff.isolation.spent import Spent

if TYPE_CHECKING:
    from takeoff.geometry.cutting import Answer, Task
    from takeoff.isolation.host import Host, Worker

BOOT = "import sys; sys.path[:0] = sys.argv[1:]; from takeoff.geometry.worker import serve; serve()"
"""What a worker runs. The package's own folder is handed over as its argument."""

ELEMENT_SECONDS = 0.003
"""Usual time of one element or opening, seconds, measured on public models; decides how many workers pay."""

BYTE_SECONDS = 2e-7
"""Usual time of reading and meshing a byte of the file, seconds."""

WORTH_SECONDS = 0.6
"""A further worker is started for this much expected work: about what its start costs."""

WORTH_TASKS = 10
"""A further worker is started for this many overlaps, which take a few milliseconds each."""

LOOK_SECONDS = 0.2
"""How often it is looked how long workers are at their elements."""

STRAYS = 3
"""Workers that may die between elements (ended by somebody, say) before their elements are given up."""

FORK_SECONDS = 0.05
"""The same for one that is forked."""

Request = SolidRequest | Errand | TerrainRequest
Result = SolidResult | Done | TerrainResult

Batch = tuple[list[Request], int]
"""Requests and which try it is: 0, or 1 and 2 of one that killed a worker."""

ENDING_SECONDS = 5.0
"""Patience with a thread whose worker was killed, and with a worker that was asked to end."""

TURNS = (KERNELS, KERNELS[1:], KERNELS[:1])
"""Kernels that may be asked at each try: either of them may be the one that breaks down over an element."""


class _Slot(Struct, eq=False):
    """One worker's place: its process, and the board with the element it is at."""

    process: "subprocess.Popen[bytes] | Worker | None" = None
    turn: int = 0
    killed: str = ""
    board: Board | None = None
    spent: Spent | None = None
    lock: threading.Lock = field(default_factory=threading.Lock)

    def end(self) -> None:
        """End the worker at once, if there is one."""
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            self.process = None
        self.put_away()

    def put_away(self) -> None:
        """Close the board of a worker that is no more."""
        if self.board is not None:
            self.board.close()
            self.board = None


def make_solids(
    path: str,
    requests: Sequence[SolidRequest],
    origin: Floats,
    transform: Floats | None = None,
    *,
    processes: int,
    limit_seconds: float = 60.0,
    on_done: Callable[[int], None] | None = None,
    host: "Host | None" = None,
) -> dict[int, SolidResult]:
    """Work out requests over a STEP or XML file: results by key, every request answered.

    Meshes are in metres relative to `origin` (3,), after `transform` (4, 4) where given. At most `processes`
    workers run, fewer where more would not pay, always at least one. An element that crashes a worker, takes
    longer than `limit_seconds` or too much memory gets a condition. `on_done` is called in this thread with
    the number of requests done so far. `host` has the file open and forks the workers, which stay for errands.
    Raises InputError when the file cannot be opened.
    """
    if not requests:
        return {}
    count = worker_count(path, requests, processes, FORK_SECONDS if host else None)
    job = Job(path, origin, transform, KERNELS, _memory_limit(processes), os.getpid())
    return cast("dict[int, SolidResult]", _run(_Pool(job, requests, count, host), limit_seconds, on_done))


def do_errands(
    tasks: "Sequence[Task]", *, processes: int, limit_seconds: float = 60.0, host: "Host | None" = None
) -> "list[Answer | None]":
    """Do tasks of the overlap stage in workers: answers in order, None for one that no worker survives.

    The workers that have made solids of the host's model do them, as far as they stayed.
    """
    if not tasks:
        return []
    count = max(1, min(processes, math.ceil(len(tasks) / WORTH_TASKS)))
    job = Job("", np.zeros(3), None, KERNELS, _memory_limit(processes), os.getpid())
    errands = [Errand(key, task) for key, task in enumerate(tasks)]
    done = cast("dict[int, Done]", _run(_Pool(job, errands, count, host, True), limit_seconds, None))
    return [done[key].answer for key in range(len(errands))]


def read_terrains(
    path: str,
    requests: Sequence[TerrainRequest],
    origin: Floats,
    transform: Floats | None = None,
    *,
    processes: int,
    limit_seconds: float = 60.0,
    host: "Host | None" = None,
) -> "list[TerrainResult]":
    """Read terrains of a STEP or XML file as `make_solids` does bodies: results in order, every request answered."""
    if not requests:
        return []
    count = max(1, min(processes, len(requests)))
    job = Job(path, origin, transform, KERNELS, _memory_limit(processes), os.getpid())
    done = cast("dict[int, TerrainResult]", _run(_Pool(job, requests, count, host), limit_seconds, None))
    return [done[request.key] for request in requests]


def _run(pool: "_Pool", limit_seconds: float, on_done: Callable[[int], None] | None) -> "dict[int, Result]":
    try:
        return pool.run(limit_seconds, on_done)
    finally:
        pool.end()


def worker_count(
    path: str, requests: Sequence[SolidRequest], processes: int, start_seconds: float | None = None
) -> int:
    """How many of `processes` workers pay for the expected work; `start_seconds` is what another one costs."""
    pieces = sum(len(request.body) + len(request.openings) for request in requests)
    worth = WORTH_SECONDS
    expected = pieces * ELEMENT_SECONDS
    if start_seconds is None:
        expected += Path(path).stat().st_size * BYTE_SECONDS
    else:
        worth = start_seconds
    return max(1, min(processes, len(requests), math.ceil(expected / worth)))


def _memory_limit(count: int) -> int | None:
    """Address space that one worker may take: its share of the machine, at least 2 GiB. None: not known."""
    try:
        total = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
    except (AttributeError, ValueError, OSError):
        return None
    return max(2 << 30, int(total * 0.9 / count))


class _Pool:
    """Worker processes, each driven by a thread; the caller's thread gathers results and watches time.

    Workers forked by a `host` stay there as its `spare` ones when all is done; `by_spare`: these begin.
    """

    def __init__(
        self,
        job: Job,
        requests: Sequence[Request],
        count: int,
        host: "Host | None" = None,
        by_spare: bool = False,
    ) -> None:
        self.job = job
        self.host = host
        self.wanted = len(requests)
        self.batches: deque[Batch] = deque(_batches(requests, count))
        self.answers: queue.Queue[list[Result] | BaseException] = queue.Queue()
        self.slots: list[_Slot] = []
        if by_spare and host is not None:
            self.slots, host.spare[:] = host.spare[:count], host.spare[count:]
        self.slots += [_Slot() for _ in range(count - len(self.slots))]
        self.held: dict[int, Result] = {}
        self.first: dict[int, str] = {}
        self.results: dict[int, Result] = {}
        self.threads: list[threading.Thread] = []
        self.over = False
        self.strays = 0

    def run(self, limit_seconds: float, on_done: Callable[[int], None] | None) -> dict[int, Result]:
        for slot in self.slots:
            thread = threading.Thread(target=self._drive, args=(slot,), daemon=True)
            thread.start()
            self.threads.append(thread)
        results = self.results
        pause = min(LOOK_SECONDS, limit_seconds / 4.0)
        while len(results) < self.wanted:
            try:
                answer = self.answers.get(timeout=pause)
            except queue.Empty:
                self._watch(limit_seconds)
                continue
            if isinstance(answer, BaseException):
                raise answer
            results.update((result.key, result) for result in answer)
            if on_done is not None:
                on_done(len(results))
            self._watch(limit_seconds)
        return results

    def end(self) -> None:
        """End all workers at once, but for those that stay."""
        if len(self.results) == self.wanted and self.host is not None:
            for thread in self.threads:  # none has anything left to do
                thread.join(ENDING_SECONDS)
            self.host.spare += filter(self._stays, self.slots)
            self.slots = [slot for slot in self.slots if not self._stays(slot)]
        self.over = True
        for slot in self.slots:
            with slot.lock:
                if slot.process is not None:
                    slot.process.kill()
        # A thread still reads from its worker: streams must not be closed under it, and it ends with the worker.
        for thread in self.threads:
            thread.join(ENDING_SECONDS)
        for slot in self.slots:
            with slot.lock:
                slot.end()

    def _stays(self, slot: _Slot) -> bool:
        """Whether a worker is spared for what comes next: a forked one that may ask all kernels."""
        return slot.process is not None and not isinstance(slot.process, subprocess.Popen) and not slot.turn

    def _watch(self, limit_seconds: float) -> None:
        for slot in self.slots:
            with slot.lock:
                if slot.board is None or slot.process is None or slot.killed:
                    continue
                key, seconds = slot.board.current()
                if seconds < LOOK_SECONDS or slot.spent is None:
                    continue  # begun just now, or nothing is under way
                before = slot.board.computed()
                limit = limit_seconds * SHORT if slot.turn else limit_seconds
                if slot.spent.on((key, before), before) > limit:
                    slot.killed = f"geometry took longer than {limit:g} s"
                    slot.process.kill()

    def _drive(self, slot: _Slot) -> None:
        """Hand batches to one worker until none is left; replace it when it dies."""
        try:
            while not self.over:
                try:
                    batch, turn = self.batches.popleft()
                except IndexError:
                    break
                self._do(slot, batch, turn)
            if not self._stays(slot):
                self._dismiss(slot)
        except BaseException as problem:
            if not self.over:
                self.answers.put(problem)

    def _do(self, slot: _Slot, batch: list[Request], turn: int) -> None:
        if slot.process is None or slot.turn != turn:
            self._dismiss(slot)
            self._start(slot, turn)
        process = slot.process
        assert process is not None
        assert process.stdin is not None
        assert process.stdout is not None
        left = {request.key: request for request in batch}
        try:
            _send(process.stdin, batch)
            while True:
                kind, what = pickle.load(process.stdout)
                for result in what:
                    self._take(result, left.pop(result.key), turn)
                if kind == "idle":
                    return
        except (EOFError, OSError, pickle.UnpicklingError):
            if not self.over:
                self._bury(slot, process, left, turn)

    def _bury(
        self, slot: _Slot, process: "subprocess.Popen[bytes] | Worker", left: dict[int, Request], turn: int
    ) -> None:
        """A worker died: put aside the element it died of, hand the others out again."""
        with slot.lock:
            code = process.wait()
            culprit, late = slot.board.current()[0] if slot.board else None, slot.killed
            slot.process, slot.killed = None, ""
            slot.put_away()
        reason = late or short_of_memory() or f"the geometry kernel crashed (exit {code})"
        request = left.pop(culprit) if culprit in left else None
        if request is None:
            self.strays += 1
            if self.strays > STRAYS:
                for key in left:
                    text = "not worked out: geometry workers end before they begin"
                    self.answers.put([left[key].failed(text)])
                return
        if left:
            self.batches.appendleft((list(left.values()), turn))
        if request is None:
            return
        first = self.first.setdefault(request.key, reason)
        last = len(TURNS) - 1 if isinstance(request, SolidRequest) else 1
        if isinstance(request, Errand) and late:
            last = 0  # the one kernel there is would take as long once more
        if turn < last:
            self.batches.append(([request], turn + 1))
        else:
            held = self.held.pop(request.key) if request.key in self.held else None
            again = "each time" if reason == first else f"tried again: {reason}"
            self.answers.put([held or request.failed(f"{first}, {again}")])

    def _take(self, result: Result, request: Request, turn: int) -> None:
        """Hand on a result; one of the second kernel that is no solid is held until the first was asked alone."""
        if turn == 1 and isinstance(result, SolidResult) and result.condition:
            self.held[result.key] = result
            self.batches.append(([request], turn + 1))
            return
        held = self.held.pop(result.key, None)
        if held is not None and isinstance(result, SolidResult) and result.condition:
            result = held
        self.answers.put([_other(result, turn) if turn else result])

    def _start(self, slot: _Slot, turn: int) -> None:
        """Start a worker that may ask the kernels of this turn. Raises InputError if it cannot open the file."""
        with slot.lock:
            if self.over:
                raise InterruptedError
            slot.board = Board.new()
            job = replace(self.job, board=slot.board.path, kernels=TURNS[turn])
            slot.process = self._new()
            slot.spent = Spent(slot.process.pid)
            slot.turn = turn
            if not isinstance(slot.process, subprocess.Popen):
                job = replace(job, parent=0)
        process = slot.process
        assert process.stdin is not None
        assert process.stdout is not None
        try:
            _send(process.stdin, job)
            kind, what = pickle.load(process.stdout)
        except (EOFError, OSError) as problem:
            code = process.wait()
            raise InputError(self._not_opened(f"exit {code}", short_of_memory())) from problem
        if kind == "failed":
            raise InputError(self._not_opened(what, short_of_memory(what)))

    def _not_opened(self, reason: str, cure: str) -> str:
        name = Path(self.job.path).name
        return f"{name}: {cure or f'the geometry worker cannot open it ({reason}); check the file'}"

    def _new(self) -> "subprocess.Popen[bytes] | Worker":
        """A forked worker where there is a host that can, else one started from nothing."""
        if self.host is not None:
            with contextlib.suppress(EOFError, RuntimeError):
                return self.host.fork()
        root = str(Path(__file__).resolve().parents[2])
        environment = {**os.environ, **ONE_THREAD}
        return subprocess.Popen(
            [sys.executable, "-P", "-c", BOOT, root],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=environment,
        )

    def _dismiss(self, slot: _Slot) -> None:
        """Ask a worker to end and wait for it."""
        process = slot.process
        if process is None:
            return
        assert process.stdin is not None
        with contextlib.suppress(OSError):
            _send(process.stdin, None)
            process.stdin.close()
        try:
            process.wait(timeout=ENDING_SECONDS)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        with slot.lock:
            slot.process = None
            slot.put_away()


def _send(stream: Any, what: Any) -> None:
    pickle.dump(what, stream, protocol=pickle.HIGHEST_PROTOCOL)
    stream.flush()


def _other(result: Result, turn: int) -> Result:
    """A result of a later try, with the remark that it is one."""
    if not isinstance(result, SolidResult):
        return result
    text = f"a geometry kernel failed on this element: worked out with {TURNS[turn][0]} alone"
    return replace(result, remarks=(*result.remarks, ("second-kernel", text)), lasting=False)


def _batches(requests: Sequence[Request], count: int) -> list[Batch]:
    """Requests in order, in batches small enough that workers end at about the same time."""
    size = max(1, min(32, len(requests) // (count * 6)))
    return [(list(requests[start : start + size]), 0) for start in range(0, len(requests), size)]
