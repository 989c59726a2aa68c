"""The rules of a run, pinned once, and the order to measure one model by them within limits."""

import hashlib
import json
from collections.abc import Mapping
from importlib.metadata import version
from pathlib import Path
from typing import Any

from msgspec import Struct
from msgspec.structs import asdict, replace

from takeoff import __version__
from takeoff.findings import InputError
from takeoff.pipeline import LIBRARIES
from takeoff.settings import Settings

_NO_FIGURES = ("processes", "strict")
"""Settings that change neither a figure nor a file."""


class PinnedRules(Struct, frozen=True):
    """Data files by what they hold (path as given, and bytes as they were when the run began), plain choices.

    A file that somebody edits during the night can so never price half of the models, and machines of a
    cluster need not see it.
    """

    files: Mapping[str, tuple[str, bytes]]
    choices: Mapping[str, Any]
    processes: int
    versions: Mapping[str, str]

    @property
    def inputs(self) -> dict[str, str]:
        """What decides the figures, each with its fingerprint: data files, choices, program and libraries."""
        files = {what: hashlib.sha256(content).hexdigest() for what, (_, content) in self.files.items()}
        return {**files, **{what: repr(value) for what, value in self.choices.items()}, **self.versions}

    def as_given(self, text: str, folder: Path) -> str:
        """A text in which data files written out under `folder` go by the paths under which they were given."""
        for what, (given, _) in self.files.items():
            text = text.replace(str(folder / what / Path(given).name), given)
        return text

    @property
    def key(self) -> str:
        """One fingerprint of all inputs."""
        return hashlib.sha256(json.dumps(self.inputs, sort_keys=True).encode()).hexdigest()

    def settings(self, folder: Path) -> Settings:
        """Settings whose data files are written out under `folder`, each in a folder of its own."""
        paths: dict[str, Path] = {}
        for what, (given, content) in self.files.items():
            path = folder / what / Path(given).name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
            paths[what] = path
        return replace(Settings(), **paths, **self.choices, processes=self.processes)


def pin_rules(settings: Settings, processes: int) -> PinnedRules:
    """Read all data files of the settings. Raises InputError when one cannot be read."""
    files = {}
    for what, path in sorted(settings.files().items()):
        try:
            files[what] = (str(path), path.read_bytes())
        except OSError as fault:
            raise InputError(f"{path}: the {what} file cannot be read ({fault.strerror})") from fault
    stated = asdict(settings)
    choices = {
        name: value
        for name, value in stated.items()
        if name not in files and name not in _NO_FIGURES and not isinstance(value, Path)
    }
    versions = {"takeoff": __version__, **{name: version(name) for name in LIBRARIES}}
    return PinnedRules(files, choices, processes, versions)


class Limits(Struct, frozen=True):
    """What measuring one model may take: seconds by the clock, bytes of memory, bytes of its files."""

    seconds: float
    memory: int
    file_bytes: int


class Order(Struct, frozen=True):
    """One model to measure: its files under `folder` with the content they must have, and the limits.

    `number` is the model's in the history, `scratch` where private work folders go (empty: the system's
    place), `version` the program that gives the order.
    """

    number: int
    name: str
    folder: str
    paths: tuple[str, ...]
    digests: tuple[str, ...]
    limits: Limits
    scratch: str = ""
    version: str = __version__
