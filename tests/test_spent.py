"""Patience is not counted by the clock on the wall: whoever is stopped or waits for a processor spends nothing."""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

import numpy as np
import pytest
from solid_models import SolidModel

from takeoff.geometry import workers
from takeoff.geometry.solids import SolidRequest
from takeoff.geometry.workers import make_solids
from takeoff.isolation.spent import Spent, asleep, computed

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")

BUSY = "while True: pass"
ASLEEP = "import time; time.sleep(600)"


@contextmanager
def process(code: str) -> Iterator[int]:
    made = subprocess.Popen([sys.executable, "-c", "print(1, flush=True)\n" + code], stdout=subprocess.PIPE)
    assert made.stdout is not None
    made.stdout.readline()
    try:
        yield made.pid
    finally:
        made.kill()
        made.communicate()


def until(met: Callable[[], bool], seconds: float = 60.0) -> bool:
    end = time.monotonic() + seconds
    while not met() and time.monotonic() < end:
        time.sleep(0.05)
    return met()


def test_whoever_computes_or_sleeps_spends_time() -> None:
    for code in (BUSY, ASLEEP):
        with process(code) as pid:
            spent, before = Spent(pid), computed(pid)
            assert before is not None
            assert until(lambda pid=pid, spent=spent, before=before: spent.on("it", before) > 0.5)  # type: ignore[misc]
            assert asleep(pid) == (code == ASLEEP)
            assert spent.on("something else", computed(pid) or 0.0) < 0.4


def test_whoever_is_stopped_spends_nothing() -> None:
    with process(BUSY) as pid:
        os.kill(pid, signal.SIGSTOP)
        time.sleep(0.2)
        spent, before = Spent(pid), computed(pid)
        assert before is not None
        end = time.monotonic() + 1.5
        while time.monotonic() < end:
            assert spent.on("it", before) < 0.3
            time.sleep(0.05)


SLOW = """
import os, sys, time
sys.path[:0] = sys.argv[1:]
from takeoff.geometry import bodies, worker
inner = bodies.Bodies.result
def result(self, request, origin, transform=None):
    open({mark!r}, "a").close()
    began, end = time.monotonic(), time.process_time() + 0.4
    while time.process_time() < end:
        pass
    with open({mark!r}, "a") as told:
        print(time.monotonic() - began, file=told)
    return inner(self, request, origin, transform)
bodies.Bodies.result = result
worker.serve()
"""


def test_workers_that_get_little_of_the_machine_give_the_same(tmp_path, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    """Each is stopped for most of the time, so that by the wall an element takes longer than it may."""
    made = SolidModel()
    walls = [made.product(made.box((i, 0, 0), (i + 1, 0.2, 3 + i))) for i in range(2)]
    requests = [SolidRequest(key, (wall,)) for key, wall in enumerate(walls)]
    mark = tmp_path / "begun"
    monkeypatch.setattr(workers, "BOOT", SLOW.format(mark=str(mark)))
    monkeypatch.setattr(workers, "WORTH_SECONDS", 0.001)
    started: list[int] = []
    inner = workers._Pool._new

    def new(pool):  # type: ignore[no-untyped-def]
        one = inner(pool)
        started.append(one.pid)
        return one

    monkeypatch.setattr(workers._Pool, "_new", new)
    over = threading.Event()

    def hinder() -> None:
        until(mark.exists)
        while not over.wait(0.02):
            for sign, seconds in ((signal.SIGSTOP, 0.2), (signal.SIGCONT, 0.05)):
                for pid in list(started):
                    with suppress(ProcessLookupError):
                        os.kill(pid, sign)
                time.sleep(seconds)

    hindering = threading.Thread(target=hinder)
    hindering.start()
    try:
        results = make_solids(
            made.save(tmp_path / "walls.ifc"), requests, np.zeros(3), processes=2, limit_seconds=1.0
        )
    finally:
        over.set()
        hindering.join()
    assert max(float(line) for line in mark.read_text().split()) > 1.0  # by the wall
    assert [(result.condition, result.remarks) for result in results.values()] == [("", ())] * 2
    assert len(started) == 2
