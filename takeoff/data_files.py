"""Data files: TOML read and checked, and every fault of one told in one line."""

import tomllib
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from takeoff.findings import InputError

Table = TypeVar("Table", bound=BaseModel)


def read_toml(path: Path) -> dict[str, Any]:
    """The content of a TOML file. Raises InputError when it cannot be read or is no TOML."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as fault:
        raise InputError(f"{path}: cannot be read ({fault.strerror}); name a file that can") from fault
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise InputError(f"{path}: is no valid TOML ({fault}); mend it or copy the shipped file") from fault


def load_table(path: Path, table: type[Table]) -> Table:
    """A data file checked against what it may hold. Raises InputError with the entry and what is wrong with it."""
    return checked_table(path, read_toml(path), table)


def checked_table(path: Path, content: dict[str, Any], table: type[Table]) -> Table:
    """The content of a data file checked against what it may hold; faults as of `load_table`."""
    try:
        return table.model_validate(content)
    except ValidationError as fault:
        raise InputError(f"{path}: {first_fault(fault)}; compare it with the shipped file") from fault


def first_fault(fault: ValidationError) -> str:
    """The first thing that is wrong, as `entry: what`."""
    error = fault.errors()[0]
    message = str(error["msg"]).removeprefix("Value error, ")
    where = ".".join(str(part) for part in error["loc"]) or "file"
    return f"{where}: {message[:1].lower()}{message[1:]}"
