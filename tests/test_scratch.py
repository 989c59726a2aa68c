"""Folders for what a run writes on its way: gone at its end, and at the next run where it was killed."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from build import Model

from takeoff import pipeline, scratch
from takeoff.scratch import scratch_folder, sweep
from takeoff.settings import Settings

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no locks that end with their owner")

ROOT = Path(__file__).resolve().parents[1]
OWNER = """
import sys
from takeoff.scratch import scratch_folder
with scratch_folder("run", sys.argv[1]) as folder:
    (folder / "half").write_text("written")
    print(folder, flush=True)
    sys.stdin.read()
"""


def _owner(place: Path) -> tuple[subprocess.Popen[str], Path]:
    """A process that has made a folder, and the folder."""
    process = subprocess.Popen(
        [sys.executable, "-c", OWNER, str(place)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    )
    assert process.stdout is not None
    return process, Path(process.stdout.readline().strip())


def test_a_folder_goes_with_its_block_however_that_is_left(tmp_path: Path) -> None:
    with scratch_folder("run", tmp_path) as folder:
        (folder / "within").mkdir()
        assert folder.parent == tmp_path
        assert [entry.name for entry in tmp_path.iterdir()] == [folder.name]
    assert not list(tmp_path.iterdir())
    with pytest.raises(KeyboardInterrupt), scratch_folder("run", tmp_path):
        raise KeyboardInterrupt
    assert not list(tmp_path.iterdir())


def test_only_folders_whose_owner_is_dead_are_taken_away(tmp_path: Path) -> None:
    killed, left = _owner(tmp_path)
    living, kept = _owner(tmp_path)
    try:
        killed.send_signal(signal.SIGKILL)
        killed.communicate()
        others = [
            tmp_path / "takeoff-run-abc",  # without a machine
            tmp_path / left.name.replace(f"-{scratch._machine()}-", "-another_machine-"),
            tmp_path / f"{left.name}.new",  # not locked yet
            tmp_path / left.name.replace("takeoff-", "someone-"),
        ]
        for other in others:
            other.mkdir()
        assert left.is_dir()
        sweep(tmp_path)
        assert sorted(tmp_path.iterdir()) == sorted([kept, *others])
        assert (kept / "half").read_text() == "written"
    finally:
        living.communicate("")
    assert not kept.exists()


def test_whoever_makes_a_folder_takes_the_dead_ones_away(tmp_path: Path) -> None:
    killed, left = _owner(tmp_path)
    killed.kill()
    killed.communicate()
    with scratch_folder("model", tmp_path):
        assert not left.exists()


def test_a_link_is_not_followed_and_a_missing_place_is_no_matter(tmp_path: Path) -> None:
    precious = tmp_path / "precious"
    precious.mkdir()
    (tmp_path / f"takeoff-run-{scratch._machine()}-x").symlink_to(precious)
    sweep(tmp_path)
    assert precious.is_dir()
    sweep(tmp_path / "nowhere")


def test_without_locks_nothing_is_taken_away_but_ones_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    killed, left = _owner(tmp_path)
    killed.kill()
    killed.communicate()
    monkeypatch.setitem(sys.modules, "fcntl", None)
    sweep(tmp_path)
    with scratch_folder("run", tmp_path) as folder:
        assert folder.is_dir()
    assert list(tmp_path.iterdir()) == [left]


def test_a_run_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    model = Model("IFC4", unit="m")
    model.column((0.0, 0.0), 0.4, 0.4, 3.0)
    model.save(tmp_path / "model.ifc")
    place = tmp_path / "scratch"
    place.mkdir()
    monkeypatch.setattr("tempfile.tempdir", os.fspath(place))
    pipeline.measure([tmp_path / "model.ifc"], Settings(cache=False, processes=1))
    assert not list(place.iterdir())
