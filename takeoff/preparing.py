"""From files to solids: data files, facts, methods, geometry; what measuring then goes by."""

import contextlib
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec import Struct, field

from takeoff.cache.keys import digest_of
from takeoff.cache.shelf import Shelf, question, shifted
from takeoff.findings import Finding, InputError, NothingToMeasure
from takeoff.isolation.host import Host
from takeoff.isolation.patience import SHORT
from takeoff.isolation.workshop import Workshop
from takeoff.model_names import model_names, names_of
from takeoff.reading.common_map import map_transforms
from takeoff.scratch import scratch_folder
from takeoff.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from takeoff.cache.shelf import KeptSolids
    from takeoff.measuring.measure import Rules
    from takeoff.measuring.overrides import Overrides
    from takeoff.measuring.site_terrain import ReadTerrain
    from takeoff.measuring.stock import Stock
    from takeoff.reading.facts import ModelFacts

Progress = Callable[[str, int, int], None]
"""Called with the stage, how many are done, and how many there are (0: not known)."""


def silent(stage: str, done: int, total: int) -> None:
    """Report nothing."""
    del stage, done, total


class Clock(Struct):
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


class Prepared(Struct, frozen=True, eq=False):
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
    shop: Workshop


def prepare(
    paths: Sequence[Path],
    settings: Settings,
    shelf: Shelf,
    shop: Workshop,
    progress: Progress = silent,
    overrides: "Overrides | None" = None,
) -> Prepared:
    """Read models, decide methods, and make all solids, but for what is on the shelf.

    `overrides` stand in place of those of the settings. What is not safe to do here is done in processes of `shop`.

    A file that cannot be used costs that file: it becomes an entry of `failed`. Raises InputError when no file
    can be used, when a data file is wrong, or when there is no concrete at all.
    """
    clock = Clock()
    with scratch_folder("run") as folder:
        sources = [_Source(path, name, folder, shelf, shop) for path, name in model_names(paths).items()]
        with clock.stage("data files"):
            import numpy as np  # before the processes that read files are forked: they use it too

            for source in sources[: shop.processes]:
                source.begin()  # files are read while the rules are
            from takeoff.measuring.stock import Stock

            rules, methods, given_overrides = read_rules(settings)
            overrides = overrides or given_overrides
        with clock.stage("reading"):
            sources, failed = _read(sources, shop, progress)
            models = tuple(source.facts() for source in sources)
            transforms = map_transforms(models)
            central = next((source for source in sources if source.has_bodies()), None)
            if central is not None:
                central.begin_origin(transforms[central.name])  # found while methods are decided
        with clock.stage("methods"):
            from takeoff.measuring.orders import make_orders
            from takeoff.measuring.parts import plan_elements
            from takeoff.measuring.plan import with_distinct_parts

            plans = with_distinct_parts(plan_elements(models, methods, overrides, shop.spread))
            orders = make_orders(plans)
            if not orders:
                raise NothingToMeasure(
                    f"{names_of(paths)}: no concrete element was found; nothing to measure"
                )
        with clock.stage("solids"):
            # Near the bodies of the first model that has any, so that no digits are lost.
            origin = np.zeros(3) if central is None else central.origin(transforms[central.name])
            solids = _solids(sources, plans, orders, transforms, origin, progress)
        with clock.stage("terrain"):
            terrains = _terrains(sources, transforms, origin, rules.convention.ground.terrain_words)
    stock = Stock(models, plans, orders, solids, terrains)
    if any(bar.lines for model in models for bar in model.bars):
        from takeoff.measuring.loose_bars import with_placed_bars

        stock = with_placed_bars(stock, origin, transforms)
    return Prepared(
        tuple(paths), settings, stock, origin, rules, methods, overrides, failed, dict(clock.seconds), shop
    )


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
    sources: "Sequence[_Source]", shop: Workshop, progress: Progress
) -> "tuple[list[_Source], tuple[Finding, ...]]":
    """The files whose facts could be had; findings for the others. Raises when there is none."""
    usable, failed = [], []
    for done, source in enumerate(sources):
        progress("reading", done, len(sources))
        for ahead in sources[done : done + shop.processes]:
            ahead.begin()
        try:
            source.facts()
            usable.append(source)
        except InputError as error:
            if len(sources) == 1:
                raise
            failed.append(Finding("error", "model-not-read", source.name, "", str(error), "left out"))
    if not usable:
        raise InputError("\n".join(finding.message for finding in failed))
    return usable, tuple(failed)


