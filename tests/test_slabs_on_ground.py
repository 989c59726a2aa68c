"""Slabs by name on the ground: earth between foundation walls is no room, a floor over a basement spans."""

import pytest
from build import Model, rectangle

from takeoff.pipeline import measure
from takeoff.settings import Settings

UNITS = [("IFC4", "mm", 0.0), ("IFC2X3", "ft", 33.7)]


def _walls(m, base, height):
    """A ring of 10 x 6 m outside, walls 0.3 thick."""
    for name, start, end in (
        ("South", (0, 0.15), (10, 0.15)), ("North", (0, 5.85), (10, 5.85)),
        ("West", (0.15, 0.3), (0.15, 5.7)), ("East", (9.85, 0.3), (9.85, 5.7)),
    ):  # fmt: skip
        m.wall(start, end, 0.3, height, base=base, name=name)


def _run(m, path, **settings):
    return measure([m.save(path / "m.ifc")], Settings(**settings)).measurement


@pytest.mark.parametrize("build", UNITS)
@pytest.mark.parametrize("name", ["Slab on grade 150", "Base"])
def test_foundation_walls_filled_with_earth_keep_no_water_out(name, build, tmp_path):
    m = Model(*build)
    m.storey("Ground floor", 0.0)
    _walls(m, -1.2, 1.2)
    slab_type = {} if name != "Base" else {"PredefinedType": "BASESLAB"}
    # 60 mm short of the walls, as floors with an edge strip are drawn
    m.slab(rectangle(0.36, 0.36, 9.64, 5.64), 0.15, -0.15, name=name, **slab_type)
    m.slab(rectangle(0, -3, 10, -0.1), 0.15, -0.1, name="Terrace, slab on grade")
    assert not _run(m, tmp_path, ground_level=0.05).envelope


@pytest.mark.parametrize("build", UNITS)
def test_a_cellar_beside_earth_is_still_one(build, tmp_path):
    m = Model(*build)
    m.storey("Cellar", -2.5)
    _walls(m, -2.5, 2.5)
    m.wall((5, 0.3), (5, 5.7), 0.3, 2.5, base=-2.5, name="Between")
    # earth and a slab on it west of the wall between, a cellar east of it
    m.slab(rectangle(0.3, 0.3, 4.85, 5.7), 0.15, -0.15, name="Slab on grade")
    m.slab(rectangle(5.15, 0.3, 9.7, 5.7), 0.3, -2.8, name="Raft", PredefinedType="BASESLAB")
    found = {(row.kind, row.global_id) for row in _run(m, tmp_path, ground_level=0.0).envelope}
    names = {part.global_id: part.name for part in _run(m, tmp_path, ground_level=0.0).parts}
    faces = {names[global_id] for kind, global_id in found if kind == "wall-face"}
    # the wall between has no room to its west, but the walls around the cellar are one ring with it
    assert {"East", "South", "North"} <= faces
    assert "West" not in faces


@pytest.mark.parametrize("build", UNITS)
@pytest.mark.parametrize(("below", "spans"), [("raft", True), ("footings", False), ("shallow", False)])
def test_a_ground_floor_slab_over_a_basement_spans(below, spans, build, tmp_path):
    m = Model(*build)
    m.storey("Basement", -3.0)
    depth = 1.0 if below == "shallow" else 3.0
    if below == "footings":
        m.slab(
            rectangle(-0.3, -0.3, 10.3, 0.6), 0.4, -depth - 0.4, name="Strip south", PredefinedType="BASESLAB"
        )
        m.slab(
            rectangle(-0.3, 5.4, 10.3, 6.3), 0.4, -depth - 0.4, name="Strip north", PredefinedType="BASESLAB"
        )
    else:
        m.slab(rectangle(0, 0, 10, 6), 0.4, -depth - 0.4, name="Raft", PredefinedType="BASESLAB")
    m.storey("Ground floor", 0.0)
    m.slab(rectangle(0, 0, 10, 6), 0.25, 0.0, name="Ground floor slab")
    measurement = _run(m, tmp_path)
    soffit = sum(row.area_m2 for row in measurement.formwork if row.category == "slab-soffit")
    assert soffit == pytest.approx(60.0 if spans else 0.0, rel=1e-4)
    (finding,) = [f for f in measurement.findings if f.kind == "ground-slab-by-name"]
    assert ("spans" in finding.assumed) == spans
