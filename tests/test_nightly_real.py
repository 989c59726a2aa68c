"""Real models and the sample model through five nights, with the volumes that their exporters declare."""

import os
import re
import shutil
from pathlib import Path

import pytest
from nightly_nights import Nights, happened

from takeoff.nightly.history import questions
from takeoff.nightly.history.database import open_database
from takeoff.nightly.history.trends import trend

SAMPLE = Path(__file__).resolve().parents[1] / "sample_models" / "archive-ifc4.ifc"
STAIRS, BALCONIES = 5.1659, 2.9993
"""Net volumes, m3, of the two real models as their exporters declare them."""


def test_five_nights_of_real_models(tmp_path: Path, shared_models: Path) -> None:
    nights = Nights(tmp_path)
    real = shared_models / "models"
    nights.folder.mkdir()
    told = []

    shutil.copy(real / "precast-stairs.ifczip", nights.folder)
    shutil.copy(SAMPLE, nights.folder / "archive.ifc")
    told.append(nights.night(0)[1])

    # The archive as its designer sends it again: its first body a tenth taller; a new model, still being copied.
    text = SAMPLE.read_text()
    body = re.compile(r"(IFCEXTRUDEDAREASOLID\(#\d+,#\d+,#\d+,)([\d.]+)\)")
    taller = body.sub(lambda match: f"{match[1]}{float(match[2]) * 1.1:.3f})", text, count=1)
    (nights.folder / "archive.ifc").write_text(taller)
    whole = (real / "precast-balconies.ifczip").read_bytes()
    (nights.folder / "balconies.ifczip").write_bytes(whole[:6000])
    told.append(nights.night(1)[1])

    (nights.folder / "balconies.ifczip").write_bytes(whole)
    os.rename(nights.folder / "precast-stairs.ifczip", nights.folder / "stairs issue B.ifczip")
    told.append(nights.night(2)[1])

    # Broken in the middle, not at its end; its designer's next one is whole again.
    (nights.folder / "archive.ifc").write_text(text[:30_000] + text[60_000:])
    told.append(nights.night(3)[1])
    (nights.folder / "balconies.ifczip").unlink()
    (nights.folder / "archive.ifc").write_text(text)
    told.append(nights.night(4)[1])

    assert [sorted(happened(report)) for report in told[:3]] == [
        [("archive.ifc", "new"), ("precast-stairs.ifczip", "new")],
        [("archive.ifc", "changed"), ("balconies.ifczip", "waiting")],
        [("balconies.ifczip", "new"), ("stairs issue B.ifczip", "renamed")],
    ]
    assert [name for name, _ in happened(told[3])] == ["archive.ifc"]
    assert sorted(happened(told[4])) == [("archive.ifc", "changed"), ("balconies.ifczip", "removed")]
    (change,) = told[1].data["changes"]
    assert change["elements"]["changed"] >= 1
    assert any(item["quantity_after"] != item["quantity_before"] for item in change["items"])
    engine = open_database(nights.url, create=False)
    with engine.connect() as connection:
        job = questions.find_job(connection)
        volumes = {
            row["model"]: row["net_volume_m3"] for row in questions.list_models(connection, job).records()
        }
        first, *_, last = trend(connection, job, "concrete", "archive.ifc").rows
    engine.dispose()
    assert volumes["stairs issue B.ifczip"] == pytest.approx(STAIRS, abs=5e-5)
    assert volumes["balconies.ifczip"] == pytest.approx(BALCONIES, abs=5e-5)
    assert last[2] == first[2], "the same content measures the same"
