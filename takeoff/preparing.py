"""From files to solids: data files, facts, methods, geometry; what measuring then goes by."""

import tempfile
import time
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from takeoff.cache.keys import digest_of
from takeoff.cache.shelf import Shelf, question, shifted
from takeoff.findings import Finding, InputError, NothingToMeasure
from takeoff.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from takeoff.measuring.measure import Rules
    from takeoff.measuring.overrides import Overrides
    from takeoff.measuring.stock import Stock
    from takeoff.reading.facts import ModelFacts

Progress = Callable[[str, int, int], None]
"""Called with the stage, how many are done, and how many there are (0: not known)."""


def silent(stage: str, done: int, total: int) -> None:
    """Report nothing."""
    del stage, done, total


@dataclass(slots=True)
class Clock:
    """Seconds by stage."""

    seconds: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def stage(self, name: str) -> "Iterator[None]":
        """Count the time within to a stage."""
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


def prepare(
    paths: Sequence[Path],
    settings: Settings,
    shelf: Shelf,
    progress: Progress = silent,
    overrides: "Overrides | None" = None,
) -> Prepared:
    """Read models, decide methods, and make all solids, but for what is on the shelf.

    `overrides` stand in place of those of the settings.

    A file that cannot be used costs that file: it becomes an entry of `failed`. Raises InputError when no file
    can be used, when a data file is wrong, or when there is no concrete at all.
    """
    from takeoff.measuring.stock import Stock

    clock = Clock()
    with clock.stage("data files"):
        rules, methods, given_overrides = read_rules(settings)
        overrides = overrides or given_overrides
    with tempfile.TemporaryDirectory(prefix="takeoff-") as folder:
        scratch = Path(folder)
        with clock.stage("reading"):
            models, failed = _read(paths, scratch, shelf, progress)
        with clock.stage("methods"):
            from takeoff.measuring.orders import make_orders
            from takeoff.measuring.parts import plan_elements
            from takeoff.measuring.plan import with_distinct_parts

            plans = with_distinct_parts(plan_elements(models, methods, overrides))
            orders = make_orders(plans)
            if not orders:
                raise NothingToMeasure(
                    f"{names_of(paths)}: no concrete element was found; nothing to measure"
                )
        with clock.stage("solids"):
            given = {name: path for path, name in model_names(paths).items()}
            makers = [_Maker(model, given[model.model], scratch, shelf) for model in models]
            solids, origin = _solids(makers, plans, orders, settings, progress)
    stock = Stock(models, plans, orders, solids)
    return Prepared(
        tuple(paths), settings, stock, origin, rules, methods, overrides, failed, dict(clock.seconds)
    )


def model_names(paths: Sequence[Path]) -> dict[Path, str]:
    """The name by which each file goes in all tables: its own, with its folder where two files share it."""
    counts = Counter(path.name for path in dict.fromkeys(paths))
    return {path: path.name if counts[path.name] == 1 else str(path) for path in dict.fromkeys(paths)}


def names_of(paths: Sequence[Path]) -> str:
    """File names for a message."""
    return ", ".join(path.name for path in paths)


def read_rules(settings: Settings) -> tuple[Any, Any, Any]:
    """The rules of measuring, of methods, and the user's list of methods, if any. Raises InputError."""
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
    paths: Sequence[Path], scratch: Path, shelf: Shelf, progress: Progress
) -> "tuple[tuple[ModelFacts, ...], tuple[Finding, ...]]":
    """Facts of every file that can be used; findings for the others. Raises when none can."""
    models, failed = [], []
    seen = model_names(paths)
    for done, (path, name) in enumerate(seen.items()):
        progress("reading", done, len(seen))
        try:
            models.append(_facts(path, name, scratch, shelf))
        except InputError as error:
            if len(seen) == 1:
                raise
            failed.append(Finding("error", "model-not-read", name, "", str(error), "left out"))
    if not models:
        raise InputError("\n".join(finding.message for finding in failed))
    return tuple(models), tuple(failed)


