"""The list of elements with their methods as a CSV file: written, edited by a person, read with --overrides."""

import csv
from pathlib import Path
from typing import TYPE_CHECKING

from takeoff.measuring.method_list import COLUMNS, list_rows
from takeoff.measuring.overrides import Overrides
from takeoff.outputs.files import write_whole

if TYPE_CHECKING:
    from takeoff.pipeline import Run


def write_method_list(path: Path, run: "Run") -> int:
    """Write a row for each element of a run; the decisions of the list that it was measured with stay in it.

    Returns the number of rows. Raises InputError where the file cannot be written.
    """
    overrides = run.overrides or Overrides()
    notes = {name: override.note for name, override in overrides.by_id.items()}
    rows = list_rows(run.measurement.parts, run.places, notes, overrides.listed)

    def fill(partial: Path) -> None:
        # The byte order mark tells spreadsheets that it is UTF-8.
        with partial.open("w", encoding="utf-8-sig", errors="replace", newline="") as stream:
            writer = csv.DictWriter(stream, COLUMNS, lineterminator="\r\n")
            writer.writeheader()
            writer.writerows(rows)

    write_whole(path, fill)
    return len(rows)
