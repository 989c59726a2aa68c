"""The list of methods: written, edited by a person, read back, and found again after new GlobalIds."""

import csv
from pathlib import Path
from typing import Any

import pytest
from build import Model, rectangle
from handed_back import SAMPLES, renew_ids

from takeoff import pipeline
from takeoff.findings import InputError
from takeoff.measuring.overrides import load_overrides
from takeoff.outputs.method_list import write_method_list
from takeoff.settings import Settings

SAMPLE = SAMPLES / "archive-ifc4.ifc"


def _rows(path: Path, delimiter: str = ",") -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as stream:
        return list(csv.DictReader(stream, delimiter=delimiter))


def _edit(path: Path, methods: dict[str, tuple[str, str]], delimiter: str = ",", comma: bool = False) -> None:
    """Fill in methods and notes by the name of the element, as a person does in a spreadsheet."""
    rows = _rows(path)
    for row in rows:
        row["method"], row["note"] = methods.get(row["name"], (row["method"], row["note"]))
        if comma:
            row.update({key: row[key].replace(".", ",") for key in row if key.endswith(("_m", "_m3"))})
    with path.open("w", encoding="utf-8-sig", newline="") as stream:
        writer = csv.DictWriter(stream, rows[0].keys(), delimiter=delimiter)
        writer.writeheader()
        writer.writerows(rows)


def _methods(measurement: Any) -> dict[str, str]:
    return {part.name: part.method for part in measurement.parts}


def test_a_list_that_nobody_edited_changes_nothing(tmp_path: Path) -> None:
    run = pipeline.measure([SAMPLE])
    listed = tmp_path / "methods.csv"
    assert write_method_list(listed, run) == len({part.global_id for part in run.measurement.parts})
    again = pipeline.measure([SAMPLE], Settings(overrides=listed))
    assert again.measurement.parts == run.measurement.parts
    # An assumption stays one, and so does its finding.
    assert again.measurement.findings == run.measurement.findings


def test_edited_and_read_back_after_an_export_with_new_ids(tmp_path: Path) -> None:
    listed = tmp_path / "methods.csv"
    write_method_list(listed, pipeline.measure([SAMPLE]))
    wanted = {
        "Yard wall": "precast",
        "Ridge beam": "precast",
        "Round column 2": "tilt-up",
        "Pad 1": "not-concrete",
    }
    _edit(listed, {name: (method, f"agreed: {name}") for name, method in wanted.items()})
    first = pipeline.measure([SAMPLE], Settings(overrides=listed))
    assert wanted.items() <= _methods(first.measurement).items()

    renewed = tmp_path / "next export.ifc"
    new_ids = renew_ids(SAMPLE, renewed)
    again = pipeline.measure([renewed], Settings(overrides=listed))
    assert _methods(again.measurement) == _methods(first.measurement)
    by_name = {part.name: part.global_id for part in first.measurement.parts}
    found = {f.global_id for f in again.measurement.findings if f.kind == "override-found-again"}
    assert found == {new_ids[by_name[name]] for name in wanted}
    assert not [f for f in again.measurement.findings if f.kind == "override-unused"]

    # The list written anew stands on the new ids, with the decisions and the notes.
    anew = tmp_path / "anew.csv"
    write_method_list(anew, again)
    rows = {row["name"]: row for row in _rows(anew)}
    assert {name: rows[name]["method"] for name in wanted} == wanted
    assert rows["Yard wall"]["global_id"] == new_ids[by_name["Yard wall"]]
    assert rows["Yard wall"]["note"] == "agreed: Yard wall"
    last = pipeline.measure([renewed], Settings(overrides=anew))
    assert _methods(last.measurement) == _methods(first.measurement)
    assert not [f for f in last.measurement.findings if f.kind == "override-found-again"]


