"""Progress of a run: a moving line on a terminal with counts and time left, or a plain line a stage."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, Progress, ProgressColumn, Task, TaskID, TextColumn, TimeElapsedColumn
from rich.text import Text

Report = Callable[[str, int, int], None]


class _Count(ProgressColumn):
    """How many of how many; nothing for a stage that has no count."""

    def render(self, task: Task) -> Text:
        if task.total is None:
            return Text("")
        return Text(f"{int(task.completed):,} of {int(task.total):,}")


class _Left(ProgressColumn):
    """Time left in words, once there is a pace to go by."""

    max_refresh = 0.5

    def render(self, task: Task) -> Text:
        seconds = task.time_remaining
        if task.total is None or seconds is None or task.finished:
            return Text("")
        minutes, rest = divmod(round(seconds), 60)
        return Text(f"{minutes} min {rest} s left" if minutes else f"{rest} s left")


@contextmanager
def progress_line() -> Iterator[Report]:
    """A line on stderr that follows calls of (stage, done, total); total 0 means not countable.

    Colours obey NO_COLOR. The line is gone when the run ends.
    """
    columns = (
        TextColumn("{task.description:<12}"),
        BarColumn(bar_width=24),
        _Count(),
        _Left(),
        TimeElapsedColumn(),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as display:
        tasks: dict[str, TaskID] = {}

        def report(stage: str, done: int, total: int) -> None:
            if stage not in tasks:
                for task in tasks.values():
                    display.update(task, visible=False)
                tasks[stage] = display.add_task(stage, total=total or None)
            display.update(tasks[stage], completed=done, total=total or None)

        yield report


@contextmanager
def progress_lines() -> Iterator[Report]:
    """A plain line on stderr for each stage when it is over: its name, how many, how long."""
    stage, total, began = "", 0, time.perf_counter()

    def close() -> None:
        if stage:
            count = f", {total:,}" if total else ""
            print(f"{stage}{count}: {time.perf_counter() - began:.2f} s", file=sys.stderr, flush=True)

    def report(name: str, done: int, count: int) -> None:
        nonlocal stage, total, began
        del done
        if name != stage:
            close()
            stage, total, began = name, 0, time.perf_counter()
        total = max(total, count)

    try:
        yield report
    finally:
        close()
