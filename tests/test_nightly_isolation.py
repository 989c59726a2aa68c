"""Models from outside: whatever they do, they cost only themselves, within time, memory and disk."""

import hashlib
import subprocess
import sys
import threading
import time
import zipfile
from pathlib import Path

import psutil
import pytest
from nightly_kills import command
from nightly_nights import Nights, happened, write_wall

from takeoff.nightly import isolation
from takeoff.nightly.isolation import Isolation, run_order
from takeoff.nightly.job import NightlyJob
from takeoff.nightly.order import Limits, Order, PinnedRules, pin_rules
from takeoff.nightly.outcome import Outcome
from takeoff.settings import Settings

ROOMY = Limits(300.0, 4 << 30, 2 << 30)


@pytest.fixture(scope="module")
def rules() -> PinnedRules:
    return pin_rules(Settings(), 1)


def order_for(path: Path, limits: Limits = ROOMY, digest: str = "", **more: str) -> Order:
    digest = digest or hashlib.sha256(path.read_bytes()).hexdigest()
    return Order(7, path.name, str(path.parent), (path.name,), (digest,), limits, **more)


def tried(path: Path, rules: PinnedRules, limits: Limits = ROOMY) -> Outcome:
    scratch = path.parent / "scratch"
    scratch.mkdir(exist_ok=True)
    outcome = run_order(order_for(path, limits, scratch=str(scratch)), rules)
    assert list(scratch.iterdir()) == [], "nothing is left behind"
    assert outcome.number == 7
    return outcome


def busy_child(monkeypatch: pytest.MonkeyPatch, body: str) -> None:
    """Have the process of a model do something else."""
    monkeypatch.setattr(isolation, "BOOT", body)


def test_a_crash_is_a_reason(tmp_path: Path, rules: PinnedRules, monkeypatch: pytest.MonkeyPatch) -> None:
    busy_child(
        monkeypatch, "import os, sys; print('the last words', file=sys.stderr, flush=True); os.abort()"
    )
    outcome = tried(write_wall(tmp_path / "a.ifc", 1.0), rules)
    assert outcome.state == "failed"
    assert outcome.reason == "its process crashed (exit -6): the last words"


def test_a_hang_is_ended_with_all_that_it_started(
    tmp_path: Path, rules: PinnedRules, monkeypatch: pytest.MonkeyPatch
) -> None:
    note = tmp_path / "grandchild"
    body = (
        "import subprocess, sys, time, pathlib\n"
        "child = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(300)'])\n"
        f"pathlib.Path({str(note)!r}).write_text(str(child.pid))\n"
        "time.sleep(300)"
    )
    busy_child(monkeypatch, body)
    began = time.monotonic()
    outcome = tried(write_wall(tmp_path / "a.ifc", 1.0), rules, Limits(3.0, 4 << 30, 2 << 30))
    assert (outcome.state, outcome.reason) == ("failed", "it took longer than 0.05 minutes")
    assert time.monotonic() - began < 30
    number = int(note.read_text())
    deadline = time.monotonic() + 10
    while time.monotonic() < deadline and _runs(number):
        time.sleep(0.05)
    assert not _runs(number)


def test_memory_of_all_processes_of_a_model_is_bounded(
    tmp_path: Path, rules: PinnedRules, monkeypatch: pytest.MonkeyPatch
) -> None:
    body = (
        "import subprocess, sys, time\n"
        "subprocess.Popen([sys.executable, '-c', 'import time; a = bytearray(b\"x\") * (300 << 20); time.sleep(60)'])\n"
        "time.sleep(60)"
    )
    busy_child(monkeypatch, body)
    outcome = tried(write_wall(tmp_path / "a.ifc", 1.0), rules, Limits(50.0, 200 << 20, 2 << 30))
    assert (outcome.state, outcome.reason) == ("failed", "it needs more than 0.2 GB of memory")


def test_a_file_of_very_many_entities_is_bounded(tmp_path: Path, rules: PinnedRules) -> None:
    text = write_wall(tmp_path / "small.ifc", 1.0).read_text()
    head, _, tail = (
        text.partition("ENDSEC;\nEND-ISO") if "ENDSEC;\nEND-ISO" in text else text.rpartition("ENDSEC;")
    )
    many = "".join(
        f"#{number}=IFCCARTESIANPOINT((0.,0.,{number}.));\n" for number in range(10_000, 1_000_000)
    )
    path = tmp_path / "many.ifc"
    path.write_text(f"{head}{many}ENDSEC;\nEND-ISO-10303-21;\n")
    del tail
    outcome = tried(path, rules, Limits(120.0, 300 << 20, 2 << 30))
    assert outcome.state == "failed"
    assert outcome.reason == "it needs more than 0.3 GB of memory"


