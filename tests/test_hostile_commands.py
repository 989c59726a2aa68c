"""Whole commands over models of hostile and sound elements: exit codes, a row for each, nothing lost beside them."""

import csv
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import ifcopenshell.guid
import pytest
from hostile import Case
from solid_models import SolidModel
from test_hostile import KINDS

ROOT = Path(__file__).resolve().parents[1]
CLASSES = ("IfcWall", "IfcSlab", "IfcColumn", "IfcBeam", "IfcFooting", "IfcStairFlight")
STEP = 30.0
"""Elements stand this far apart, metres."""


def write_model(path: Path, cases: Sequence[Case], schema: str = "IFC4") -> dict[str, Case | None]:
    """One element of concrete for each case, and a box of 6 m3 after every tenth; what each is, by GlobalId."""
    model = SolidModel(schema=schema)
    made: dict[str, Case | None] = {}
    products = []
    for number, case in enumerate(cases):
        place = model.place((STEP * (number % 20), STEP * (number // 20), 10.0))
        kind = CLASSES[number % len(CLASSES)]
        products.append(model.file.by_id(model.product(*case.items(model), placement=place, kind=kind)))
        made[products[-1].GlobalId] = case
        if number % 10 == 0:
            beside = model.place((STEP * (number % 20) + 15.0, STEP * (number // 20), 10.0))
            box = model.product(model.box((0, 0, 0), (1, 2, 3)), placement=beside, kind="IfcColumn")
            products.append(model.file.by_id(box))
            made[products[-1].GlobalId] = None
    material = model.file.create_entity("IfcMaterial", "Concrete C30/37")
    model.file.create_entity(
        "IfcRelAssociatesMaterial",
        ifcopenshell.guid.new(),
        RelatedObjects=products,
        RelatingMaterial=material,
    )
    model.save(path)
    return made


def run(command: str, path: Path, out: Path, *more: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", "from takeoff.cli import main; main()", command, str(path), "--out", str(out),
         "--no-cache", "--limit-seconds", "20", *more],
        cwd=ROOT, capture_output=True, text=True, timeout=600, env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )  # fmt: skip


def faults(path: Path, made: dict[str, Case | None], folder: Path) -> list[str]:
    """What is wrong with the measurement of a model: rows that are missing, sound bodies without their volume."""
    done = run("measure", path, folder, "--strict")
    found = []
    if done.returncode not in (0, 3) or "Traceback" in done.stderr:
        return [f"exit {done.returncode}: {done.stderr[-300:]}"]
    with (folder / "elements.csv").open(encoding="utf-8", newline="") as source:
        rows = list(csv.DictReader(source))
    with (folder / "findings.csv").open(encoding="utf-8", newline="") as source:
        told = {row["global_id"] for row in csv.DictReader(source)}
    by_id: dict[str, list[dict[str, str]]] = {}
    for row in rows:
        by_id.setdefault(row["global_id"], []).append(row)
    unmeasured = False
    for global_id, case in made.items():
        name = case.name if case else "box"
        own = by_id.get(global_id)
        if not own:
            found.append(f"{name}: no row")
            continue
        volume = sum(float(row["net_volume_m3"] or 0.0) for row in own)
        lost = not any(row["net_volume_m3"] for row in own)
        unmeasured |= lost
        wanted = 6.0 if case is None else case.volume
        right = (
            wanted is not None and abs(volume - wanted) <= (case.tolerance if case else 1e-9) * wanted + 1e-9
        )
        if lost and not any(row["condition"] for row in own):
            found.append(f"{name}: no figures and no condition")
        if not right and (case is None or case.sound or global_id not in told):
            found.append(f"{name}: {volume} instead of {wanted} ({own[0]['condition']})")
    if unmeasured and done.returncode != 3:
        found.append(f"exit {done.returncode} although elements are unmeasured")
    return found


@pytest.mark.parametrize("kind", KINDS)
def test_measure_has_a_row_for_each_and_loses_no_sound_element(tmp_path: Path, kind: str) -> None:
    every = [case for case in KINDS[kind] if case.schema == "IFC4"]
    cases = [*every[::6], *(case for case in every if case.name.startswith("mapped"))]
    made = write_model(tmp_path / "model.ifc", cases)
    assert len(made) > 12
    assert not faults(tmp_path / "model.ifc", made, tmp_path / "out")


def test_a_bill_of_hostile_elements_is_written_whole(tmp_path: Path) -> None:
    cases = [case for kind in KINDS.values() for case in kind if case.schema == "IFC4"][::25]
    write_model(tmp_path / "model.ifc", cases)
    done = run("bill", tmp_path / "model.ifc", tmp_path / "bill.xlsx", "--strict")
    assert done.returncode == 3, done.stderr
    assert "Traceback" not in done.stderr
    assert (tmp_path / "bill.xlsx").stat().st_size > 20_000
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bill.xlsx", "model.ifc"]
