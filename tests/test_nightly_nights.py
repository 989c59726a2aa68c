"""Nights made by hand: what is measured, what is left alone, what waits, fails, comes back and is told."""

import hashlib
import json
import os
import shutil
from collections.abc import Iterator, Sequence
from pathlib import Path

import ifcopenshell.guid
import pytest
from build import Model
from msgspec.structs import replace
from nightly_nights import Nights, happened, history_state, write_wall

from takeoff.findings import InputError
from takeoff.nightly.history import questions
from takeoff.nightly.history.database import open_database
from takeoff.nightly.history.store import History
from takeoff.nightly.history.trends import trend
from takeoff.nightly.job import Group, NightlyJob
from takeoff.nightly.order import Order, PinnedRules
from takeoff.nightly.outcome import Outcome


@pytest.fixture(scope="module")
def five(tmp_path_factory: pytest.TempPathFactory) -> tuple[Nights, list]:
    """Five nights: new, changed, unchanged, broken, removed, half-copied, renamed."""
    nights = Nights(tmp_path_factory.mktemp("five"))
    told = []
    write_wall(nights.folder / "a.ifc", 5.0)
    write_wall(nights.folder / "sub" / "b.ifc", 4.0, precast=True)
    (nights.folder / "c.ifc").write_text("no model at all")
    told.append(nights.night(0))
    write_wall(nights.folder / "a.ifc", 6.0)
    whole = write_wall(nights.root / "d.ifc", 3.0).read_bytes()
    (nights.folder / "d.ifc").write_bytes(whole[: len(whole) // 2])
    told.append(nights.night(1))
    (nights.folder / "d.ifc").write_bytes(whole)
    os.rename(nights.folder / "a.ifc", nights.folder / "a renamed.ifc")
    told.append(nights.night(2))
    told.append(nights.night(3))
    (nights.folder / "sub" / "b.ifc").unlink()
    write_wall(nights.folder / "c.ifc", 2.0)
    told.append(nights.night(4))
    return nights, told


def test_first_night_measures_the_new_and_tells_the_broken(five: tuple[Nights, list]) -> None:
    finished, report = five[1][0]
    assert sorted(happened(report)) == [("a.ifc", "new"), ("c.ifc", "failed"), ("sub/b.ifc", "new")]
    assert (finished.models, finished.measured, finished.failed) == (3, 2, 1)
    assert report.data["totals"]["concrete"] == pytest.approx(5.4)
    assert report.data["totals"]["prefabrication"] == pytest.approx(2.4 / 5.4)
    assert [row["model"] for row in report.data["alerts"] if row["alert"] == "failed"] == ["c.ifc"]


def test_second_night_tells_what_changed_in_quantity_and_money(five: tuple[Nights, list]) -> None:
    finished, report = five[1][1]
    assert happened(report) == [("a.ifc", "changed"), ("d.ifc", "waiting")]
    assert finished.unchanged == 1, "the precast wall is not measured again"
    (change,) = report.data["changes"]
    concrete = next(row for row in change["totals"] if row["what"] == "concrete")
    assert (concrete["before"], concrete["after"]) == (pytest.approx(3.0), pytest.approx(3.6))
    assert change["elements"] == {"added": 0, "removed": 0, "changed": 1, "renewed": 0}
    money = sum(row["amount_difference"] for row in change["items"])
    total = next(row for row in change["totals"] if row["what"] == "net total")
    assert money == pytest.approx(total["difference"], abs=0.005)
    assert money > 0
    assert {row["alert"] for row in report.data["alerts"]} >= {"value", "concrete"}


def test_third_night_takes_the_finished_copy_and_the_new_name(five: tuple[Nights, list]) -> None:
    finished, report = five[1][2]
    assert happened(report) == [("a renamed.ifc", "renamed"), ("d.ifc", "new")]
    assert finished.measured == 1, "a new name is no new content"
    assert finished.unchanged == 2


def test_a_night_without_change_measures_nothing_and_is_quiet(five: tuple[Nights, list]) -> None:
    finished, report = five[1][3]
    assert happened(report) == []
    assert finished.measured == 0
    assert not report.loud


def test_fifth_night_tells_the_removed_and_the_mended(five: tuple[Nights, list]) -> None:
    _, report = five[1][4]
    assert happened(report) == [("c.ifc", "changed"), ("sub/b.ifc", "removed")]
    assert [row["alert"] for row in report.data["alerts"]] == ["removed"]
    assert report.data["totals"]["concrete"] == pytest.approx(3.6 + 1.8 + 1.2)
    assert report.data["totals"]["prefabrication"] == 0.0


class Failing:
    """Workers on which every model fails."""

    def outcomes(self, orders: Sequence[Order], rules: PinnedRules) -> Iterator[Outcome]:
        del rules
        yield from (Outcome(order.number, "failed", "the moon was full") for order in orders)

    def stop(self) -> None:
        pass


def test_a_failing_model_is_tried_again_with_growing_pauses(tmp_path: Path) -> None:
    nights = Nights(tmp_path, crew=Failing)
    write_wall(nights.folder / "c.ifc", 1.0)
    told = {number: nights.night(number) for number in (0, 1, 2, 3, 4, 6, 7, 13, 14, 27, 28, 41, 42)}
    tries = [number for number, (finished, _) in told.items() if finished.failed]
    assert tries == [0, 1, 3, 7, 14, 28, 42], "after 20 hours, then twice as long each time, at most 14 days"
    assert [number for number, (_, report) in told.items() if report.loud] == [0], "told once"
    assert told[4][1].data["failing"][0]["reason"] == "the moon was full"
    write_wall(nights.folder / "c.ifc", 2.0)
    assert nights.night(45)[0].failed == 1, "a new content is tried at once"


def test_outputs_and_questions_agree_with_the_reports(five: tuple[Nights, list]) -> None:
    nights, told = five
    folder = next(nights.out.glob("models/a-ifc-*"), None) or next(nights.out.glob("models/a.ifc-*"))
    assert sorted(path.name for path in folder.iterdir())[:2] == sorted(
        path.name for path in folder.iterdir() if path.is_dir()
    )
    assert (folder / "bill.xlsx").read_bytes() == next(folder.glob("0002-*/bill.xlsx")).read_bytes()
    assert json.loads((nights.out / "report.json").read_text())["summary"] == told[-1][1].summary
    engine = open_database(nights.url, create=False)
    with engine.connect() as connection:
        job = questions.find_job(connection)
        concrete = trend(connection, job, "concrete")
        share = trend(connection, job, "prefabrication", "sub/*")
        assert [row[2] for row in concrete.rows] == pytest.approx([5.4, 6.0, 7.8, 6.6])
        assert [row[2] for row in share.rows] == [1.0, None]
        assert questions.list_failing(connection, job).rows == ()
        (changed,) = questions.changes_since(connection, job, None)
        assert changed[0] == "c.ifc"
        runs = questions.list_runs(connection, job).records()
    engine.dispose()
    assert [run["state"] for run in runs] == ["done"] * 5
    assert [run["net_volume_m3"] for run in runs] == pytest.approx([6.6, 7.8, 7.8, 6.0, 5.4])


def test_the_model_folder_is_left_as_it_was(tmp_path: Path) -> None:
    nights = Nights(tmp_path)
    write_wall(nights.folder / "a.ifc", 1.0)
    before = {
        path: (path.stat().st_mtime_ns, path.read_bytes())
        for path in nights.folder.rglob("*")
        if path.is_file()
    }
    folder_before = nights.folder.stat().st_mtime_ns
    for path in (nights.folder / "a.ifc", nights.folder):
        path.chmod(0o555)
    nights.night(0)
    nights.folder.chmod(0o755)
    after = {
        path: (path.stat().st_mtime_ns, path.read_bytes())
        for path in nights.folder.rglob("*")
        if path.is_file()
    }
    assert after == before
    assert nights.folder.stat().st_mtime_ns == folder_before


def test_a_renewed_export_is_no_change_of_elements(tmp_path: Path) -> None:
    """Every GlobalId is new: alike elements cancel out, a changed one is changed, not gone and come."""
    nights = Nights(tmp_path)

    def write(mark: str, last: float) -> None:
        model = Model("IFC4", "mm")
        for number in range(4):  # two that only their place tells apart
            model.wall(
                (0, 2.0 * number), (5, 2.0 * number), thickness=0.2, height=3.0, name=f"Wall {number // 2}"
            )
        model.wall((0, 20), (last, 20), thickness=0.2, height=3.0, name="Last")
        for element in model.file.by_type("IfcRoot"):
            element.GlobalId = ifcopenshell.guid.compress(
                hashlib.md5(f"{mark}{element.id()}".encode()).hexdigest()
            )
        nights.folder.mkdir(parents=True, exist_ok=True)
        model.save(nights.folder / "a.ifc")

    write("first", 4.0)
    nights.night(0)
    write("second", 6.0)
    _, report = nights.night(1)
    (change,) = report.data["changes"]
    assert change["elements"] == {"added": 0, "removed": 0, "changed": 1, "renewed": 5}
    assert "5 GlobalIds renewed by the export" in report.data["events"][0]["detail"]
    assert "5 with another GlobalId" in report.html


def test_changed_rules_measure_again_and_say_so(tmp_path: Path) -> None:
    nights = Nights(tmp_path)
    write_wall(nights.folder / "a.ifc", 5.0)
    nights.night(0)
    markups = tmp_path / "markups.toml"
    markups.write_text('currency = "crowns"\n[[markup]]\nname = "Risk"\npercent = 10.0\non = "net"\n')
    nights.settings = replace(nights.settings, markups=markups, arrange="element")
    _, report = nights.night(1)
    assert happened(report) == [("a.ifc", "rules")]
    (row,) = report.data["events"]
    assert row["detail"].startswith("arrange, markups changed; grand total")
    total = {row["what"]: row for row in report.data["changes"][0]["totals"]}
    assert total["grand total"]["after"] == pytest.approx(1.1 * total["net total"]["after"], abs=0.01)
    assert total["net total"]["difference"] == 0.0
    assert nights.night(2)[0].unchanged == 1


def test_files_that_belong_together_are_one_measurement(tmp_path: Path) -> None:
    job = NightlyJob(settle_seconds=0, group=[Group(name="Tower", models=["tower-*.ifc"])])
    nights = Nights(tmp_path, job)
    write_wall(nights.folder / "tower-1.ifc", 5.0)
    write_wall(nights.folder / "tower-2.ifc", 7.0, name="Other")
    write_wall(nights.folder / "hall.ifc", 1.0)
    _, report = nights.night(0)
    assert sorted(happened(report)) == [("Tower", "new"), ("hall.ifc", "new")]
    # The second one is laid over the first: of 5 m both have, each cubic metre counts once.
    assert report.data["totals"]["concrete"] == pytest.approx(7.0 * 0.6 + 0.6)
    (nights.folder / "tower-2.ifc").write_text("broken")
    _, report = nights.night(1)
    _, report = nights.night(2)
    (failing,) = report.data["failing"]
    assert failing["model"] == "Tower"
    assert failing["reason"].startswith("1 of its 2 files cannot be used: tower-2.ifc: is not an IFC file")
    assert report.data["totals"]["concrete"] == pytest.approx(7.0 * 0.6 + 0.6), "the last good version stays"


def test_an_unmounted_share_does_not_remove_everything(tmp_path: Path) -> None:
    nights = Nights(tmp_path)
    write_wall(nights.folder / "a.ifc", 1.0)
    nights.night(0)
    before = history_state(nights.url)
    shutil.rmtree(nights.folder)
    with pytest.raises(InputError, match="no such folder; is the share mounted"):
        nights.night(1)
    nights.folder.mkdir()
    with pytest.raises(InputError, match="holds no model, but 1 were there before"):
        nights.night(1)
    assert history_state(nights.url) == before


def test_a_pass_that_finds_nothing_new_leaves_no_run(tmp_path: Path) -> None:
    nights = Nights(tmp_path)
    write_wall(nights.folder / "a.ifc", 1.0)
    assert nights.night(0, idle=False)[0] is not None
    assert nights.night(0.01, idle=False) == (None, None)
    (nights.folder / "b.ifc").write_text("ISO-10303-21;\nhalf a file")
    assert happened(nights.night(0.02, idle=False)[1]) == [("b.ifc", "waiting")]


def test_only_the_last_versions_keep_their_files_and_elements(tmp_path: Path) -> None:
    nights = Nights(tmp_path, NightlyJob(settle_seconds=0, keep_versions=2))
    for number in range(3):
        write_wall(nights.folder / "a.ifc", 1.0 + number)
        nights.night(number)
    folders = sorted(path.name[:4] for path in next(nights.out.glob("models/*")).iterdir() if path.is_dir())
    assert folders == ["0002", "0003"]
    state = history_state(nights.url)
    assert [("elements", "a.ifc", number) in state for number in (1, 2, 3)] == [False, True, True]
    assert all(("quantities", "a.ifc", number) in state for number in (1, 2, 3))


def test_a_model_long_gone_loses_its_files_and_is_measured_when_it_comes_back(tmp_path: Path) -> None:
    nights = Nights(tmp_path)
    wall = write_wall(nights.folder / "a.ifc", 3.0)
    write_wall(nights.folder / "b.ifc", 4.0)
    nights.night(0)
    kept = wall.read_bytes()
    wall.unlink()
    nights.night(1)
    assert len(list(nights.out.glob("models/*/*/bill.xlsx"))) == 2, "gone, but not for long"
    nights.night(1 + nights.job.keep_removed_days + 1)
    assert [path.name[:1] for path in (nights.out / "models").iterdir()] == ["b"]
    wall.write_bytes(kept)
    finished, report = nights.night(400)
    assert finished.measured == 1
    assert ("a.ifc", "returned") in happened(report)
    assert len(list(nights.out.glob("models/a.ifc-*/*/bill.xlsx"))) == 1
    assert report.data["totals"]["concrete"] == pytest.approx(4.2)


def test_only_the_last_reports_are_kept(tmp_path: Path) -> None:
    nights = Nights(tmp_path)
    nights.job = nights.job.model_copy(update={"keep_reports": 2})
    write_wall(nights.folder / "a.ifc", 3.0)
    for number in range(4):
        nights.night(number)
    assert sorted(path.name for path in (nights.out / "runs").iterdir()) == ["000003.json", "000004.json"]


def test_a_version_that_a_dead_run_left_is_removed_when_the_model_has_changed_since(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    nights = Nights(tmp_path)
    write_wall(nights.folder / "a.ifc", 3.0)
    nights.night(0)
    write_wall(nights.folder / "a.ifc", 4.0)
    with monkeypatch.context() as patch:

        def die(*_: object, **__: object) -> None:
            raise KeyboardInterrupt

        patch.setattr(History, "measured", die)
        patch.setattr(History, "finish_run", lambda *_: None)  # as with kill -9
        with pytest.raises(KeyboardInterrupt):
            nights.night(1)
    assert len(list(nights.out.glob("models/a.ifc-*/0002-*"))) == 1
    write_wall(nights.folder / "a.ifc", 5.0)
    nights.night(2)
    (left,) = nights.out.glob("models/a.ifc-*/0002-*")
    assert (nights.out / "models" / left.parent.name / "bill.xlsx").is_file()


def test_a_clock_that_was_wrong_puts_no_model_off_for_ever(tmp_path: Path) -> None:
    nights = Nights(tmp_path)
    nights.folder.mkdir(parents=True)
    (nights.folder / "a.ifc").write_text("no model")
    finished, _ = nights.night(30_000)
    assert finished.failed == 1
    finished, report = nights.night(0)
    assert finished.failed == 1, "tried again, though the clock says that the next try is decades away"
    assert report.summary.startswith("takeoff nightly: no alerts; 1 model, 1 still failing")


def test_concrete_that_goes_or_comes_from_nothing_is_told(tmp_path: Path) -> None:
    nights = Nights(tmp_path)
    wall = write_wall(nights.folder / "a.ifc", 3.0)
    write_wall(nights.folder / "b.ifc", 4.0)
    nights.night(0)
    Model("IFC4", "mm").save(wall)
    _, report = nights.night(1)
    assert [(row["alert"], row["message"]) for row in report.data["alerts"]] == [
        ("removed", "held concrete before, now none")
    ]
    assert report.data["totals"]["concrete"] == pytest.approx(2.4)
    write_wall(wall, 5.0)
    _, report = nights.night(2)
    assert report.data["totals"]["concrete"] == pytest.approx(5.4)
    assert "concrete" in {row["alert"] for row in report.data["alerts"]}
