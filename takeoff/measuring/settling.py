"""From solids to bodies: overlaps resolved, lumps told apart, each with the storey where it stands."""

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct

from takeoff.findings import Finding
from takeoff.geometry.mesh import Floats, Mesh, boxes_of, together, volumes_of
from takeoff.geometry.neighbours import near_pairs
from takeoff.geometry.overlaps import Crew, Resolved, here, resolve_overlaps
from takeoff.geometry.solids import SolidResult
from takeoff.measuring.bodies import PIECES, Body
from takeoff.measuring.convention import Convention
from takeoff.measuring.orders import Order
from takeoff.measuring.plan import ElementPlan, PartPlan
from takeoff.measuring.same_pieces import same_pieces
from takeoff.measuring.storeys import Levels, levels_of, storey_of
from takeoff.reading.facts import Storey
from takeoff.told import Quantity, told

IN_TWO_MODELS = "in two models"
"""So begins the condition of a part that counts in another model."""
WORTH_SAYING = 1e-3
"""Overlaps up to this volume, m3 (a litre), are modelling tolerance: settled without a finding."""


class Settled(Struct, frozen=True, eq=False):
    """Bodies ready to be measured; `swallowed` parts (element, part) of which nothing remained, with the reason.

    `kept` m3 of each element, by (model, GlobalId), are space that others share and that counts in it. `slivers` m3 are
    what the pieces of another model leave of cast concrete that counts as those pieces: their joints.
    """

    bodies: tuple[Body, ...]
    swallowed: Mapping[tuple[int, int], tuple[float, float, str]]
    findings: tuple[Finding, ...]
    kept: Mapping[tuple[str, str], float]
    slivers: Mapping[tuple[str, str], float]


class _Raw(Struct, frozen=True, eq=False):
    element: int
    plan: PartPlan
    mesh: Mesh
    gross: float
    net: float
    openings: tuple[float, ...]


def settle(
    plans: Sequence[ElementPlan],
    orders: Sequence[Order],
    solids: Mapping[int, SolidResult],
    storeys: Mapping[str, Sequence[Storey]],
    origin: Floats,
    convention: Convention,
    crew: Crew = here,
) -> Settled:
    """Resolve the overlaps of all solids. `solids` by the key of their order; `storeys` by model.

    Heights of storeys are absolute, meshes are relative to `origin` (3,).
    """
    raws = [
        _Raw(
            order.element, part, piece.mesh, piece.gross, piece.net, solids[order.request.key].opening_volumes
        )
        for order in orders
        if order.request.key in solids
        for part, piece in zip(order.parts, solids[order.request.key].slices, strict=False)
        if piece is not None and len(piece.mesh.faces)
    ]
    concrete = [i for i, raw in enumerate(raws) if raw.plan.method != "not-concrete"]
    models = _models(plans, convention)
    doubles = _doubles(plans, raws, concrete, models, convention)
    concrete = [i for i in concrete if i not in doubles]
    resolved = _resolve(plans, raws, concrete, models, convention, crew)
    lumps: list[tuple[Mesh, ...]] = [(raw.mesh,) for raw in raws]
    for position, i in enumerate(concrete):
        lumps[i] = resolved.lumps[position]
    for i in doubles:
        lumps[i] = ()
    findings = [*_double_findings(plans, raws, doubles), *_findings(plans, raws, concrete, resolved)]
    twins = {
        concrete[overlap.other]: plans[raws[concrete[overlap.keeper]].element].facts.global_id
        for overlap in resolved.overlaps
        if overlap.same
    }
    levels = {
        model: levels_of(storeys.get(model, ()))
        for model in dict.fromkeys(plan.facts.model for plan in plans)
    }
    spans = _spans(lumps, float(origin[2]))
    sizes = _sizes(raws, lumps)
    bodies: list[Body] = []
    swallowed: dict[tuple[int, int], tuple[float, float, str]] = {}
    numbers: dict[tuple[str, str], int] = defaultdict(int)
    for plan in plans:
        key = plan.facts.model, plan.facts.global_id
        numbers[key] = max([numbers[key], *(part.part for part in plan.parts)])
    for i, raw in enumerate(raws):
        plan = plans[raw.element]
        if not lumps[i]:
            reason = f"the same body as {twins[i]}" if i in twins else "lies wholly within other concrete"
            if i in doubles:
                reason = f"{IN_TWO_MODELS}, counted as {plans[raws[doubles[i][0]].element].facts.global_id}"
            swallowed[raw.element, raw.plan.part] = (raw.gross, raw.net, reason)
            continue
        groups = _by_storey(plan, spans[i], levels[plan.facts.model])
        nets = [sum([sizes[i][place] for place in places]) for _, places in groups]
        total = sum(nets)
        for place, ((name, level), places) in enumerate(groups):
            share = nets[place] / total if total else 0.0
            key = plan.facts.model, plan.facts.global_id
            if place:
                numbers[key] += 1
            bodies.append(
                Body(
                    element=plan,
                    plan=raw.plan,
                    number=numbers[key] if place else raw.plan.part,
                    lump=place + 1,
                    mesh=together([lumps[i][lump] for lump in places]),
                    gross=raw.gross * share,
                    before=raw.net * share,
                    net=nets[place],
                    storey=name,
                    storey_elevation=None if level is None else level - float(origin[2]),
                    openings=raw.openings,
                )
            )
    kept = _kept(plans, raws, concrete, resolved)
    return Settled(tuple(bodies), swallowed, tuple(findings), kept, _slivers(plans, raws, doubles))


