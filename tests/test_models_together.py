"""Several models are measured as one building: contacts, overlaps and doubles across files, units and schemas."""

from pathlib import Path

import pytest
from build import Model, rectangle
from cases.case import CaseModel, totals
from cases.frames import FRAME

from takeoff.measuring.records import Measurement
from takeoff.pipeline import measure

FAR = (3.9e6, -8.8e5, 120.0)
WALL = {"gross": 4.0, "net": 2.0, "wall-side": 20.0, "wall-end": 1.0, "parts": 2}


def _measure(folder: Path, *models: CaseModel) -> Measurement:

    return measure([m.save(folder / f"{i}.ifc") for i, m in enumerate(models)]).measurement


def _got(measurement: Measurement) -> dict[tuple[str, str], float]:
    return totals(measurement, {part.global_id for part in measurement.parts})


@pytest.mark.parametrize("beam_start", [0.2, 0.0], ids=["flush", "overlapping"])
def test_frame_in_three_models(tmp_path: Path, beam_start: float) -> None:
    # The frame of the cases, columns, beam and slab each in a file of its own; `overlapping` runs the beam to the
    # columns' axes. The answers are those of the one model.
    columns = CaseModel("IFC2X3", "ft", 33.7, FAR, name="columns")
    for x in (0, 6):
        columns.column((x, 0), 0.4, 0.4, 3.0)
    beams = CaseModel("IFC4", "mm", 33.7, FAR, name="beams", absolute=True)
    beams.beam((beam_start, 0), (6 - beam_start, 0), 0.3, 0.5, top=3.0)
    slabs = CaseModel("IFC4X3", "in", 33.7, FAR, name="slabs")
    slabs.slab(rectangle(-0.2, -1, 6.2, 1), 0.2, 3.0)
    got = _got(_measure(tmp_path, columns, beams, slabs))
    wanted = {(role, key): value for role, figures in FRAME.items() for key, value in figures.items()}
    assert {key: got[key] for key in wanted} == pytest.approx(wanted, rel=1e-4, abs=1e-5)


@pytest.mark.parametrize("second", ["designer", "supplier"], ids=["same GlobalId", "other GlobalId"])
def test_same_wall_in_two_models_counts_once(tmp_path: Path, second: str) -> None:
    # A wall 4.0 x 0.2 x 2.5 in a designer's and in a supplier's model: net 2.0 once, sides 20, ends 1.0, a finding.
    # GlobalIds follow from the model's name, so that the same name gives the wall the same GlobalId.
    models = [CaseModel("IFC4", unit, name=name) for name, unit in (("designer", "mm"), (second, "m"))]
    walls = [m.wall((0, 0), (4, 0), 0.2, 2.5) for m in models]
    assert (walls[0].GlobalId == walls[1].GlobalId) == (second == "designer")
    measurement = _measure(tmp_path, *models)
    got = _got(measurement)
    wanted = {("wall", key): value for key, value in WALL.items()}
    assert {key: got[key] for key in wanted} == pytest.approx(wanted, rel=1e-4)
    assert any("duplicate" in finding.kind for finding in measurement.findings)


def _wall(path, name, x, made="In-Situ"):
    m = Model("IFC4", "mm", name=name)
    m.wall((x, 0), (x + 5, 0), 0.2, 3.0, name=f"Wall of {name}", made=made)
    return m.save(path)


@pytest.mark.parametrize(("twin", "kept"), [("first", "Wall of designer"), ("last", "Wall of supplier")])
def test_whose_twin_counts_is_a_choice(twin, kept, tmp_path):
    from takeoff.settings import Settings
    from takeoff.templates import template_path

    convention = tmp_path / "c.toml"
    text = template_path("conventions/net.toml").read_text(encoding="utf-8")
    convention.write_text(text.replace('twin = "first"', f'twin = "{twin}"'), encoding="utf-8")
    paths = [_wall(tmp_path / "a.ifc", "designer", 0.0), _wall(tmp_path / "b.ifc", "supplier", 0.0)]
    run = measure(paths, Settings(convention=convention))
    counted = [part.name for part in run.measurement.parts if part.net_volume_m3]
    assert counted == [kept]
    assert len([f for f in run.measurement.findings if f.kind == "duplicate"]) == 1


def test_models_that_do_not_sit_together_are_told(tmp_path):
    near = measure([_wall(tmp_path / "a.ifc", "one", 0.0), _wall(tmp_path / "b.ifc", "two", 5.0)])
    assert not [f for f in near.measurement.findings if f.kind == "models-apart"]
    far = measure([_wall(tmp_path / "c.ifc", "three", 0.0), _wall(tmp_path / "d.ifc", "four", 900.0)])
    assert {f.model for f in far.measurement.findings if f.kind == "models-apart"} == {"c.ifc", "d.ifc"}
