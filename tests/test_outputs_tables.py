"""The folder of tables: columns, values, and that it appears whole or not at all."""

import csv
import json
import math
import os
from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import replace
from outputs_sample import HOSTILE, RUN, part, sample_measurement

from takeoff.findings import Finding, InputError
from takeoff.measuring.places import Place
from takeoff.measuring.records import Measurement
from takeoff.outputs import tables
from takeoff.outputs.tables import TABLES, write_tables

PUBLISHED = {
    "elements.csv": "model, global_id, part, ifc_class, name, type_name, mark, storey, role, subrole, "
    "method, evidence, material, strength_class, gross_volume_m3, net_volume_m3, overlap_volume_m3, "
    "length_m, width_m, height_m, plan_area_m2, side_area_m2, formwork_m2, reinforcement_kg, "
    "reinforcement_basis, weight_t, declared_volume_m3, condition",
    "formwork.csv": "model, global_id, part, role, storey, category, shape, band, height_to_soffit_m, "
    "area_m2, length_m",
    "pieces.csv": "model, global_id, mark, method, role, storey, length_m, width_m, thickness_m, volume_m3, "
    "weight_t, largest_face_m2, openings, repetition_group, repetition_count, mirror_of",
    "findings.csv": "severity, kind, model, global_id, message, assumed",
}
FILES = {name for name, _, _ in TABLES} | {"run.json"}


