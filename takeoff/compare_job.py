"""What a comparison is asked for: from flags, and from the `[compare]` table of a job file."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from takeoff.findings import InputError


@dataclass(frozen=True, slots=True)
class Choice:
    """The alternatives file, and what is said beside it; what is empty or None stays as the files have it."""

    alternatives: Path
    base: str = ""
    production: Path | None = None
    carbon: Path | None = None
    break_even: tuple[str, ...] = ()
    draws: int | None = None
    seed: int | None = None


class _CompareTable(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    alternatives: str = Field(default="", min_length=1)
    base: str = ""
    production: str = ""
    carbon: str = ""
    break_even: tuple[str, ...] = ()
    draws: Annotated[int, Field(ge=100, le=1_000_000)] | None = None
    seed: Annotated[int, Field(ge=0)] | None = None


def load_choice(job: Path | None, flags: Mapping[str, Any]) -> Choice:
    """The choice of a job file's table (its paths are relative to the file) and of flags, which win.

    Raises InputError for a faulty table, and where nothing names an alternatives file.
    """
    given = {key: value for key, value in flags.items() if value not in (None, "", ())}
    if job is not None:
        given = {**_table(job), **given}
    if "alternatives" not in given:
        raise InputError(
            "no alternatives are named; give --alternatives FILE, or put alternatives under [compare] in a job file"
        )
    return Choice(**given)


def _table(job: Path) -> dict[str, Any]:
    try:
        table = tomllib.loads(job.read_text(encoding="utf-8")).get("compare", {})
    except OSError as fault:
        raise InputError(f"{job}: cannot be read ({fault.strerror}); name a job file") from fault
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise InputError(f"{job}: is no valid TOML: {fault}") from fault
    try:
        read = _CompareTable.model_validate(table).model_dump(exclude_unset=True)
    except ValidationError as fault:
        error = fault.errors()[0]
        where = ".".join(str(step) for step in ("compare", *error["loc"]))
        message = "is not known" if error["type"] == "extra_forbidden" else error["msg"].lower()
        raise InputError(f"{job}: {where}: {message}") from fault
    for name in ("alternatives", "production", "carbon"):
        if read.get(name):
            read[name] = job.parent / read[name]
    return {key: value for key, value in read.items() if value not in (None, "", ())}
