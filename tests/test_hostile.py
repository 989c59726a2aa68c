"""Hostile bodies, each in all surroundings that suit it: measured rightly or told of, and sound ones never lost."""

from collections.abc import Sequence
from pathlib import Path

import hostile_booleans
import hostile_profiles
import hostile_shells
import hostile_sweeps
import numpy as np
import pytest
from hostile import Case, fault, tried
from solid_models import SolidModel

from takeoff.geometry.workers import make_solids

KINDS = {
    "profiles": hostile_profiles.CASES,
    "sweeps": hostile_sweeps.CASES,
    "shells": hostile_shells.CASES,
    "booleans": hostile_booleans.CASES,
}


@pytest.mark.parametrize("schema", ["IFC4", "IFC4X3"])
@pytest.mark.parametrize("kind", KINDS)
def test_hostile_bodies_are_measured_or_told_of(tmp_path: Path, kind: str, schema: str) -> None:
    cases = [case for case in KINDS[kind] if case.schema == schema]
    if cases:
        assert not _faults(tmp_path / f"{kind}.ifc", cases, schema)


def _faults(path: Path, cases: Sequence[Case], schema: str) -> list[str]:
    model = SolidModel(schema=schema)
    every = list(tried(model, cases))
    results = make_solids(
        model.save(path), [one.request for one in every], np.zeros(3), processes=2, limit_seconds=20.0
    )
    assert sorted(results) == [one.request.key for one in every]
    return [f"{one.name}: {said}" for one in every if (said := fault(one, results[one.request.key]))]


def test_a_wrong_volume_would_be_seen(tmp_path: Path) -> None:
    """The proof itself: a case whose volume is written down wrongly is a fault, in each of its surroundings."""
    cases = [Case("lying", hostile_shells.brep(hostile_shells.POINTS, hostile_shells.QUADS), 1.01)]
    found = _faults(tmp_path / "lying.ifc", cases, "IFC4")
    assert len(found) == 8
    assert all("instead of" in line for line in found)
