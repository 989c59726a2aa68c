"""Everything a run needs: data files, limits, choices; from a job file and the flags that win over it."""

import math
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from msgspec import Struct, field
from msgspec.structs import force_setattr

from takeoff.findings import InputError
from takeoff.templates import template_path

OTHER_TABLES = ("nightly", "compare")
"""Tables of a job file that belong to one command, which reads and checks them itself."""

_IMPERIAL_FILES = {"convention": "conventions/imperial.toml", "rates": "rates-imperial.csv"}
"""Shipped files that stand in for the others where the bill is in imperial units."""

_CHOICES = {
    "paper": ("a4", "letter"),
    "units": ("metric", "imperial"),
    "arrange": ("trade", "element", "storey"),
}

_FILES = {
    "convention": "conventions/net.toml",
    "methods": "methods.toml",
    "finishes": "finishes.toml",
    "allowances": "allowances.csv",
    "handling": "handling.toml",
    "joints": "joints.toml",
    "panelling": "panelling.toml",
    "checks": "checks.toml",
    "questions": "questions.toml",
    "rates": "rates.csv",
    "resources": "resources.csv",
    "sections": "sections.toml",
    "look": "look.toml",
    "words": "words-english.toml",
    "markups": "markups.toml",
}

LONGEST_SECONDS = 1_000_000
"""Bound on patience (and far more than any count of processes): the system's clocks take no endless wait."""

_OPTIONAL = ("overrides", "scoring")
"""Files that a run can do without."""

_BY_NAME = {"convention": "conventions", "scoring": "scoring"}
"""Files that may be named by the name of a shipped one, and the folder of those."""
_PRICING = ("rates", "resources", "sections", "look", "words", "markups")

MEASURING_FILES = (*(what for what in _FILES if what not in _PRICING), "overrides")
"""Data files on which quantities depend."""


class Settings(Struct, frozen=True):
    """Paths of the data files (None: the shipped one), and how the run is made.

    `paper` is `a4` or `letter`, which goes with `units` where it is not given; `arrange` is how the bill is
    divided into sections.

    `ground_level` is metres above
    the models' zero; None lets the models tell. `overrides` lists methods by GlobalId or
    mark. `scoring` is a scheme of points. `processes` workers measure geometry, `limit_seconds` is the
    patience with one element. `cache`: what was worked out before from the same files is taken from the user's
    cache folder.
    """

    convention: Path | None = None
    methods: Path | None = None
    finishes: Path | None = None
    overrides: Path | None = None
    allowances: Path | None = None
    handling: Path | None = None
    joints: Path | None = None
    panelling: Path | None = None
    checks: Path | None = None
    questions: Path | None = None
    rates: Path | None = None
    sections: Path | None = None
    markups: Path | None = None
    resources: Path | None = None
    look: Path | None = None
    words: Path | None = None
    scoring: Path | None = None
    title: str = ""
    paper: str = ""
    units: str = "metric"
    arrange: str = "trade"
    strict: bool = False
    ground_level: float | None = None
    processes: int = field(default_factory=lambda: max(1, min(8, os.cpu_count() or 1)))
    limit_seconds: float = 60.0
    cache: bool = True

    def __post_init__(self) -> None:
        if not self.paper:
            force_setattr(self, "paper", "letter" if self.units == "imperial" else "a4")

    def file(self, what: str) -> Path:
        """The data file for `what` (`rates`, `convention`, ...): the user's or the shipped one."""
        given: Path | None = getattr(self, what)
        if given is None:
            imperial = _IMPERIAL_FILES.get(what) if self.units == "imperial" else None
            return template_path(imperial or _FILES[what])
        folder = _BY_NAME.get(what)
        if folder and not given.exists() and given.name == str(given) and not given.suffix:
            return template_path(f"{folder}/{given}.toml")
        return given

    def files(self) -> dict[str, Path]:
        """All data files of the run, by what they hold."""
        used = {what: self.file(what) for what in _FILES}
        used |= {what: self.file(what) for what in _OPTIONAL if getattr(self, what) is not None}
        return used


def load_settings(job: Path | None, flags: Mapping[str, Any]) -> Settings:
    """Settings from a job file (paths in it are relative to it) and flags; a flag that is None says nothing.

    Raises InputError for a job file that cannot be read, an unknown key or a value of the wrong kind.
    """
    values = _job(job) if job is not None else {}
    return Settings(**values | {key: value for key, value in flags.items() if value is not None})


def _job(job: Path) -> dict[str, Any]:
    from takeoff.data_files import read_toml

    data = read_toml(job)
    known = set(Settings.__struct_fields__)
    values: dict[str, Any] = {}
    for key, value in data.items():
        if key in OTHER_TABLES and isinstance(value, dict):
            continue
        if key not in known:
            raise InputError(f"{job}: '{key}' is not known; a job file may hold {', '.join(sorted(known))}")
        values[key] = _checked(job, key, value)
    return values


def _checked(job: Path, key: str, value: Any) -> Any:
    if key in _FILES or key in _OPTIONAL:
        if not isinstance(value, str):
            raise InputError(f"{job}: '{key}' must be a path in quotes")
        path = job.parent / value
        return path if path.exists() or key not in _BY_NAME else Path(value)
    if key in ("strict", "cache"):
        if not isinstance(value, bool):
            raise InputError(f"{job}: '{key}' must be true or false")
        return value
    if key == "ground_level":
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise InputError(f"{job}: 'ground_level' must be a number of metres")
        return float(value)
    if key in ("processes", "limit_seconds"):
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < LONGEST_SECONDS:
            raise InputError(f"{job}: '{key}' must be a number above 0 and below {LONGEST_SECONDS}")
        return int(value) if key == "processes" else float(value)
    if not isinstance(value, str):
        raise InputError(f"{job}: '{key}' must be a text in quotes")
    if key in _CHOICES and value not in _CHOICES[key]:
        raise InputError(f"{job}: '{key}' must be one of " + ", ".join(f'"{name}"' for name in _CHOICES[key]))
    return value
