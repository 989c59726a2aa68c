"""The measured quantities as a folder of CSV tables beside the run's record."""

import csv
import dataclasses
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from operator import attrgetter, itemgetter
from pathlib import Path
from typing import TYPE_CHECKING

from takeoff.findings import Finding
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.piece_records import (
    BearingRow,
    CastingRow,
    LiftRow,
    LoadRow,
    MouldRow,
    PanelRow,
    RepetitionRow,
    StoreyRow,
)
from takeoff.measuring.places import Place
from takeoff.measuring.records import (
    ConventionRow,
    DeclaredRow,
    EnvelopeRow,
    FormworkRow,
    HoleRow,
    JointRow,
    MeasuredPart,
    Measurement,
    PieceRow,
    PourRow,
    ReinforcementRow,
    SurfaceRow,
)
from takeoff.outputs.places import FILE_NAME as PLACES
from takeoff.outputs.places import places_table
from takeoff.outputs.run_folder import write_run_folder

if TYPE_CHECKING:
    from takeoff.pricing.scoring import Score

# File name, the record that a row is, and where its rows are. The record's fields in their order are the
# columns: the published ones stand first in the records and later ones are appended.
TABLES: tuple[tuple[str, type, str], ...] = (
    ("elements.csv", MeasuredPart, "parts"),
    ("formwork.csv", FormworkRow, "formwork"),
    ("pieces.csv", PieceRow, "pieces"),
    ("findings.csv", Finding, "findings"),
    ("surfaces.csv", SurfaceRow, "surfaces"),
    ("holes.csv", HoleRow, "holes"),
    ("reinforcement.csv", ReinforcementRow, "reinforcement"),
    ("joints.csv", JointRow, "joints"),
    ("bearings.csv", BearingRow, "bearings"),
    ("loads.csv", LoadRow, "loads"),
    ("lifts.csv", LiftRow, "lifts"),
    ("casting.csv", CastingRow, "casting"),
    ("panels.csv", PanelRow, "panels"),
    ("storeys.csv", StoreyRow, "storeys"),
    ("repetition.csv", RepetitionRow, "repetition"),
    ("envelope.csv", EnvelopeRow, "envelope"),
    ("declared.csv", DeclaredRow, "declared"),
    ("pours.csv", PourRow, "pours"),
    ("conventions.csv", ConventionRow, "conventions"),
    ("moulds.csv", MouldRow, "moulds"),
)


def write_tables(
    folder: Path,
    measurement: Measurement,
    run: Mapping[str, object],
    places: Mapping[ElementKey, Place] | None = None,
    score: "Score | None" = None,
) -> None:
    """Write every table and `run.json` into `folder`, all of them or none; `places.csv` and the tables of the score
    where these are given.

    UTF-8 with a header line, metres, m2, m3, kg and t, numbers unrounded, empty where a figure is not known.

    Raises:
        InputError: the folder cannot be written, or holds something else than an earlier run.
    """
    write_files(folder, table_files(measurement, places), run, score)


def write_files(
    folder: Path, files: Mapping[str, bytes], run: Mapping[str, object], score: "Score | None" = None
) -> None:
    """Write tables that `table_files` made as `write_tables` does."""

    def more(place: Path) -> None:
        if score is not None:
            from takeoff.outputs.score_tables import write_score_tables

            write_score_tables(place, score)

    write_run_folder(folder, files, run, more)


def table_files(
    measurement: Measurement, places: Mapping[ElementKey, Place] | None = None
) -> dict[str, bytes]:
    """The content of each table, and of `places.csv` where places are given, by file name."""
    files = {name: _table(record, getattr(measurement, where)) for name, record, where in TABLES}
    if places:
        files[PLACES] = places_table(places)
    return files


def table_columns(record: type) -> tuple[str, ...]:
    """Column names of the table whose rows are `record`."""
    return tuple(field.name for field in dataclasses.fields(record))


def _table(record: type, rows: Sequence[object]) -> bytes:
    columns = table_columns(record)
    figures = [place for place, field in enumerate(dataclasses.fields(record)) if "float" in str(field.type)]
    cells = list(map(attrgetter(*columns), rows))
    text = io.StringIO(newline="")
    # Line ends of RFC 4180: with a bare "\n" the module leaves a "\r" within a text unquoted.
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(columns)
    if all(_is_finite(map(itemgetter(place), cells)) for place in figures):
        # The module itself writes None as nothing and a number as its shortest text.
        writer.writerows(cells)
    else:
        writer.writerows([_cell(value) for value in row] for row in cells)
    # A lone surrogate (half a character, from a badly encoded model) cannot be written as UTF-8: replaced.
    return text.getvalue().encode("utf-8", errors="replace")


def _is_finite(column: Iterable[float | None]) -> bool:
    """Whether no figure of a column is infinite or no number."""
    return math.isfinite(sum(filter(None, column)))


def _cell(value: object) -> str:
    """A field of a row: empty for what is not known, the shortest text that gives the same number back."""
    if value is None:
        return ""
    if isinstance(value, float):
        return float.__repr__(value) if math.isfinite(value) else ""
    return str(value)