def _slivers(
    plans: Sequence[ElementPlan], raws: Sequence[_Raw], doubles: Mapping[int, tuple[int, float]]
) -> dict[tuple[str, str], float]:
    """What pieces of another model leave of cast concrete that counts as they, m3."""
    slivers: dict[tuple[str, str], float] = defaultdict(float)
    for i, (keeper, shared) in doubles.items():
        if raws[i].plan.method not in PIECES and raws[keeper].plan.method in PIECES:
            facts = plans[raws[i].element].facts
            slivers[facts.model, facts.global_id] += max(0.0, raws[i].net - shared)
    return slivers


def _kept(
    plans: Sequence[ElementPlan], raws: Sequence[_Raw], concrete: Sequence[int], resolved: Resolved
) -> dict[tuple[str, str], float]:
    """Shared space that counts in each element, m3."""
    kept: dict[tuple[str, str], float] = defaultdict(float)
    for overlap in resolved.overlaps:
        if overlap.cut and not overlap.same:
            facts = plans[raws[concrete[overlap.keeper]].element].facts
            kept[facts.model, facts.global_id] += overlap.volume
    return kept


def _models(plans: Sequence[ElementPlan], convention: Convention) -> dict[str, int]:
    """Place of each model among those that keep what several of them show: the one that keeps it first."""
    turn = 1 if convention.overlaps.twin == "first" else -1
    models: dict[str, int] = {}
    for plan in plans:
        models.setdefault(plan.facts.model, turn * len(models))
    return models


def _doubles(
    plans: Sequence[ElementPlan],
    raws: Sequence[_Raw],
    concrete: Sequence[int],
    models: Mapping[str, int],
    convention: Convention,
) -> dict[int, tuple[int, float]]:
    """Bodies that another model shows too and keeps: {body: (the one that stands for it, m3 that they share)}."""
    found = same_pieces(
        [raws[i].mesh for i in concrete],
        [models[plans[raws[i].element].facts.model] for i in concrete],
        np.array([raws[i].plan.method in PIECES for i in concrete], dtype=bool),
        convention.overlaps.twin_percent / 100.0,
        convention.overlaps.rest_percent / 100.0,
    )
    return {concrete[double]: (concrete[keeper], shared) for double, (keeper, shared) in found.items()}


def _double_findings(
    plans: Sequence[ElementPlan], raws: Sequence[_Raw], doubles: Mapping[int, tuple[int, float]]
) -> list[Finding]:
    """One finding for each body that counts in another model."""
    findings = []
    for i, (keeper, shared) in doubles.items():
        facts, other = plans[raws[i].element].facts, plans[raws[keeper].element].facts
        message = told(
            "{} ({}) fills the same space as {} ({} in {}), {} of it; ask which of the two is to be built",
            facts.name or facts.ifc_class, Quantity(raws[i].net, "m3"), other.name or other.ifc_class,
            other.global_id, other.model, Quantity(shared, "m3"),
        )  # fmt: skip
        if (raws[i].plan.method in PIECES) != (raws[keeper].plan.method in PIECES):
            message = told("{}: cast or set", message)
        findings.append(
            Finding(
                "warning", "duplicate", facts.model, facts.global_id, message,
                f"counted once, under {other.global_id}", raws[i].net, "m3",
            )
        )  # fmt: skip
    return findings


