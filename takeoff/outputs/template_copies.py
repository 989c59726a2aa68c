"""Copies of the shipped data files for a user to edit."""

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
    copies = []
    try:
        for name in names:
            copy = folder / name
            copy.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(source / name, copy)
            copies.append(copy)
    except OSError as error:
        raise InputError(f"{folder}: cannot be written ({error.strerror}); name another folder") from error
    return copies
