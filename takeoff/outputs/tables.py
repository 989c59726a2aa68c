"""The measured quantities as a folder of CSV tables beside the run's record."""

import csv
import dataclasses
import math
from collections.abc import Iterable, Mapping, Sequence
from functools import partial
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
from takeoff.outputs.files import write_folder_whole
from takeoff.outputs.places import FILE_NAME as PLACES
from takeoff.outputs.places import write_places
from takeoff.outputs.run_record import FILE_NAME, is_run_folder, run_text

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
    fill = partial(_fill, measurement=measurement, run=run, places=places or {}, score=score)
    write_folder_whole(folder, fill, is_run_folder, FILE_NAME)


def table_columns(record: type) -> tuple[str, ...]:
    """Column names of the table whose rows are `record`."""
    return tuple(field.name for field in dataclasses.fields(record))


def _fill(
    folder: Path,
    measurement: Measurement,
    run: Mapping[str, object],
    places: Mapping[ElementKey, Place],
    score: "Score | None",
) -> None:
    for name, record, where in TABLES:
        _write_table(folder / name, record, getattr(measurement, where))
    if places:
        write_places(folder / PLACES, places)
    if score is not None:
        from takeoff.outputs.score_tables import write_score_tables

        write_score_tables(folder, score)
    (folder / FILE_NAME).write_text(run_text(run), encoding="utf-8", errors="replace", newline="\n")


def _write_table(path: Path, record: type, rows: Sequence[object]) -> None:
    columns = table_columns(record)
    figures = [place for place, field in enumerate(dataclasses.fields(record)) if "float" in str(field.type)]
    cells = list(map(attrgetter(*columns), rows))
    # A lone surrogate (half a character, from a badly encoded model) cannot be written as UTF-8: replaced.
    with path.open("w", encoding="utf-8", errors="replace", newline="") as stream:
        # Line ends of RFC 4180: with a bare "\n" the module leaves a "\r" within a text unquoted.
        writer = csv.writer(stream, lineterminator="\r\n")
        writer.writerow(columns)
        if all(_is_finite(map(itemgetter(place), cells)) for place in figures):
            # The module itself writes None as nothing and a number as its shortest text.
            writer.writerows(cells)
        else:
            writer.writerows([_cell(value) for value in row] for row in cells)


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
