"""Killed at any moment, the next run goes on, and nothing tells that it was killed."""

import json
import os
import random
import signal
import subprocess
import time
from pathlib import Path

import psutil
import pytest
from nightly_kills import command, first_night, killed_night, leftovers, run_whole, states, undisturbed
from nightly_nights import write_wall

from takeoff.nightly.nursery import available

pytestmark = pytest.mark.skipif(os.name != "posix", reason="kill -9 is of POSIX systems")


def test_a_night_killed_over_and_over_ends_like_an_undisturbed_one(tmp_path: Path) -> None:
    before, after, seconds = undisturbed(tmp_path)
    chance = random.Random(time.time_ns())
    moments = [chance.uniform(0.3, seconds / 3) for _ in range(3)]
    hits = killed_night(before, tmp_path / "killed", moments)
    assert hits >= 1, f"no kill hit at {moments}"
    history, outputs = states(tmp_path / "killed")
    expected_history, expected_outputs = states(after)
    assert history == expected_history, f"killed at {moments}"
    assert outputs == expected_outputs, f"killed at {moments}"
    assert leftovers(tmp_path / "killed") == []


def test_a_killed_run_leaves_no_process_and_no_lock(tmp_path: Path) -> None:
    write_wall(tmp_path / "models" / "a.ifc", 2.0)
    process = subprocess.Popen(command(tmp_path), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    child = _wait_for_child(process.pid)
    process.send_signal(signal.SIGKILL)
    process.wait()
    deadline = time.monotonic() + 10
    while _runs(child) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not _runs(child), "the process of the model outlived the run"
    assert (tmp_path / "out" / ".nightly-run.json").exists()
    done = subprocess.run(
        [*command(tmp_path)[:-1], "--log-json"], capture_output=True, text=True, check=False
    )
    events = [json.loads(line) for line in done.stderr.splitlines()]
    assert done.returncode in (0, 3)
    assert [event["event"] for event in events][:2] == ["dead-run", "run-interrupted"]
    assert f"process {process.pid} on" in events[0]["message"]
    assert leftovers(tmp_path) == []


def test_two_runs_keep_apart_and_a_stop_is_clean(tmp_path: Path) -> None:
    first_night(tmp_path / "models")
    first = subprocess.Popen(command(tmp_path), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    # A model whose process stands still keeps the first run at work for as long as the second needs to see it.
    os.kill(_wait_for_child(first.pid), signal.SIGSTOP)
    second = subprocess.run(command(tmp_path), capture_output=True, text=True, check=False)
    assert second.returncode == 1
    assert f"another run is at work (process {first.pid} on" in second.stderr
    first.send_signal(signal.SIGTERM)
    _, said = first.communicate(timeout=30)
    assert first.returncode == 130
    assert "stopped; what was finished is kept" in said
    assert leftovers(tmp_path) == []
    run_whole(tmp_path)
    history, _ = states(tmp_path)
    measured = {key[1]: value[0]["state"] for key, value in history.items() if key[0] == "model"}
    assert measured == dict.fromkeys(("going.ifc", "moving.ifc", "wall-1.ifc"), "measured")


def _runs(pid: int) -> bool:
    return psutil.pid_exists(pid) and psutil.Process(pid).status() != psutil.STATUS_ZOMBIE


def _wait_for_child(pid: int) -> int:
    """The first process that a run starts for a model; where they are forked, from a process in between."""
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        children = psutil.Process(pid).children()
        if children and available():
            children = children[0].children()
        if children:
            return children[0].pid
        time.sleep(0.02)
    raise AssertionError("the run started no process")
