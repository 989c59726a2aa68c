"""Worker processes: what a crash, a hang, a memory blow-up or Ctrl-C costs, and who is left behind."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from solid_models import SolidModel

from takeoff.findings import InputError
from takeoff.geometry import workers
from takeoff.geometry.solids import SolidRequest
from takeoff.geometry.workers import make_solids, worker_count

ROOT = Path(__file__).resolve().parents[1]

MISCHIEF = """
import os, sys, time
sys.path[:0] = sys.argv[1:]
from takeoff.geometry import bodies, worker
inner = bodies.Bodies.result
def result(self, request, origin, transform=None):
    alone = self.items.kernels[0] if len(self.items.kernels) == 1 else ""
    if request.key == 2 or request.key == 12 and alone != "cgal" or request.key == 14 and alone != "opencascade":
        os.kill(os.getpid(), 11)
    if request.key == 16 and alone != "cgal":
        os.kill(os.getpid(), 11)
    if request.key == 16:
        raise ValueError("the other one cannot")
    if request.key == 4:
        time.sleep(60)
    if request.key == 6:
        bytearray(1 << 40)
    if request.key == 8:
        raise ZeroDivisionError("of  no\\nuse")
    return inner(self, request, origin, transform)
bodies.Bodies.result = result
worker.serve()
"""


@pytest.fixture
def model(tmp_path):
    made = SolidModel()
    walls = [made.product(made.box((i, 0, 0), (i + 1, 0.2, 3 + i))) for i in range(20)]
    return made.save(tmp_path / "walls.ifc"), [SolidRequest(i, (wall,)) for i, wall in enumerate(walls)]


@pytest.mark.parametrize("processes", [1, 3])
def test_every_request_is_answered(model, processes, monkeypatch):
    monkeypatch.setattr(workers, "WORTH_SECONDS", 0.001)
    path, requests = model
    done = []
    results = make_solids(path, requests, np.zeros(3), processes=processes, on_done=done.append)
    assert sorted(results) == list(range(20))
    assert [results[i].slices[0].net for i in range(20)] == pytest.approx([0.2 * (3 + i) for i in range(20)])
    assert done == sorted(set(done))
    assert done[-1] == 20
    assert all(result.seconds > 0 for result in results.values())


def test_origin_and_transform_reach_the_workers(model):
    path, requests = model
    shift = np.eye(4)
    shift[0, 3] = 1000.0
    results = make_solids(path, requests[:1], np.array([990.0, 0, 0]), shift, processes=1)
    assert results[0].slices[0].mesh.box()[0] == pytest.approx([10.0, 0, 0])


@pytest.mark.parametrize("processes", [1, 2])
def test_a_crash_a_hang_and_a_blow_up_cost_their_elements_only(model, processes, monkeypatch):
    monkeypatch.setattr(workers, "BOOT", MISCHIEF)
    monkeypatch.setattr(workers, "WORTH_SECONDS", 0.001)
    path, requests = model
    began = time.monotonic()
    results = make_solids(path, requests, np.zeros(3), processes=processes, limit_seconds=1.5)
    assert time.monotonic() - began < 30.0
    conditions = {key: result.condition for key, result in results.items() if result.condition}
    assert sorted(conditions) == [2, 4, 6, 8, 16]
    assert "crashed" in conditions[2]
    assert "longer than 1.5 s" in conditions[4]
    assert "memory" in conditions[6]
    assert conditions[8] == "geometry cannot be read (ZeroDivisionError: of no use)"
    assert sorted(results) == list(range(20))
    # One that crashed with the first kernel and went well with the second says so.
    assert results[12].slices[0].net == pytest.approx(0.2 * 15)
    assert [kind for kind, _ in results[12].remarks] == ["second-kernel"]
    assert "cgal alone" in results[12].remarks[0][1]
    # So does one over which the second kernel, asked for its opinion, breaks down.
    assert results[14].slices[0].net == pytest.approx(0.2 * 17)
    assert "opencascade alone" in results[14].remarks[0][1]
    assert "the other one cannot" in conditions[16]


def test_a_worker_that_cannot_begin_is_an_error_and_no_endless_loop(model, monkeypatch):
    monkeypatch.setattr(workers, "BOOT", "import sys; sys.exit(3)")
    path, requests = model
    with pytest.raises(InputError, match="exit 3"):
        make_solids(path, requests, np.zeros(3), processes=2)


ENDED_BETWEEN = """
import os, pickle, sys, types
sys.path[:0] = sys.argv[1:]
from takeoff.geometry import worker
taken = []
def load(source):
    taken.append(pickle.load(source))
    if len(taken) == 3 and {ends}:
        os._exit(0)
    return taken[-1]
