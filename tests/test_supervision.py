"""Libraries that break down or never come back within measuring: a call that Python cannot interrupt costs its body."""

import csv
import hashlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest
from build import Model

from takeoff.nightly import isolation
from takeoff.nightly.isolation import run_order
from takeoff.nightly.order import Limits, Order, pin_rules
from takeoff.nightly.outcome import unpack
from takeoff.settings import Settings

ROOT = Path(__file__).resolve().parents[1]

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="processes are forked")

MISCHIEF = """
import collections, ctypes, itertools, os, sys
from takeoff.measuring import dimensions, figures
from takeoff.cli import main
inner = dimensions.measure_dimensions
def measure(surfaces, rows, role, volume):
    if {when}:
        open({log!r}, "a").write("{{:.3f}}\\n".format(volume))
        {deed}
    return inner(surfaces, rows, role, volume)
figures.measure_dimensions = measure
main()
"""
DEEDS = {
    "computes": "collections.deque(itertools.repeat(1), maxlen=0)",
    "sleeps": "ctypes.PyDLL(None).sleep(10_000)",
    "breaks-down": "os.kill(os.getpid(), 11)",
    "aborts": "os.abort()",
}
"""None of them lets the interpreter hear an alarm or Ctrl-C."""

HEIGHTS = [7.0, 3.0, 3.1, 3.2, 3.3]


def _begun(
    tmp_path: Path, deed: str, when: str, command: str = "measure", *more: str
) -> subprocess.Popen[str]:
    model = Model("IFC4", unit="m")
    for number, height in enumerate(HEIGHTS):
        model.column((3.0 * number, 0.0), 0.4, 0.4, height, name=f"C{number}")
    model.save(tmp_path / "model.ifc")
    (tmp_path / "scratch").mkdir()
    code = MISCHIEF.format(deed=DEEDS[deed], when=when, log=str(tmp_path / "tries"))
    return subprocess.Popen(
        [sys.executable, "-c", code, command, str(tmp_path / "model.ifc"),
         "--out", str(tmp_path / "out"), "--no-cache", "--limit-seconds", "1", "--strict", "-q", *more],
        cwd=ROOT, stderr=subprocess.PIPE, text=True, env={**os.environ, "TMPDIR": str(tmp_path / "scratch")},
    )  # fmt: skip


def _family(pid: int) -> list[psutil.Process]:
    return [psutil.Process(pid), *psutil.Process(pid).children(recursive=True)]


@pytest.mark.parametrize("deed", DEEDS)
def test_what_python_cannot_interrupt_costs_its_body(tmp_path: Path, deed: str) -> None:
    run = _begun(tmp_path, deed, "volume > 1.0")
    _, said = run.communicate(timeout=100.0)
    assert run.returncode == 3, said
    assert "everything is done again, with care" in said
    assert "Traceback" not in said
    rows = {row["name"]: row for row in csv.DictReader((tmp_path / "out" / "elements.csv").open())}
    found = {name: row["net_volume_m3"] and float(row["net_volume_m3"]) for name, row in rows.items()}
    assert found == {f"C{n}": pytest.approx(0.16 * h) if h < 6 else "" for n, h in enumerate(HEIGHTS)}
    # A hang costs its bound once; what broke down is tried again alone, and once more then.
    tries = (tmp_path / "tries").read_text().splitlines()
    assert len(tries) == (1 if deed in ("computes", "sleeps") else 3)
    reason = "it took longer than 1 s" if deed in ("computes", "sleeps") else "a library broke down over it"
    assert reason in rows["C0"]["condition"]
    told = [
        row
        for row in csv.DictReader((tmp_path / "out" / "findings.csv").open())
        if row["kind"] == "not-measured"
    ]
    assert [row["global_id"] for row in told] == [rows["C0"]["global_id"]]
    assert not list((tmp_path / "scratch").iterdir())