def _resolve(
    plans: Sequence[ElementPlan],
    raws: Sequence[_Raw],
    concrete: Sequence[int],
    models: Mapping[str, int],
    convention: Convention,
    crew: Crew,
) -> Resolved:
    if not concrete:
        return Resolved((), (), ())
    meshes = [raws[i].mesh for i in concrete]
    owner = np.array([raws[i].element for i in concrete])
    pairs = near_pairs(boxes_of(meshes))
    pairs = pairs[owner[pairs[:, 0]] != owner[pairs[:, 1]]] if len(pairs) else pairs
    order: dict[str, int] = {role: place for place, role in enumerate(convention.overlaps.keep)}
    rank = []
    for i in concrete:
        plan, raw = plans[raws[i].element], raws[i]
        piece = raw.plan.method in PIECES
        # volumes to the cubic centimetre, so that rounding noise does not decide between equals
        size = -round(raw.net, 6)
        rank.append(
            (
                0 if piece else 1,
                0 if piece else order[plan.role],
                size,
                models[plan.facts.model],
                plan.facts.global_id,
                raw.plan.part,
            )
        )
    whole = [raws[i].plan.method in PIECES for i in concrete]
    apart = [plans[raws[i].element].role in ("wall", "column") for i in concrete]
    return resolve_overlaps(meshes, rank, whole, pairs, apart, crew)


def _spans(lumps: Sequence[tuple[Mesh, ...]], shift: float) -> list[list[tuple[float, float]]]:
    """Lowest and highest point of each lump of each body, m; `shift` is the height of the meshes' origin."""
    heights = (boxes_of([lump for own in lumps for lump in own])[:, :, 2] + shift).tolist()
    each = iter(heights)
    return [[tuple(next(each)) for _ in own] for own in lumps]


def _sizes(raws: Sequence[_Raw], lumps: Sequence[tuple[Mesh, ...]]) -> list[list[float]]:
    """Volume of each lump of each body, m3; of one that was not cut the volume that the solid stage proved."""
    cut = [not (len(own) == 1 and own[0] is raw.mesh) for raw, own in zip(raws, lumps, strict=True)]
    each = iter(volumes_of([lump for own, was in zip(lumps, cut, strict=True) if was for lump in own]))
    return [
        [next(each) for _ in own] if was else [raw.net]
        for raw, own, was in zip(raws, lumps, cut, strict=True)
    ]


def _by_storey(
    plan: ElementPlan, spans: Sequence[tuple[float, float]], levels: Levels
) -> list[tuple[tuple[str, float | None], list[int]]]:
    """Places of lumps gathered by the storey where they stand, from the lowest up."""
    groups: dict[tuple[str, float | None], list[int]] = {}
    for place in sorted(range(len(spans)), key=lambda place: spans[place][0]):
        low, high = spans[place]
        stands = storey_of(plan.role, low, high, plan.facts.storey, levels)
        groups.setdefault(stands, []).append(place)
    return list(groups.items())


def _findings(
    plans: Sequence[ElementPlan], raws: Sequence[_Raw], concrete: Sequence[int], resolved: Resolved
) -> list[Finding]:
    findings = []

    def label(position: int) -> tuple[str, str, str]:
        facts = plans[raws[concrete[position]].element].facts
        return facts.model, facts.global_id, facts.name or facts.ifc_class

    for overlap in resolved.overlaps:
        model, global_id, name = label(overlap.other)
        other_model, other_id, other_name = label(overlap.keeper)
        where = other_id if other_model == model else f"{other_id} in {other_model}"
        size = Quantity(overlap.volume, "m3")
        if overlap.same:
            findings.append(
                Finding(
                    "warning", "duplicate", model, global_id,
                    f"{name} is the same body as {other_name} ({where}); ask which of the two is to be built",
                    f"counted once, under {other_id}", overlap.volume, "m3",
                )
            )  # fmt: skip
        elif not overlap.cut and overlap.volume <= WORTH_SAYING:
            continue
        elif not overlap.cut:
            findings.append(
                Finding(
                    "warning", "pieces-overlap", model, global_id,
                    told(
                        "{} and {} ({}) are both prefabricated and share {}; ask the designer",
                        name, other_name, where, size,
                    ),
                    "both keep their whole shape, the shared space counts in both", overlap.volume, "m3",
                )
            )  # fmt: skip
        elif overlap.volume > WORTH_SAYING:
            findings.append(
                Finding(
                    "note", "overlap-resolved", model, global_id,
                    told("{} shares {} with {} ({})", name, size, other_name, where),
                    f"counted in {other_name} only", overlap.volume, "m3",
                )
            )  # fmt: skip
    for keeper, other in resolved.doubts:
        model, global_id, name = label(other)
        findings.append(
            Finding(
                "error", "overlap-uncertain", model, global_id,
                f"{name} overlaps {label(keeper)[2]} ({label(keeper)[1]}), and no cut gave volumes that add up",
                "the shared space is counted in both; check by hand",
            )
        )  # fmt: skip
    return findings
