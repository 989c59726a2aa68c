"""Processes forked from one that holds all libraries: as apart from each other as those from nothing."""

import hashlib
import os
import pickle
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import psutil
import pytest
from nightly_nights import write_wall

from takeoff.nightly import isolation
from takeoff.nightly.isolation import Isolation, run_order
from takeoff.nightly.nursery import Child, Nursery, available
from takeoff.nightly.order import Limits, Order, PinnedRules, pin_rules
from takeoff.nightly.outcome import BOOK, MEASURED, TABLES, unpack
from takeoff.settings import Settings

pytestmark = pytest.mark.skipif(not available(), reason="processes are not forked on this system")

ROOMY = Limits(300.0, 4 << 30, 2 << 30)


@pytest.fixture(scope="module")
def nursery() -> Iterator[Nursery]:
    nursery = Nursery()
    nursery.start()
    yield nursery
    nursery.end()


@pytest.fixture(scope="module")
def rules() -> PinnedRules:
    return pin_rules(Settings(), 1)


class Deed:
    """What the process does when it reads its order."""

    def __init__(self, body: str) -> None:
        self.body = body

    def __reduce__(self) -> tuple[object, ...]:
        return exec, (self.body,)


def child_that(nursery: Nursery, folder: Path, body: str) -> Child:
    folder.mkdir(exist_ok=True)
    (folder / "order.pickle").write_bytes(pickle.dumps(Deed(body)))
    with (folder / "stderr.txt").open("wb") as errors:
        return nursery.fork(folder, str(folder), errors.fileno())


def order_for(path: Path, limits: Limits = ROOMY) -> Order:
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    return Order(7, path.name, str(path.parent), (path.name,), (digest,), limits)


def runs(pid: int) -> bool:
    try:
        return psutil.Process(pid).status() != psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return False


def test_same_tables_as_from_nothing(nursery: Nursery, rules: PinnedRules, tmp_path: Path) -> None:
    order = order_for(write_wall(tmp_path / "a.ifc", 1.0))
    forked, started = Isolation(nursery).run(order, rules), run_order(order, rules)
    assert (forked.state, started.state) == ("measured", "measured"), (forked.reason, started.reason)
    ours, theirs = unpack(forked.packed).files, unpack(started.packed).files
    told = [name for name in ours if ours[name] != theirs[name]]
    assert set(told) <= {BOOK, TABLES, "run.json"}  # these tell seconds and the moment
    assert len(ours) == len({BOOK, *MEASURED})


def test_libraries_start_no_thread_that_a_child_would_lack(nursery: Nursery, tmp_path: Path) -> None:
    told = tmp_path / "told"
    body = (
        "import os, psutil, pathlib\n"
        f"pathlib.Path({str(told)!r}).write_text(str(psutil.Process(os.getppid()).num_threads()))"
    )
    child_that(nursery, tmp_path / "w", body).wait(60)
    assert told.read_text() == "1"


def test_a_crash_costs_one_child(nursery: Nursery, tmp_path: Path) -> None:
    crashed = child_that(nursery, tmp_path / "a", "import os; os.abort()")
    assert crashed.wait(60) == -signal.SIGABRT
    assert crashed.wait() == -signal.SIGABRT, "whoever asks again is told again"
    fine = child_that(nursery, tmp_path / "b", "import sys; sys.exit(5)")
    assert fine.wait(60) == 1
    assert "SystemExit: 5" in (tmp_path / "b" / "stderr.txt").read_text()


def test_several_threads_may_wait_for_one_child(nursery: Nursery, tmp_path: Path) -> None:
    child = child_that(nursery, tmp_path / "a", "import time; time.sleep(1)")
    with ThreadPoolExecutor(8) as pool:
        codes = list(pool.map(lambda _: child.wait(60), range(8)))
    assert codes == [1] * 8  # its order is no order


def test_each_has_its_own_places(nursery: Nursery, tmp_path: Path) -> None:
    body = "import os, tempfile, pathlib; pathlib.Path('told').write_text(tempfile.gettempdir())"
    for name in ("a", "b"):
        child_that(nursery, tmp_path / name, body).wait(60)
        assert (tmp_path / name / "told").read_text() == str(tmp_path / name)


def test_a_hang_is_ended_with_all_that_it_started(
    nursery: Nursery, rules: PinnedRules, tmp_path: Path
) -> None:
    body = (
        "import subprocess, sys, time, pathlib\n"
        "child = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(300)'])\n"
        "pathlib.Path('told').write_text(str(child.pid))\n"
        "time.sleep(300)"
    )
    child = child_that(nursery, tmp_path / "a", body)
    with pytest.raises(subprocess.TimeoutExpired):
        child.wait(0.2)
    began = time.monotonic()
    note = tmp_path / "a" / "told"
    while not (note.is_file() and note.read_text()) and time.monotonic() - began < 30:
        time.sleep(0.05)
    grandchild = int(note.read_text())
    assert runs(grandchild)
    isolation._kill(child)
    assert child.returncode == -signal.SIGKILL
    began = time.monotonic()
    while runs(grandchild) and time.monotonic() - began < 10:
        time.sleep(0.05)
    assert not runs(grandchild)


def test_secrets_do_not_reach_it(rules: PinnedRules, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TAKEOFF_MAIL_PASSWORD", "sesame")
    nursery = Nursery()
    nursery.start()
    try:
        body = "import os, pathlib; pathlib.Path('told').write_text(str('sesame' in str(os.environ)))"
        child_that(nursery, tmp_path / "a", body).wait(60)
        assert (tmp_path / "a" / "told").read_text() == "False"
    finally:
        nursery.end()


def test_when_it_is_lost_its_children_end_and_processes_start_from_nothing(
    rules: PinnedRules, tmp_path: Path
) -> None:
    nursery = Nursery()
    nursery.start()
    child = child_that(nursery, tmp_path / "w", "import time; time.sleep(300)")
    assert nursery._process is not None
    nursery._process.kill()
    assert child.wait(60) == -signal.SIGKILL
    with pytest.raises(OSError, match="has ended"):
        child_that(nursery, tmp_path / "w", "pass")
    outcome = Isolation(nursery).run(order_for(write_wall(tmp_path / "a.ifc", 1.0)), rules)
    assert outcome.state == "measured", outcome.reason
    nursery.end()


def test_it_ends_with_the_run(tmp_path: Path) -> None:
    body = (
        "import sys, time\n"
        "from takeoff.nightly.nursery import Nursery\n"
        "nursery = Nursery()\n"
        "nursery.start()\n"
        "print(nursery._process.pid, flush=True)\n"
        "time.sleep(300)"
    )
    run = subprocess.Popen([sys.executable, "-c", body], stdout=subprocess.PIPE, env=os.environ)
    assert run.stdout is not None
    pid = int(run.stdout.readline())
    run.kill()
    run.wait()
    run.stdout.close()
    began = time.monotonic()
    while runs(pid) and time.monotonic() - began < 30:
        time.sleep(0.05)
    assert not runs(pid)
