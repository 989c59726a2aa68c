"""One piece of work over many things, divided among forked copies of this process."""

import os
import pickle
import signal
from collections.abc import Callable
from itertools import pairwise
from typing import Any, TypeVar

from takeoff.isolation.forking import AVAILABLE, end_with, leave_signals_to_parent

Part = TypeVar("Part")

Spread = Callable[..., list[Any]]
"""Does work over a count of things in ranges, with how to pack and unpack its results for their way."""

LEAST = 400
"""Things for which a further process pays."""


def spread(
    work: Callable[[range], Part],
    count: int,
    processes: int,
    pack: Callable[[Part], Any],
    unpack: Callable[[Any], Part],
    least: int | None = None,
) -> list[Part]:
    """Results of `work` over the numbers 0 to `count`, in consecutive ranges, in order.

    A further process pays for `least` things, LEAST where it is not given.

    Copies of this process see all that it holds; only results pass back, through `pack` and `unpack`. What a
    copy does not answer, because it crashed, ran out of memory or of the patience that is left here, is worked
    out here. Raises what `work` raises here.
    """
    parts = max(1, min(processes if AVAILABLE else 1, count // (least or LEAST)))
    bounds = [count * number // parts for number in range(parts + 1)]
    ranges = [range(low, high) for low, high in pairwise(bounds)]
    copies = [_Copy(work, wanted, pack) for wanted in ranges[1:]]
    try:
        results = [work(ranges[0])]
        for copy, wanted in zip(copies, ranges[1:], strict=True):
            answer = copy.answer()
            results.append(work(wanted) if answer is None else unpack(answer[0]))
        return results
    finally:
        for copy in copies:
            copy.end()


def at_once(work: Callable[[range], Part], count: int, *_: object) -> list[Part]:
    """All of the work in this process."""
    return [work(range(count))]


class _Copy:
    """A forked copy at work."""

    def __init__(self, work: Callable[[range], Part], wanted: range, pack: Callable[[Part], Any]) -> None:
        parent = os.getpid()
        left = signal.getitimer(signal.ITIMER_PROF)[0]
        self._answers, told = os.pipe()
        self._pid = os.fork()
        if self._pid:
            os.close(told)
            return
        try:
            leave_signals_to_parent()
            end_with(parent)
            signal.signal(signal.SIGPROF, signal.SIG_DFL)  # a copy may be ended even while a library computes
            signal.setitimer(signal.ITIMER_PROF, left)
            payload = pickle.dumps((pack(work(wanted)),), protocol=pickle.HIGHEST_PROTOCOL)
            with open(told, "wb") as sink:
                sink.write(payload)
        finally:
            os._exit(0)  # an answer that is cut off is no answer

    def answer(self) -> tuple[Any] | None:
        """What the copy worked out, None where it did not."""
        with open(self._answers, "rb", closefd=False) as source:
            payload = source.read()
        try:
            found: tuple[Any] = pickle.loads(payload)
        except Exception:  # nothing, or the beginning of an answer
            return None
        return found

    def end(self) -> None:
        """End the copy, if it still runs."""
        os.close(self._answers)
        os.kill(self._pid, signal.SIGKILL)
        os.waitpid(self._pid, 0)
