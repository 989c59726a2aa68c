"""The worker process: opens one file, measures the requests it is handed, announces each before it begins.

Started by `workers`; talks pickled messages over its standard streams. Imports little, for a quick start.
"""

import os
import pickle
import signal
import sys
import time
from typing import Any, BinaryIO

from msgspec import Struct
from msgspec.structs import replace

from takeoff.geometry.board import Board
from takeoff.geometry.errands import Done, Errand
from takeoff.geometry.mesh import Floats
from takeoff.geometry.solids import SolidRequest, SolidResult
from takeoff.geometry.terrain_requests import TerrainRequest, TerrainResult
from takeoff.isolation.forking import bound_memory, leave_signals_to_parent

TELL_SECONDS = 0.1
"""Results are handed over together, but not kept longer than this: what a crash takes along is worked out again."""


class Job(Struct, frozen=True):
    """What a worker has to know: the file, where results lie, which kernels it may use, how much memory.

    `memory` is in bytes, None for no limit; `parent` is the process that started it, 0 where that sees to its end
    itself. Without a `path` it does errands only. `board` is where it writes what it is at.
    """

    path: str
    origin: Floats
    transform: Floats | None
    kernels: tuple[str, ...]
    memory: int | None
    parent: int
    board: str = ""


def serve() -> None:
    """Work for the process that started this one, over the standard streams."""
    source = sys.stdin.buffer
    # Libraries that print must not disturb the messages: standard output goes where errors go.
    sink = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    work_for(source, sink)


def work_for(source: BinaryIO, sink: BinaryIO, file: Any = None) -> None:
    """Read a `Job`, then lists of requests until None or the end of the stream; answer each request.

    `file` is the job's file where it is open already. Messages out: ("ready", ""), ("failed", reason),
    ("done", results) now and then, ("idle", results) at the end of each list. Each request is written on the
    job's board before it is begun.
    """

    def tell(kind: str, what: Any) -> None:
        pickle.dump((kind, what), sink, protocol=pickle.HIGHEST_PROTOCOL)
        sink.flush()

    job: Job = pickle.load(source)
    _guard(job)
    bodies: Any = None
    board = Board(job.board)
    try:
        if file is None and job.path:
            import ifcopenshell

            file = ifcopenshell.open(job.path)
        if file is not None:
            from takeoff.geometry.bodies import Bodies

            bodies = Bodies(file, job.kernels)
    except Exception as problem:
        tell("failed", f"{type(problem).__name__}: {problem}")
        return
    _one_thread()
    tell("ready", "")
    while True:
        try:
            requests: list[SolidRequest | Errand | TerrainRequest] | None = pickle.load(source)
        except EOFError:
            return
        if requests is None:
            return
        done: list[SolidResult | Done | TerrainResult] = []
        told = time.monotonic()
        for request in requests:
            board.begin(request.key)
            if isinstance(request, Errand):
                done.append(run_errand(request))
            elif isinstance(request, TerrainRequest):
                from takeoff.geometry.terrain import read_terrain

                done.append(read_terrain(bodies, request, job.origin, job.transform))
            else:
                done.append(measured(bodies, request, job))
            if time.monotonic() - told > TELL_SECONDS:
                board.clear()
                tell("done", done)
                done, told = [], time.monotonic()
        board.clear()
        tell("idle", done)


def run_errand(errand: Errand) -> Done:
    """The answer to an errand; None where it cannot be done."""
    from takeoff.geometry.cutting import work

    try:
        return Done(errand.key, work(errand.task))
    except Exception:  # whatever is wrong with the meshes: it is a doubt about this overlap
        return Done(errand.key, None)


def measured(bodies: Any, request: SolidRequest, job: Job) -> SolidResult:
    """The result of one request; whatever goes wrong costs this element only and is told in its condition."""
    began = time.perf_counter()
    try:
        result: SolidResult = bodies.result(request, job.origin, job.transform)
    except MemoryError:
        result = SolidResult(request.key, (), "geometry needs more memory than there is", lasting=False)
    except Exception as problem:
        text = " ".join(str(problem).split())[:160]
        if isinstance(problem, AttributeError) and problem.obj is None:
            text = "a line of the file that it needs is missing"
        result = SolidResult(request.key, (), f"geometry cannot be read ({type(problem).__name__}: {text})")
    if not result.seconds:
        result = replace(result, seconds=time.perf_counter() - began)
    return result


def _one_thread() -> None:
    """Keep the boolean kernel to one thread: there are as many workers as processors are wanted.

    Its thread pool counts the processors that it may use when it starts, so it is started while there is one.
    Two threads cost half as much processor time again and gain nothing on bodies of building size.
    """
    if not hasattr(os, "sched_setaffinity"):
        return
    import manifold3d

    allowed = os.sched_getaffinity(0)
    try:
        os.sched_setaffinity(0, {min(allowed)})
        cube = manifold3d.Manifold.cube((1.0, 1.0, 1.0))
        (cube - cube.translate((0.5, 0.3, 0.2))).volume()
    finally:
        os.sched_setaffinity(0, allowed)


def _guard(job: Job) -> None:
    """End with the parent, leave Ctrl-C to it, and keep a runaway element from eating all memory."""
    leave_signals_to_parent()
    if sys.platform == "linux" and job.parent:
        import ctypes

        ctypes.CDLL(None).prctl(1, signal.SIGKILL)  # PR_SET_PDEATHSIG
        if os.getppid() != job.parent:
            os._exit(1)
    if job.memory is not None:
        bound_memory(job.memory)
