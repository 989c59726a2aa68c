"""The Python interface within somebody's own program: whatever a library does costs a body, never that program."""

import importlib
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from types import ModuleType

import psutil
import pytest
from build import Model

import takeoff
from takeoff import api
from takeoff.isolation.elsewhere import elsewhere

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="processes are forked")

ROOT = Path(__file__).resolve().parents[1]
HEIGHTS = [7.0, 3.0, 3.1]

MISCHIEF = """
import collections, itertools, os, time
from takeoff import api_runs
from takeoff.findings import InputError

def hang():
    collections.deque(itertools.repeat(1), maxlen=0)  # nothing interrupts it

def crash():
    os.kill(os.getpid(), 11)

def ruin():
    os._exit(7)

def refuse():
    raise InputError("a line of its own")

def stumble():
    raise ZeroDivisionError("of no use")

def chatter():
    os.write(1, b"a library prints")
    print("and so does Python")
    return 42

def begin(mark):
    open(mark, "w").close()
    hang()

def over_one(deed):
    def measured(paths, settings):
        from takeoff.measuring import dimensions, figures
        inner = dimensions.measure_dimensions
        def measure(surfaces, rows, role, volume):
            if volume > 1.0:
                deed()
            return inner(surfaces, rows, role, volume)
        figures.measure_dimensions = measure
        return api_runs.measured(paths, settings)
    return measured

measured_hanging, measured_crashing = over_one(hang), over_one(crash)
measured_hanging.__qualname__, measured_crashing.__qualname__ = "measured_hanging", "measured_crashing"
"""


@pytest.fixture
def mischief(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    (tmp_path / "modules").mkdir()
    (tmp_path / "modules" / "mischief.py").write_text(MISCHIEF, encoding="utf-8")
    monkeypatch.syspath_prepend(tmp_path / "modules")
    sys.modules.pop("mischief", None)
    (tmp_path / "scratch").mkdir()
    monkeypatch.setenv("TMPDIR", str(tmp_path / "scratch"))
    return importlib.import_module("mischief")


def _model(path: Path) -> Path:
    model = Model("IFC4", unit="m")
    for number, height in enumerate(HEIGHTS):
        model.column((3.0 * number, 0.0), 0.4, 0.4, height, name=f"C{number}")
    model.save(path)
    return path


@pytest.mark.parametrize("deed", ["hanging", "crashing"])
def test_a_library_costs_a_body_and_not_the_program_that_calls(
    tmp_path: Path, mischief: ModuleType, monkeypatch: pytest.MonkeyPatch, deed: str
) -> None:
    """Also where that program has threads of its own, from one of which it calls."""
    monkeypatch.setattr(api, "measured", getattr(mischief, f"measured_{deed}"))
    path = _model(tmp_path / "model.ifc")
    found: list[api.Measured] = []
    before = set(psutil.Process().children())  # other tests may have a browser or a cluster of their own

    def call() -> None:
        with pytest.warns(RuntimeWarning, match="everything is done again, with care"):
            found.append(takeoff.measure(path, cache=False, limit_seconds=1.0))

    thread = threading.Thread(target=call)
    thread.start()
    thread.join(120.0)
    volumes = dict(zip(found[0].elements["name"], found[0].elements["net_volume_m3"], strict=True))
    assert volumes["C1"] == pytest.approx(0.48)
    assert volumes["C2"] == pytest.approx(0.496)
    assert volumes["C0"] != volumes["C0"]
    told = found[0].findings[found[0].findings["kind"] == "not-measured"]
    assert len(told) == 1
    assert set(psutil.Process().children()) <= before
    assert not list((tmp_path / "scratch").iterdir())


def test_what_is_raised_there_is_raised_here(mischief: ModuleType) -> None:
    with pytest.raises(takeoff.InputError, match=r"^a line of its own$"):
        elsewhere(mischief.refuse)
    with pytest.raises(ZeroDivisionError, match="of no use") as fault:
        elsewhere(mischief.stumble)
    assert any("in stumble" in note for note in fault.value.__notes__)
    with pytest.raises(RuntimeError, match="ended \\(exit 7\\)"):
        elsewhere(mischief.ruin)
    with pytest.raises(takeoff.InputError, match=r"broke down .* nothing is to be had of it"):
        elsewhere(mischief.crash)
    assert elsewhere(mischief.chatter) == 42


@pytest.mark.parametrize("sign", [signal.SIGINT, signal.SIGKILL])
def test_whoever_ends_the_program_ends_all(
    tmp_path: Path, mischief: ModuleType, sign: signal.Signals
) -> None:
    """Ctrl-C of a notebook reaches the program only; a program that is killed cannot ask anything to end."""
    mark = tmp_path / "mark"
    code = "import sys; sys.path[:0] = sys.argv[2:]; import mischief; "
    code += "from takeoff.isolation.elsewhere import elsewhere; elsewhere(mischief.begin, sys.argv[1])"
    run = subprocess.Popen(
        [sys.executable, "-c", code, str(mark), str(ROOT), str(tmp_path / "modules")],
        stderr=subprocess.PIPE, text=True, cwd=tmp_path, env=dict(os.environ),
    )  # fmt: skip
    until = time.monotonic() + 60.0
    while not mark.exists() and time.monotonic() < until:
        time.sleep(0.05)
    family = [psutil.Process(run.pid), *psutil.Process(run.pid).children(recursive=True)]
    assert len(family) == 3
    run.send_signal(sign)
    _, said = run.communicate(timeout=30.0)
    _, alive = psutil.wait_procs(family, timeout=5.0)
    assert not alive
    if sign == signal.SIGINT:
        assert said.splitlines()[-1] == "KeyboardInterrupt"
    assert not list((tmp_path / "scratch").iterdir())
