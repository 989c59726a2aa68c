"""The tables of a run as the files that they are: the same run again is put down without making a record of a row."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from msgspec import Struct

from takeoff.cache.keys import print_of
from takeoff.cache.run_keys import run_key
from takeoff.cache.store import Store, open_store
from takeoff.run_head import head_of
from takeoff.settings import Settings


class Written(Struct, frozen=True):
    """Content of the tables by file name, the record of the run as plain values, the closing words, and what keeps
    the result from being complete."""

    files: Mapping[str, bytes]
    record: Mapping[str, Any]
    lines: tuple[str, ...]
    incomplete: tuple[str, ...]

    def record_for(self, settings: Settings, seconds: float) -> dict[str, Any]:
        """The record of this run, made in so many seconds; of the settings only what no table hangs on may differ."""
        head = head_of(settings, [model["name"] for model in self.record["models"]])
        return {**self.record, **head, "seconds": {"cache": round(seconds, 3)}}


class WrittenBefore:
    """Where the tables of one run are kept as files."""

    def __init__(self, paths: Sequence[Path], settings: Settings) -> None:
        self._paths = paths
        self._settings = settings
        self._store: Store | None = open_store()
        self._key = "" if self._store is None else self._now()

    def found(self) -> Written | None:
        """The files of the same run, if they are kept."""
        kept = self._store.get(self._key) if self._store is not None and self._key else None
        return kept if isinstance(kept, Written) else None

    def keep(self, written: Written) -> None:
        """Keep files, unless what they were made from has changed meanwhile."""
        if self._store is not None and self._key and self._now() == self._key:
            self._store.put(self._key, written)

    def _now(self) -> str:
        # What writes the tables counts here, where the tables themselves do not hang on it.
        return run_key(self._paths, self._settings, f"written {print_of('outputs')}")
