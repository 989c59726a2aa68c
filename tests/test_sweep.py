"""Work done in copies that may be lost: whom it fails over is found by what was noted, one bound each."""

import collections
import itertools
import os
import signal
import time
from collections.abc import Callable
from pathlib import Path

import psutil
import pytest

from takeoff.findings import InputError
from takeoff.isolation import notes, sweep
from takeoff.isolation.copies import Lost
from takeoff.isolation.forking import AVAILABLE
from takeoff.isolation.spread import spread

pytestmark = pytest.mark.skipif(not AVAILABLE, reason="this system has no safe way of forking")

COUNT = 100


def _same(value):  # type: ignore[no-untyped-def]
    return value


def _who(number: int) -> tuple[str, str]:
    return "model", str(number)


def _hang() -> None:
    collections.deque(itertools.repeat(1), maxlen=0)  # nothing interrupts it


def _crash() -> None:
    os.kill(os.getpid(), signal.SIGSEGV)


def _raise() -> None:
    raise ZeroDivisionError("of no use")


def _work(
    log: Path, over: set[int], deed: Callable[[], None], noted: bool = True
) -> Callable[[range], list[int]]:
    def work(numbers: range) -> list[int]:
        found = []
        for number in numbers:
            if noted:
                notes.at(_who(number))
            if number in over:
                with log.open("a") as told:
                    print(number, time.process_time(), file=told)
                deed()
            found.append(number)
        notes.nothing()
        return found

    return work


def _swept(work: Callable[[range], list[int]], bound: float = 60.0) -> list[int]:
    with notes.bounds(bound + 0.1, bound):
        return [n for part in sweep.sweep(work, COUNT, 2, _same, _same, _who) for n in part]


def _lost(fault: pytest.ExceptionInfo[Lost]) -> set[int]:
    numbers = {notes.number_of(_who(number)): number for number in range(COUNT)}
    return {numbers[number] for number in fault.value.culprits}


@pytest.mark.parametrize("over", [{0}, {COUNT - 1}, {3, 4, 50, 98}])
@pytest.mark.parametrize("deed", [_hang, _crash, _raise])
def test_all_over_whom_it_fails_are_told_at_once(
    tmp_path: Path, over: set[int], deed: Callable[[], None]
) -> None:
    log = tmp_path / "log"
    with pytest.raises(Lost) as fault:
        _swept(_work(log, over, deed), bound=0.3)
    assert _lost(fault) == over
    tries = [int(line.split()[0]) for line in log.read_text().splitlines()]
    # A hang is waited for once; what broke down is done once more, it may have been by chance.
    assert sorted(tries) == sorted([*over, *(over if deed is _crash else ())])
    words = {
        _hang: "it took longer than",
        _crash: "a library broke down over it (exit -11)",
        _raise: "of no use",
    }
    assert all(words[deed] in reason for reason in fault.value.culprits.values())


@pytest.mark.parametrize("deed", [_hang, _crash, _raise])
def test_one_that_was_not_noted_is_found_by_smaller_pieces(tmp_path: Path, deed: Callable[[], None]) -> None:
    log = tmp_path / "log"
    with pytest.raises(Lost) as fault:
        _swept(_work(log, {41}, deed, noted=False), bound=0.4)
    assert _lost(fault) == {41}
    assert len(log.read_text().splitlines()) <= 4


def test_what_breaks_down_once_costs_nothing(tmp_path: Path) -> None:
    mark = tmp_path / "mark"

    def by_chance() -> None:
        if not mark.exists():
            mark.touch()
            _crash()

    assert _swept(_work(tmp_path / "log", {7}, by_chance)) == list(range(COUNT))


def test_a_copy_ended_from_outside_costs_nothing_and_an_input_error_is_one(tmp_path: Path) -> None:
    mark = tmp_path / "mark"

    def ended() -> None:
        if not mark.exists():
            mark.touch()
            os.kill(os.getpid(), signal.SIGKILL)

    assert _swept(_work(tmp_path / "log", {7}, ended)) == list(range(COUNT))

    def refuse() -> None:
        raise InputError("a line")

    before = psutil.Process().children()
    with pytest.raises(InputError, match="a line"):
        _swept(_work(tmp_path / "log", {7}, refuse))
    assert [child for child in psutil.Process().children() if child not in before] == []


@pytest.mark.parametrize(("deed", "told"), [(_hang, {15}), (_raise, {15}), (_crash, set())])
def test_a_divided_work_tells_whom_a_copy_was_lost_over(
    tmp_path: Path, deed: Callable[[], None], told: set[int]
) -> None:
    """Whom a library broke down over is left open: it may have been by chance."""
    log = tmp_path / "log"
    with notes.bounds(60.0, 0.3), pytest.raises(Lost) as fault:
        spread(_work(log, {15}, deed), 20, 2, _same, _same, _who, least=10)
    assert _lost(fault) == told
    assert len(log.read_text().splitlines()) == 1


def test_time_begins_anew_with_each_that_is_noted() -> None:
    """Many slow ones together take longer than any may."""

    def work(numbers: range) -> list[int]:
        for number in numbers:
            notes.at(_who(number))
            end = time.process_time() + 0.02
            while time.process_time() < end:
                pass
        notes.nothing()
        return list(numbers)

    assert _swept(work, bound=0.25) == list(range(COUNT))


def test_a_note_is_left_where_work_raises_and_taken_back_where_it_ends() -> None:
    for number in notes.each(range(3), _who):
        assert notes.current().number == notes.number_of(_who(number))
    assert notes.current().number == notes.NOBODY

    def fail() -> None:
        for number in notes.each(range(3), _who):
            assert notes.current().bound == (3.0 if number == 1 else 1.0)
            if number == 2:
                with notes.waiting():
                    assert notes.current().bound == 0.0
                _raise()

    with pytest.raises(ZeroDivisionError), notes.bounds(5.0, 1.0, {_who(1): 3.0}):
        fail()
    assert notes.current().number == notes.number_of(_who(2))
    assert notes.current().bound == 0.0
    notes.nothing()