worker.pickle = types.SimpleNamespace(load=load, dump=pickle.dump, HIGHEST_PROTOCOL=5)
worker.serve()
"""


def test_a_worker_that_is_ended_between_elements_is_replaced(model, monkeypatch, tmp_path):
    mark = tmp_path / "ended"
    ends = f"not os.path.exists({str(mark)!r}) and not open({str(mark)!r}, 'w').close()"
    monkeypatch.setattr(workers, "BOOT", ENDED_BETWEEN.replace("{ends}", ends))
    path, requests = model
    results = make_solids(path, requests, np.zeros(3), processes=1)
    assert mark.exists()
    assert [(result.condition, result.remarks) for result in results.values()] == [("", ())] * 20


def test_workers_that_always_end_between_elements_end_in_conditions(model, monkeypatch):
    monkeypatch.setattr(workers, "BOOT", ENDED_BETWEEN.replace("{ends}", "True"))
    path, requests = model
    results = make_solids(path, requests, np.zeros(3), processes=1)
    lost = [result for result in results.values() if result.condition]
    assert len(results) == 20
    assert 0 < len(lost) < 20
    assert all("before they begin" in result.condition for result in lost)


def test_a_file_that_cannot_be_opened_is_an_input_error(tmp_path):
    path = tmp_path / "broken.ifc"
    path.write_text("this is no model")
    with pytest.raises(InputError, match=r"broken\.ifc"):
        make_solids(str(path), [SolidRequest(1, (1,))], np.zeros(3), processes=1)


def test_no_requests_need_no_worker(monkeypatch):
    monkeypatch.setattr(workers, "BOOT", "raise SystemExit(1)")
    assert make_solids("absent.ifc", [], np.zeros(3), processes=2) == {}


def test_a_body_that_is_not_there_costs_itself(model):
    path, requests = model
    results = make_solids(path, [requests[0], SolidRequest(99, (987654,))], np.zeros(3), processes=1)
    assert results[0].condition == ""
    assert "geometry cannot be read" in results[99].condition


def test_small_work_gets_one_worker_large_work_all(model):
    path, requests = model
    assert worker_count(path, requests, 8) == 1
    assert worker_count(path, requests * 200, 8) == 8
    assert worker_count(path, requests * 200, 1) == 1


SCRIPT = """
import sys
sys.path[:0] = [{root!r}, {tests!r}]
import numpy as np
from takeoff.geometry import workers
from takeoff.geometry.solids import SolidRequest
workers.BOOT = {boot!r}
workers.WORTH_SECONDS = 0.0001
requests = [SolidRequest(key, (body,)) for key, body in {pairs!r}]
print("start", flush=True)
workers.make_solids({path!r}, requests, np.zeros(3), processes=2)
"""


def children(pid: int) -> list[int]:
    out = subprocess.run(
        ["ps", "-o", "pid=", "--ppid", str(pid)], capture_output=True, text=True, check=False
    )
    return [int(line) for line in out.stdout.split()]


def alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.skipif(sys.platform != "linux", reason="looks at /proc")
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL])
def test_nobody_is_left_behind(model, how):
    path, requests = model
    pairs = [(key, request.body[0]) for key, request in enumerate(requests[:6])]
    sleepy = MISCHIEF.replace("request.key == 4", "True").replace("request.key == 2 or", "False and")
    script = SCRIPT.format(root=str(ROOT), tests=str(ROOT / "tests"), boot=sleepy, pairs=pairs, path=path)
    parent = subprocess.Popen(
        [sys.executable, "-c", script], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    )
    assert parent.stdout.readline() == b"start\n"
    deadline = time.monotonic() + 20.0
    while len(children(parent.pid)) < 2 and time.monotonic() < deadline:
        time.sleep(0.05)
    time.sleep(0.8)
    family = children(parent.pid)
    assert len(family) == 2
    began = time.monotonic()
    os.kill(parent.pid, how)
    parent.wait(timeout=10.0)
    while any(alive(pid) for pid in family) and time.monotonic() < began + 5.0:
        time.sleep(0.05)
    assert not any(alive(pid) for pid in family)
    assert time.monotonic() - began < 5.0
