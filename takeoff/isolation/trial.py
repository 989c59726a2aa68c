"""Work tried in a copy of this process that may be lost."""

from collections.abc import Callable

from takeoff.findings import InputError
from takeoff.isolation import notes
from takeoff.isolation.copies import Copy, Lost, words_of


def tried(work: Callable[[], object]) -> None:
    """Do work in a forked copy of this process, for nothing but to see whether it can be done.

    Raises what the work raises there; Lost where that is over a body that was noted; Overrun where it takes longer
    than it may by its notes, Breakdown where the copy dies of it.
    """

    def done() -> None:
        work()

    copy = Copy(done)
    try:
        with notes.waiting():
            outcome = copy.outcome()
    finally:
        copy.end()
    if outcome.fault is None:
        return
    if outcome.number and not isinstance(outcome.fault, Lost | InputError):
        raise Lost({outcome.number: words_of(outcome.fault)}, str(outcome.fault))
    raise outcome.fault
