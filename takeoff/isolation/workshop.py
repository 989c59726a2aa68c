"""All processes of one run: those that hold models, and the workers that they fork for solids and overlaps."""

import atexit
import os
from collections.abc import Callable, Hashable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from takeoff.isolation.forking import AVAILABLE
from takeoff.isolation.host import Host
from takeoff.isolation.spread import at_once, spread

if TYPE_CHECKING:
    from takeoff.geometry.cutting import Answer, Task

Part = TypeVar("Part")

KEEP_BYTES = 200 << 20
"""Files of this size together are kept open between reading and geometry; beyond, they are opened again."""

MEMORY_SHARE = 0.9
"""Part of the machine's memory that one process may take."""


class Workshop:
    """Starts and ends processes. `processes` workers at most, `limit_seconds` of patience with one thing."""

    def __init__(self, processes: int, limit_seconds: float) -> None:
        self.processes = processes
        self.limit_seconds = limit_seconds
        self._hosts: list[Host] = []
        atexit.register(self.end)

    def __enter__(self) -> "Workshop":
        return self

    def __exit__(self, *_: object) -> None:
        self.end()

    def host(self) -> Host | None:
        """A new process for a model, None where this system has no safe way of forking."""
        if not AVAILABLE:
            return None
        made = Host(_memory_limit())
        self._hosts.append(made)
        return made

    def crowded(self) -> bool:
        """Whether more is held open than should be."""
        return sum(_size(host.path) for host in self._hosts if host.path) > KEEP_BYTES

    def dismiss(self, host: Host) -> None:
        """End one process."""
        self._hosts.remove(host)
        host.end()

    def crew(self, tasks: "Sequence[Task]") -> "list[Answer | None]":
        """Do tasks of the overlap stage in workers, so that a crash costs one overlap."""
        from takeoff.geometry.workers import do_errands

        if not tasks:
            return []
        host = self._hosts[0] if self._hosts else self.host()
        return do_errands(tasks, processes=self.processes, limit_seconds=self.limit_seconds, host=host)

    def spread(
        self,
        work: Callable[[range], Part],
        count: int,
        pack: Callable[[Part], Any],
        unpack: Callable[[Any], Part],
        who: Callable[[int], Hashable] | None = None,
    ) -> list[Part]:
        """Results of `work` over the numbers 0 to `count`, divided among the processes; see `spread`."""
        return spread(work, count, self.processes, pack, unpack, who)

    def sweep(
        self,
        work: Callable[[range], Part],
        count: int,
        pack: Callable[[Part], Any],
        unpack: Callable[[Any], Part],
        who: Callable[[int], Hashable],
    ) -> list[Part]:
        """The same in copies that may be lost; see `sweep`."""
        if not AVAILABLE:
            return at_once(work, count)
        from takeoff.isolation.sweep import sweep

        return sweep(work, count, self.processes, pack, unpack, who)

    def end(self) -> None:
        """End all processes at once."""
        atexit.unregister(self.end)
        while self._hosts:
            self._hosts.pop().end()


def _size(path: str) -> int:
    return Path(path).stat().st_size if Path(path).is_file() else 0


def _memory_limit() -> int:
    return int(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") * MEMORY_SHARE)
