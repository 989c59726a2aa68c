"""Whoever reads standard output may leave, and it may take nothing: exit codes stay true, files stay whole."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from nightly_nights import write_wall

COMMAND = [sys.executable, "-c", "from takeoff.cli import main; main()"]

pytestmark = pytest.mark.skipif(os.name != "posix", reason="pipes of POSIX systems")


def _told(folder: Path, words: list[str], **streams: object) -> subprocess.CompletedProcess[str]:
    write_wall(folder / "wall.ifc", 1.0)
    return subprocess.run(
        [*COMMAND, *words], cwd=folder, text=True, check=False, **{"stderr": subprocess.PIPE, **streams}
    )  # type: ignore[call-overload]


@pytest.mark.parametrize(("more", "code"), [([], 0), (["--strict"], 3), (["--json"], 0)])
def test_a_reader_that_leaves_changes_nothing(tmp_path: Path, more: list[str], code: int) -> None:
    reads, writes = os.pipe()
    os.close(reads)
    rates = tmp_path / "rates.csv"
    rates.write_text("item,unit,rate,low,high,source,date,note\nconcrete.*,m3,100,,,,,\n")
    told = _told(
        tmp_path, ["bill", "wall.ifc", "--rates", "rates.csv", "--out", "b.xlsx", *more], stdout=writes
    )
    os.close(writes)
    assert told.returncode == code, told.stderr
    assert "Traceback" not in told.stderr
    assert (tmp_path / "b.xlsx").is_file()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
def test_an_output_that_takes_nothing_is_one_line(tmp_path: Path) -> None:
    with open("/dev/full", "w") as full:
        told = _told(tmp_path, ["bill", "wall.ifc", "--out", "b.xlsx"], stdout=full)
    assert told.returncode == 1
    assert told.stderr == (
        "takeoff: standard output cannot be written (No space left on device); what was written stays\n"
    )
    assert (tmp_path / "b.xlsx").is_file()


@pytest.mark.parametrize("closed", [">&-", "2>&-", ">&- 2>&-"])
def test_closed_streams_are_no_obstacle(tmp_path: Path, closed: str) -> None:
    write_wall(tmp_path / "wall.ifc", 1.0)
    line = f'exec "$@" {closed}'
    words = ["sh", "-c", line, "sh", *COMMAND, "bill", "wall.ifc", "--out", "b.xlsx"]
    told = subprocess.run(words, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert told.returncode == 0, told.stderr
    assert (tmp_path / "b.xlsx").is_file()
