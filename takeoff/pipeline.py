"""The stages in their order: files to facts to methods to solids to quantities to a priced bill."""

import hashlib
import platform
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from importlib.metadata import version as installed_version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from takeoff import __version__
from takeoff.findings import Finding, InputError, NothingToMeasure
from takeoff.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from takeoff.measuring.measure import Measured, Rules
    from takeoff.measuring.overrides import Overrides
    from takeoff.measuring.plan import ElementPlan
    from takeoff.measuring.records import Measurement
    from takeoff.measuring.stock import Stock
    from takeoff.pricing.records import Bill, ShareRow
    from takeoff.pricing.typed import TypedBill
    from takeoff.reading.facts import ModelFacts

Progress = Callable[[str, int, int], None]
"""Called with the stage, how many are done, and how many there are (0: not known)."""

LIBRARIES = ("ifcopenshell", "manifold3d", "shapely", "numpy", "scipy")


def _silent(stage: str, done: int, total: int) -> None:
    del stage, done, total


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """A finished run: the tables, what drew them, and the record of the run for run.json and Basis.

    `origin` (3,) metres is what the bodies' meshes are relative to; `sources` the file of each model by its name;
    `overrides` the user's list of methods that it was measured with.
    """

    measured: "Measured"
    models: "tuple[ModelFacts, ...]"
    plans: "tuple[ElementPlan, ...]"
    failed: tuple[Finding, ...]
    shares: "tuple[ShareRow, ...]"
    record: dict[str, Any]
    bill: "Bill | None" = None
    origin: Any = None
    sources: Mapping[str, Path] = field(default_factory=dict)
    overrides: "Overrides | None" = None

    @property
    def measurement(self) -> "Measurement":
        """The tables."""
        return self.measured.measurement


@dataclass(slots=True)
class _Clock:
    seconds: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def stage(self, name: str) -> "Iterator[None]":
        began = time.perf_counter()
        try:
            yield
        finally:
            self.seconds[name] = self.seconds.get(name, 0.0) + time.perf_counter() - began


@dataclass(frozen=True, slots=True, eq=False)
class Prepared:
    """Models read and tessellated, ready to be measured: once as they are, and for each alternative to them."""

    paths: tuple[Path, ...]
    settings: Settings
    stock: "Stock"
    origin: Any
    rules: "Rules"
    methods: Any
    overrides: Any
    failed: tuple[Finding, ...]
    seconds: Mapping[str, float]


def measure(paths: Sequence[Path], settings: Settings | None = None, progress: Progress = _silent) -> Run:
    """Measure models together in one coordinate system.

    A file that cannot be used costs that file: it becomes a finding and an entry of `failed`. Raises
    InputError when no file can be used, when a data file is wrong, or when there is no concrete at all.
    """
    prepared = prepare(paths, settings, progress)
    run = measure_prepared(prepared, progress)
    if prepared.overrides is None:
        return run
    from takeoff.measuring.found_again import find_again
    from takeoff.measuring.whereabouts import places_of

    # Shape and place are known only once all is measured, so a list that has lost elements costs a second run.
    places = places_of(run.measured.bodies, prepared.origin)
    overrides = find_again(prepared.overrides, run.measurement.parts, places)
    if overrides is None:
        return run
    return measure_prepared(prepare(paths, settings, progress, overrides), progress)


def prepare(
    paths: Sequence[Path],
    settings: Settings | None = None,
    progress: Progress = _silent,
    overrides: "Overrides | None" = None,
) -> Prepared:
    """Read models, decide methods, and make all solids; `overrides` stand in place of those of the settings.

    Raises InputError as `measure` does.
    """
    from takeoff.measuring.stock import Stock

    settings = settings or Settings()
    clock = _Clock()
    with clock.stage("data files"):
        rules, methods, given = _rules(settings)
        overrides = overrides or given
    with tempfile.TemporaryDirectory(prefix="takeoff-") as scratch:
        with clock.stage("reading"):
            models, failed = _read(paths, Path(scratch), progress)
        with clock.stage("methods"):
            from takeoff.measuring.orders import make_orders
            from takeoff.measuring.parts import plan_elements
            from takeoff.measuring.plan import with_distinct_parts

            plans = with_distinct_parts(plan_elements(models, methods, overrides))
            orders = make_orders(plans)
            if not orders:
                raise NothingToMeasure(f"{_names(paths)}: no concrete element was found; nothing to measure")
        with clock.stage("solids"):
            solids, origin = _solids(models, plans, orders, settings, progress)
    stock = Stock(models, plans, orders, solids)
    return Prepared(
        tuple(paths), settings, stock, origin, rules, methods, overrides, failed, dict(clock.seconds)
    )


