"""Several models are measured as one building: contacts, overlaps and doubles across files, units and schemas."""

from collections import defaultdict
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


def _pieces(path, name, spans, made="Precast", thickness=0.2):
    m = Model("IFC4", "mm", name=name)
    for start, end in spans:
        m.wall((start, 0), (end, 0), thickness, 3.0, name=name, made=made)
    return m.save(path)


def _twice(tmp_path, twin, designer, supplier, **words):
    from takeoff.settings import Settings
    from takeoff.templates import template_path

    convention = tmp_path / "c.toml"
    text = template_path("conventions/net.toml").read_text(encoding="utf-8")
    convention.write_text(text.replace('twin = "first"', f'twin = "{twin}"'), encoding="utf-8")
    paths = [_pieces(tmp_path / "a.ifc", "designer", designer, **words)]
    paths.append(_pieces(tmp_path / "b.ifc", "supplier", supplier, **words))
    measurement = measure(paths, Settings(convention=convention)).measurement
    kept = {(part.name, round(part.net_volume_m3, 6)) for part in measurement.parts if part.net_volume_m3}
    return kept, [finding for finding in measurement.findings if finding.kind == "duplicate"], measurement


@pytest.mark.parametrize("made", ["Precast", "In-Situ"])
@pytest.mark.parametrize(
    ("twin", "kept", "doubles"), [("first", {("designer", 3.0)}, 2), ("last", {("supplier", 1.494)}, 1)]
)
def test_a_wall_and_the_panels_that_make_it_up_count_once(twin, kept, doubles, made, tmp_path):
    # 5.0 x 0.2 x 3.0 by the designer; by the supplier two panels of 2.49 with 20 mm between them: 2 x 1.494 m3
    got, findings, measurement = _twice(tmp_path, twin, [(0, 5)], [(0, 2.49), (2.51, 5)], made=made)
    assert got == kept
    assert len(findings) == doubles
    assert sum(finding.worth for finding in findings) == pytest.approx(2.988 if twin == "first" else 3.0)
    (row,) = [row for row in measurement.conventions if row.key == "overlaps.twin_percent"]
    assert row.without_value - row.with_value == pytest.approx(2.988 if twin == "first" else 3.0)


def test_a_piece_within_a_larger_thing_is_not_the_same(tmp_path):
    # a panel of 1.0 in a wall of 5.0: both stay, and that they collide is told
    got, findings, measurement = _twice(tmp_path, "first", [(0, 5)], [(1, 2)])
    assert got == {("designer", 3.0), ("supplier", 0.6)}
    assert not findings
    assert [f.kind for f in measurement.findings if "overlap" in f.kind] == ["pieces-overlap"]


@pytest.mark.parametrize("twin", ["first", "last"])
@pytest.mark.parametrize(
    ("end", "kept"),
    [
        (5.0, {("supplier", 1.494)}),  # the joint of 20 mm is left: 0.012 of 3.0 m3
        (
            4.7,
            {("supplier", 1.494), ("supplier", 1.314), ("designer", 0.192)},
        ),  # a stretch of 0.3 more: 6.4 %
    ],
)
def test_slivers_of_a_cast_wall_beside_the_panels_of_a_supplier_are_joints(twin, end, kept, tmp_path):
    from takeoff.settings import Settings
    from takeoff.templates import template_path

    convention = tmp_path / "c.toml"
    text = template_path("conventions/net.toml").read_text(encoding="utf-8")
    convention.write_text(text.replace('twin = "first"', f'twin = "{twin}"'), encoding="utf-8")
    paths = [_pieces(tmp_path / "a.ifc", "designer", [(0, 5)], "In-Situ")]
    paths.append(_pieces(tmp_path / "b.ifc", "supplier", [(0, 2.49), (2.51, end)]))
    measurement = measure(paths, Settings(convention=convention)).measurement
    got = defaultdict(float)
    for part in measurement.parts:
        got[part.name, part.global_id] += part.net_volume_m3 or 0.0
    assert {(name, round(net, 6)) for (name, _), net in got.items() if net} == kept
    doubles = [finding for finding in measurement.findings if finding.kind == "duplicate"]
    assert len(doubles) == (1 if end == 5.0 else 0)
    assert all("cast or set" in finding.message for finding in doubles)
    # of 3.0 m3 the pieces keep 2.988 and the rule for what they leave takes 0.012; nothing is a twin of its own sort
    rows = {row.key: row.without_value - row.with_value for row in measurement.conventions}
    assert "overlaps.twin_percent" not in rows
    if end == 5.0:
        assert rows["overlaps.rest_percent"] == pytest.approx(0.012, rel=1e-4)
        assert rows["overlaps.keep"] == pytest.approx(2.988, rel=1e-4)
    else:
        assert "overlaps.rest_percent" not in rows
        assert rows["overlaps.keep"] == pytest.approx(3.0 - 0.192, rel=1e-4)
