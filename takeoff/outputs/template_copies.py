"""Copies of the shipped data files for a user to edit."""

import contextlib
import shutil
from pathlib import Path

from takeoff.findings import InputError
from takeoff.templates import template_folder


def copy_templates(folder: Path) -> list[Path]:
    """Copy all data files to `folder`, which is made if it is not there; returns the copies.

    Raises InputError when a file of that name is there already (nothing is overwritten, nothing copied) or
    the folder cannot be written.
    """
    source = template_folder()
    names = sorted(
        path.relative_to(source) for path in source.rglob("*") if path.suffix in (".toml", ".csv", ".ids")
    )
    there = [folder / name for name in names if (folder / name).exists()]
    if there:
        raise InputError(f"{there[0]}: is there already; name another folder, nothing was copied")
    copies: list[Path] = []
    made: list[Path] = []
    try:
        for name in names:
            copy = folder / name
            made += _missing(copy.parent)
            copy.parent.mkdir(parents=True, exist_ok=True)
            copies.append(copy)
            shutil.copyfile(source / name, copy)
    except OSError as error:
        _take_back(copies, made)
        raise InputError(f"{folder}: cannot be written ({error.strerror}); name another folder") from error
    return copies


def _missing(folder: Path) -> list[Path]:
    """The folder and those around it that are not there, outermost first."""
    return [around for around in (*reversed(folder.parents), folder) if not around.exists()]


def _take_back(copies: list[Path], made: list[Path]) -> None:
    """Remove what was copied so far, and the folders that were made for it."""
    with contextlib.suppress(OSError):
        for copy in copies:
            copy.unlink(missing_ok=True)
        for folder in reversed(made):
            folder.rmdir()
