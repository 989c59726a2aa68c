"""Models tested against an IDS: the shipped one, and files that cannot be used."""

import json
import sys
from pathlib import Path

import pytest
from build import Model
from click.testing import CliRunner, Result
from handed_back import SAMPLES

from takeoff.cli import main
from takeoff.findings import InputError
from takeoff.outputs.requirements import ids_file, report_paths, verdict_lines, verify_model

pytest.importorskip("ifctester", reason="the extra `standards` is not installed")
SHIPPED = ids_file(Path("requirements"))


def _run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def _unmet(path: Path) -> set[str]:
    verdict = verify_model(SHIPPED, path, path.name)
    return {spec.name for spec in verdict.specifications if not spec.passed}


@pytest.mark.parametrize("name", ["archive-ifc2x3.ifc", "archive-ifc4.ifc"])
def test_the_sample_model_carries_what_is_asked(name: str) -> None:
    verdict = verify_model(SHIPPED, SAMPLES / name, name)
    assert verdict.passed
    # Nothing is met only because nothing was looked at, but for the proxies, of which there shall be none.
    looked_at = [spec.name for spec in verdict.specifications if spec.applicable]
    assert len(looked_at) == len(verdict.specifications) - 1
    assert all(spec.tested for spec in verdict.specifications)


def test_a_model_that_lacks_it_fails_with_a_readable_report(shared_models: Path, tmp_path: Path) -> None:
    source = shared_models / "models" / "plank-floor.ifczip"
    reports = [tmp_path / f"report.{ending}" for ending in ("html", "json", "txt")]
    verdicts = [verify_model(SHIPPED, source, "plank-floor", report) for report in reports]
    assert not verdicts[0].passed
    failed = {spec.name: spec for spec in verdicts[0].specifications if not spec.passed}
    assert {spec.failed for spec in failed.values()} == {58, 52}
    text = "\n".join(verdict_lines(verdicts[0]))
    assert "NOT MET: Structural concrete names its strength class: 58 of 58 fail" in text
    assert "by the standard property: 52 of 52 fail" in text
    assert "to do: Put the strength class into the material's name" in text
    assert "02 Beton gewapend - prefab" in text
    assert "None" not in text
    assert "Structural concrete names its strength class" in reports[0].read_text(encoding="utf-8")
    results = json.loads(reports[1].read_text(encoding="utf-8"))
    assert results["total_specifications_fail"] == 2
    assert "Structural concrete" in reports[2].read_text(encoding="utf-8")


FAULTS = {
    "Elements are named and stand in a storey": {"filed": False},
    "Structural concrete names its strength class": {"material": "Precast concrete", "made": "Precast"},
    "Slabs, columns, beams and flights have a material": {"material": None},
    "Slabs, columns, beams and flights of precast concrete say so by the standard property": {
        "material": "Precast concrete C40/50",
        "made": None,
    },
    "Precast pieces have a mark": {"material": "Precast concrete C40/50", "made": "Precast"},
    "Slabs say what kind of slab they are": {"PredefinedType": "NOTDEFINED"},
}


@pytest.mark.parametrize("schema", ["IFC2X3", "IFC4", "IFC4X3"])
@pytest.mark.parametrize("name", FAULTS)
def test_each_requirement_can_fail(tmp_path: Path, schema: str, name: str) -> None:
    from build import rectangle

    good = {"material": "Concrete C30/37 cast in place", "made": "In-Situ", "PredefinedType": "FLOOR"}
    for words, found in (({}, False), (FAULTS[name], True)):
        model = Model(schema, "mm")
        model.slab(rectangle(0, 0, 4, 3), 0.2, 3.0, **(good | words))
        unmet = _unmet(model.save(tmp_path / "slab.ifc"))
        assert (name in unmet) == found, unmet


def test_storeys_and_proxies(tmp_path: Path) -> None:
    model = Model("IFC4", "mm")
    body = model.wall((0, 0), (5, 0), 0.2, 3.0, made="In-Situ", name="Wall")
    storey = model.file.by_type("IfcBuildingStorey")[0]
    storey.Name = None
    model.product(
        "IfcBuildingElementProxy", *body.Representation.Representations[0].Items, material="Stahlbeton C30/37"
    )
    assert _unmet(model.save(tmp_path / "wall.ifc")) == {
        "Storeys have names",
        "No concrete is exported as a proxy",
    }


def test_check_with_an_ids(tmp_path: Path) -> None:
    model = Model("IFC4", "mm")
    model.wall((0, 0), (5, 0), 0.2, 3.0, material="Reinforced concrete", name="Wall")
    source = model.save(tmp_path / "wall.ifc")
    report = tmp_path / "report.html"
    result = _run("check", source, "--ids", "requirements", "--ids-report", report)
    assert result.exit_code == 0, result.output
    assert "NOT MET: Structural concrete names its strength class: 1 of 1 fail" in result.stdout
    assert report.exists()
    strict = _run("check", source, "--ids", "requirements", "--strict")
    assert strict.exit_code == 3
    assert "wall.ifc does not meet requirements" in strict.stderr
    as_json = _run("check", source, "--ids", SHIPPED, "--json")
    assert json.loads(as_json.stdout)["program"] == "takeoff"
    assert _run("check", source, "--ids-report", report).exit_code == 2


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (None, "no such file"),
        ("not XML at all", "is no valid IDS 1.0"),
        ("<ids xmlns='http://standards.buildingsmart.org/IDS'><info/></ids>", "is no valid IDS 1.0"),
    ],
)
def test_an_ids_that_cannot_be_used(tmp_path: Path, text: str | None, words: str) -> None:
    ids = tmp_path / "own.ids"
    if text is not None:
        ids.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=words) as fault:
        verify_model(ids, SAMPLES / "archive-ifc4.ifc", "archive")
    assert len(str(fault.value).splitlines()) == 1


def test_a_report_for_each_of_several_models() -> None:
    assert report_paths(Path("r.html"), ["a.ifc", "b.ifc"]) == [Path("r-a.html"), Path("r-b.html")]
    result = _run(
        "check", SAMPLES / "archive-ifc4.ifc", "--ids", "requirements", "--ids-report", "report.doc"
    )
    assert result.exit_code == 1
    assert "ends in .html, .json, .txt" in result.stderr


def test_the_shipped_ids_is_copied_with_the_other_data_files(tmp_path: Path) -> None:
    assert _run("templates", tmp_path / "copies").exit_code == 0
    assert (tmp_path / "copies" / "requirements.ids").read_bytes() == SHIPPED.read_bytes()


@pytest.mark.parametrize(("module", "option"), [("bcf", "--bcf"), ("ifctester", "--ids")])
def test_a_missing_extra_is_told_before_anything_is_measured(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, module: str, option: str
) -> None:
    monkeypatch.setitem(sys.modules, module, None)
    value = "requirements" if option == "--ids" else tmp_path / "findings.bcf"
    result = _run("check", SAMPLES / "archive-ifc4.ifc", option, value)
    assert result.exit_code == 1
    assert 'pip install "takeoff[standards]"' in result.stderr
    assert not result.stdout
