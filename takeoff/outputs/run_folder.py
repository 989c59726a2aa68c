"""The folder that a run writes: its tables and its record, all of them or none."""

from collections.abc import Callable, Mapping
from pathlib import Path

from takeoff.outputs.files import write_folder_whole
from takeoff.outputs.run_record import FILE_NAME, is_run_folder, run_text


def write_run_folder(
    folder: Path,
    files: Mapping[str, bytes],
    run: Mapping[str, object],
    more: Callable[[Path], None] | None = None,
) -> None:
    """Write files by name and content, what `more` puts beside them, and `run.json` into `folder`.

    Raises:
        InputError: the folder cannot be written, or holds something else than an earlier run.
    """

    def fill(place: Path) -> None:
        for name, content in files.items():
            (place / name).write_bytes(content)
        if more is not None:
            more(place)
        (place / FILE_NAME).write_text(run_text(run), encoding="utf-8", errors="replace", newline="\n")

    write_folder_whole(folder, fill, is_run_folder, FILE_NAME)
