"""A disk without room: one clear line, exit code 1, and nothing half-written, whatever is being written."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from nightly_nights import write_wall

pytestmark = pytest.mark.skipif(os.name != "posix", reason="the limit of file size is of POSIX systems")

LIMITED = (
    "import resource, signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN); "
    "resource.setrlimit(resource.RLIMIT_FSIZE, (700, 700)); from takeoff.cli import main; main()"
)
"""The program where no file may grow beyond a few hundred bytes: writing fails as on a full disk."""


@pytest.mark.parametrize(
    "words",
    [
        "measure wall.ifc --out FULL",
        "measure wall.ifc --out done --ifc FULL.ifc",
        "measure wall.ifc --out done --methods-list FULL.csv",
        "measure wall.ifc --out done --page FULL.html",
        "bill wall.ifc --out FULL.xlsx",
        "rates wall.ifc --out FULL.csv",
        "rates wall.ifc --out FULL.xlsx",
        "changes wall.ifc longer.ifc --out FULL.xlsx",
        "page wall.ifc --out FULL.html",
        "templates FULL",
        "nightly models --out FULL",
    ],
)
def test_one_line_and_nothing_half_written(tmp_path: Path, words: str) -> None:
    write_wall(tmp_path / "wall.ifc", 1.0)
    write_wall(tmp_path / "longer.ifc", 2.0)
    (tmp_path / "models").mkdir()
    command = [sys.executable, "-c", LIMITED, *words.split()]
    if words.split()[0] in ("measure", "bill", "rates", "page"):
        command.append("--no-cache")
    told = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert told.returncode == 1, told.stderr
    lines = told.stderr.splitlines()
    assert len(lines) == 1, told.stderr
    assert "FULL" in lines[0] or "done" in lines[0]
    assert "too large" in lines[0] or "room on the disk" in lines[0] or "disk" in lines[0]
    left = {path.name for path in tmp_path.iterdir()} - {"wall.ifc", "longer.ifc", "models"}
    if words.startswith("nightly"):
        left -= {"FULL"}  # a folder that it works in; what was finished in it is kept
    assert left == set()
