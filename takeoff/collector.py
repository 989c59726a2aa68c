"""The garbage collector, out of the way of stages that make many records and no loops among them."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def collector_off() -> Iterator[None]:
    """No looking for loops meanwhile: it costs a sixth of the time, more the more records there are."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


@contextmanager
def one_job() -> Iterator[None]:
    """The same for a process that does one job and ends: nothing is looked through once more at its end either."""
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()


def goes_on() -> None:
    """Take that back: this job has no end in sight."""
    gc.enable()
