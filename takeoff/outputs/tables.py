"""The measured quantities as a folder of CSV tables beside the run's record."""

import csv
import io
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import accumulate
from operator import attrgetter, itemgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec import Struct
from msgspec.structs import fields

from takeoff.findings import Finding
from takeoff.isolation.spread import spread
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
from takeoff.outputs.places import COLUMNS as PLACE_COLUMNS
from takeoff.outputs.places import FILE_NAME as PLACES
from takeoff.outputs.places import place_rows
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

CELLS = 40_000
"""Cells for which a further process pays: they take about twice as long as its start."""


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
    measurement: Measurement, places: Mapping[ElementKey, Place] | None = None, processes: int = 1
) -> dict[str, bytes]:
    """The content of each table, and of `places.csv` where places are given, by file name.

    Long tables are written by up to so many processes.
    """
    tables = [_Table.of(name, record, getattr(measurement, where)) for name, record, where in TABLES]
    if places:
        tables.append(_Table(PLACES, PLACE_COLUMNS, (), tuple(places.items()), place_rows))
    ends = list(accumulate(len(table.columns) * len(table.rows) for table in tables))

    def written(cells: range) -> list[bytes]:
        """What stands in some of all cells, a table after the other; a row belongs where its first cell is."""
        texts = []
        for table, end in zip(tables, ends, strict=True):
            width, start = len(table.columns), end - len(table.columns) * len(table.rows)
            low, high = (-((start - bound) // width) for bound in (cells.start, cells.stop))
            texts.append(table.written(max(low, 0), high))
        return texts

    parts = spread(written, ends[-1], processes, _same, _same, least=CELLS)
    return {
        table.name: b"".join([_text([table.columns]), *texts])
        for table, *texts in zip(tables, *parts, strict=True)
    }


class _Table(Struct, frozen=True, eq=False):
    """A table before it is text: `figures` are the places of the columns of figures, `cells` makes rows of records."""

    name: str
    columns: tuple[str, ...]
    figures: tuple[int, ...]
    rows: Sequence[Any]
    cells: Callable[[Sequence[Any]], list[tuple[object, ...]]]

    @staticmethod
    def of(name: str, record: type[Struct], rows: Sequence[object]) -> "_Table":
        """The table of records of one class."""
        columns = table_columns(record)
        figures = [place for place, field in enumerate(fields(record)) if "float" in str(field.type)]
        take = attrgetter(*columns)
        return _Table(name, columns, tuple(figures), rows, lambda records: list(map(take, records)))

    def written(self, low: int, high: int) -> bytes:
        """The text of the rows from `low` up to `high`."""
        if low >= min(high, len(self.rows)):
            return b""
        cells = self.cells(self.rows[low:high])
        if all(_is_finite(map(itemgetter(place), cells)) for place in self.figures):
            # The module itself writes None as nothing and a number as its shortest text.
            return _text(cells)
        return _text([_cell(value) for value in row] for row in cells)


def table_columns(record: type[Struct]) -> tuple[str, ...]:
    """Column names of the table whose rows are `record`."""
    return record.__struct_fields__


def _text(rows: Iterable[Iterable[object]]) -> bytes:
    text = io.StringIO(newline="")
    # Line ends of RFC 4180: with a bare "\n" the module leaves a "\r" within a text unquoted.
    csv.writer(text, lineterminator="\r\n").writerows(rows)
    # A lone surrogate (half a character, from a badly encoded model) cannot be written as UTF-8: replaced.
    return text.getvalue().encode("utf-8", errors="replace")


def _same(texts: list[bytes]) -> list[bytes]:
    return texts


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