def measure_prepared(prepared: Prepared, progress: Progress = _silent) -> Run:
    """Measure what was prepared. Raises InputError when there is no concrete at all."""
    from takeoff.measuring.measure import measure as measure_all
    from takeoff.measuring.overrides import unused_overrides
    from takeoff.measuring.plan_findings import shell_findings
    from takeoff.pricing.shares import prefabrication_shares

    stock, overrides = prepared.stock, prepared.overrides
    began = time.perf_counter()
    measured = measure_all(
        stock.models,
        stock.plans,
        stock.orders,
        stock.solids,
        prepared.origin,
        prepared.rules,
        lambda stage: progress(stage, 0, 0),
    )
    if not any(part.net_volume_m3 for part in measured.measurement.parts):
        reasons = {part.condition for part in measured.measurement.parts if part.condition}
        names = _names(prepared.paths)
        raise InputError(f"{names}: no concrete could be measured ({'; '.join(sorted(reasons)[:3])})")
    measured = _with_findings(
        measured, shell_findings(stock.plans, measured.measurement.parts, prepared.methods)
    )
    if overrides is not None:
        measured = _with_findings(measured, (*unused_overrides(stock.models, overrides), *overrides.findings))
    measured = _with_findings(measured, prepared.failed)
    seconds = {**prepared.seconds, "measuring": time.perf_counter() - began}
    shares = prefabrication_shares(measured.measurement, ())
    sources = {name: path for path, name in model_names(prepared.paths).items()}
    run = Run(
        measured,
        stock.models,
        stock.plans,
        prepared.failed,
        shares,
        {},
        None,
        prepared.origin,
        sources,
        overrides,
    )
    return replace(run, record=_record(run, prepared.settings, seconds))


