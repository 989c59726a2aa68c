"""Models measured by a Dask scheduler and its workers on loopback, one of them killed in the middle."""

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import psutil
import pytest
from nightly_nights import Nights, RememberingWorkers, happened, history_state, output_state, write_wall

from takeoff.findings import InputError
from takeoff.nightly import workers
from takeoff.nightly.workers import ClusterWorkers

pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
pytestmark = pytest.mark.skipif(os.name != "posix", reason="kill -9 is of POSIX systems")


class Cluster:
    """A scheduler and workers of one thread each, as processes of their own."""

    def __init__(self, folder: Path, count: int) -> None:
        self.file = folder / "scheduler.json"
        self.environment = {**os.environ, "DASK_DISTRIBUTED__WORKER__DAEMON": "false"}
        self.scheduler = self._start("scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard")
        self.workers = [self.add_worker() for _ in range(count)]

    def _start(self, kind: str, *more: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", "dask", kind, "--scheduler-file", str(self.file), *more]
        return subprocess.Popen(
            command,
            env=self.environment,
            cwd=self.file.parent,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )

    def add_worker(self) -> subprocess.Popen[bytes]:
        more = ("--nthreads", "1", "--no-nanny", "--no-dashboard", "--host", "127.0.0.1")
        return self._start("worker", *more)

    @property
    def address(self) -> str:
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline:
            try:
                return str(json.loads(self.file.read_text())["address"])
            except (OSError, ValueError):
                time.sleep(0.1)
        raise AssertionError("the scheduler did not start")

    def close(self) -> None:
        for process in (*self.workers, self.scheduler):
            process.kill()
            process.wait()


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cluster]:
    started = Cluster(tmp_path, 2)
    yield started
    started.close()


class KillingWorkers(ClusterWorkers):
    """Cluster workers, one of which is killed as soon as it is measuring."""

    cluster: Cluster
    killed: list[int]

    def outcomes(self, orders, rules):
        def kill() -> None:
            for _ in range(2000):
                for process in self.cluster.workers:
                    if any(psutil.Process(process.pid).children()):
                        process.send_signal(signal.SIGKILL)
                        self.killed.append(process.pid)
                        return
                time.sleep(0.02)

        threading.Thread(target=kill, daemon=True).start()
        yield from super().outcomes(orders, rules)


def made(root: Path) -> Nights:
    nights = Nights(root)
    for number in range(4):
        write_wall(nights.folder / f"wall-{number}.ifc", 2.0 + number, precast=number == 1)
    (nights.folder / "broken.ifc").write_text("no model")
    return nights


def test_a_lost_worker_s_models_are_measured_elsewhere(tmp_path: Path, cluster: Cluster) -> None:
    local = made(tmp_path / "local")
    local.crew = lambda: RememberingWorkers(2)
    _, expected = local.night(0)
    spread = made(tmp_path / "spread")
    address = cluster.address
    killed: list[int] = []

    def crew() -> KillingWorkers:
        made = KillingWorkers(address)
        made.cluster, made.killed = cluster, killed
        return made

    spread.crew = crew
    finished, report = spread.night(0)
    assert len(killed) == 1, "a worker was killed while it measured"
    assert (finished.measured, finished.failed) == (4, 1)
    assert sorted(happened(report)) == sorted(happened(expected))
    assert history_state(spread.url) == history_state(local.url)
    assert output_state(spread.out) == output_state(local.out)


def test_a_lost_scheduler_keeps_what_was_finished(
    tmp_path: Path, cluster: Cluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workers, "SILENCE_SECONDS", 3.0)
    monkeypatch.setattr(workers, "LOOK_SECONDS", 0.5)
    nights = made(tmp_path / "nights")
    address = cluster.address

    class Losing(ClusterWorkers):
        def outcomes(self, orders, rules):
            for outcome in super().outcomes(orders, rules):
                yield outcome
                cluster.scheduler.kill()

    nights.crew = lambda: Losing(address)
    with pytest.raises(InputError, match=f"cluster {address}: "):
        nights.night(0)
    nights.crew = lambda: RememberingWorkers(2)
    finished, report = nights.night(0.01)
    assert finished.measured + finished.failed < 5, "what was finished is not measured again"
    assert len(happened(report)) == 5, "the next report tells all that was not told"


def test_a_cluster_that_does_not_answer_is_one_clear_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workers, "CONNECT_SECONDS", 1)
    with pytest.raises(InputError, match="no scheduler with a worker answers"):
        ClusterWorkers("tcp://127.0.0.1:9")
    with pytest.raises(InputError, match="no scheduler with a worker answers"):
        ClusterWorkers("nonsense://x")


def test_workers_of_another_program_are_one_clear_line(
    cluster: Cluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workers, "__version__", "99.0")  # of the run; the workers have their own
    with pytest.raises(
        InputError, match=r"the run has takeoff 99\.0, worker tcp://.* has .*; install the same on all"
    ):
        ClusterWorkers(cluster.address)