def test_zips_from_outside_are_bounded_and_stay_inside(tmp_path: Path) -> None:
    nights = Nights(tmp_path, NightlyJob(settle_seconds=0, largest_mb=0.05))
    whole = write_wall(tmp_path / "whole.ifc", 1.0).read_bytes()
    nights.folder.mkdir()

    def packed(name: str, member: str, content: bytes) -> None:
        with zipfile.ZipFile(nights.folder / name, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr(member, content)

    packed("bomb.ifczip", "bomb.ifc", whole[:200] + bytes(25 << 20))
    packed("escape.ifczip", "../../../escape.ifc", whole)
    packed("absolute.ifczip", "/tmp/absolute.ifc", whole)
    (nights.folder / "large.ifc").write_bytes(whole + b"\n" * 60_000)
    before = sorted(path for path in tmp_path.rglob("*") if "models" in path.parts)
    finished, report = nights.night(0)
    assert dict(happened(report)) == {
        "bomb.ifczip": "failed", "large.ifc": "failed", "escape.ifczip": "new", "absolute.ifczip": "new",
    }  # fmt: skip
    reasons = {row["model"]: row["reason"] for row in report.data["failing"]}
    assert "out of proportion" in reasons["bomb.ifczip"]
    assert reasons["large.ifc"] == "0.0633 MB are more than the 0.05 MB allowed"
    assert not (tmp_path / "escape.ifc").exists()
    assert not Path("/tmp/absolute.ifc").exists()
    assert before == sorted(path for path in tmp_path.rglob("*") if nights.folder in (path, *path.parents))
    assert finished.failed == 2


def test_content_that_changes_while_it_is_read_waits(tmp_path: Path, rules: PinnedRules) -> None:
    path = write_wall(tmp_path / "a.ifc", 1.0)
    outcome = run_order(order_for(path, digest="0" * 64), rules)
    assert (outcome.state, outcome.reason) == ("moved", "its content changed while it was being read")
    path.unlink()
    outcome = run_order(order_for(path, digest="0" * 64), rules)
    assert (outcome.state, outcome.reason) == ("failed", "it cannot be read (no such file or directory)")


def test_a_machine_with_another_program_does_not_measure(tmp_path: Path, rules: PinnedRules) -> None:
    outcome = run_order(order_for(write_wall(tmp_path / "a.ifc", 1.0), version="0.0.1"), rules)
    assert outcome.state == "refused"
    assert "the run has 0.0.1; install the same" in outcome.reason


def test_a_stop_ends_what_is_under_way_and_begins_nothing(
    tmp_path: Path, rules: PinnedRules, monkeypatch: pytest.MonkeyPatch
) -> None:
    busy_child(monkeypatch, "import time; time.sleep(300)")
    order = order_for(write_wall(tmp_path / "a.ifc", 1.0))
    alone = Isolation()
    threading.Timer(1.0, alone.stop).start()
    began = time.monotonic()
    assert alone.run(order, rules).state == "stopped"
    assert alone.run(order, rules).state == "stopped"
    assert time.monotonic() - began < 30


def test_secrets_do_not_reach_the_process_of_a_model(
    tmp_path: Path, rules: PinnedRules, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("TAKEOFF_MAIL_PASSWORD", "TAKEOFF_HISTORY", "PGPASSWORD"):
        monkeypatch.setenv(name, "sesame")
    busy_child(
        monkeypatch, "import os, sys; sys.exit(str([k for k, v in os.environ.items() if 'sesame' in v]))"
    )
    outcome = tried(write_wall(tmp_path / "a.ifc", 1.0), rules)
    assert outcome.reason.endswith("[]")


def test_a_watching_run_takes_what_comes_and_stops_cleanly(tmp_path: Path) -> None:
    write_wall(tmp_path / "models" / "a.ifc", 1.0)
    words = command(tmp_path, "--watch", "--log-json")
    job = tmp_path / "job.toml"
    job.write_text(job.read_text() + "watch_minutes = 0.01\n")
    words.remove("-q")
    process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    assert process.stderr is not None
    seen = ""
    for line in process.stderr:
        seen += line
        if '"report"' in line and "b.ifc" not in seen:
            write_wall(tmp_path / "models" / "b.ifc", 2.0)
        elif '"report"' in line:
            break
    process.terminate()
    process.stderr.read()
    assert process.wait(30) == 130
    assert '"event": "measured", "message": "b.ifc: measured (new)' in seen
    assert not (tmp_path / "out" / ".nightly-run.json").exists()


def _runs(number: int) -> bool:
    return psutil.pid_exists(number) and psutil.Process(number).status() != psutil.STATUS_ZOMBIE


pytestmark = pytest.mark.skipif(
    sys.platform == "win32", reason="process groups and signals are of POSIX systems"
)
