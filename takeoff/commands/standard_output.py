"""Standard output that a reader may leave early: what was done stays done, and the exit code stays true."""

import contextlib
import io
import os
import signal
import sys
from collections.abc import Iterator
from typing import Any

import click

from takeoff.collector import one_job
from takeoff.isolation.forking import memory_given, own_process, short_of_memory
from takeoff.isolation.supervision import leave_at_once, supervise


class Unsaid(Exception):
    """Standard output takes nothing, for instance because it goes to a file on a full disk."""


_LEAST_MEMORY = 180 << 20
"""Bytes of address space below which not even the libraries can be read in."""


class Ended(KeyboardInterrupt):
    """Somebody asked the program to end; `code` is what the system then expects as exit code."""

    def __init__(self, number: int) -> None:
        super().__init__()
        self.code = 128 + number


def _listen() -> None:
    """Have what the system asks to end clean up as Ctrl-C does: nothing half-written, no scratch folder."""

    def end(number: int, frame: Any) -> None:
        signal.signal(number, signal.SIG_IGN)  # asked once is enough
        raise Ended(number)

    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) == signal.SIG_DFL:
            with contextlib.suppress(ValueError):  # not the main thread
                signal.signal(number, end)


class _Output(io.FileIO):
    def write(self, data: Any) -> int:
        try:
            return super().write(data) or 0
        except BrokenPipeError:
            return memoryview(data).nbytes  # nobody listens any more
        except OSError as fault:
            raise Unsaid(fault.strerror or str(fault)) from fault


class Program(click.Group):
    """A group of commands that speak on such an output."""

    supervised: tuple[str, ...] = ()
    """Commands in which a library may break down or never come back."""

    def main(self, *args: Any, **more: Any) -> Any:
        """Run a command. Where somebody else has taken over standard output (a test), it is left alone."""
        for name in ("stdout", "stderr"):
            if getattr(sys, name) is None:  # closed by whoever started the program
                setattr(sys, name, open(os.devnull, "w"))  # noqa: SIM115 (for as long as the program runs)
        _listen()
        given = memory_given()
        if given is not None and given < _LEAST_MEMORY:
            click.echo(f"takeoff: {short_of_memory().replace(' for it', '')}", err=True)
            sys.exit(1)
        if sys.stdout is not sys.__stdout__:
            return super().main(*args, **more)
        if set(sys.argv[1:2]) & set(self.supervised):
            supervise()
        own_process()
        try:
            with one_job(), _output():
                return super().main(*args, **more)
        except Unsaid as fault:
            click.echo(
                f"takeoff: standard output cannot be written ({fault}); what was written stays", err=True
            )
            sys.exit(1)
        except SystemExit as end:
            leave_at_once(end.code)
            raise


@contextlib.contextmanager
def _output() -> Iterator[None]:
    usual = sys.stdout
    usual.flush()
    try:
        raw = _Output(usual.fileno(), "w", closefd=False)
    except (OSError, ValueError):  # closed, or no file: nothing to look after
        yield
        return
    ours = io.TextIOWrapper(
        io.BufferedWriter(raw), usual.encoding, usual.errors, newline=None, line_buffering=usual.isatty()
    )
    sys.stdout = ours
    try:
        yield
    finally:
        sys.stdout = usual
        with contextlib.suppress(ValueError):
            ours.flush()
            ours.detach()
