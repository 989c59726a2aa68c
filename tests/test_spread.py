"""Work divided among forked copies: the same result, whatever becomes of a copy."""

import os
import signal
from pathlib import Path

import psutil
import pytest
from tower import write_tower

from takeoff import pipeline
from takeoff.isolation import spread as spreading
from takeoff.isolation.forking import AVAILABLE
from takeoff.isolation.spread import spread
from takeoff.settings import Settings

pytestmark = pytest.mark.skipif(not AVAILABLE, reason="this system has no safe way of forking")


def _same(value):  # type: ignore[no-untyped-def]
    return value


@pytest.fixture(autouse=True)
def small_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(spreading, "LEAST", 10)


@pytest.mark.parametrize(("count", "parts"), [(0, 1), (7, 1), (20, 2), (41, 4), (1000, 5)])
def test_ranges_come_back_in_order(count: int, parts: int) -> None:
    found = spread(lambda numbers: [number * number for number in numbers], count, 5, _same, _same)
    assert len(found) == parts
    assert [value for part in found for value in part] == [number * number for number in range(count)]


def test_a_copy_that_dies_or_fails_is_made_up_for_here() -> None:
    here = os.getpid()

    def work(numbers: range) -> list[int]:
        if os.getpid() != here and numbers[0] == 10:
            os.kill(os.getpid(), signal.SIGKILL)
        if os.getpid() != here and numbers[0] == 20:
            raise ZeroDivisionError
        return list(numbers)

    assert spread(work, 40, 4, _same, _same) == [list(range(n, n + 10)) for n in (0, 10, 20, 30)]


def test_what_fails_here_is_raised_and_leaves_no_copy() -> None:
    def work(numbers: range) -> list[int]:
        if numbers[0] == 0:
            raise ValueError("here")
        signal.pause()
        return []

    before = psutil.Process().children()
    with pytest.raises(ValueError, match="here"):
        spread(work, 20, 2, _same, _same)
    assert [child for child in psutil.Process().children() if child not in before] == []


def test_a_model_measured_by_several_processes_is_the_same(tmp_path: Path) -> None:
    path = tmp_path / "tower.ifc"
    write_tower(path, 60, bays=2)
    alone = pipeline.measure([path], Settings(cache=False, processes=1))
    shared = pipeline.measure([path], Settings(cache=False, processes=3))
    assert shared.measurement == alone.measurement
    for number, body in alone.measured.formed.items():
        other = shared.measured.formed[number]
        assert other.rows == body.rows
        assert [(face.row, face.category) for face in other.faces] == [
            (face.row, face.category) for face in body.faces
        ]
