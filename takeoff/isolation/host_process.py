"""The process that holds one open model: reads its facts, and forks the workers that make its solids.

Parsing is native code that a damaged or hostile file can bring down or keep busy for ever, so it is done here. A
forked worker has the parsed file and all libraries at once, where one that starts from nothing reads both again.
"""

import gc
import os
import pickle
import select
import signal
import socket
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from takeoff.findings import InputError
from takeoff.isolation.channel import Channel
from takeoff.isolation.forking import bound_memory, end_with, leave_signals_to_parent
from takeoff.isolation.spent import Spent

LOOK_SECONDS = 0.1
"""How often it is looked how long the place of a model takes."""


def serve(parent: int, memory: int) -> None:
    """Do what the socket on standard input asks for until it closes. `memory` bytes may be taken, 0: no limit.

    Asked and answered: ("read", (path, scratch, name)) -> facts; ("open", path) -> None; ("origin", (products,
    transform)) -> (3,); ("fork", None) with two handles -> the worker's process number; ("reap", number) -> its
    exit code, None while it runs. Answers are ("done", value), ("input", message) for an InputError, ("failed", words).
    """
    guard(parent, memory)
    # The IFC library does without this one where it is missing, but for view definitions in a file's header, and it
    # takes a third of the time that the library itself takes to be read in.
    sys.modules.setdefault("lark", None)  # type: ignore[arg-type]
    channel = Channel(socket.socket(fileno=os.dup(0)))
    # Libraries that print must not reach the terminal, and nothing may read what is asked but this loop.
    nowhere = os.open(os.devnull, os.O_RDWR)
    for handle in (0, 1, 2):
        os.dup2(nowhere, handle)
    held = Held()
    while True:
        try:
            (what, given), handles = channel.receive(most_handles=2)
        except EOFError:
            return
        try:
            if what == "fork":
                answer: Any = held.fork(handles, channel)
            else:
                answer = getattr(held, what)(given)
            channel.send(("done", answer))
        except InputError as problem:
            channel.send(("input", str(problem)))
        except MemoryError:
            channel.send(("failed", "it needs more memory than there is"))
        except Exception as problem:
            channel.send(("failed", f"{type(problem).__name__}: {' '.join(str(problem).split())[:200]}"))
        if what == "read":
            # What the workers need is read in while the parent decides methods.
            import takeoff.geometry.worker_libraries  # noqa: F401


class Held:
    """The open model."""

    def __init__(self) -> None:
        self.file: Any = None
        self.ended: dict[int, int] = {}

    def read(self, given: tuple[Path, Path, str]) -> Any:
        """Facts of the model at a path, by column."""
        from takeoff.cache.columns import packed
        from takeoff.reading.model import read_and_keep

        facts, self.file = read_and_keep(*given)
        return packed(facts)

    def open(self, path: str) -> None:
        """Open a plain file, without reading facts."""
        import ifcopenshell

        self.file = ifcopenshell.open(path)

    def origin(self, given: tuple[list[int], Any, float]) -> Any:
        """An origin (3,) near the bodies of some products; found by a child, which may crash, hang or start threads.

        Where it does, by another one that looks at their places only.
        """
        products, transform, limit = given
        for drawn in (True, False):
            answer = self._origin_within(limit, (products, transform, drawn))
            if answer:
                return pickle.loads(answer)
        raise RuntimeError("the place of the model cannot be told")

    def _origin_within(self, limit: float, given: tuple[list[int], Any, bool]) -> bytes:
        """What a child tells within `limit` seconds, empty where it does not."""
        answer_end, told = os.pipe()
        number = self._child([answer_end], lambda: self._tell_origin(told, given))
        os.close(told)
        spent, answer = Spent(number), b""
        with open(answer_end, "rb") as answers:
            while spent.on("origin") <= limit:
                if select.select([answers], [], [], LOOK_SECONDS)[0]:
                    answer = answers.read()
                    break
        os.kill(number, signal.SIGKILL)
        os.waitpid(number, 0)
        return answer

    def _tell_origin(self, told: int, given: tuple[list[int], Any, bool]) -> None:
        from takeoff.geometry.bodies import find_origin

        answer = pickle.dumps(find_origin(self.file, *given))
        with open(told, "wb") as sink:
            sink.write(answer)

    def fork(self, handles: list[int], channel: Channel) -> int:
        """Start a worker that reads from the first handle and writes to the second; its process number."""

        def work() -> None:
            from takeoff.geometry.worker import work_for

            with open(source, "rb") as asked, open(sink, "wb") as told:
                work_for(asked, told, self.file)

        source, sink = handles
        number = self._child([channel.end.fileno()], work)
        os.close(source)
        os.close(sink)
        return number

    @staticmethod
    def _child(unwanted: list[int], work: Callable[[], None]) -> int:
        """Fork a child that closes some handles, does its work and ends; its process number.

        This process itself never starts a thread, so that a child lacks none.
        """
        import takeoff.geometry.worker_libraries  # noqa: F401

        gc.freeze()  # what is shared stays shared: the collector writes into all that it visits
        parent = os.getpid()
        number = os.fork()
        if number:
            return number
        code = 1
        try:
            end_with(parent)
            for handle in unwanted:
                os.close(handle)
            work()
            code = 0
        finally:
            os._exit(code)

    def reap(self, number: int) -> int | None:
        """Exit code of a worker, None while it runs; whoever asks again is told again."""
        if number not in self.ended:
            ended, status = os.waitpid(number, os.WNOHANG)
            if not ended:
                return None
            self.ended[number] = os.waitstatus_to_exitcode(status)
        return self.ended[number]


def guard(parent: int, memory: int) -> None:
    """End with the parent, leave Ctrl-C to it, and keep a runaway file from eating all memory."""
    leave_signals_to_parent()
    end_with(parent)
    if memory:
        bound_memory(memory)
