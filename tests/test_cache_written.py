"""Tables kept as files: a run that came before writes the same bytes, says the same words, and makes no rows."""

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from tower import write_tower

from takeoff.cache.written import Written, WrittenBefore
from takeoff.cli import main
from takeoff.settings import Settings
from takeoff.templates import template_path


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A user's cache folder for each test."""
    for name in ("XDG_CACHE_HOME", "LOCALAPPDATA"):
        monkeypatch.setenv(name, str(tmp_path / "user"))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("made") / "tower.ifc"
    write_tower(path, 40, bays=2)
    return path


@pytest.fixture
def tower(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(made, tmp_path))


def measured(*given: object) -> Result:
    return CliRunner().invoke(main, ["measure", *map(str, given)])


def files_of(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.name != "run.json"}


def record_of(folder: Path) -> dict:
    record: dict = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    return {key: value for key, value in record.items() if key not in ("created", "seconds")}


def forbid_measuring(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object, **__: object) -> None:
        raise AssertionError("it was measured, or its records were made, again")

    monkeypatch.setattr("takeoff.pipeline.measure", fail)


def test_the_same_run_again_is_the_same_to_the_byte(
    tower: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = measured(tower, "--out", tmp_path / "plain", "--no-cache")
    first = measured(tower, "--out", tmp_path / "first")
    forbid_measuring(monkeypatch)
    again = measured(tower, "--out", tmp_path / "again")
    assert (plain.exit_code, first.exit_code, again.exit_code) == (0, 0, 0), again.output
    runs = ((plain, "plain"), (first, "first"), (again, "again"))
    kept = files_of(tmp_path / "again")
    assert len(kept) > 15
    assert kept == files_of(tmp_path / "first") == files_of(tmp_path / "plain")
    assert record_of(tmp_path / "again") == record_of(tmp_path / "first") == record_of(tmp_path / "plain")
    assert list(record_of(tmp_path / "again")) == list(record_of(tmp_path / "plain"))
    said = [run.output.replace(str(tmp_path / run_of), "OUT") for run, run_of in runs]
    assert said[0] == said[1] == said[2]
    assert "written: OUT" in said[0]


def test_title_and_prices_are_those_of_the_run_that_asks(
    tower: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    measured(tower, "--out", tmp_path / "first", "-q")
    forbid_measuring(monkeypatch)
    (tmp_path / "rates.csv").write_bytes(template_path("rates.csv").read_bytes() + b"\n")
    job = tmp_path / "job.toml"
    job.write_text('title = "Granary lofts"\nrates = "rates.csv"\npaper = "letter"\n', encoding="utf-8")
    done = measured(tower, "--out", tmp_path / "again", "-q", "--job", job)
    assert done.exit_code == 0, done.output
    first, again = record_of(tmp_path / "first"), record_of(tmp_path / "again")
    assert (again["title"], again["paper"]) == ("Granary lofts", "letter")
    told = [{entry["what"]: entry["sha256"] for entry in record["inputs"]} for record in (first, again)]
    assert {what for what in told[0] if told[0][what] != told[1][what]} == {"rates"}


@pytest.mark.parametrize("what", ["convention", "handling", "questions", "methods"])
def test_another_data_file_is_another_run(
    tower: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    measured(tower, "--out", tmp_path / "first", "-q")
    forbid_measuring(monkeypatch)
    mine = tmp_path / f"{what}.toml"
    mine.write_bytes(Settings().file(what).read_bytes() + b"\n# mine\n")
    done = measured(tower, "--out", tmp_path / "again", "-q", f"--{what}", mine)
    assert done.exit_code == 1
    assert "was measured" in done.output


def test_what_is_missing_is_still_missing(tower: Path, tmp_path: Path) -> None:
    """A body that cannot be read leaves the result incomplete, the second time too."""
    text = tower.read_text(encoding="utf-8")
    begin = text.index("IFCEXTRUDEDAREASOLID(")
    end = text.index(";", begin)
    depth = text.rindex(",", begin, end)
    tower.write_text(text[:depth] + ",0.)" + text[end:], encoding="utf-8")
    runs = [measured(tower, "--out", tmp_path / "out", "--strict") for _ in range(2)]
    assert [run.exit_code for run in runs] == [3, 3], runs[0].output
    assert runs[0].output == runs[1].output
    assert "incomplete" in runs[0].output


def test_a_model_that_changed_meanwhile_is_not_kept(tower: Path) -> None:
    before = WrittenBefore([tower], Settings())
    written = Written({"a.csv": b"1"}, {"models": []}, (), ())
    tower.write_bytes(tower.read_bytes() + b"\n")
    before.keep(written)
    assert WrittenBefore([tower], Settings()).found() is None
    WrittenBefore([tower], Settings()).keep(written)
    assert WrittenBefore([tower], Settings()).found() == written


def test_a_folder_with_other_files_is_refused_the_second_time_too(tower: Path, tmp_path: Path) -> None:
    measured(tower, "--out", tmp_path / "first", "-q")
    other = tmp_path / "other"
    other.mkdir()
    (other / "mine.txt").write_text("mine")
    done = measured(tower, "--out", other, "-q")
    assert done.exit_code == 1
    assert "holds other files" in done.output
    assert [path.name for path in other.iterdir()] == ["mine.txt"]
