"""Every hand-computed case, in several schemas, units and places: the answers must not depend on those.

All cases of a variant stand far apart in one model, so that the whole table costs one run for each variant.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from cases import CASES, Case, CaseModel
from cases.case import faults

from takeoff.measuring.records import Measurement


@dataclass(frozen=True, slots=True)
class Variant:
    """How a model is written."""

    schema: str
    unit: str
    rotate_deg: float = 0.0
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)
    absolute: bool = False


VARIANTS = {
    "IFC4-metres": Variant("IFC4", "m"),
    "IFC2X3-millimetres-rotated": Variant("IFC2X3", "mm", 33.7),
    "IFC4X3-feet-far-rotated": Variant("IFC4X3", "ft", 33.7, (3.9e6, -8.8e5, 120.0)),
    "IFC4-millimetres-far-absolute": Variant("IFC4", "mm", -71.3, (-1.2e6, 3.8e6, -40.0), absolute=True),
}


@pytest.fixture(scope="module", params=VARIANTS)
def campus(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Measurement, dict[str, str]]:
    """One variant of all cases, measured: the measurement, and the case of every GlobalId."""
    from takeoff.pipeline import measure

    variant = VARIANTS[request.param]
    model = CaseModel(
        variant.schema,
        variant.unit,
        variant.rotate_deg,
        variant.offset,
        name=f"cases {request.param}",
        absolute=variant.absolute,
    )
    for index, case in enumerate(CASES):
        model.add(case, index)
    path: Path = model.save(tmp_path_factory.mktemp("cases") / f"{request.param}.ifc")
    return measure([path]).measurement, model.members


def _param(case: Case) -> Any:
    marks = [pytest.mark.xfail(strict=True, reason=case.known)] if case.known else []
    return pytest.param(case, id=case.name.replace(" ", "-"), marks=marks)


@pytest.mark.parametrize("case", [_param(case) for case in CASES])
def test_case(campus: tuple[Measurement, dict[str, str]], case: Case) -> None:
    measurement, members = campus
    assert not (found := faults(case, measurement, members)), "\n" + "\n".join(found)


@pytest.mark.parametrize("name", ["frame overlapping", "round column in a faceted hole", "twin wall"])
def test_case_alone(name: str, tmp_path: Path) -> None:
    from takeoff.pipeline import measure

    case = next(case for case in CASES if case.name == name)
    model = CaseModel("IFC4", "cm", name=name)
    model.add(case)
    measurement = measure([model.save(tmp_path / "alone.ifc")]).measurement
    assert not (found := faults(case, measurement, model.members)), "\n" + "\n".join(found)


def test_names_are_unique() -> None:
    assert len({case.name for case in CASES}) == len(CASES)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name.replace(" ", "-"))
def test_nothing_measured_is_no_answer(case: Case) -> None:
    assert faults(case, Measurement(), {})
