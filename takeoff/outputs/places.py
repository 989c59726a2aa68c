"""Where elements are, as a table beside the others: a later run finds them again by it when ids are renewed."""

import csv
from collections.abc import Iterable, Sequence
from pathlib import Path

from takeoff.findings import InputError
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.places import Place

FILE_NAME = "places.csv"
FIGURES = tuple(
    f"{name}_{axis}" + ("_m" if name in ("low", "high") else "")
    for name in ("low", "high", "offset", "lean")
    for axis in "xyz"
)
COLUMNS = ("model", "global_id", *FIGURES)
"""Box of an element in the coordinates that the models share, m; offset and lean are shares of its sides."""


def place_rows(places: Iterable[tuple[ElementKey, Place]]) -> list[tuple[object, ...]]:
    """The rows of the table."""
    return [(*key, *place_figures(place)) for key, place in places]


def place_figures(place: Place) -> tuple[float, ...]:
    """The figures of a place in the order of FIGURES."""
    return tuple(map(float, (*place.low, *place.high, *place.offset, *place.lean)))


def place_from(figures: Sequence[float]) -> Place:
    """The place that figures in the order of FIGURES tell."""
    x = tuple(figures)
    return Place((x[0], x[1], x[2]), (x[3], x[4], x[5]), (x[6], x[7], x[8]), (x[9], x[10], x[11]))


def places_in(folder: Path) -> dict[ElementKey, Place]:
    """The places that a folder of tables holds; none where it has no such table.

    Raises InputError for a row that cannot be read.
    """
    path = folder / FILE_NAME
    if not path.is_file():
        return {}
    found: dict[ElementKey, Place] = {}
    with path.open(encoding="utf-8", newline="") as stream:
        reader = csv.DictReader(stream)
        for row in reader:
            try:
                x = [float(row[name]) for name in FIGURES]
                key = row["model"], row["global_id"]
            except (KeyError, TypeError, ValueError) as error:
                raise InputError(f"{path}, line {reader.line_num}: is no place; measure again") from error
            found[key] = place_from(x)
    return found