def test_a_decision_whose_element_is_gone_is_told(tmp_path: Path) -> None:
    model = Model("IFC4", "mm")
    model.wall((0, 0), (5, 0), 0.2, 3.0, name="stays")
    model.wall((0, 9), (5, 9), 0.2, 3.0, name="goes")
    listed = tmp_path / "methods.csv"
    write_method_list(listed, pipeline.measure([model.save(tmp_path / "walls.ifc")]))
    _edit(listed, {"stays": ("precast", ""), "goes": ("precast", "")})
    model = Model("IFC4", "mm", name="later")
    model.wall((0, 0), (5, 0), 0.2, 3.0, name="stays")
    model.slab(rectangle(20, 20, 24, 24), 0.2, 3.0, name="new")
    run = pipeline.measure([model.save(tmp_path / "later.ifc")], Settings(overrides=listed))
    assert _methods(run.measurement) == {"stays": "precast", "new": "cast-in-place"}
    kinds = [finding.kind for finding in run.measurement.findings if finding.kind.startswith("override")]
    assert sorted(kinds) == ["override-found-again", "override-unused"]


def test_spreadsheets_that_write_semicolons_and_commas(tmp_path: Path) -> None:
    listed = tmp_path / "methods.csv"
    run = pipeline.measure([SAMPLE])
    write_method_list(listed, run)
    _edit(listed, {"Yard wall": ("precast", "")}, ";", comma=True)
    overrides = load_overrides(listed)
    assert [override.method for override in overrides.by_id.values()] == ["precast"]
    (yard,) = [entry for entry in overrides.listed if entry.part.name == "Yard wall"]
    assert yard.part.net_volume_m3 == pytest.approx(3.04)
    assert yard.place is not None


def test_marks_in_a_written_list_do_not_decide(tmp_path: Path) -> None:
    # Two pieces of one mark may be made differently: the GlobalId alone names the element in a written list.
    model = Model("IFC4", "mm")
    for y in (0, 5):
        wall = model.wall((0, y), (5, y), 0.2, 3.0, name=f"wall {y}")
        model.properties(wall, "Pset_PrecastConcreteElementFabrication", {"PieceMark": "W1"})
    source = model.save(tmp_path / "walls.ifc")
    listed = tmp_path / "methods.csv"
    write_method_list(listed, pipeline.measure([source]))
    assert {row["mark"] for row in _rows(listed)} == {"W1"}
    _edit(listed, {"wall 0": ("tilt-up", ""), "wall 5": ("precast", "")})
    run = pipeline.measure([source], Settings(overrides=listed))
    assert _methods(run.measurement) == {"wall 0": "tilt-up", "wall 5": "precast"}


def test_no_text_of_a_model_becomes_a_formula(tmp_path: Path) -> None:
    model = Model("IFC4", "mm")
    model.wall((0, 0), (5, 0), 0.2, 3.0, name="=1+1")
    source = model.save(tmp_path / "wall.ifc")
    listed = tmp_path / "methods.csv"
    write_method_list(listed, pipeline.measure([source]))
    (row,) = _rows(listed)
    assert row["name"] == "'=1+1"
    (entry,) = load_overrides(listed).listed
    assert entry.part.name == "=1+1"


@pytest.mark.parametrize(
    ("column", "value", "words"),
    [
        ("method", "cast", "method 'cast' is none of"),
        ("low_x_m", "left", "line 2: low_x_m 'left' is no number"),
    ],
)
def test_a_slip_in_the_list_is_told_with_its_line(
    tmp_path: Path, column: str, value: str, words: str
) -> None:
    model = Model("IFC4", "mm")
    model.wall((0, 0), (5, 0), 0.2, 3.0, name="wall")
    listed = tmp_path / "methods.csv"
    write_method_list(listed, pipeline.measure([model.save(tmp_path / "wall.ifc")]))
    rows = _rows(listed)
    rows[0][column] = value
    with listed.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    with pytest.raises(InputError, match=words):
        load_overrides(listed)
