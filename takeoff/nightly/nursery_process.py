"""The process from which those that measure are forked: it holds all libraries, and never a model.

Reading in libraries takes several times as long as measuring a small model, so it is done once a night.
"""

import contextlib
import gc
import os
import socket
import sys
import tempfile
import traceback
from pathlib import Path
from typing import Any

from takeoff.isolation import forking
from takeoff.isolation.channel import Channel
from takeoff.isolation.forking import end_with


def tend(parent: int) -> None:
    """Do what the socket on standard input asks for until it closes; ends with the process `parent`.

    Asked and answered: ("fork", (folder, scratch)) with a handle for errors -> number of the process that carries
    out the order in `folder`; ("reap", number) -> the exit code of one that has ended.
    """
    end_with(parent)
    channel = Channel(socket.socket(fileno=os.dup(0)))
    nowhere = os.open(os.devnull, os.O_RDWR)
    for handle in (0, 1):
        os.dup2(nowhere, handle)
    forking.own_process()
    _read_in()
    gc.freeze()  # what is shared stays shared: the collector writes into all that it visits
    while True:
        try:
            (what, given), handles = channel.receive(most_handles=1)
        except EOFError:
            return
        answer: Any
        if what == "fork":
            folder, scratch = given
            answer = _fork(folder, scratch, handles[0], channel)
        else:
            answer = os.waitstatus_to_exitcode(os.waitpid(given, 0)[1])
        channel.send(answer)


def _fork(folder: Path, scratch: str, errors: int, channel: Channel) -> int:
    from takeoff.nightly.child import serve

    parent = os.getpid()
    number = os.fork()
    if number:
        os.close(errors)
        with contextlib.suppress(OSError):
            os.setpgid(number, number)  # by both, so that whoever kills the group finds it
        return number
    code = 1
    try:
        with contextlib.suppress(OSError):
            os.setpgid(0, 0)
        channel.close()
        os.dup2(errors, 2)
        os.close(errors)
        for name in ("TMPDIR", "TEMP", "TMP"):
            os.environ[name] = scratch
        tempfile.tempdir = None
        os.chdir(folder)
        serve(folder, parent)
        code = 0
    except BaseException:
        traceback.print_exc()
        sys.stderr.flush()
    finally:
        os._exit(code)


def _read_in() -> None:
    """All that measuring and billing a model use; none of it starts a thread."""
    import takeoff.billing
    import takeoff.geometry.worker_libraries
    import takeoff.isolation.host_process
    import takeoff.measuring.measure
    import takeoff.measuring.plan_findings
    import takeoff.nightly.child
    import takeoff.nightly.outcome
    import takeoff.nightly.tables
    import takeoff.outputs.tables
    import takeoff.outputs.workbook.book
    import takeoff.pipeline
    import takeoff.pricing.bill
    import takeoff.pricing.shares
    import takeoff.reading.model  # noqa: F401
