"""What the Python interface has done in a process of its own: whole runs, their tables by column for the way back."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from takeoff.cache.columns import packed
from takeoff.scored import scheme_of, with_score
from takeoff.settings import Settings

if TYPE_CHECKING:
    from takeoff.measuring.records import Measurement
    from takeoff.pricing.records import Bill
    from takeoff.pricing.scoring import Score
    from takeoff.runs import Run


class Told(NamedTuple):
    """A run as it travels: the measurement by column, see `packed`."""

    measurement: "Measurement"
    record: dict[str, Any]
    bill: "Bill | None" = None
    score: "Score | None" = None


def measured(paths: Sequence[Path], settings: Settings) -> Told:
    """Models measured. Raises InputError."""
    from takeoff import pipeline

    return _told(pipeline.measure(paths, settings))


def billed(paths: Sequence[Path], settings: Settings, previous: Path | None) -> Told:
    """Models measured and priced, with what people typed into a previous bill. Raises InputError."""
    from takeoff import pipeline

    earlier = None
    if previous is not None:
        from takeoff.outputs.workbook.previous.book import read_previous

        earlier = read_previous(previous)
    scheme = scheme_of(settings)
    return _told(with_score(pipeline.bill(paths, settings, earlier=earlier), scheme, settings))


def _told(run: "Run") -> Told:
    return Told(packed(run.measurement), run.record, run.bill, run.score)