def bill(
    paths: Sequence[Path],
    settings: Settings | None = None,
    progress: Progress = _silent,
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
    priced = billing.price(run.measurement, storey_order(run.models), earlier)
    return with_bill(run, priced, settings, time.perf_counter() - began)


def with_bill(run: Run, priced: "Bill", settings: Settings, seconds: float) -> Run:
    """The run with its bill, which took so many seconds, in the record too."""
    run = replace(run, bill=priced, shares=priced.shares)
    return replace(run, record=_record(run, settings, {**run.record["seconds"], "pricing": seconds}))


def _with_findings(measured: "Measured", more: "Sequence[Finding]") -> "Measured":
    if not more:
        return measured
    findings = (*measured.measurement.findings, *more)
    return replace(measured, measurement=replace(measured.measurement, findings=findings))


def _rules(settings: Settings) -> tuple[Any, Any, Any]:
    from takeoff.measuring.allowances import load_allowances
    from takeoff.measuring.checks import load_checks
    from takeoff.measuring.convention import load_convention
    from takeoff.measuring.finishes import load_finishes
    from takeoff.measuring.handling import load_handling
    from takeoff.measuring.joint_rules import load_joint_rules
    from takeoff.measuring.measure import Rules
    from takeoff.measuring.methods import load_rules
    from takeoff.measuring.overrides import load_overrides
    from takeoff.measuring.panelling_rules import load_panelling

    rules = Rules(
        load_convention(settings.file("convention")),
        load_allowances(settings.file("allowances")),
        load_handling(settings.file("handling")),
        load_joint_rules(settings.file("joints")),
        load_panelling(settings.file("panelling")),
        load_checks(settings.file("checks")),
        load_finishes(settings.file("finishes")),
        settings.ground_level,
    )
    overrides = load_overrides(settings.overrides) if settings.overrides is not None else None
    return rules, load_rules(settings.file("methods")), overrides


def _read(
    paths: Sequence[Path], scratch: Path, progress: Progress
) -> "tuple[tuple[ModelFacts, ...], tuple[Finding, ...]]":
    """Facts of every file that can be used; findings for the others. Raises when none can."""
    from takeoff.reading.model import read_model

    models, failed = [], []
    seen = model_names(paths)
    for done, (path, name) in enumerate(seen.items()):
        progress("reading", done, len(seen))
        try:
            models.append(read_model(path, scratch, name))
        except InputError as error:
            if len(seen) == 1:
                raise
            failed.append(Finding("error", "model-not-read", name, "", str(error), "left out"))
    if not models:
        raise InputError("\n".join(finding.message for finding in failed))
    return tuple(models), tuple(failed)


def model_names(paths: Sequence[Path]) -> dict[Path, str]:
    """The name by which each file goes in all tables: its own, with its folder where two files share it."""
    counts = Counter(path.name for path in dict.fromkeys(paths))
    return {path: path.name if counts[path.name] == 1 else str(path) for path in dict.fromkeys(paths)}


def _names(paths: Sequence[Path]) -> str:
    return ", ".join(path.name for path in paths)


def _solids(
    models: "Sequence[ModelFacts]", plans: Any, orders: Any, settings: Settings, progress: Progress
) -> tuple[dict[int, Any], Any]:
    """Solids of all orders, by key, and the origin to which their meshes are relative."""
    from takeoff.geometry.workers import make_solids

    wanted: dict[str, list[Any]] = {model.model: [] for model in models}
    for order in orders:
        wanted[plans[order.element].facts.model].append(order.request)
    transforms = map_transforms(models)
    origin = _origin(models, wanted, transforms)
    solids: dict[int, Any] = {}
    for model in models:
        if wanted[model.model]:
            before = len(solids)
            solids |= make_solids(
                model.path,
                wanted[model.model],
                origin,
                transforms[model.model],
                processes=settings.processes,
                limit_seconds=settings.limit_seconds,
                on_done=lambda done, before=before: progress("solids", before + done, len(orders)),  # type: ignore[misc]
            )
    return solids, origin


def _origin(
    models: "Sequence[ModelFacts]", wanted: Mapping[str, list[Any]], transforms: Mapping[str, Any]
) -> Any:
    """One origin (3,) near the bodies of the first model that has any, so that no digits are lost."""
    import ifcopenshell
    import numpy as np

    from takeoff.geometry.bodies import find_origin

    for model in models:
        if wanted[model.model]:
            products = [number for request in wanted[model.model] for number in request.body]
            return find_origin(ifcopenshell.open(model.path), products, transforms[model.model])
    return np.zeros(3)


def map_transforms(models: "Sequence[ModelFacts]") -> dict[str, Any]:
    """Model-to-map matrices where all of several models state one and the same map system, else None."""
    import numpy as np

    maps = {(model.map_name, model.map_conversion is not None) for model in models}
    use = len(models) > 1 and len(maps) == 1 and models[0].map_conversion is not None
    return {model.model: np.array(model.map_conversion).reshape(4, 4) if use else None for model in models}


def _record(run: Run, settings: Settings, seconds: Mapping[str, float]) -> dict[str, Any]:
    """The record of a run: what went in, by which rules, what came out, how long it took."""
    measurement = run.measurement
    concrete = [part for part in measurement.parts if part.net_volume_m3 is not None]
    kinds: dict[str, int] = {}
    for finding in measurement.findings:
        kinds[finding.kind] = kinds.get(finding.kind, 0) + 1
    totals: dict[str, Any] = {
        "net_volume_m3": sum(part.net_volume_m3 or 0.0 for part in concrete),
        "gross_volume_m3": sum(part.gross_volume_m3 or 0.0 for part in concrete),
        "formwork_m2": sum(row.area_m2 for row in measurement.formwork),
        "reinforcement_kg": sum(part.reinforcement_kg or 0.0 for part in concrete),
        "weight_t": sum(part.weight_t or 0.0 for part in concrete),
        "pieces": len(measurement.pieces),
    }
    for method in ("cast-in-place", "precast", "tilt-up", "unresolved"):
        totals[f"net_volume_m3 {method}"] = sum(
            part.net_volume_m3 or 0.0 for part in concrete if part.method == method
        )
    if run.bill is not None:
        totals["net_total"] = run.bill.net_total
        totals["grand_total"] = run.bill.grand_total
        totals["currency"] = run.bill.currency
        totals["unpriced_items"] = len(run.bill.unpriced)
    return {
        "program": "takeoff",
        "version": __version__,
        "created": datetime.now(UTC).isoformat(timespec="seconds"),
        "title": settings.title or ", ".join(Path(model.model).stem for model in run.models),
        "paper": settings.paper,
        "models": [
            {
                "name": model.model,
                "sha256": model.sha256,
                "schema": model.schema,
                "project": model.project_name,
                "application": model.application,
                "elements": len(model.elements),
            }
            for model in run.models
        ],
        "failed": [{"name": finding.model, "reason": finding.message} for finding in run.failed],
        "ground_level": {"height_m": run.measured.ground.height, "source": run.measured.ground.source},
        "declared_within_half_percent": measurement.declared_close_share,
        "convention": {"name": settings.file("convention").stem, "file": settings.file("convention").name},
        "inputs": [
            {"what": what, "file": path.name, "sha256": hashlib.sha256(path.read_bytes()).hexdigest()}
            for what, path in settings.files().items()
        ],
        "caution": measurement.caution,
        "counts": {**measurement.counts, "findings": dict(sorted(kinds.items()))},
        "totals": totals,
        "prefabrication": [
            {
                "by": row.by, "group": row.group, "measure": row.measure, "unit": row.unit,
                "prefabricated": row.prefabricated, "total": row.total, "share": row.share,
            }
            for row in run.shares
        ],
        "seconds": {stage: round(value, 3) for stage, value in seconds.items()},
        "versions": {
            "takeoff": __version__,
            "python": platform.python_version(),
            **{name: installed_version(name) for name in LIBRARIES},
        },
    }  # fmt: skip
