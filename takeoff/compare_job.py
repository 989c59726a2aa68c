"""What a comparison is asked for: from flags, and from the `[compare]` table of a job file."""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

from msgspec import Struct
from pydantic import BaseModel, ConfigDict, Field

from takeoff.data_files import CURE, checked_table, read_toml
from takeoff.findings import InputError


class Choice(Struct, frozen=True):
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
    table = read_toml(job).get("compare", {})
    read = checked_table(job, table, _CompareTable, ("compare",), CURE).model_dump(exclude_unset=True)
    for name in ("alternatives", "production", "carbon"):
        if read.get(name):
            read[name] = job.parent / read[name]
    return {key: value for key, value in read.items() if value not in (None, "", ())}