class _Source:
    """One model: its facts and solids, from the shelf where they are kept, else from the file.

    The file is read in a process of its own, which then forks the workers for its solids.
    """

    def __init__(self, path: Path, name: str, scratch: Path, shelf: Shelf, shop: Workshop) -> None:
        self.path = path
        self.name = name
        self._scratch = scratch
        self._shelf = shelf
        self._shop = shop
        self._facts: ModelFacts | None = None
        self._host: Host | None = None
        self._begun = False
        self._kept: tuple[KeptSolids | None] | None = None

    def begin(self) -> None:
        """Have the file read, unless its facts are on the shelf."""
        if self._begun:
            return
        self._begun = True
        if self._shelf.store is not None:
            with contextlib.suppress(OSError):  # the reader says what is wrong with the file
                self._facts = self._shelf.facts(digest_of(self.path), self.name)
        if self._facts is None:
            self._host = self._shop.host()
            if self._host is not None:
                self._host.begin_reading(self.path, self._scratch, self.name, self._shop.limit_seconds)

    def facts(self) -> "ModelFacts":
        """The facts. Raises InputError, one line."""
        if self._facts is None:
            self.begin()
        if self._facts is None:
            if self._host is None:
                from takeoff.reading.model import read_model

                self._facts = read_model(self.path, self._scratch, self.name)
            else:
                try:
                    self._facts = self._host.facts()
                except InputError:
                    self._shop.dismiss(self._host)
                    raise
                if self._shop.crowded():
                    self._shop.dismiss(self._host)
                    self._host = None
            self._shelf.keep_facts(self._facts)
        return self._facts

    def has_bodies(self) -> bool:
        """Whether any element has a body."""
        return any(element.body for element in self.facts().elements)

    def begin_origin(self, transform: Any) -> None:
        """Have an origin near the model's bodies found, unless the shelf tells it."""
        if self._kept_solids(transform) is not None:
            return
        host = self._open()
        if host is not None:
            with contextlib.suppress(EOFError):  # the process has ended: whoever asks it next tells why
                host.begin_origin(self._bodies(), transform, self._shop.limit_seconds * SHORT)

    def origin(self, transform: Any) -> Any:
        """An origin (3,) near the model's bodies."""
        import numpy as np

        kept = self._kept_solids(transform)
        if kept is not None:
            return np.array(kept.origin)
        if self._host is not None:
            try:
                return self._host.origin()
            except (RuntimeError, EOFError):
                return np.zeros(3)  # it is a matter of digits only: far from zero there are fewer
        import ifcopenshell

        from takeoff.geometry.bodies import find_origin

        return find_origin(ifcopenshell.open(self._plain()), self._bodies(), transform)

    def _kept_solids(self, transform: Any) -> "KeptSolids | None":
        if self._kept is None:
            self._kept = (self._shelf.solids(self.facts().sha256, transform),)
        return self._kept[0]

    def _bodies(self) -> list[int]:
        return [number for element in self.facts().elements for number in element.body]

    def solids(
        self, requests: Sequence[Any], origin: Any, transform: Any, on_done: Callable[[int], None]
    ) -> dict[int, Any]:
        """Results of all requests by key."""
        import numpy as np

        digest = self.facts().sha256
        kept = self._kept_solids(transform)
        self._kept = None
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
            self._plain(),
            missing,
            origin,
            transform,
            processes=self._shop.processes,
            limit_seconds=self._shop.limit_seconds,
            on_done=lambda done: on_done(there + done),
            host=self._open(),
        )
        self._shelf.keep_solids(digest, transform, origin, requests, results)
        return results

    def terrains(self, products: Sequence[int], origin: Any, transform: Any) -> list[Any]:
        """What was read of some products as terrain, in their order."""
        digest = self.facts().sha256
        kept = self._shelf.terrains(digest, transform, products, origin)
        if kept is not None:
            return kept
        from takeoff.geometry.terrain_requests import TerrainRequest
        from takeoff.geometry.workers import read_terrains

        results = read_terrains(
            self._plain(),
            [TerrainRequest(key, product) for key, product in enumerate(products)],
            origin,
            transform,
            processes=self._shop.processes,
            limit_seconds=self._shop.limit_seconds,
            host=self._open(),
        )
        self._shelf.keep_terrains(digest, transform, products, origin, results)
        return results

    def _open(self) -> Host | None:
        """The process that has the file open."""
        if self._host is None:
            host = self._shop.host()
            if host is not None:
                try:
                    host.open(self._plain())
                except (RuntimeError, EOFError) as problem:
                    self._shop.dismiss(host)
                    raise InputError(f"{self.path}: cannot be opened ({problem}); export it again") from None
            self._host = host
        return self._host

    def _plain(self) -> str:
        """A plain file that can be opened: facts from the shelf name one that is no more."""
        facts = self.facts()
        if Path(facts.path).exists():
            return facts.path
        from takeoff.reading.sources import open_source

        return str(open_source(self.path, self._scratch).path)


def _solids(
    sources: Sequence[_Source],
    plans: Any,
    orders: Any,
    transforms: Mapping[str, Any],
    origin: Any,
    progress: Progress,
) -> dict[int, Any]:
    """Solids of all orders, by key; meshes are relative to the origin (3,)."""
    wanted: dict[str, list[Any]] = {source.name: [] for source in sources}
    for order in orders:
        wanted[plans[order.element].facts.model].append(order.request)
    solids: dict[int, Any] = {}
    for source in sources:
        requests, transform = wanted[source.name], transforms[source.name]
        if not requests:
            continue
        before = len(solids)
        solids |= source.solids(
            requests,
            origin,
            transform,
            lambda done, before=before: progress("solids", before + done, len(orders)),  # type: ignore[misc]
        )
    return solids


def _terrains(
    sources: Sequence[_Source], transforms: Mapping[str, Any], origin: Any, words: Sequence[str]
) -> "tuple[ReadTerrain, ...]":
    """The terrain of all models, relative to the origin; of a model without any nothing is opened."""
    from takeoff.measuring.site_terrain import ReadTerrain, is_terrain

    wanted = {
        source: [facts for facts in source.facts().terrains if is_terrain(facts, words)] for source in sources
    }
    read: list[ReadTerrain] = []
    for source, terrains in wanted.items():
        if terrains:
            results = source.terrains([facts.step_id for facts in terrains], origin, transforms[source.name])
            read += [
                ReadTerrain(source.name, facts, result)
                for facts, result in zip(terrains, results, strict=True)
            ]
    return tuple(read)
