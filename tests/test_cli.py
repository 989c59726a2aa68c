"""The program as a user meets it: exit codes, one line a problem, nothing half-written."""

import json
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from takeoff.cli import main

SAMPLE = Path(__file__).parents[1] / "sample_models" / "archive-ifc4.ifc"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def failed(result: Result, code: int = 1) -> str:
    assert result.exit_code == code, result.output
    lines = result.stderr.strip().splitlines()
    assert len(lines) == 1, lines
    assert lines[0].startswith("takeoff: ")
    return lines[0]


@pytest.fixture(scope="module")
def shed(tmp_path_factory):
    from build import Model

    m = Model("IFC4", "mm", name="shed")
    m.wall((0, 0), (5, 0), 0.2, 3.0)
    return m.save(tmp_path_factory.mktemp("shed") / "shed.ifc")


def _write(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


def _zip(path: Path, *names: str) -> Path:
    with zipfile.ZipFile(path, "w") as archive:
        for name in names:
            archive.writestr(name, SAMPLE.read_bytes())
    return path


BAD_MODELS = {
    "missing": lambda folder: folder / "none.ifc",
    "folder": lambda folder: folder,
    "empty": lambda folder: _write(folder / "empty.ifc", b""),
    "no-ifc": lambda folder: _write(folder / "letter.ifc", b"Dear surveyor, please find enclosed nothing.\n"),
    "cut-off": lambda folder: _write(folder / "cut.ifc", SAMPLE.read_bytes()[:40_000]),
    "unknown-schema": lambda folder: _write(
        folder / "new.ifc", SAMPLE.read_bytes().replace(b"'IFC4'", b"'IFC9'", 1)
    ),
    "zip-without-model": lambda folder: _zip(folder / "none.ifczip", "readme.txt"),
    "zip-with-two-models": lambda folder: _zip(folder / "two.ifczip", "a.ifc", "b.ifc"),
    "no-zip": lambda folder: _write(folder / "broken.ifczip", b"PK\x03\x04 not really"),
    "other-kind": lambda folder: _write(folder / "model.step", SAMPLE.read_bytes()[:100]),
}


@pytest.mark.parametrize("kind", BAD_MODELS)
@pytest.mark.parametrize("command", ["measure", "bill"])
def test_a_model_that_cannot_be_used_is_one_line(kind, command, tmp_path):
    path = BAD_MODELS[kind](tmp_path)
    out = tmp_path / ("out.xlsx" if command == "bill" else "out")
    line = failed(run(command, path, "--out", out))
    assert path.name in line
    assert not out.exists()


def test_a_model_without_concrete_is_one_line(tmp_path):
    from build import Model

    m = Model("IFC4", "mm", name="frame")
    m.wall((0, 0), (5, 0), 0.2, 3.0, material="Brick")
    line = failed(run("measure", m.save(tmp_path / "brick.ifc"), "--out", tmp_path / "out"))
    assert "no concrete" in line
    assert not (tmp_path / "out").exists()


def test_one_bad_file_costs_that_file(shed, tmp_path):
    bad = _write(tmp_path / "bad.ifc", b"nothing")
    result = run("measure", bad, shed, "--out", tmp_path / "out", "--json")
    assert result.exit_code == 0
    assert "bad.ifc" in result.stderr
    record = json.loads(result.stdout)
    assert [entry["name"] for entry in record["models"]] == ["shed.ifc"]
    assert [entry["name"] for entry in record["failed"]] == ["bad.ifc"]
    assert "model-not-read" in (tmp_path / "out" / "findings.csv").read_text(encoding="utf-8")
    assert run("measure", bad, shed, "--out", tmp_path / "out2", "--strict").exit_code == 3


@pytest.mark.parametrize(
    ("name", "text", "word"),
    [
        ("rates", "item,unit,price\nconcrete.*,m3,1\n", "price"),
        ("rates", "item,unit,rate,low,high,source,date,note\nconcrete.*,m3,much,,,,,\n", "much"),
        ("convention", "name = 'x'\n", "x.convention"),
        ("convention", "name = \n", "TOML"),
        ("methods", "[[rule]]\nfield = 'colour'\n", "x.methods"),
        ("allowances", "role\nwall\n", "x.allowances"),
        ("markups", "currency = 3\n", "x.markups"),
        ("sections", "nothing = 1\n", "x.sections"),
        ("scoring", "name = 'x'\n", "x.scoring"),
    ],
)
def test_a_faulty_data_file_is_one_line_before_anything_is_measured(name, text, word, shed, tmp_path):
    path = tmp_path / f"x.{name}"
    path.write_text(text, encoding="utf-8")
    line = failed(run("bill", shed, "--out", tmp_path / "bill.xlsx", f"--{name}", path))
    assert word in line
    assert not (tmp_path / "bill.xlsx").exists()


def test_outputs_that_cannot_be_written(shed, tmp_path):
    line = failed(run("bill", shed, "--out", tmp_path / "no folder" / "bill.xlsx"))
    assert "bill.xlsx" in line
    (tmp_path / "taken").write_text("a file", encoding="utf-8")
    failed(run("measure", shed, "--out", tmp_path / "taken"))
    full = tmp_path / "full"
    full.mkdir()
    (full / "letter.txt").write_text("keep me", encoding="utf-8")
    failed(run("measure", shed, "--out", full))
    assert [path.name for path in full.iterdir()] == ["letter.txt"]


def test_usage_errors_are_2(shed, tmp_path):
    assert run("bill", shed, "--out", tmp_path / "bill.pdf").exit_code == 2
    assert run("bill", "--out", tmp_path / "bill.xlsx").exit_code == 2
    assert run("measure", shed).exit_code == 2
    assert run("nonsense").exit_code == 2


def test_strict_is_3_for_unresolved_and_unpriced(tmp_path):
    result = run("bill", SAMPLE, "--out", tmp_path / "bill.xlsx", "--strict", "-q")
    assert result.exit_code == 3
    assert "unresolved" in result.stderr
    assert "without a rate" in result.stderr
    assert (tmp_path / "bill.xlsx").exists()


def test_json_is_the_record_and_nothing_else(shed, tmp_path):
    result = run("measure", shed, "--out", tmp_path / "out", "--json")
    record = json.loads(result.stdout)
    assert record["totals"]["net_volume_m3"] == pytest.approx(3.0)
    assert record["counts"]["by_role"] == {"wall": 1}
    assert record["models"][0]["sha256"]
    written = json.loads((tmp_path / "out" / "run.json").read_text(encoding="utf-8"))
    assert written["totals"] == record["totals"]


def test_check_lists_findings_only(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    result = run("check", SAMPLE)
    assert result.exit_code == 0
    assert "warning: duplicate: archive-ifc4.ifc" in result.stdout
    assert not list(tmp_path.iterdir())


def test_check_groups_findings_and_lists_few_of_a_kind(tmp_path):
    from build import Model

    model = Model("IFC4", "m")
    for place in range(13):
        # the taller, the more hangs on it
        model.column((3.0 * place, 0), 0.3, 0.3, 2.0 + place / 10, material=None, made=None, name=f"C{place}")
    model.wall((0, 9), (4, 9), 0.2, 2.5)
    source = model.save(tmp_path / "columns.ifc")
    lines = run("check", source).stdout.splitlines()
    heads = [line for line in lines if not line.startswith(" ")]
    kinds = [line.split()[2] for line in heads]
    assert len(kinds) == len(set(kinds)) < len(lines)
    (head,) = [line for line in heads if " material-missing" in line]
    assert head.startswith("13 warnings material-missing, 3.04 m3: What")
    own = lines[lines.index(head) + 1 :][:11]
    assert all("warning: material-missing: columns.ifc" in line for line in own[:10])
    assert "C12" in own[0]
    assert own[10].startswith("  and 3 more material-missing")
    every = run("check", source, "-v").stdout
    assert sum("warning: material-missing" in line for line in every.splitlines()) == 13


def test_a_job_file_holds_everything_and_flags_win(shed, tmp_path):
    copies = tmp_path / "data"
    assert run("templates", copies).exit_code == 0
    assert "there already" in failed(run("templates", copies))
    job = tmp_path / "job.toml"
    job.write_text(
        'convention = "data/conventions/voids-left-in.toml"\nrates = "data/rates.csv"\nground_level = -1.0\n',
        encoding="utf-8",
    )
    record = json.loads(run("measure", shed, "--out", tmp_path / "a", "--job", job, "--json").stdout)
    assert record["convention"]["name"] == "voids-left-in"
    assert record["ground_level"]["height_m"] == -1.0
    flags = ("--convention", "net", "--ground-level", "0.5")
    record = json.loads(run("measure", shed, "--out", tmp_path / "b", "--job", job, "--json", *flags).stdout)
    assert record["convention"]["name"] == "net"
    assert record["ground_level"]["height_m"] == 0.5
    job.write_text("colour = 'red'\n", encoding="utf-8")
    assert "colour" in failed(run("measure", shed, "--out", tmp_path / "c", "--job", job))


def test_a_second_run_replaces_the_first(shed, tmp_path):
    assert run("measure", shed, "--out", tmp_path / "out").exit_code == 0
    assert run("measure", shed, "--out", tmp_path / "out").exit_code == 0


@pytest.mark.parametrize(
    "flag", ["--ground-level=nan", "--ground-level=inf", "--limit-seconds=nan", "--limit-seconds=inf"]
)
def test_what_is_no_number_is_a_usage_error(tmp_path: Path, flag: str) -> None:
    told = CliRunner().invoke(main, ["measure", "model.ifc", "--out", str(tmp_path / "out"), flag])
    assert told.exit_code == 2
    assert "Invalid value" in told.stderr


@pytest.mark.parametrize(
    "line", ["ground_level = nan", "ground_level = inf", "limit_seconds = inf", "processes = inf"]
)
def test_what_is_no_number_in_a_job_file_is_one_line(tmp_path: Path, line: str) -> None:
    job = tmp_path / "job.toml"
    job.write_text(f"{line}\n")
    told = CliRunner().invoke(
        main, ["measure", "model.ifc", "--out", str(tmp_path / "out"), "--job", str(job)]
    )
    assert told.exit_code == 1
    assert told.stderr.count("\n") == 1
    assert "must be a number" in told.stderr
