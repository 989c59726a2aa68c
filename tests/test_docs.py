"""The documents: drawings as the program measures now, commands that exist, every message with its cure."""

import ast
import contextlib
import re
import shlex
from pathlib import Path

import click
import drawings
import pytest
from click.testing import CliRunner

from takeoff import pipeline
from takeoff.cli import main
from takeoff.documents import FOLDER, TOPICS, documents
from takeoff.outputs.places import FILE_NAME as PLACES
from takeoff.outputs.run_record import FILE_NAME as RECORD
from takeoff.outputs.tables import TABLES
from takeoff.outputs.workbook.book import BUILT, DECLARED, HANDLED, KEPT, SCORED, SHEETS
from takeoff.questions import load_questions
from takeoff.templates import template_path

SOURCE = Path(__file__).parents[1] / "takeoff"
SAMPLES = Path(__file__).parents[1] / "sample_models"
KIND = re.compile(r"[a-z]+(-[a-z]+)+")


@pytest.mark.parametrize("drawing", drawings.DRAWINGS, ids=lambda drawing: drawing.name)
def test_drawings_show_what_is_measured_now(drawing):
    shipped = (drawings.FOLDER / f"{drawing.name}.svg").read_text(encoding="utf-8")
    assert drawings.draw(drawing) == shipped, "run python tests/drawings.py and look at what changed"


def test_drawings_tell_the_rules_of_the_page_on_numbers():
    """What the text says of the cases is what was measured of them."""
    read = {one.name: (FOLDER / "drawings" / f"{one.name}.svg").read_text() for one in drawings.DRAWINGS}
    assert "Topping: slab-soffit, 2.78 m up 1.35 m2" in read["planks"]  # two gaps 0.15 x 4.5
    assert "Roof 10: free" in read["slopes"]
    assert "Roof 20: top-slope" in read["slopes"]
    assert (
        "Wall front: opening-reveal in the opening 1.06 m2" in read["floor-on-walls"]
    )  # (2 x 2.1 + 1.1) x 0.2
    assert "Column: column-side, curved 4.52 m2" in read["round-column"]  # 2 pi 0.3 x 2.4


def test_documents_have_a_title_and_their_pictures():
    assert [one.topic for one in documents()] == list(TOPICS)
    assert {path.stem for path in FOLDER.glob("*.md")} == set(TOPICS)
    for one in documents():
        assert one.title
        for picture in re.findall(r"!\[[^\]]+\]\(([^)]+)\)", one.text):
            assert (FOLDER / picture).is_file(), picture


def _commands() -> list[str]:
    lines = []
    for one in documents():
        lines += re.findall(r"^    (takeoff .*)$", one.text, re.MULTILINE)
        lines += [
            line for line in re.findall(r"`(takeoff [^`]*)`", one.text) if not re.search("[A-Z]{2}", line)
        ]
    return sorted(set(lines))


@pytest.mark.parametrize("line", _commands())
def test_commands_in_the_documents_exist(line):
    words = shlex.split(line)[1:]
    group = main
    while words and words[0] in getattr(group, "commands", {}):
        group = group.get_command(click.Context(group), words.pop(0))
    if not words:
        return  # a command spoken of, not a line to type
    with contextlib.suppress(click.exceptions.Exit):  # --help ends at once
        group.make_context("takeoff", words)


def _kinds_in_source() -> set[str]:
    """Kinds of findings as they are written; a part filled in later as `*`."""
    kinds = set()
    for path in SOURCE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Call)
                and getattr(node.func, "id", "") == "Finding"
                and len(node.args) > 1
            ):
                kind = node.args[1]
                if isinstance(kind, ast.Constant):
                    kinds.add(kind.value)
                elif isinstance(kind, ast.JoinedStr):
                    kinds.add("".join(v.value if isinstance(v, ast.Constant) else "*" for v in kind.values))
            elif isinstance(node, ast.Tuple) and "geometry" in path.parts and len(node.elts) == 2:
                kind, words = node.elts
                told = isinstance(words, ast.JoinedStr | ast.Constant | ast.Name)
                if isinstance(kind, ast.Constant) and KIND.fullmatch(str(kind.value)) and told:
                    kinds.add(kind.value)
    return kinds


def _kinds_in_document() -> set[str]:
    text = (FOLDER / "messages.md").read_text(encoding="utf-8").partition("## Findings")[2]
    cells = re.findall(r"^\| (`[^|]+) \|", text, re.MULTILINE)
    return {kind for cell in cells for kind in re.findall(r"`([a-z-]+)`", cell)}


def test_every_kind_of_finding_has_its_cure():
    told = _kinds_in_document()
    assert len(told) > 60
    for kind in _kinds_in_source():
        if "*" in kind:
            assert any(re.fullmatch(kind.replace("*", "[a-z-]+"), one) for one in told), kind
        else:
            assert kind in told, kind


def test_every_kind_of_finding_has_a_question_to_the_designer():
    """In templates/questions.toml; one that begins with "Office:" is a task of the office itself."""
    assert set(load_questions(template_path("questions.toml"))) == _kinds_in_document()


