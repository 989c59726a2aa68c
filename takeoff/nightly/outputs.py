"""The output folder: versions that appear in one step, and the last bill of a model under a name that stays."""

import contextlib
import os
import re
import secrets
import shutil
from collections.abc import Collection, Mapping
from pathlib import Path

from takeoff.findings import InputError
from takeoff.nightly.changes import Changes, ElementChange, ItemChange, csv_text
from takeoff.nightly.outcome import BOOK, Result

MODELS = "models"
RUNS = "runs"
WORK = ".work"
_VERSION = re.compile(r"\d{4,}-[0-9a-f]{8}")
PUBLISHED = (BOOK, "changes.csv")


class Outputs:
    """The output folder of a job. Everything that is not finished lies in its folder `.work`."""

    def __init__(self, out: Path) -> None:
        self.out = out
        self.work = out / WORK

    def prepare(self) -> None:
        """Make the folder if it is not there, and clear what a dead run left unfinished."""
        try:
            self.out.mkdir(parents=True, exist_ok=True)
            shutil.rmtree(self.work, ignore_errors=True)
            self.work.mkdir(exist_ok=True)
            (self.out / MODELS).mkdir(exist_ok=True)
        except OSError as fault:
            raise InputError(
                f"{self.out}: cannot be written ({fault.strerror}); give another place"
            ) from fault

    def put_version(self, model_folder: str, folder: str, result: Result, changes: Changes) -> None:
        """Put the files of a version in place, all in one step; one left by a run that died is replaced."""
        partial = self.work / f"version-{secrets.token_hex(8)}"
        (partial / "tables").mkdir(parents=True)
        for name, content in result.files.items():
            _write(partial / name if name == BOOK else partial / "tables" / name, content)
        _write(partial / "changes.csv", csv_text(ItemChange, changes.items).encode())
        _write(partial / "changed-elements.csv", csv_text(ElementChange, changes.elements).encode())
        target = self.out / MODELS / model_folder / folder
        target.parent.mkdir(exist_ok=True)
        if target.exists():
            os.replace(target, self.work / f"replaced-{secrets.token_hex(8)}")
        os.replace(partial, target)
        for place in (target / "tables", target, target.parent, target.parent.parent):
            _sync(place)

    def publish(self, model_folder: str, folder: str) -> str:
        """Copy the bill and the changes of a version beside the version folders, each in one step.

        Gives words instead of an error where a file is open in another program: a later run tries again.
        """
        place = self.out / MODELS / model_folder
        try:
            for name in PUBLISHED:
                self.write(place / name, (place / folder / name).read_bytes())
        except OSError as fault:
            return f"{place / PUBLISHED[0]}: could not be replaced ({fault.strerror}); the version is in {folder}"
        return ""

    def write(self, path: Path, content: bytes) -> None:
        """A file that appears whole or stays as it was."""
        partial = self.work / f"file-{secrets.token_hex(8)}"
        try:
            _write(partial, content)
            os.replace(partial, path)
            _sync(path.parent)
        finally:
            partial.unlink(missing_ok=True)

    def remove_version(self, model_folder: str, folder: str) -> None:
        """Remove the files of an old version; with the last version of a model goes what lies beside it."""
        place = self.out / MODELS / model_folder
        with contextlib.suppress(FileNotFoundError):
            os.replace(place / folder, self.work / f"old-{secrets.token_hex(8)}")
            if not any(entry.is_dir() for entry in place.iterdir()):
                os.replace(place, self.work / f"old-{secrets.token_hex(8)}")

    def remove_unknown(self, known: Mapping[str, Collection[str]]) -> None:
        """Remove version folders that a dead run put in place and did not come to keep; `known` by model folder."""
        for model_folder, kept in known.items():
            with contextlib.suppress(FileNotFoundError):
                for entry in list((self.out / MODELS / model_folder).iterdir()):
                    if _VERSION.fullmatch(entry.name) and entry.name not in kept:
                        os.replace(entry, self.work / f"old-{secrets.token_hex(8)}")

    def remove_reports(self, keep: int) -> None:
        """Remove the reports of runs before the last `keep`."""
        for old in sorted((self.out / RUNS).glob("*.json"))[:-keep]:
            old.unlink(missing_ok=True)

    def close(self) -> None:
        """Clear the work folder."""
        shutil.rmtree(self.work, ignore_errors=True)


def _write(path: Path, content: bytes) -> None:
    with path.open("wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


def _sync(folder: Path) -> None:
    """Make renames in a folder last through a power loss, where the system can."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
