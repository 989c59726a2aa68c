"""The board of a worker: what is read from it while it is written."""

import os
import signal
import sys

import pytest

from takeoff.geometry.board import Board


def test_it_tells_who_is_under_way_and_since_when() -> None:
    board = Board.new()
    other = Board(board.path)
    assert board.current() == (None, 0.0)
    other.begin(7)
    key, seconds = board.current()
    assert key == 7
    assert 0.0 <= seconds < 60.0
    other.clear()
    assert board.current() == (None, 0.0)
    other.close()
    board.close()


@pytest.mark.skipif(sys.platform != "linux", reason="the writer is forked")
def test_no_reader_sees_half_a_figure() -> None:
    # Half a time looks like an element that was begun when the machine was, and its worker would be ended.
    board = Board.new()
    parent = os.getpid()
    writer = os.fork()
    if not writer:
        try:
            own = Board(board.path)
            while os.getppid() == parent:
                for key in range(1000):
                    own.begin(key)
                own.clear()
        finally:
            os._exit(0)
    try:
        seen = [board.current() for _ in range(200_000)]
    finally:
        os.kill(writer, signal.SIGKILL)
        os.waitpid(writer, 0)
        board.close()
    assert len({key for key, _ in seen}) > 1
    assert all(key is None or 0 <= key < 1000 for key, _ in seen)
    assert max(seconds for _, seconds in seen) < 60.0
