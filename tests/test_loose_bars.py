"""Bars that no model assigns: placed by where their lines lie, shared by length, told."""

import math
from pathlib import Path

import numpy as np
import pytest
from build import Model, box_mesh, rectangle, triangulated, tube_mesh

from takeoff.geometry.mesh import Mesh
from takeoff.geometry.within import points_within
from takeoff.pipeline import Run, measure

KG_A_METRE = math.pi * 0.016**2 / 4 * 7850.0


def _concrete(model: Model) -> None:
    model.footing(rectangle(-1, -1, 1, 1), 0.5, -0.5, name="Pad")
    model.column((0, 0), 0.4, 0.4, 3.0, name="Column")


def _bars(model: Model) -> None:
    """Four bars of 2.8 m in the column, a starter of 1.2 m with a foot of 0.4 m, a bar of 2 m beside it all."""
    corner = 0.15
    model.bar(
        [(corner, corner, 0.1), (corner, corner, 2.9)], 0.016, count=4, spacing=(-0.1, 0, 0), name="Upright"
    )
    model.bar([(0.3, 0, -0.4), (-0.1, 0, -0.4), (-0.1, 0, 0.8)], 0.016, name="Starter")
    model.bar([(5, 5, 0), (5, 5, 2)], 0.016, name="Stray")


def _steel(run: Run) -> dict[tuple[str, str], float]:
    names = {part.global_id: part.name for part in run.measurement.parts}
    sums: dict[tuple[str, str], float] = {}
    for row in run.measurement.reinforcement:
        key = names[row.global_id], row.basis
        sums[key] = sums.get(key, 0.0) + row.mass_kg
    return sums


def _check(run: Run) -> None:
    steel = _steel(run)
    # the starter has 0.4 + 0.4 m in the pad and 0.8 m in the column
    # and is looked at every 25 mm
    assert steel["Pad", "modelled"] == pytest.approx(0.8 * KG_A_METRE, abs=0.026 * KG_A_METRE)
    assert steel["Column", "modelled"] == pytest.approx((4 * 2.8 + 0.8) * KG_A_METRE, abs=0.026 * KG_A_METRE)
    assert sum(steel[key] for key in steel if key[1] == "modelled") == pytest.approx(12.8 * KG_A_METRE)
    told = {finding.kind: finding for finding in run.measurement.findings}
    assert told["bars-placed"].worth == pytest.approx((4 * 2.8 + 1.6) * KG_A_METRE)
    assert f"{1.6 * KG_A_METRE:.0f} kg in several" in str(told["bars-placed"].assumed)
    assert told["bars-without-host"].worth == pytest.approx(2.0 * KG_A_METRE)


@pytest.mark.parametrize(
    ("schema", "unit", "rotate", "offset"),
    [
        ("IFC2X3", "mm", 33.7, (4.0e5, 0, 0)),
        ("IFC4", "ft", 0.0, (0, 0, 0)),
        ("IFC4X3", "m", -12.0, (0, 0, 80.0)),
    ],
)
def test_bars_lie_in_the_concrete_that_holds_their_lines(
    schema, unit, rotate, offset, tmp_path: Path
) -> None:
    model = Model(schema, unit, rotate, offset)
    _concrete(model)
    _bars(model)
    _check(measure([model.save(tmp_path / "one.ifc")]))


def test_bars_of_another_model_lie_in_the_concrete_of_the_first(tmp_path: Path) -> None:
    concrete, steel = Model("IFC4", "m"), Model("IFC2X3", "mm")
    _concrete(concrete)
    _bars(steel)
    _check(measure([concrete.save(tmp_path / "concrete.ifc"), steel.save(tmp_path / "steel.ifc")]))


def test_a_bar_mostly_outside_stays_nobodys(tmp_path: Path) -> None:
    model = Model("IFC4", "m")
    _concrete(model)
    model.bar([(0, 0, 2.5), (0, 0, 4.0)], 0.016)
    run = measure([model.save(tmp_path / "one.ifc")])
    assert "modelled" not in {basis for _, basis in _steel(run)}
    assert [f.worth for f in run.measurement.findings if f.kind == "bars-without-host"] == [
        pytest.approx(1.5 * KG_A_METRE)
    ]


def test_points_within_a_mesh() -> None:
    points, faces = box_mesh((0, 0, 0), (2, 1, 1))
    mesh = Mesh(np.array(points, dtype=float), np.array(triangulated(faces)), np.zeros(12, dtype=np.int64))
    asked = np.array([(1, 0.5, 0.5), (1, 0.5, 1.5), (2.01, 0.5, 0.5), (0.001, 0.001, 0.999), (-1, 0.5, 0.5)])
    assert points_within(asked, mesh).tolist() == [True, False, False, True, False]


@pytest.mark.parametrize("schema", ["IFC2X3", "IFC4", "IFC4X3"])
def test_bars_drawn_by_their_faces_are_placed_too(schema: str, tmp_path: Path) -> None:
    model = Model(schema, "mm", 33.7, (4.0e5, 0, 0))
    _concrete(model)
    upright = model.brep(*tube_mesh([(0.0, 0.0, 0.1), (0.0, 0.0, 2.9)], 0.016, 12))
    model.product("IfcReinforcingBar", upright, at=(0.15, 0.15, 0.0), name="Upright", filed=False)
    starter = model.brep(*tube_mesh([(0.0, 0.0, -0.4), (0.0, 0.0, 0.8)], 0.016, 8))
    model.product("IfcReinforcingBar", starter, name="Starter", filed=False)
    run = measure([model.save(tmp_path / "drawn.ifc")])
    steel = _steel(run)
    assert steel["Pad", "modelled"] == pytest.approx(0.4 * KG_A_METRE, abs=0.026 * KG_A_METRE)
    assert steel["Column", "modelled"] == pytest.approx(3.6 * KG_A_METRE, abs=0.026 * KG_A_METRE)
    assert not [finding for finding in run.measurement.findings if finding.kind == "bars-without-host"]