def read(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def content(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in folder.iterdir()}


def test_published_columns_stand_first_and_in_order(tmp_path: Path) -> None:
    write_tables(tmp_path / "out", sample_measurement(), RUN)
    assert {file.name for file in (tmp_path / "out").iterdir()} == FILES
    for name, columns in PUBLISHED.items():
        with (tmp_path / "out" / name).open(encoding="utf-8", newline="") as stream:
            header = next(csv.reader(stream))
        expected = columns.split(", ")
        assert header[: len(expected)] == expected
        assert len(set(header)) == len(header)


def test_every_record_is_a_row(tmp_path: Path) -> None:
    measurement = sample_measurement()
    write_tables(tmp_path / "out", measurement, RUN)
    for name, _, where in TABLES:
        assert len(read(tmp_path / "out" / name)) == len(getattr(measurement, where)) > 0


def test_numbers_are_unrounded_and_unknown_is_empty(tmp_path: Path) -> None:
    volumes = [1 / 3, 1e-12, 123456789.123456789, float(np.float64(0.1) + np.float64(0.2))]
    parts = [part(f"wall{n}", "wall", "precast", volume) for n, volume in enumerate(volumes)]
    parts.append(part("walln", "wall", "precast", np.float64(2.5)))
    parts += [part("wallx", "wall", "precast", None), part("wally", "wall", "precast", math.nan)]
    write_tables(tmp_path / "out", Measurement(parts=tuple(parts)), RUN)
    shown = [row["net_volume_m3"] for row in read(tmp_path / "out" / "elements.csv")]
    assert [float(text) for text in shown[:4]] == volumes
    assert shown[4:] == ["2.5", "", ""]


@pytest.mark.parametrize("text", [*HOSTILE, 'a "quoted", text', "two\nlines", "one\rtwo", "Größe — 高さ", ""])
def test_text_comes_back_as_it_was(tmp_path: Path, text: str) -> None:
    measurement = Measurement(parts=(part("wall1", "wall", "precast", 1.0, name=text, mark=text),))
    write_tables(tmp_path / "out", measurement, RUN)
    (row,) = read(tmp_path / "out" / "elements.csv")
    assert (row["name"], row["mark"], row["net_volume_m3"]) == (text, text, "1.0")


def test_half_a_character_does_not_stop_the_tables(tmp_path: Path) -> None:
    measurement = Measurement(findings=(Finding("note", "odd", "m.ifc", "id", "left \ud800 right"),))
    write_tables(tmp_path / "out", measurement, {**RUN, "title": "\ud800"})
    (row,) = read(tmp_path / "out" / "findings.csv")
    assert row["message"] == "left ? right"
    assert json.loads((tmp_path / "out" / "run.json").read_text(encoding="utf-8"))["title"] == "?"


def test_the_run_is_recorded_as_json(tmp_path: Path) -> None:
    given = {
        **RUN,
        "prefabrication": [Finding("note", "k", "m", "g", "t", worth=math.inf)],
        "counts": {"a": np.int64(3), "b": np.float64(0.5), "c": {"y", "x"}},
        "folder": tmp_path,
    }
    write_tables(tmp_path / "out", Measurement(), given)
    record = json.loads((tmp_path / "out" / "run.json").read_text(encoding="utf-8"))
    assert record["program"] == "takeoff"
    assert record["models"] == RUN["models"]
    assert record["counts"] == {"a": 3, "b": 0.5, "c": ["x", "y"]}
    assert record["prefabrication"][0]["worth"] is None
    assert record["folder"] == str(tmp_path)


def test_an_empty_folder_and_an_earlier_run_are_filled_anew(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    write_tables(out, sample_measurement(), RUN)
    first = content(out)
    (out / "my notes.txt").write_text("keep me", encoding="utf-8")
    write_tables(out, Measurement(), RUN)
    second = content(out)
    assert second.pop("my notes.txt") == b"keep me"
    assert second.keys() == first.keys()
    assert len(read(out / "elements.csv")) == 0
    assert [file.name for file in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("record", [None, "{}", '{"program": "other"}', "not json", "[1]"])
def test_a_folder_with_other_content_is_left_alone(tmp_path: Path, record: str | None) -> None:
    (tmp_path / "photos.zip").write_bytes(b"1")
    if record is not None:
        (tmp_path / "run.json").write_text(record, encoding="utf-8")
    before = content(tmp_path)
    with pytest.raises(InputError, match="holds other files"):
        write_tables(tmp_path, sample_measurement(), RUN)
    assert content(tmp_path) == before


def test_places_that_cannot_be_a_folder_are_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(InputError, match="is a file"):
        write_tables(tmp_path / "file", Measurement(), RUN)
    with pytest.raises(InputError, match="there is no folder"):
        write_tables(tmp_path / "missing" / "out", Measurement(), RUN)
    assert (tmp_path / "file").read_text(encoding="utf-8") == "x"


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="no /proc to stand for a place without rights")
def test_a_place_without_rights_is_named() -> None:
    with pytest.raises(InputError, match="/proc/takeoff-tables"):
        write_tables(Path("/proc/takeoff-tables"), Measurement(), RUN)


class Unreadable:
    """A value that breaks the run's record while it is written."""

    def __str__(self) -> str:
        raise RuntimeError("broken on purpose")


def test_a_fault_half_way_leaves_nothing_behind(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError):
        write_tables(tmp_path / "out", sample_measurement(), {**RUN, "odd": Unreadable()})
    assert list(tmp_path.iterdir()) == []


def test_a_fault_while_files_are_exchanged_restores_the_earlier_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out"
    write_tables(out, sample_measurement(), RUN)
    (out / "joints.csv").unlink()
    before = content(out)
    exchange = os.replace

    def failing(source: Path, target: Path) -> None:
        if Path(target) == out / "reinforcement.csv" and "kept" not in Path(source).parts:
            raise PermissionError(13, "open elsewhere", str(target))
        exchange(source, target)

    monkeypatch.setattr(os, "replace", failing)
    changed = replace(sample_measurement(), parts=())
    with pytest.raises(InputError, match="may not be written"):
        write_tables(out, changed, RUN)
    assert content(out) == before
    assert [file.name for file in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("processes", [2, 3, 16])
def test_tables_that_several_processes_write_are_the_same(
    monkeypatch: pytest.MonkeyPatch, processes: int
) -> None:
    monkeypatch.setattr(tables, "CELLS", 1)
    measurement = sample_measurement()
    odd = replace(measurement.parts[0], gross_volume_m3=math.inf, name='a "b",\r\nc')
    measurement = replace(measurement, parts=(*measurement.parts, odd, *measurement.parts))
    places = {
        ("m", str(number)): Place((0.5, 1.0, number), (2.0, 3.0, 4.0), (0, 0, 0), (0, 0, 0))
        for number in range(9)
    }
    assert tables.table_files(measurement, places, processes) == tables.table_files(measurement, places)
