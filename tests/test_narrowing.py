"""Bodies that bring measuring down are found and cost themselves; outlines on which the geometry library gives up."""

import time
from pathlib import Path

import numpy as np
import pytest
import shapely
from build import Model
from shapely.errors import GEOSException

from takeoff import enduring, pipeline
from takeoff.findings import InputError
from takeoff.geometry import planar
from takeoff.measuring import dimensions
from takeoff.settings import Settings


def _model(path: Path, heights: list[float]) -> Path:
    model = Model("IFC4", unit="m")
    for number, height in enumerate(heights):
        model.column((3.0 * number, 0.0), 0.4, 0.4, height, name=f"C{number}")
    model.save(path)
    return path


def test_a_body_that_cannot_be_measured_costs_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = _model(tmp_path / "columns.ifc", [3.0, 3.1, 7.0, 3.2, 8.0, 3.3])
    inner = dimensions.measure_dimensions

    def measure(surfaces: object, rows: object, role: str, volume: float) -> object:
        if volume > 1.0:
            raise GEOSException("TopologyException: side location conflict")
        return inner(surfaces, rows, role, volume)  # type: ignore[arg-type]

    monkeypatch.setattr("takeoff.measuring.figures.measure_dimensions", measure)
    run = pipeline.measure([path], Settings(cache=False, processes=1))
    found = {part.name: part.net_volume_m3 for part in run.measurement.parts}
    expected = {f"C{n}": 0.16 * h if h < 6 else None for n, h in enumerate([3.0, 3.1, 7.0, 3.2, 8.0, 3.3])}
    assert found == {name: value and pytest.approx(value) for name, value in expected.items()}
    told = [f for f in run.measurement.findings if f.kind == "not-measured"]
    assert len(told) == 2
    assert all(f.severity == "error" and "side location conflict" in f.message for f in told)


@pytest.mark.parametrize("many", [True, False])
def test_a_body_that_takes_too_long_costs_itself(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, many: bool
) -> None:
    """Whether or not it is the one of most faces, which is tried first."""
    model = Model("IFC4", unit="m")
    for number, height in enumerate([3.0, 3.1, 7.0, 3.2, 3.3]):
        model.column((3.0 * number, 0.0), 0.4, 0.4, height, name=f"C{number}")
    ring = [(np.cos(k / 20 * np.pi), np.sin(k / 20 * np.pi)) for k in range(40)]
    model.slab(ring, 2.5 if many else 0.1, 20.0, name="S")
    model.save(tmp_path / "model.ifc")
    inner = dimensions.measure_dimensions

    def measure(surfaces: object, rows: object, role: str, volume: float) -> object:
        until = time.monotonic() + (30.0 if volume > 1.0 else 0.0)
        while time.monotonic() < until:
            pass
        return inner(surfaces, rows, role, volume)  # type: ignore[arg-type]

    monkeypatch.setattr("takeoff.measuring.figures.measure_dimensions", measure)
    monkeypatch.setattr(enduring, "BODY_SECONDS", 0.0)
    monkeypatch.setattr(enduring, "FACE_SECONDS", 0.0)
    began = time.monotonic()
    run = pipeline.measure([tmp_path / "model.ifc"], Settings(cache=False, processes=1, limit_seconds=1.0))
    assert time.monotonic() - began < 60.0
    lost = {part.name for part in run.measurement.parts if part.net_volume_m3 is None}
    assert lost == ({"S", "C2"} if many else {"C2"})
    told = [finding for finding in run.measurement.findings if finding.kind == "not-measured"]
    assert len(told) == len(lost)
    assert all("took longer than 1 s" in finding.message for finding in told)


def test_measuring_that_always_fails_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = _model(tmp_path / "columns.ifc", [3.0, 3.1])

    def measure(*_: object) -> object:
        raise ZeroDivisionError("of no\nuse")

    monkeypatch.setattr("takeoff.measuring.measure.compare_declared", measure)
    with pytest.raises(InputError, match="ZeroDivisionError: of no use") as fault:
        pipeline.measure([path], Settings(cache=False, processes=1))
    assert "\n" not in str(fault.value)


def test_outlines_that_the_library_refuses_are_put_together_all_the_same(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The library refuses whatever is not valid, and all work without a grid: what is asked comes out still."""
    bow = shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])
    box = shapely.box(0, 0, 1, 2)

    def refusing(inner):  # type: ignore[no-untyped-def]
        def operation(*shapes, grid_size=None, axis=None):  # type: ignore[no-untyped-def]
            flat = [one for shape in shapes for one in np.atleast_1d(np.asarray(shape, dtype=object))]
            if not grid_size or not all(shapely.is_valid(flat)):
                raise GEOSException("refused")
            return inner(*shapes, grid_size=grid_size)

        return operation

    for name in ("union_all", "intersection", "difference"):
        monkeypatch.setattr(planar.shapely, name, refusing(getattr(shapely, name)))
    assert planar.union_all([bow, box]).area == pytest.approx(3.0)
    assert planar.intersection(bow, box).area == pytest.approx(1.0)
    left = planar.difference(np.array([bow, box], dtype=object), np.array([box, bow], dtype=object))
    assert [shape.area for shape in left] == pytest.approx([1.0, 1.0])
