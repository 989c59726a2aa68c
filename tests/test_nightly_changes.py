"""What changed between two versions: elements known again under new GlobalIds, units, what is no longer kept."""

import re
from pathlib import Path

import pytest
from build import Model
from msgspec.structs import replace
from nightly_nights import Nights, write_wall

from takeoff.nightly.changes import compare
from takeoff.nightly.history.database import open_database
from takeoff.nightly.history.questions import changes_since
from takeoff.nightly.history.reading import read_version
from takeoff.nightly.tables import FORGETTABLE
from takeoff.settings import Settings


def write_walls(path: Path, lengths: tuple[float, ...], renew: str = "") -> None:
    """Walls in rows 5 m apart; with `renew`, a letter, every GlobalId is another one."""
    model = Model("IFC4", "mm")
    for row, length in enumerate(lengths):
        model.wall((0, 5.0 * row), (length, 5.0 * row), thickness=0.2, height=3.0, name="Wall")
    path.parent.mkdir(parents=True, exist_ok=True)
    model.save(path)
    if renew:
        text = re.sub(
            r"(=IFC\w+\(')([0-9A-Za-z_$]{4})(?=[0-9A-Za-z_$]{18}')", rf"\g<1>0{renew * 3}", path.read_text()
        )
        path.write_text(text)


def test_elements_are_known_again_when_an_export_renews_all_global_ids(tmp_path: Path) -> None:
    nights = Nights(tmp_path)
    model = nights.folder / "a.ifc"
    write_walls(model, (3.0, 4.0, 5.0))
    nights.night(0)
    write_walls(model, (3.0, 4.0, 5.0), renew="a")
    finished, report = nights.night(1)
    assert finished is not None
    assert report is not None
    assert finished.measured == 1
    (change,) = report.data["changes"]
    assert change["elements"] == {"added": 0, "removed": 0, "changed": 0, "renewed": 3}
    assert (
        "3 GlobalIds renewed by the export, found again by shape, place or mark"
        in report.data["events"][0]["detail"]
    )
    write_walls(model, (3.0, 4.5, 5.0, 6.0), renew="b")
    _, report = nights.night(2)
    assert report is not None
    (change,) = report.data["changes"]
    assert change["elements"] == {"added": 1, "removed": 0, "changed": 1, "renewed": 3}
    table = next(nights.out.glob("models/*/0003-*/changed-elements.csv")).read_text().splitlines()
    assert table[0].split(",")[-1] == "global_id_before"
    (changed,) = [line.split(",") for line in table[1:] if line.startswith("changed")]
    assert changed[2].startswith("0bbb")
    assert changed[-1].startswith("0aaa")


def test_totals_are_told_in_the_units_of_the_bill(tmp_path: Path) -> None:
    nights = Nights(tmp_path, settings=replace(Settings(), units="imperial"))
    write_wall(nights.folder / "a.ifc", 5.0)
    nights.night(0)
    write_wall(nights.folder / "a.ifc", 6.0)
    _, report = nights.night(1)
    assert report is not None
    (change,) = report.data["changes"]
    concrete = next(row for row in change["totals"] if row["what"] == "concrete")
    yard = 0.9144**3
    assert concrete["unit"] == "yd3"
    assert (concrete["before"], concrete["after"]) == (pytest.approx(3.0 / yard), pytest.approx(3.6 / yard))
    moved = next(row for row in report.data["trends"] if row["what"] == "Concrete")
    assert (moved["unit"], moved["points"][-1][1]) == ("yd3", pytest.approx(3.6 / yard))


def test_nothing_is_said_of_elements_that_are_no_longer_kept(tmp_path: Path) -> None:
    nights = Nights(tmp_path)
    write_wall(nights.folder / "a.ifc", 5.0)
    nights.night(0)
    engine = open_database(nights.url, create=False)
    with engine.connect() as connection:
        ((_, found),) = changes_since(connection, 1, None)
        assert found.elements == ()
        kept = read_version(connection, 1)
    engine.dispose()
    forgotten = replace(
        kept, rows={name: () if name in FORGETTABLE else rows for name, rows in kept.rows.items()}
    )
    assert compare(forgotten, kept).elements == ()
    assert compare(kept, kept).elements == ()