def test_several_that_hang_cost_their_bound_once_each(tmp_path: Path) -> None:
    """The first ends the run; the others are waited for in copies, side by side."""
    run = _begun(tmp_path, "computes", "volume > 0.49")
    _, said = run.communicate(timeout=100.0)
    assert run.returncode == 3, said
    rows = {row["name"]: row for row in csv.DictReader((tmp_path / "out" / "elements.csv").open())}
    lost = {name for name, row in rows.items() if not row["net_volume_m3"]}
    assert lost == {"C0", "C2", "C3", "C4"}
    assert all("it took longer than 1 s" in rows[name]["condition"] for name in lost)
    assert len((tmp_path / "tries").read_text().splitlines()) == len(lost)


def test_what_happens_once_costs_nothing(tmp_path: Path) -> None:
    """A library that broke down by chance is no reason to lose a body."""
    mark = tmp_path / "mark"
    run = _begun(
        tmp_path, "breaks-down", f"not os.path.exists({str(mark)!r}) and not open({str(mark)!r}, 'w').close()"
    )
    _, said = run.communicate(timeout=100.0)
    assert run.returncode == 0, said
    assert "with care" in said
    rows = list(csv.DictReader((tmp_path / "out" / "elements.csv").open()))
    assert [float(row["net_volume_m3"]) for row in rows] == pytest.approx([0.16 * h for h in HEIGHTS])


def test_what_breaks_down_everywhere_is_one_line(tmp_path: Path) -> None:
    run = _begun(tmp_path, "breaks-down", "True")
    _, said = run.communicate(timeout=100.0)
    assert run.returncode == 1
    assert not (tmp_path / "out").exists()
    assert "Traceback" not in said
    assert said.strip().splitlines()[-1].startswith("takeoff: ")


@pytest.mark.parametrize(
    ("deed", "sign"),
    [
        ("computes", signal.SIGINT),
        ("sleeps", signal.SIGINT),
        ("computes", signal.SIGTERM),
        ("sleeps", signal.SIGKILL),
    ],
)
def test_within_such_a_call_the_program_can_be_ended(tmp_path: Path, deed: str, sign: signal.Signals) -> None:
    mark = tmp_path / "mark"
    run = _begun(tmp_path, deed, f"not open({str(mark)!r}, 'w').close()", "measure", "--limit-seconds", "50")
    until = time.monotonic() + 60.0
    while not mark.exists() and time.monotonic() < until:
        time.sleep(0.05)
    family = _family(run.pid)
    assert len(family) >= 2
    began = time.monotonic()
    run.send_signal(sign)
    _, said = run.communicate(timeout=30.0)
    _, alive = psutil.wait_procs(family, timeout=5.0)
    assert not alive
    assert time.monotonic() - began < 20.0  # a few seconds, on a busy machine too
    assert not (tmp_path / "out").exists()
    if sign != signal.SIGKILL:
        assert run.returncode == 128 + sign
        assert said.splitlines() == ["takeoff: stopped; nothing was written"]
        assert not list((tmp_path / "scratch").iterdir())


NIGHT = """
import os, sys
from takeoff.measuring import dimensions, figures
inner = dimensions.measure_dimensions
def measure(surfaces, rows, role, volume):
    if volume > 1.0:
        os.kill(os.getpid(), 11)
    return inner(surfaces, rows, role, volume)
figures.measure_dimensions = measure
"""


def test_a_night_loses_the_body_and_not_the_model(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "model.ifc"
    model = Model("IFC4", unit="m")
    for number, height in enumerate(HEIGHTS):
        model.column((3.0 * number, 0.0), 0.4, 0.4, height, name=f"C{number}")
    model.save(path)
    monkeypatch.setattr(isolation, "BOOT", isolation.BOOT.replace("import sys;", f"exec({NIGHT!r});", 1))
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    order = Order(1, path.name, str(tmp_path), (path.name,), (digest,), Limits(300.0, 4 << 30, 2 << 30))
    outcome = run_order(order, pin_rules(Settings(), 1))
    assert (outcome.state, outcome.reason) == ("measured", "")
    elements = unpack(outcome.packed).files["elements.csv"].decode().splitlines()
    rows = {row["name"]: row for row in csv.DictReader(elements)}
    assert "a library broke down over it" in rows["C0"]["condition"]
    assert [float(rows[f"C{n}"]["net_volume_m3"]) for n in range(1, 5)] == pytest.approx(
        [0.16 * h for h in HEIGHTS[1:]]
    )
