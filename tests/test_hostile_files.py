"""Files with one thing written wrongly: what is damaged is measured rightly or told of, what stands beside is kept."""

import subprocess
import sys
from pathlib import Path

import pytest
from hostile_files import BODIES, COLUMN, DAMAGES, PLACES, UNITS, WALL, Damage, base

from takeoff import pipeline
from takeoff.settings import Settings

ROOT = Path(__file__).resolve().parents[1]
SETTINGS = Settings(cache=False, processes=1, limit_seconds=20.0)

VARIANTS = [
    *(pytest.param("IFC4", damage, id=f"IFC4-{damage.name}") for damage in DAMAGES),
    *(pytest.param("IFC2X3", damage, id=f"IFC2X3-{damage.name}") for damage in DAMAGES[::4]),
    *(pytest.param("IFC4X3", damage, id=f"IFC4X3-{damage.name}") for damage in DAMAGES[2::4]),
]


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> set[str]:
    """Kinds of findings that the undamaged model has too."""
    path = tmp_path_factory.mktemp("usual") / "model.ifc"
    base(path, "IFC4")
    run = pipeline.measure([path], SETTINGS)
    assert {part.name: part.net_volume_m3 for part in run.measurement.parts} == pytest.approx(
        {"C0": COLUMN, "W": WALL}
    )
    return {finding.kind for finding in run.measurement.findings}


@pytest.mark.parametrize(("schema", "damage"), VARIANTS)
def test_damage_is_measured_rightly_or_told(
    tmp_path: Path, usual: set[str], schema: str, damage: Damage
) -> None:
    path = tmp_path / "model.ifc"
    lines = base(path, schema)
    damage.do(lines)
    path.write_text(lines.text())
    run = pipeline.measure([path], SETTINGS)
    parts = {part.name: part for part in run.measurement.parts}
    assert set(parts) == {"C0", "W"}
    if damage.wall is not None:
        assert parts["W"].net_volume_m3 == pytest.approx(damage.wall, rel=1e-6)
    column = parts["C0"]
    if column.net_volume_m3 is None:
        assert not damage.sound
        assert column.condition.startswith("not measured: ")
        assert "object has no attribute" not in column.condition
        assert any(
            finding.kind == "not-measured" and finding.global_id == column.global_id
            for finding in run.measurement.findings
        )
        return
    if damage.column is not None and column.net_volume_m3 == pytest.approx(damage.column, rel=1e-6):
        return
    assert not damage.sound
    told = [
        finding
        for finding in run.measurement.findings
        if finding.kind not in usual and finding.global_id in ("", column.global_id)
    ]
    assert told, f"{column.net_volume_m3} in silence"


@pytest.mark.parametrize(
    ("damage", "code"),
    [
        (next(one for one in PLACES if one.name == "place-of-itself"), 3),
        (next(one for one in BODIES if one.name == "depth-nan"), 3),
        (next(one for one in BODIES if one.name == "map-of-itself"), 3),
        (next(one for one in UNITS if one.name == "unit-none"), 0),
        (next(one for one in UNITS if one.name == "unit-foot"), 0),
    ],
    ids=lambda value: value.name if isinstance(value, Damage) else str(value),
)
def test_a_strict_bill_says_by_its_code_whether_all_was_measured(
    tmp_path: Path, damage: Damage, code: int
) -> None:
    path = tmp_path / "model.ifc"
    lines = base(path, "IFC4")
    damage.do(lines)
    path.write_text(lines.text())
    done = subprocess.run(
        [sys.executable, "-c", "from takeoff.cli import main; main()", "bill", str(path), "--out",
         str(tmp_path / "bill.xlsx"), "--no-cache", "--strict", "-q"],
        cwd=ROOT, capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode == code, done.stderr
    assert "Traceback" not in done.stderr
    assert (tmp_path / "bill.xlsx").exists()
