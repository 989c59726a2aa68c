"""Reading and overlaps in processes of their own: what a crash or a hang costs, and who is left behind."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import psutil
import pytest
from meshes import box, mesh
from tower import write_tower

from takeoff import pipeline
from takeoff.findings import InputError
from takeoff.geometry.cutting import Cut, Remains
from takeoff.geometry.mesh import volume
from takeoff.isolation import host
from takeoff.isolation.forking import AVAILABLE
from takeoff.isolation.workshop import Workshop
from takeoff.settings import Settings

pytestmark = pytest.mark.skipif(not AVAILABLE, reason="this system has no safe way of forking")

ROOT = Path(__file__).resolve().parents[1]

MISCHIEF = """
import os, sys, time
sys.path[:0] = sys.argv[1:2]
from takeoff.reading import model
from takeoff.geometry import cutting
what = {what!r}
inner = model.read_and_keep
def read(path, scratch, name=None):
    if "bad" in str(path):
        if what == "crash":
            os.kill(os.getpid(), 11)
        if what == "hang":
            time.sleep(60)
        if what == "memory":
            bytearray(1 << 44)
        if what == "raise":
            raise ZeroDivisionError("of  no\\nuse")
    return inner(path, scratch, name)
model.read_and_keep = read
cut = cutting.work
def work(task):
    if isinstance(task, cutting.Cut) and task.body.box()[0, 2] > 50:
        os.kill(os.getpid(), 11)
    return cut(task)
cutting.work = work
from takeoff.isolation.host_process import serve
serve(int(sys.argv[2]), int(sys.argv[3]))
"""


@pytest.fixture
def models(tmp_path: Path) -> tuple[Path, Path]:
    bad, good = tmp_path / "bad.ifc", tmp_path / "good.ifc"
    write_tower(bad, 20, bays=1)
    write_tower(good, 21, bays=1)
    return bad, good


def _quick(**more: object) -> Settings:
    return Settings(cache=False, processes=2, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("what", "words"),
    [
        ("crash", "the IFC library broke down over it"),
        ("hang", "took longer than"),
        ("memory", "more memory than there is"),
        ("raise", "ZeroDivisionError: of no use"),
    ],
)
def test_a_file_that_brings_the_reader_down_costs_itself(
    models: tuple[Path, Path], what: str, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(host, "BOOT", MISCHIEF.format(what=what))
    monkeypatch.setattr(host, "BYTE_SECONDS", 0.0)
    bad, good = models
    limit = 3.0 if what == "hang" else 60.0
    with pytest.raises(InputError, match=words) as caught:
        pipeline.measure([bad], _quick(limit_seconds=limit))
    assert str(caught.value).startswith(str(bad))
    assert len(str(caught.value).splitlines()) == 1
    if what == "crash":
        run = pipeline.measure([bad, good], _quick())
        assert [finding.model for finding in run.failed] == ["bad.ifc"]
        assert run.record["totals"]["net_volume_m3"] > 1.0
    assert not _left_behind()


def test_an_overlap_that_crashes_is_a_doubt_and_the_others_are_cut(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(host, "BOOT", MISCHIEF.format(what=""))
    tasks = [
        Cut(mesh(box((0, 0, z), (1, 1, 1))), (mesh(box((0.5, 0, z), (1, 1, 1))),), True) for z in (0, 100, 0)
    ]
    with Workshop(2, 20.0) as shop:
        first, crashed, last = shop.crew(tasks)
    assert crashed is None
    for answer in (first, last):
        assert isinstance(answer, Remains)
        assert answer.lumps is not None
        assert volume(answer.lumps[0]) == pytest.approx(0.5)


def test_solids_are_made_although_their_host_dies(models: tuple[Path, Path]) -> None:
    from takeoff.geometry.solids import SolidRequest
    from takeoff.geometry.workers import make_solids

    _, good = models
    with Workshop(2, 20.0) as shop:
        made = shop.host()
        assert made is not None
        made.begin_reading(good, good.parent, "good", 20.0)
        facts = made.facts()
        requests = [SolidRequest(key, element.body) for key, element in enumerate(facts.elements)]
        made.process.kill()
        made.process.wait()
        results = make_solids(str(good), requests, np.zeros(3), processes=2, host=made)
    assert all(result.slices for result in results.values())


@pytest.mark.parametrize("sign", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_whatever_ends_the_program_ends_all_its_processes(tmp_path: Path, sign: signal.Signals) -> None:
    path = tmp_path / "tower.ifc"
    write_tower(path, 3000)
    command = [sys.executable, "-c", "from takeoff.cli import main; main()"]
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    run = subprocess.Popen(
        [*command, "measure", str(path), "--out", str(tmp_path / "out"), "--no-cache"],
        cwd=ROOT,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "TMPDIR": str(scratch)},
    )
    until = time.monotonic() + 60.0
    while len(started := _descendants(run.pid)) < 4 and time.monotonic() < until:
        time.sleep(0.005)
    assert len(started) >= 4  # the program itself, the one that holds the model, and two workers
    run.send_signal(sign)
    _, errors = run.communicate(timeout=20.0)
    _, alive = psutil.wait_procs(started, timeout=5.0)
    assert not alive
    assert not (tmp_path / "out").exists()
    assert "Traceback" not in errors
    if sign != signal.SIGKILL:
        assert run.returncode == (130 if sign == signal.SIGINT else 143)
        assert "stopped" in errors
        assert not list(scratch.iterdir())


def _descendants(pid: int) -> list[psutil.Process]:
    """All processes below one, read from the system's own list: looking through all processes takes too long."""
    found = []
    try:
        children = [int(number) for number in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
        for child in children:
            found += [psutil.Process(child), *_descendants(child)]
    except (OSError, psutil.NoSuchProcess):
        pass
    return found


def _left_behind() -> list[psutil.Process]:
    """Processes of this one that still run."""
    _, alive = psutil.wait_procs(psutil.Process(os.getpid()).children(recursive=True), timeout=3.0)
    return alive


@pytest.mark.parametrize("share", [0.6, 0.023, 0.01])
def test_a_bound_on_memory_from_outside_is_respected(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, share: float
) -> None:
    """Workers bound their memory below what they were started with: enough of it, or one line, never a failed start."""
    path = tmp_path / "tower.ifc"
    write_tower(path, 20, bays=1)
    bound = int(share * (8 << 30))
    command = f"import resource; resource.setrlimit(resource.RLIMIT_AS, ({bound}, {bound})); "
    command += "from takeoff.cli import main; main()"
    run = subprocess.run(
        [sys.executable, "-c", command, "measure", str(path), "--out", str(tmp_path / "out"), "--no-cache", "-q"],
        cwd=ROOT, capture_output=True, text=True, timeout=100, env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )  # fmt: skip
    assert "Traceback" not in run.stderr
    if share > 0.1:
        assert run.returncode == 0, run.stderr
    else:
        assert run.returncode == 1
        assert run.stderr.startswith("takeoff: ")
        assert len(run.stderr.splitlines()) == 1
        assert "of memory are too little" in run.stderr
        assert "damaged" not in run.stderr
