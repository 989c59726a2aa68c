"""The old or the new side of a comparison: models, a folder of tables, or a bill."""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from msgspec import Struct

from takeoff import pipeline
from takeoff.billing import Billing, load_billing
from takeoff.findings import Finding, InputError
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.records import Measurement
from takeoff.measuring.whereabouts import Place, places_of
from takeoff.outputs.places import places_in
from takeoff.outputs.run_folders import read_run_folder
from takeoff.outputs.workbook.previous.side import read_bill
from takeoff.pricing.change_records import Side
from takeoff.pricing.records import Bill
from takeoff.pricing.table_files import WORKBOOKS
from takeoff.settings import Settings


class LoadedSide(Struct, frozen=True):
    """A side, what it was made of, and files that could not be read."""

    side: Side
    kind: str
    failed: tuple[Finding, ...] = ()


def load_side(
    paths: Sequence[Path], settings: Settings, progress: Callable[[str, int, int], None]
) -> LoadedSide:
    """Models measured and priced, one folder priced, or one bill as it stands.

    Raises InputError for a mixture, or for what cannot be read.
    """
    first = paths[0]
    if first.is_dir() or first.suffix.lower() in WORKBOOKS:
        if len(paths) > 1:
            raise InputError(f"{paths[1]}: give models, or one folder of tables, or one bill, for each side")
        if first.is_dir():
            return LoadedSide(_of_folder(first, load_billing(settings)), "tables")
        return LoadedSide(read_bill(first), "bill")
    run = pipeline.bill(paths, settings, progress)
    assert run.bill is not None
    places = places_of(run.measured.bodies, run.origin)
    names = ", ".join(model.model for model in run.models)
    convention = _convention(run.record)
    return LoadedSide(side_of(names, run.measurement, places, run.bill, convention), "models", run.failed)


def _of_folder(folder: Path, billing: Billing) -> Side:
    held = read_run_folder(folder)
    storeys = tuple(dict.fromkeys(part.storey for part in held.measurement.parts))
    bill = billing.price(held.measurement, storeys)
    return side_of(str(folder), held.measurement, places_in(folder), bill, _convention(held.record))


def side_of(
    name: str,
    measurement: Measurement,
    places: Mapping[ElementKey, Place],
    bill: Bill,
    convention: str,
) -> Side:
    """The side that a measurement and its bill make; `convention` tells its name and content."""
    items = {item.key: item for section in bill.sections for item in section.items}
    return Side(
        name,
        measurement.parts,
        places,
        items,
        bill.dimensions,
        convention,
        bill.currency,
        bill.units,
        bill.grand_total,
    )


def _convention(record: object) -> str:
    """The convention of a run: its name and, where known, its content."""
    if not isinstance(record, dict):
        return ""
    hashes = [
        entry.get("sha256", "") for entry in record.get("inputs", []) if entry.get("what") == "convention"
    ]
    return " ".join(filter(None, (str(record.get("convention", {}).get("name", "")), *hashes)))
