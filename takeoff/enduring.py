"""Measuring that goes on whatever the libraries make of a body: it is put aside, and told."""

from collections.abc import Hashable, Mapping
from typing import TYPE_CHECKING

from takeoff.isolation import notes
from takeoff.isolation.patience import SHORT, Overrun, overrun_words, patience
from takeoff.isolation.supervision import aside, careful, hung
from takeoff.isolation.trial import tried
from takeoff.isolation.workshop import Workshop
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.measured import Measured
from takeoff.preparing import Prepared, Progress

if TYPE_CHECKING:
    from takeoff.geometry.solids import SolidResult
    from takeoff.isolation.spread import Spread

    Solids = Mapping[int, SolidResult]

BODY_SECONDS = 0.005
FACE_SECONDS = 0.0005
"""Patience with measuring a body, and each of its triangles, beyond what one body may take, seconds: some ten times
what they take on a busy machine."""

LARGE = 1000
"""Triangles from which on a body's own count: those of fewer take no time to speak of."""


def measured_with_patience(prepared: Prepared, progress: Progress) -> Measured:
    """Measured, without the bodies over which measuring fails. Raises InputError where it fails over all of them.

    A body may take the limit, and what its faces need beside; so may what is done for many bodies at once.
    """
    from takeoff.isolation.copies import words_of
    from takeoff.isolation.spread import at_once
    from takeoff.measuring.measure import measure as measure_all
    from takeoff.measuring.narrowing import fault_over, measured_without_culprits, put_aside

    stock, limit = prepared.stock, prepared.settings.limit_seconds

    def measure_these(solids: "Solids", shop: Workshop, divided: "Spread") -> Measured:
        return measure_all(
            stock.models,
            stock.plans,
            stock.orders,
            solids,
            prepared.origin,
            prepared.rules,
            lambda stage: progress(stage, 0, 0),
            aside(shop.crew),
            divided,
            stock.terrains,
        )

    who: dict[int, ElementKey] = {}
    for order in stock.orders:
        facts = stock.plans[order.element].facts
        who[order.request.key] = facts.model, facts.global_id

    def whose(number: int) -> list[int]:
        return [key for key, element in who.items() if notes.number_of(element) == number]

    def bounds(solids: "Solids", share: float) -> tuple[float, float, dict[Hashable, float]]:
        """Seconds for what is done for many at once, for a usual body, and for those of many faces."""
        meshes = {
            key: [one.mesh for one in result.slices if one is not None] for key, result in solids.items()
        }
        faces = {key: sum(len(mesh.faces) for mesh in own) for key, own in meshes.items()}
        count, total = sum(len(own) for own in meshes.values()), sum(faces.values())
        for terrain in stock.terrains:
            if terrain.result.mesh is not None:
                count, total = count + 1, total + len(terrain.result.mesh.faces)
        large: dict[Hashable, float] = {
            who[key]: limit + many * FACE_SECONDS for key, many in faces.items() if many > LARGE
        }
        return share * (limit + count * BODY_SECONDS + total * FACE_SECONDS), limit, large

    def work(solids: "Solids", *, sweeping: bool = True, share: float = 1.0) -> Measured:
        with patience(*bounds(solids, share)):
            return measure_these(
                solids, prepared.shop, prepared.shop.sweep if sweeping else prepared.shop.spread
            )

    def trial(solids: "Solids", *, sweeping: bool = True, share: float = 1.0) -> "Solids":
        def alone() -> None:
            with notes.bounds(*bounds(solids, share)), Workshop(prepared.shop.processes, limit) as shop:
                measure_these(solids, shop, shop.sweep if sweeping else at_once)

        tried(alone)
        return solids

    solids: Solids = stock.solids
    if careful():
        share = 1.0
        if (late := hung()) is not None:
            reason = words_of(Overrun(overrun_words(late.bound)))
            culprits = whose(late.number)
            solids = {**solids, **{key: put_aside(solids[key], reason) for key in culprits if key in solids}}
            share = 1.0 if culprits else SHORT
        _, fault = fault_over(lambda: trial(solids, share=share))
        if fault is not None:
            solids = measured_without_culprits(trial, solids, fault, whose)
    measured, fault = fault_over(lambda: work(solids, sweeping=careful()))
    if measured is not None:
        return measured
    assert fault is not None
    return measured_without_culprits(work, solids, fault, whose)
