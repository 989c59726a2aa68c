"""What a terminal shows: colour only where it is wanted, plain lines in a pipe, stages told."""

import io
import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import pytest
from build import Model
from rich.console import Console

from takeoff.outputs.progress import progress_lines
from takeoff.outputs.terminal import styled

SAMPLE = Path(__file__).parents[1] / "sample_models" / "archive-ifc4.ifc"
ESCAPE = "\x1b["


@pytest.fixture(scope="module")
def shed(tmp_path_factory):
    m = Model("IFC4", "mm", name="shed")
    m.wall((0, 0), (5, 0), 0.2, 3.0)
    return m.save(tmp_path_factory.mktemp("shed") / "shed.ifc")


def _on_a_terminal(*arguments: str, **environment: str) -> str:
    """Everything that the program writes when both its outputs are a terminal of 80 columns."""
    master, slave = pty.openpty()
    surroundings = {**os.environ, "COLUMNS": "80", "TERM": "xterm-256color", **environment}
    surroundings = {name: value for name, value in surroundings.items() if value}
    process = subprocess.Popen(
        [sys.executable, "-c", "from takeoff.cli import main; main()", *arguments],
        stdout=slave, stderr=slave, stdin=subprocess.DEVNULL, env=surroundings,
    )  # fmt: skip
    os.close(slave)
    pieces = []
    while True:
        try:
            piece = os.read(master, 65_536)
        except OSError:  # the other side is closed
            break
        if not piece:
            break
        pieces.append(piece)
    os.close(master)
    assert process.wait() == 0
    return b"".join(pieces).decode()


def test_terminal_shows_stages_counts_and_weight(tmp_path):
    text = _on_a_terminal("bill", str(SAMPLE), "--out", str(tmp_path / "b.xlsx"), NO_COLOR="")
    assert re.search(r"solids .* of 48|solids", text)
    assert "of 48" in text
    assert re.search(r"\x1b\[1mNet m3", text)
    assert re.search(r"\x1b\[\d*;?3\dm?.*warning", text)


def test_no_color_is_obeyed(shed, tmp_path):
    text = _on_a_terminal("bill", str(shed), "--out", str(tmp_path / "b.xlsx"), NO_COLOR="1")
    colours = [code for codes in re.findall(r"\x1b\[([\d;]+)m", text) for code in codes.split(";")]
    assert not [code for code in colours if 30 <= int(code) <= 49 or int(code) >= 90]
    assert "Net m3" in text


def test_a_terminal_that_cannot_move_gets_no_moving_line(shed, tmp_path):
    text = _on_a_terminal("bill", str(shed), "--out", str(tmp_path / "b.xlsx"), TERM="dumb")
    assert text.startswith("Net m3")
    assert ESCAPE not in text


@pytest.mark.parametrize("option", ["", "-v", "-q"])
def test_a_pipe_gets_plain_words(shed, tmp_path, option):
    model = shed if option == "-q" else SAMPLE
    arguments = ["bill", str(model), "--out", str(tmp_path / "b.xlsx"), *([option] if option else [])]
    done = subprocess.run(
        [sys.executable, "-c", "from takeoff.cli import main; main()", *arguments],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert ESCAPE not in done.stdout + done.stderr
    assert all(len(line) <= 80 for line in done.stdout.splitlines() if not line.startswith("written"))
    if option == "-q":
        assert done.stdout == done.stderr == ""
    elif option == "-v":
        assert re.search(r"^solids, 48: \d+\.\d\d s$", done.stderr, re.MULTILINE)
        assert "rates: rates.csv" in done.stdout
        assert "further kind" not in done.stdout
    else:
        assert done.stderr == ""
        assert "further kinds; all of them with -v" in done.stdout


def test_words_of_a_model_are_no_markup():
    console = Console(file=io.StringIO(), force_terminal=True, no_color=True)
    console.print(styled("      4  warning [red]kind[/red] (1.00 m3)"))
    assert "[red]kind[/red]" in console.file.getvalue()


def test_stage_lines_tell_the_last_stage_too(capsys):
    with progress_lines() as report:
        report("reading", 0, 2)
        report("reading", 1, 2)
        report("pricing", 0, 0)
    lines = capsys.readouterr().err.splitlines()
    assert [line.rpartition(":")[0] for line in lines] == ["reading, 2", "pricing"]


@pytest.mark.parametrize(
    ("shell", "sign"), [("bash", "complete -o"), ("zsh", "#compdef"), ("fish", "complete")]
)
def test_completion_is_there_for_the_shells_that_the_document_names(shell, sign):
    done = subprocess.run(
        [sys.executable, "-c", "from takeoff.cli import main; main(prog_name='takeoff')"],
        env={**os.environ, "_TAKEOFF_COMPLETE": f"{shell}_source"}, capture_output=True, text=True,
    )  # fmt: skip
    assert sign in done.stdout


def test_the_tab_key_completes_topics_of_the_documents():
    done = subprocess.run(
        [sys.executable, "-c", "from takeoff.cli import main; main(prog_name='takeoff')"],
        env={**os.environ, "_TAKEOFF_COMPLETE": "bash_complete", "COMP_WORDS": "takeoff docs nu", "COMP_CWORD": "2"},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout.split() == ["plain,numbers"]