def test_no_document_speaks_of_a_kind_that_is_gone():
    source = "\n".join(path.read_text(encoding="utf-8") for path in SOURCE.rglob("*.py"))
    patterns = [kind.replace("*", "[a-z-]+") for kind in _kinds_in_source() if "*" in kind]
    for kind in _kinds_in_document():
        assert f'"{kind}"' in source or any(re.fullmatch(one, kind) for one in patterns), kind


def test_findings_of_the_sample_are_explained():
    run = pipeline.bill([SAMPLES / "archive-ifc2x3.ifc"])
    kinds = {finding.kind for finding in (*run.measurement.findings, *run.bill.findings)}
    assert len(kinds) > 10
    assert kinds <= _kinds_in_document()


def test_messages_quoted_are_messages_of_the_program():
    text = (FOLDER / "messages.md").read_text(encoding="utf-8").partition("## Findings")[0]
    quoted = re.findall(r"^\| `([^`]+)` \|", text, re.MULTILINE)
    assert len(quoted) > 40
    source = "\n".join(path.read_text(encoding="utf-8") for path in SOURCE.rglob("*.py"))
    for words in quoted:
        assert words in source, words


def test_docs_on_the_terminal():
    listed = CliRunner().invoke(main, ["docs"])
    assert [line.split()[0] for line in listed.stdout.splitlines()] == list(TOPICS)
    shown = CliRunner().invoke(main, ["docs", "numbers"])
    assert shown.stdout == (FOLDER / "numbers.md").read_text(encoding="utf-8")
    wrong = CliRunner().invoke(main, ["docs", "weather"])
    assert wrong.exit_code == 1
    assert "take one of start, numbers" in wrong.stderr


def test_docs_for_a_browser(tmp_path):
    out = tmp_path / "docs"
    assert CliRunner().invoke(main, ["docs", "--out", str(out)]).exit_code == 0
    assert {path.name for path in out.iterdir()} == {"index.html", *(f"{topic}.html" for topic in TOPICS)}
    numbers = (out / "numbers.html").read_text(encoding="utf-8")
    assert numbers.count("<svg") == len(drawings.DRAWINGS)
    assert "<table>" in numbers
    assert "src=" not in numbers
    other = tmp_path / "other"
    other.mkdir()
    (other / "letter.txt").write_text("mine")
    refused = CliRunner().invoke(main, ["docs", "--out", str(other)])
    assert refused.exit_code == 1
    assert "holds other files" in refused.stderr


def _tables(path: str) -> set[str]:
    """Tables of a data file, as they are written in its heads; those under one head are one."""
    text = template_path(path).read_text(encoding="utf-8")
    heads = re.findall(r"^(\[+)([a-z_]+)(\.?)", text, re.MULTILINE)
    return {f"{opening}{name}{'.*' if dot else ''}{']' * len(opening)}" for opening, name, dot in heads}


@pytest.mark.parametrize("path", ["conventions/net.toml", "methods.toml"])
def test_each_table_that_an_office_may_change_is_told(path):
    told = (FOLDER / "office.md").read_text(encoding="utf-8")
    tables = _tables(path)
    assert len(tables) > 5
    assert {table for table in tables if f"`{table}`" not in told} == set()


def test_each_data_file_is_told():
    told = "".join(
        (FOLDER / f"{topic}.md").read_text(encoding="utf-8") for topic in TOPICS if topic != "messages"
    )
    root = template_path("methods.toml").parent
    files = [path for path in root.iterdir() if path.is_file() and not path.name.startswith("rates-")]
    assert len(files) > 15
    assert [path.name for path in files if path.name not in told] == []


def test_each_sheet_and_table_is_told():
    told = (FOLDER / "sheets.md").read_text(encoding="utf-8")
    names = [name for name, _, _ in TABLES] + [PLACES, RECORD]
    assert [name for name in names if f"`{name}`" not in told] == []
    sheets = {
        name for cell in re.findall(r"^\| ([A-Z][^|]+) \|", told, re.MULTILINE) for name in cell.split(", ")
    }
    assert {*SHEETS, *BUILT, KEPT, HANDLED, DECLARED, *SCORED} == sheets


@pytest.mark.parametrize(
    ("head", "command", "options"),
    [("Net m3", "bill", ()), ("in units", "compare", ("--alternatives", str(SAMPLES / "alternatives.toml")))],
)
def test_the_figures_of_the_readme_are_those_of_a_run(head, command, options, tmp_path):
    """Every line that the README quotes from a terminal is printed when its command is run."""
    text = (SOURCE.parent / "README.md").read_text(encoding="utf-8")
    block = re.search(rf"^    {head} .*\n(?:    .*\n)+", text, re.MULTILINE)
    assert block
    arguments = [command, str(SAMPLES / "archive-ifc4.ifc"), *options, "--out", str(tmp_path / "out.xlsx")]
    printed = CliRunner().invoke(main, arguments).stdout
    for line in block.group().splitlines():
        assert line.strip().removesuffix("...").rstrip() in printed, line
