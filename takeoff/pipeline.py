"""The stages in their order: files to facts to methods to solids to quantities to a priced bill."""

import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from takeoff.cache.columns import Columns, columns_of, packed, unpacked
from takeoff.cache.keys import LIBRARIES
from takeoff.cache.listed import items_once
from takeoff.cache.run_keys import run_key
from takeoff.cache.shelf import Shelf
from takeoff.cache.store import open_store
from takeoff.collector import collector_off
from takeoff.findings import Finding, InputError
from takeoff.isolation.workshop import Workshop
from takeoff.later import Later
from takeoff.measuring.ground_level import GroundLevel
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.measured import Drawing, Measured
from takeoff.measuring.places import Place
from takeoff.measuring.records import Measurement
from takeoff.model_names import model_names, names_of
from takeoff.preparing import Prepared, Progress, map_transforms, silent
from takeoff.preparing import prepare as prepare_with
from takeoff.runs import Behind, ModelNote, Run, note_of, record_of
from takeoff.settings import Settings

if TYPE_CHECKING:
    from takeoff.pricing.records import Bill, ShareRow
    from takeoff.pricing.typed import TypedBill

__all__ = [
    "LIBRARIES",
    "Prepared",
    "Progress",
    "Run",
    "bill",
    "map_transforms",
    "measure",
    "measure_prepared",
    "model_names",
    "prepare",
    "with_bill",
]


class _Kept(Struct, frozen=True, eq=False):
    """What the cache keeps of a whole run: its tables by column, without what drew them."""

    tables: Measurement
    ground: GroundLevel
    notes: tuple[ModelNote, ...]
    shares: "tuple[ShareRow, ...]"
    placed: tuple[ElementKey, ...]
    boxes: Columns | None

    @staticmethod
    def of(run: Run) -> "_Kept":
        """What is kept of a run."""
        boxes = columns_of(tuple(run.places.values()))
        placed = tuple(run.places)
        return _Kept(packed(run.measurement), run.measured.ground, run.notes, run.shares, placed, boxes)

    def places(self) -> dict[ElementKey, Place]:
        """The place of each element."""
        return dict(zip(self.placed, self.boxes.rows() if self.boxes else (), strict=True))


def measure(paths: Sequence[Path], settings: Settings | None = None, progress: Progress = silent) -> Run:
    """Measure models together in one coordinate system.

    A file that cannot be used costs that file: it becomes a finding and an entry of `failed`. Raises
    InputError when no file can be used, when a data file is wrong, or when there is no concrete at all. What
    was measured before from the same files by the same rules comes from the cache.
    """
    settings = settings or Settings()
    began = time.perf_counter()
    store = open_store() if settings.cache else None
    key = run_key(paths, settings) if store is not None else ""
    kept = store.get(key) if store is not None and key else None
    if isinstance(kept, _Kept):
        with collector_off():
            return replace(_from_cache(kept, paths, settings, time.perf_counter() - began), key=key)
    run, lasting = _measured(paths, settings, Shelf(store), progress)
    if store is None or not key or not lasting:
        return replace(run, lasting=lasting)
    store.put(key, _Kept.of(run))
    return replace(run, lasting=True, key=key)


def prepare(paths: Sequence[Path], settings: Settings | None = None, progress: Progress = silent) -> Prepared:
    """Read models, decide methods, and make all solids. Raises InputError as `measure` does."""
    settings = settings or Settings()
    shelf = Shelf(open_store() if settings.cache else None)
    with Workshop(settings.processes, settings.limit_seconds) as shop:
        return prepare_with(paths, settings, shelf, shop, progress)


def _measured(
    paths: Sequence[Path], settings: Settings, shelf: Shelf, progress: Progress
) -> tuple[Run, bool]:
    """The run, and whether another one would come out the same."""
    with collector_off(), Workshop(settings.processes, settings.limit_seconds) as shop:
        prepared = prepare_with(paths, settings, shelf, shop, progress)
        run = measure_prepared(prepared, progress)
        lasting = not run.failed and prepared.stock.is_lasting()
        if prepared.overrides is None:
            return run, lasting
        from takeoff.measuring.found_again import find_again

        # Shape and place are known only once all is measured, so a list that has lost elements costs a second run.
        overrides = find_again(prepared.overrides, run.measurement.parts, run.places)
        if overrides is None:
            return run, lasting
        prepared = prepare_with(paths, settings, shelf, shop, progress, overrides)
        return measure_prepared(prepared, progress), lasting


