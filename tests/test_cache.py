"""The cache: the same answer as without it, never a torn one, bounded, and geometry left alone by prices."""

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from msgspec.structs import replace
from tower import write_tower

from takeoff import pipeline
from takeoff.cache import store as stores
from takeoff.cache.columns import Columns, columns_of, packed, unpacked
from takeoff.cache.store import Store, store_in
from takeoff.findings import Finding
from takeoff.settings import Settings, load_settings
from takeoff.templates import template_path

NOTE = Finding("note", "kind", "model", "id", "text", "", 1.5, "m3")


@pytest.fixture(scope="module", autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A user's cache folder for the tests of this file."""
    with pytest.MonkeyPatch.context() as patch:
        for name in ("XDG_CACHE_HOME", "LOCALAPPDATA"):
            patch.setenv(name, str(tmp_path_factory.mktemp("user")))
        yield


@pytest.fixture
def store(tmp_path: Path) -> Store:
    made = store_in(tmp_path / "store")
    assert made is not None
    return made


@pytest.fixture(scope="module")
def tower(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("tower") / "tower.ifc"
    write_tower(path, 40, bays=2)
    return path


def forbid_geometry(monkeypatch: pytest.MonkeyPatch) -> None:
    """From here on any attempt to read a file or make a solid fails the test."""

    def fail(*_: object, **__: object) -> None:
        raise AssertionError("geometry was read again")

    monkeypatch.setattr("takeoff.reading.model.read_model", fail)
    monkeypatch.setattr("takeoff.geometry.workers.make_solids", fail)
    monkeypatch.setattr("takeoff.isolation.host.Host.begin_reading", fail)
    monkeypatch.setattr("takeoff.isolation.host.Host.open", fail)


def test_what_is_put_comes_back(store: Store) -> None:
    store.put("a", (NOTE, 1))
    assert store.get("a") == (NOTE, 1)
    assert store.get("b") is None


@pytest.mark.parametrize(
    "damage", [lambda b: b[:-1], lambda b: b[:-9] + b"x" + b[-8:], lambda b: b"", lambda b: b[:20]]
)
def test_a_torn_entry_is_a_miss_and_goes(store: Store, damage) -> None:  # type: ignore[no-untyped-def]
    store.put("a", NOTE)
    (path,) = store.folder.iterdir()
    path.write_bytes(damage(path.read_bytes()))
    assert store.get("a") is None
    assert not list(store.folder.iterdir())


def test_an_entry_in_the_place_of_another_is_a_miss(store: Store) -> None:
    store.put("a", (NOTE, 1))
    (path,) = store.folder.iterdir()
    path.rename(path.with_name("b.entry"))
    assert store.get("b") is None
    assert not list(store.folder.iterdir())


def test_an_entry_that_would_run_code_is_a_miss(store: Store) -> None:
    class Bomb:
        def __reduce__(self) -> tuple:
            return os.mkdir, (str(store.folder / "ran"),)

    store.put("a", Bomb())
    assert store.get("a") is None
    assert not (store.folder / "ran").exists()


def test_the_store_keeps_its_bound_and_what_was_used_last(store: Store) -> None:
    small = Store(store.folder, limit=40_000)
    for number in range(12):
        small.put(str(number), bytes(4_000))
        os.utime(small.folder / f"{number}.entry", (number, number))
        assert small.get("0") is not None
    sizes = sum(path.stat().st_size for path in small.folder.iterdir())
    assert sizes <= 40_000
    assert small.get("0") is not None
    assert small.get("1") is None
    small.put("large", bytes(11_000))
    assert small.get("large") is None


def test_what_a_dead_writer_left_goes(store: Store) -> None:
    left = store.folder / ".dead.part"
    left.write_bytes(b"x")
    old = time.time() - 2 * stores.STALE_SECONDS
    os.utime(left, (old, old))
    store.put("a", 1)
    assert not left.exists()


@pytest.mark.skipif(os.name != "posix", reason="rights of folders are told by POSIX modes")
def test_a_folder_that_others_write_is_not_used(tmp_path: Path) -> None:
    shared = tmp_path / "shared"
    shared.mkdir()
    shared.chmod(0o777)
    assert store_in(shared) is None
    private = tmp_path / "private"
    assert store_in(private) is not None
    assert private.stat().st_mode & 0o777 == 0o700
    link = tmp_path / "link"
    link.symlink_to(private)
    assert store_in(link) is None


def test_a_folder_that_cannot_be_made_costs_the_cache_only(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    assert store_in(tmp_path / "file" / "store") is None


def test_many_writers_and_readers_at_once(store: Store) -> None:
    value = tuple(range(20_000))

    def turn(number: int) -> bool:
        store.put(str(number % 3), value)
        found = store.get(str(number % 3))
        return found is None or found == value

    with ThreadPoolExecutor(8) as pool:
        assert all(pool.map(turn, range(80)))
    assert all(store.get(str(number)) == value for number in range(3))
    assert not list(store.folder.glob("*.part"))


def test_records_by_column_are_the_same_records(tower: Path) -> None:
    measurement = pipeline.measure([tower], Settings(cache=False)).measurement
    flat = packed(measurement)
    assert isinstance(flat.parts, Columns)
    assert unpacked(flat) == measurement
    assert columns_of((NOTE, "no record")) is None
    assert columns_of(()) is None


def test_a_second_run_is_the_first_without_reading(tower: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = pipeline.measure([tower])
    plain = pipeline.measure([tower], Settings(cache=False))
    forbid_geometry(monkeypatch)
    again = pipeline.measure([tower])
    assert again.measurement == first.measurement == plain.measurement
    assert again.places == first.places == plain.places
    assert again.shares == first.shares
    for key in ("models", "totals", "counts", "ground_level", "inputs", "prefabrication"):
        assert again.record[key] == first.record[key] == plain.record[key]


def test_changed_data_files_read_no_geometry(
    tower: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    base = pipeline.bill([tower])
    forbid_geometry(monkeypatch)
    rates = tmp_path / "rates.csv"
    rates.write_text(template_path("rates.csv").read_text(encoding="utf-8") + "# another\n", encoding="utf-8")
    assert pipeline.bill([tower], Settings(rates=rates)).measurement == base.measurement
    convention = tmp_path / "mine.toml"
    text = template_path("conventions/net.toml").read_text(encoding="utf-8")
    convention.write_text(text.replace("gap_mm = 5", "gap_mm = 4"), encoding="utf-8")
    changed = pipeline.measure([tower], Settings(convention=convention))
    assert changed.measurement.parts
    allowances = tmp_path / "allowances.csv"
    text = template_path("allowances.csv").read_text(encoding="utf-8")
    allowances.write_text(text.replace(",kg/m3,", ",kg/m3,", 1) + "\n", encoding="utf-8")
    assert pipeline.measure([tower], Settings(allowances=allowances)).measurement.parts


def test_whoever_draws_a_cached_run_gets_the_same_bodies(tower: Path) -> None:
    plain = pipeline.measure([tower], Settings(cache=False))
    pipeline.measure([tower])
    cached = pipeline.measure([tower])
    assert len(cached.measured.bodies) == len(plain.measured.bodies)
    assert [body.net for body in cached.measured.bodies] == [body.net for body in plain.measured.bodies]
    assert len(cached.measured.surfaces) == len(plain.measured.surfaces)
    assert [plan.facts.global_id for plan in cached.plans] == [plan.facts.global_id for plan in plain.plans]


def test_a_changed_model_is_measured_anew(tower: Path, tmp_path: Path) -> None:
    path = tmp_path / "tower.ifc"
    shutil.copy(tower, path)
    before = pipeline.measure([path]).record["totals"]["net_volume_m3"]
    write_tower(path, 40, bays=2, storey=3.5)
    assert pipeline.measure([path]).record["totals"]["net_volume_m3"] > before * 1.01


def test_what_a_limit_cut_short_is_not_kept(
    tower: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    from takeoff.geometry import workers

    path = tmp_path / "other.ifc"
    write_tower(path, 41, bays=2, bay=5.9)
    real = workers.make_solids

    def late(*given: object, **named: object) -> dict:
        results = real(*given, **named)  # type: ignore[arg-type]
        key = next(iter(results))
        return {**results, key: replace(results[key], slices=(), condition="took longer", lasting=False)}

    with monkeypatch.context() as slow:
        slow.setattr(workers, "make_solids", late)
        first = pipeline.measure([path])
    second = pipeline.measure([path])
    assert any(part.condition for part in first.measurement.parts)
    assert not any(part.condition for part in second.measurement.parts)


def test_no_cache_is_a_flag_and_a_key_of_the_job_file(tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    job.write_text("cache = false\n", encoding="utf-8")
    assert load_settings(job, {}).cache is False
    assert load_settings(job, {"cache": True}).cache is True


def test_a_warm_run_imports_no_heavy_library(tower: Path, tmp_path: Path) -> None:
    pipeline.measure([tower])
    code = (
        "import sys\nfrom takeoff.cli import main\n"
        f"main(['measure', {str(tower)!r}, '--out', {str(tmp_path / 'out')!r}, '-q'], standalone_mode=False)\n"
        "heavy = {'numpy', 'shapely', 'manifold3d', 'ifcopenshell', 'scipy', 'pandas', 'pydantic'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_other_rates_find_the_items_made_and_other_sections_do_not(
    tower: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rates, sections = tmp_path / "rates.csv", tmp_path / "sections.toml"
    text = template_path("rates.csv").read_text(encoding="utf-8")
    rates.write_text(text.replace("example value", "own value"), encoding="utf-8")
    sections.write_text(
        template_path("sections.toml").read_text(encoding="utf-8") + "\n# another file\n", encoding="utf-8"
    )
    changes = [{"rates": rates}, {"arrange": "storey"}, {"arrange": "element", "rates": rates}]
    fresh = [pipeline.bill([tower], Settings(cache=False, **change)).bill for change in changes]  # type: ignore[arg-type]
    first = pipeline.bill([tower], Settings()).bill
    for change in changes[1:]:
        pipeline.bill([tower], Settings(arrange=change["arrange"]))  # type: ignore[arg-type]

    def fail(*_: object, **__: object) -> None:
        raise AssertionError("items were made again")

    monkeypatch.setattr("takeoff.pricing.bill.make_items", fail)
    kept = [pipeline.bill([tower], Settings(**change)).bill for change in changes]  # type: ignore[arg-type]
    assert kept == fresh
    assert first is not None
    assert kept[0] is not None
    assert kept[0].dimensions == first.dimensions
    assert kept[0] != first
    with pytest.raises(AssertionError, match="made again"):
        pipeline.bill([tower], Settings(sections=sections))
