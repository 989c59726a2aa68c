"""The Python interface: measure and price models, results as pandas tables.

>>> import takeoff
>>> result = takeoff.measure("sample_models/archive-ifc4.ifc")
>>> columns = ["name", "role", "method", "net_volume_m3"]
>>> walls = result.elements.query("role == 'wall' and method == 'tilt-up'")[columns]
>>> len(walls)
6
>>> walls.groupby("method")["net_volume_m3"].sum().round(3).to_dict()
{'tilt-up': 11.286}

A bill has its items, the dimensions behind them and its totals; everything that a job file may hold may be given
by name:

>>> priced = takeoff.bill("sample_models/archive-ifc4.ifc", arrange="element", units="imperial")
>>> priced.items["unit"].isin(["yd3", "ft2", "ft", "ton", "lb", "nr"]).all().item()
True
>>> bool(round(priced.items["amount"].sum(), 2) == priced.net_total)
True
>>> list(priced.tables)[:3]
['summary', 'bill', 'dimensions']

Models are read and measured in a process that is started for it and ends with it: a library that breaks down or hangs
over a body costs that body (a warning says so, and a finding over whom), never the program that calls. Ctrl-C ends it.
"""

import os
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec import Struct, field
from msgspec.structs import fields

from takeoff.api_runs import billed, measured
from takeoff.cache.columns import unpacked
from takeoff.findings import InputError
from takeoff.isolation.elsewhere import elsewhere
from takeoff.measuring.records import Measurement
from takeoff.outputs.frames import bill_frames, measurement_frames
from takeoff.pricing.records import Bill
from takeoff.settings import Settings, load_settings

if TYPE_CHECKING:
    import pandas as pd

    from takeoff.pricing.scoring import Score

Models = str | os.PathLike[str] | Iterable[str | os.PathLike[str]]

_FILES = {field.name for field in fields(Settings) if "Path" in str(field.type)}


class Measured(Struct, frozen=True, eq=False):
    """A measurement: `tables` by name as `takeoff measure` writes them, and the `record` of the run.

    `measurement` holds the same rows as records.
    """

    tables: "Mapping[str, pd.DataFrame]"
    record: Mapping[str, Any]
    measurement: Measurement

    @property
    def elements(self) -> "pd.DataFrame":
        """One row a part of an element, with volumes, sizes, method and what decided it."""
        return self.tables["elements"]

    @property
    def formwork(self) -> "pd.DataFrame":
        """One row a formed surface."""
        return self.tables["formwork"]

    @property
    def pieces(self) -> "pd.DataFrame":
        """One row a precast or tilt-up unit."""
        return self.tables["pieces"]

    @property
    def findings(self) -> "pd.DataFrame":
        """What a person must look at."""
        return self.tables["findings"]


class Priced(Struct, frozen=True, eq=False):
    """A priced bill: `tables` by the names of the workbook's sheets, and the `record` of the run.

    `bill` and `measurement` hold the same as records; `score` is there where the setting `scoring` names a scheme.
    `settings` are those of the run.
    """

    tables: "Mapping[str, pd.DataFrame]"
    record: Mapping[str, Any]
    measurement: Measurement
    bill: Bill
    score: "Score | None" = None
    settings: Settings = field(default_factory=Settings)

    @property
    def items(self) -> "pd.DataFrame":
        """One row an item of the bill."""
        return self.tables["bill"]

    @property
    def dimensions(self) -> "pd.DataFrame":
        """One row a quantity behind an item: item key, element, sides and value."""
        return self.tables["dimensions"]

    @property
    def net_total(self) -> float:
        """The sum of all priced items."""
        return self.bill.net_total

    @property
    def grand_total(self) -> float:
        """The net total with markups."""
        return self.bill.grand_total

    def write(self, path: str | os.PathLike[str]) -> None:
        """Write the workbook, in the look and words of the settings. Raises InputError where it cannot be written."""
        from takeoff.outputs.workbook.book import write_workbook
        from takeoff.outputs.workbook.look import load_look
        from takeoff.outputs.workbook.words import load_words

        look, words = load_look(self.settings.file("look")), load_words(self.settings.file("words"))
        write_workbook(Path(path), self.measurement, self.bill, self.record, look, words, self.score)


def measure(models: Models, **settings: Any) -> Measured:
    """Measure one model or several together.

    `settings` are those of a job file (`convention`, `methods`, `overrides`, `ground_level`, ...), or `job`, the path
    of one. Raises InputError with one line that says what cannot be used, where, and what to do.
    """
    run = elsewhere(measured, _paths(models), _settings(settings))
    measurement: Measurement = unpacked(run.measurement)
    return Measured(measurement_frames(measurement), run.record, measurement)


def bill(models: Models, previous: str | os.PathLike[str] | None = None, **settings: Any) -> Priced:
    """Measure and price one model or several together.

    What people typed into the bill `previous` is taken over. `settings` and errors as for `measure`, with `rates`,
    `resources`, `sections`, `markups`, `arrange`, `units` and so on.
    """
    chosen = _settings(settings)
    run = elsewhere(billed, _paths(models), chosen, None if previous is None else Path(previous))
    assert run.bill is not None
    measurement: Measurement = unpacked(run.measurement)
    frames = bill_frames(measurement, run.bill, run.record, run.score)
    return Priced(frames, run.record, measurement, run.bill, run.score, chosen)


def _paths(models: Models) -> list[Path]:
    if isinstance(models, str | os.PathLike):
        return [Path(models)]
    paths = [Path(model) for model in models]
    if not paths:
        raise InputError("no model was given; name at least one")
    return paths


def _settings(given: Mapping[str, Any]) -> Settings:
    values = dict(given)
    job = values.pop("job", None)
    known = set(Settings.__struct_fields__)
    for name in values:
        if name not in known:
            raise InputError(f"setting `{name}` is not known; choose of job, {', '.join(sorted(known))}")
    values = {
        name: Path(value) if name in _FILES and value is not None else value for name, value in values.items()
    }
    return load_settings(Path(job) if job is not None else None, values)