def measure_prepared(prepared: Prepared, progress: Progress = silent) -> Run:
    """Measure what was prepared. Raises InputError when there is no concrete at all."""
    from takeoff.enduring import measured_with_patience
    from takeoff.measuring.overrides import unused_overrides
    from takeoff.measuring.plan_findings import shell_findings
    from takeoff.measuring.stakes import with_stakes
    from takeoff.measuring.whereabouts import places_of
    from takeoff.pricing.shares import prefabrication_shares
    from takeoff.questions import asked, load_questions

    stock, overrides = prepared.stock, prepared.overrides
    began = time.perf_counter()

    measured = measured_with_patience(prepared, progress)
    if not any(part.net_volume_m3 for part in measured.measurement.parts):
        reasons = {part.condition for part in measured.measurement.parts if part.condition}
        names = names_of(prepared.paths)
        raise InputError(f"{names}: no concrete could be measured ({'; '.join(sorted(reasons)[:3])})")
    measured = _with_findings(
        measured, shell_findings(stock.plans, measured.measurement.parts, prepared.methods)
    )
    if overrides is not None:
        measured = _with_findings(measured, (*unused_overrides(stock.models, overrides), *overrides.findings))
    measured = _with_findings(measured, prepared.failed)
    questions = load_questions(prepared.settings.file("questions"))
    findings = asked(with_stakes(measured.measurement), questions)
    measured = replace(measured, measurement=replace(measured.measurement, findings=findings))
    seconds = {**prepared.seconds, "measuring": time.perf_counter() - began}
    run = Run(
        measured,
        Later.of(Behind(stock.models, stock.plans, prepared.origin, overrides)),
        tuple(note_of(model) for model in stock.models),
        prepared.failed,
        prefabrication_shares(measured.measurement, ()),
        {},
        None,
        _sources(prepared.paths),
        places_of(measured.bodies, prepared.origin),
    )
    return replace(run, record=record_of(run, prepared.settings, seconds))


def bill(
    paths: Sequence[Path],
    settings: Settings | None = None,
    progress: Progress = silent,
    earlier: "TypedBill | None" = None,
) -> Run:
    """Measure and price models; what people typed into the `earlier` bill is taken over.

    Raises InputError as `measure` does, and for faults in the rates.
    """
    from takeoff.billing import load_billing, storey_order

    settings = settings or Settings()
    billing = load_billing(settings)
    run = measure(paths, settings, progress)
    progress("pricing", 0, 0)
    began = time.perf_counter()
    with collector_off():
        storeys = storey_order(run.notes)
        listed = items_once(run.key, settings, lambda: billing.items(run.measurement, storeys))
        priced = billing.price(run.measurement, storeys, earlier, listed)
        return with_bill(run, priced, settings, time.perf_counter() - began)


def with_bill(run: Run, priced: "Bill", settings: Settings, seconds: float) -> Run:
    """The run with its bill, which took so many seconds, in the record too; findings have what hangs on them."""
    from takeoff.pricing.stakes import stakes_of, with_money
    from takeoff.questions import asked, load_questions

    measurement = run.measurement
    own = asked(priced.findings, load_questions(settings.file("questions")))
    stakes = stakes_of(measurement, priced)
    priced = replace(priced, findings=with_money(own, stakes))
    findings = with_money(measurement.findings, stakes)
    measured = replace(run.measured, measurement=replace(measurement, findings=findings))
    run = replace(run, measured=measured, bill=priced, shares=priced.shares)
    return replace(run, record=record_of(run, settings, {**run.record["seconds"], "pricing": seconds}))


def _with_findings(measured: Measured, more: Sequence[Finding]) -> Measured:
    if not more:
        return measured
    findings = (*measured.measurement.findings, *more)
    return replace(measured, measurement=replace(measured.measurement, findings=findings))


def _sources(paths: Sequence[Path]) -> dict[str, Path]:
    return {name: path for path, name in model_names(paths).items()}


def _from_cache(kept: _Kept, paths: Sequence[Path], settings: Settings, seconds: float) -> Run:
    """The run that was kept. Whoever draws it has its bodies measured again, from the solids that were kept."""
    again: Later[Run] = Later(lambda: _measured(paths, settings, Shelf(open_store()), silent)[0])
    drawing: Later[Drawing] = Later(lambda: again.value.measured.drawing.value)
    run = Run(
        Measured(unpacked(kept.tables), kept.ground, drawing),
        Later(lambda: again.value.behind.value),
        kept.notes,
        (),
        kept.shares,
        {},
        None,
        _sources(paths),
        kept.places(),
        lasting=True,
    )
    return replace(run, record=record_of(run, settings, {"cache": seconds}))