def _facts(path: Path, name: str, scratch: Path, shelf: Shelf) -> "ModelFacts":
    """Facts from the shelf or from the file."""
    if shelf.store is not None:
        try:
            kept = shelf.facts(digest_of(path), name)
        except OSError:
            kept = None  # the reader says what is wrong with the file
        if kept is not None:
            return kept
    from takeoff.reading.model import read_model

    facts = read_model(path, scratch, name)
    shelf.keep_facts(facts)
    return facts


class _Maker:
    """Makes the solids of one model, or takes them from the shelf; opens the file only where it must."""

    def __init__(self, model: "ModelFacts", given: Path, scratch: Path, shelf: Shelf) -> None:
        self.model = model
        self._given = given
        self._scratch = scratch
        self._shelf = shelf

    def origin(self, requests: Sequence[Any], transform: Any) -> Any:
        """An origin (3,) near the model's bodies."""
        import numpy as np

        kept = self._shelf.solids(self.model.sha256, transform)
        if kept is not None:
            return np.array(kept.origin)
        import ifcopenshell

        from takeoff.geometry.bodies import find_origin

        products = [number for request in requests for number in request.body]
        return find_origin(ifcopenshell.open(self._path()), products, transform)

    def solids(
        self,
        requests: Sequence[Any],
        origin: Any,
        transform: Any,
        settings: Settings,
        on_done: Callable[[int], None],
    ) -> dict[int, Any]:
        """Results of all requests by key."""
        import numpy as np

        kept = self._shelf.solids(self.model.sha256, transform)
        known = {} if kept is None else kept.results
        shift = np.zeros(3) if kept is None else np.array(kept.origin) - origin
        results = {
            request.key: shifted(known[question(request)], request.key, shift)
            for request in requests
            if question(request) in known
        }
        missing = [request for request in requests if request.key not in results]
        if not missing:
            return results
        from takeoff.geometry.workers import make_solids

        there = len(results)
        results |= make_solids(
            self._path(),
            missing,
            origin,
            transform,
            processes=settings.processes,
            limit_seconds=settings.limit_seconds,
            on_done=lambda done: on_done(there + done),
        )
        self._shelf.keep_solids(self.model.sha256, transform, origin, requests, results)
        return results

    def _path(self) -> str:
        """A plain file that can be opened: facts from the shelf name one that is no more."""
        if Path(self.model.path).exists():
            return self.model.path
        from takeoff.reading.sources import open_source

        return str(open_source(self._given, self._scratch).path)


def _solids(
    makers: Sequence[_Maker], plans: Any, orders: Any, settings: Settings, progress: Progress
) -> tuple[dict[int, Any], Any]:
    """Solids of all orders, by key, and the one origin to which their meshes are relative.

    It lies near the bodies of the first model that has any, so that no digits are lost.
    """
    import numpy as np

    wanted: dict[str, list[Any]] = {maker.model.model: [] for maker in makers}
    for order in orders:
        wanted[plans[order.element].facts.model].append(order.request)
    transforms = map_transforms([maker.model for maker in makers])
    needed = [maker for maker in makers if wanted[maker.model.model]]
    origin = np.zeros(3)
    solids: dict[int, Any] = {}
    for number, maker in enumerate(needed):
        requests, transform = wanted[maker.model.model], transforms[maker.model.model]
        if number == 0:
            origin = maker.origin(requests, transform)
        before = len(solids)
        solids |= maker.solids(
            requests,
            origin,
            transform,
            settings,
            lambda done, before=before: progress("solids", before + done, len(orders)),  # type: ignore[misc]
        )
    return solids, origin


def map_transforms(models: "Sequence[ModelFacts]") -> dict[str, Any]:
    """Model-to-map matrices where all of several models state one and the same map system, else None."""
    import numpy as np

    maps = {(model.map_name, model.map_conversion is not None) for model in models}
    use = len(models) > 1 and len(maps) == 1 and models[0].map_conversion is not None
    return {model.model: np.array(model.map_conversion).reshape(4, 4) if use else None for model in models}
