"""Every data file in TOML: whatever is wrong with one is a line with the file, the place and what to do."""

from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from takeoff.compare_job import load_choice
from takeoff.findings import InputError
from takeoff.measuring.checks import load_checks
from takeoff.measuring.convention import load_convention
from takeoff.measuring.finishes import load_finishes
from takeoff.measuring.handling import load_handling
from takeoff.measuring.joint_rules import load_joint_rules
from takeoff.measuring.methods import load_rules
from takeoff.measuring.panelling_rules import load_panelling
from takeoff.nightly.job import load_job
from takeoff.outputs.workbook.look import load_look
from takeoff.outputs.workbook.words import load_words
from takeoff.pricing.alternatives import load_alternatives
from takeoff.pricing.markups import load_markups
from takeoff.pricing.production import load_production
from takeoff.pricing.schemes import load_scheme
from takeoff.pricing.sections import load_sections
from takeoff.questions import load_questions
from takeoff.settings import load_settings
from takeoff.templates import template_folder, template_path

LOADERS: dict[str, Callable[[Path], object]] = {
    "conventions/net.toml": load_convention,
    "methods.toml": load_rules,
    "finishes.toml": load_finishes,
    "handling.toml": load_handling,
    "joints.toml": load_joint_rules,
    "panelling.toml": load_panelling,
    "checks.toml": load_checks,
    "questions.toml": load_questions,
    "sections.toml": load_sections,
    "look.toml": load_look,
    "words-english.toml": load_words,
    "markups.toml": load_markups,
    "production.toml": load_production,
    "alternatives.toml": load_alternatives,
    "scoring/example.toml": load_scheme,
    "nightly-job.toml": load_job,
}
JOBS: dict[str, Callable[[Path], object]] = {
    "settings": partial(load_settings, flags={}),
    "nightly": load_job,
    "compare": partial(load_choice, flags={}),
}
FAULTS = {
    "cut": (lambda text: text + "\nhalf =\n", r"is no valid TOML \(.*line \d+.*\); mend it"),
    "twice": (lambda text: text + "\n[[[", r"is no valid TOML \(.*line \d+.*\); mend it"),
}


def test_every_shipped_toml_file_is_tried() -> None:
    shipped = {str(path.relative_to(template_folder())) for path in template_folder().rglob("*.toml")}
    kinds = {name for name in shipped if not name.startswith("conventions/")} | {"conventions/net.toml"}
    assert kinds == set(LOADERS)


@pytest.mark.parametrize("name", LOADERS)
def test_the_shipped_file_is_read(name: str) -> None:
    LOADERS[name](template_path(name))


def _fault(load: Callable[[Path], object], path: Path, told: str) -> None:
    with pytest.raises(InputError, match=told) as caught:
        load(path)
    said = str(caught.value)
    assert said.startswith(f"{path}: ")
    assert "\n" not in said


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("name", LOADERS)
def test_a_slip_of_the_pen_names_its_line(name: str, fault: str, tmp_path: Path) -> None:
    break_it, told = FAULTS[fault]
    path = tmp_path / "own.toml"
    path.write_text(break_it(template_path(name).read_text(encoding="utf-8")), encoding="utf-8")
    _fault(LOADERS[name], path, told)


@pytest.mark.parametrize("name", LOADERS)
def test_files_that_cannot_be_read(name: str, tmp_path: Path) -> None:
    _fault(
        LOADERS[name], tmp_path / "nowhere.toml", r"cannot be read \(No such file or directory\); name a file"
    )
    _fault(LOADERS[name], tmp_path, r"cannot be read \(Is a directory\); name a file")
    path = tmp_path / "own.toml"
    path.write_bytes("# Träger\n".encode("latin-1"))
    _fault(LOADERS[name], path, "is not UTF-8 text; save it as UTF-8")


@pytest.mark.parametrize("name", LOADERS)
def test_a_key_that_nobody_knows_is_named(name: str, tmp_path: Path) -> None:
    """A misspelt key would otherwise be a choice that is silently not made."""
    path = tmp_path / "own.toml"
    text = template_path(name).read_text(encoding="utf-8")
    path.write_text('surprise = "x"\n' + text, encoding="utf-8")
    if name == "nightly-job.toml":
        path.write_text(text.replace("\n[nightly]\n", '\n[nightly]\nsurprise = "x"\n', 1), encoding="utf-8")
    _fault(LOADERS[name], path, r"surprise[`']?:? is n")


@pytest.mark.parametrize("name", LOADERS)
def test_text_editors_may_put_a_mark_before_the_first_letter(name: str, tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_bytes(b"\xef\xbb\xbf" + template_path(name).read_bytes())
    LOADERS[name](path)


@pytest.mark.parametrize("job", JOBS)
def test_faults_of_a_job_file(job: str, tmp_path: Path) -> None:
    load = JOBS[job]
    _fault(load, tmp_path / "nowhere.toml", r"cannot be read \(No such file or directory\); name a file")
    path = tmp_path / "job.toml"
    path.write_text(f"[{job}\n", encoding="utf-8")
    _fault(load, path, r"is no valid TOML \(.*line 1.*\); mend it")
    path.write_text(
        'surprise = "x"\n' if job == "settings" else f'[{job}]\nsurprise = "x"\n', encoding="utf-8"
    )
    _fault(load, path, "surprise[`']?:? is not known")
