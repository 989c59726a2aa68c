"""A folder of tables that an earlier run wrote, read back as a measurement."""

import csv
import json
import types
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any, Union, get_args, get_origin

from msgspec import Struct
from msgspec.structs import fields

from takeoff.findings import InputError
from takeoff.measuring.records import Measurement
from takeoff.outputs.run_record import FILE_NAME, is_run_folder
from takeoff.outputs.tables import TABLES


class RunFolder(Struct, frozen=True):
    """The measurement that a folder holds, and the record of its run."""

    measurement: Measurement
    record: Mapping[str, Any]


def read_run_folder(folder: Path) -> RunFolder:
    """Read a folder that `measure` wrote.

    Raises InputError for another folder, and for a table with a missing column or a figure that is no number,
    naming file and line.
    """
    if not is_run_folder(folder):
        raise InputError(f"{folder}: is no folder that takeoff measure wrote (no {FILE_NAME} of a run)")
    record = json.loads((folder / FILE_NAME).read_text(encoding="utf-8"))
    tables: dict[str, Any] = {}
    for name, row, where in TABLES:
        path = folder / name
        if path.is_file():
            tables[where] = tuple(_rows(path, row))
    if "parts" not in tables:
        raise InputError(f"{folder}: elements.csv is missing; measure again")
    return RunFolder(Measurement(**tables, counts=record.get("counts", {})), record)


def _rows(path: Path, record: type) -> list[Any]:
    kinds = _kinds(record)
    rows = []
    try:
        with path.open(encoding="utf-8", newline="") as stream:
            reader = csv.DictReader(stream)
            for cells in reader:
                line = f"{path}, line {reader.line_num}"
                rows.append(
                    record(
                        **{
                            name: _value(cells[name], read, f"{line}, {name}")
                            for name, read in kinds.items()
                            if cells.get(name) is not None
                        }
                    )
                )
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}); measure again") from error
    except (TypeError, UnicodeDecodeError, csv.Error) as error:
        raise InputError(f"{path}: is no table that this version reads ({error}); measure again") from error
    return rows


@cache
def _kinds(record: type[Struct]) -> dict[str, tuple[Callable[[str], Any], bool]]:
    """How each field is read, and whether it may be unknown."""
    kinds: dict[str, tuple[Callable[[str], Any], bool]] = {}
    for field in fields(record):
        hint = field.type
        options = get_args(hint) if get_origin(hint) in (Union, types.UnionType) else (hint,)
        kind = next(option for option in options if option is not type(None))
        read: Callable[[str], Any] = str
        if kind is bool:
            read = _truth
        elif kind in (int, float):
            read = kind
        kinds[field.name] = read, type(None) in options
    return kinds


def _truth(text: str) -> bool:
    return text == "True"


def _value(text: str, kind: tuple[Callable[[str], Any], bool], place: str) -> Any:
    read, may_be_unknown = kind
    if not text and may_be_unknown:
        return None
    if not text and read is not str:
        return read("0") if read is not _truth else False
    try:
        return read(text)
    except ValueError as error:
        raise InputError(f"{place}: `{text}` is not a number; measure again") from error
