"""Progress on a terminal: one line a stage, with counts and time left."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TaskID, TextColumn, TimeRemainingColumn


@contextmanager
def progress_line() -> Iterator[Callable[[str, int, int], None]]:
    """A line on stderr that follows calls of (stage, done, total); total 0 means not countable."""
    columns = (TextColumn("{task.description:<10}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as display:
        tasks: dict[str, TaskID] = {}

        def report(stage: str, done: int, total: int) -> None:
            if stage not in tasks:
                for task in tasks.values():
                    display.update(task, visible=False)
                tasks[stage] = display.add_task(stage, total=total or None)
            display.update(tasks[stage], completed=done, total=total or None)

        yield report
