"""One piece of work over many things, divided among forked copies of this process."""

from collections.abc import Callable, Hashable
from itertools import pairwise
from typing import Any, TypeVar

from takeoff.findings import InputError
from takeoff.isolation import notes
from takeoff.isolation.copies import Breakdown, Copy, Lost, Outcome, words_of
from takeoff.isolation.forking import AVAILABLE
from takeoff.isolation.patience import Overrun

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
    who: Callable[[int], Hashable] | None = None,
    least: int | None = None,
) -> list[Part]:
    """Results of `work` over the numbers 0 to `count`, in consecutive ranges, in order.

    A further process pays for `least` things, LEAST where it is not given. `who` says whom a number stands for; `sweep`
    goes by it.

    Copies of this process see all that it holds; only results pass back, through `pack` and `unpack`. What a
    copy does not answer, because it ran out of memory or was ended from outside, is worked out here. Raises what
    `work` raises here, and Lost where a copy failed over somebody whom it had noted, hung, or broke down.
    """
    del who
    parts = max(1, min(processes if AVAILABLE else 1, count // (least or LEAST)))
    bounds = [count * number // parts for number in range(parts + 1)]
    ranges = [range(low, high) for low, high in pairwise(bounds)]
    copies = [Copy(lambda wanted=wanted: pack(work(wanted))) for wanted in ranges[1:]]  # type: ignore[misc]
    try:
        results = [work(ranges[0])]
        lost: list[Outcome] = []
        for copy, wanted in zip(copies, ranges[1:], strict=True):
            with notes.waiting():
                outcome = copy.outcome()
            if outcome.fault is None:
                results.append(unpack(outcome.answer))
            elif _is_to_be_told(outcome):
                lost.append(outcome)
            else:
                results.append(work(wanted))
        if lost:
            raise _lost(lost)
        return results
    finally:
        for copy in copies:
            copy.end()


def _is_to_be_told(outcome: Outcome) -> bool:
    """Whether doing the work of a copy here would come to the same end, or a worse one."""
    if isinstance(outcome.fault, Overrun | Lost):
        return True
    if isinstance(outcome.fault, Breakdown):
        return outcome.fault.own
    return outcome.number != notes.NOBODY and not isinstance(outcome.fault, InputError | MemoryError)


def _lost(outcomes: list[Outcome]) -> Lost:
    """All that copies lost; whom a library broke down over is left open, it may have been by chance."""
    culprits: dict[int, str] = {}
    for outcome in outcomes:
        assert outcome.fault is not None
        if isinstance(outcome.fault, Lost):
            culprits |= outcome.fault.culprits
        elif outcome.number and not isinstance(outcome.fault, Breakdown):
            culprits[outcome.number] = words_of(outcome.fault)
    return Lost(culprits, str(outcomes[0].fault))


def at_once(work: Callable[[range], Part], count: int, *_: object) -> list[Part]:
    """All of the work in this process."""
    return [work(range(count))]
