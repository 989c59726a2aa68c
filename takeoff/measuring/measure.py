"""Measuring from end to end: solids in, all tables out."""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from takeoff.cache.columns import changed
from takeoff.geometry.contacts import ROUNDING, find_contacts
from takeoff.geometry.facets import make_facets
from takeoff.geometry.mesh import Floats, Ints, boxes_of
from takeoff.geometry.neighbours import near_pairs
from takeoff.geometry.overlaps import Crew, here
from takeoff.geometry.slopes import split_by_rise
from takeoff.geometry.solids import SolidResult
from takeoff.geometry.surfaces import Surfaces, make_surfaces
from takeoff.isolation.spread import Spread, at_once
from takeoff.later import Later
from takeoff.measuring.allowances import AllowanceTable
from takeoff.measuring.assumptions import (
    apart_findings,
    ground_form_findings,
    left_in_findings,
    slabs_on_ground,
    support_findings,
)
from takeoff.measuring.below_ground import below_ground_volumes, measure_below_ground
from takeoff.measuring.bodies import PIECES
from takeoff.measuring.checks import Checks
from takeoff.measuring.convention import Convention
from takeoff.measuring.convention_rows import Results, convention_rows
from takeoff.measuring.declared import compare_declared
from takeoff.measuring.figures import Figures, Scene, make_scene
from takeoff.measuring.finishes import Finishes
from takeoff.measuring.formwork import FormedBody
from takeoff.measuring.ground import find_grounds
from takeoff.measuring.handling import Handling
from takeoff.measuring.holes import hole_rows
from takeoff.measuring.joint_rules import JointRules
from takeoff.measuring.joints import JOINT_LEAN
from takeoff.measuring.keys import part_key
from takeoff.measuring.measured import Drawing, Measured
from takeoff.measuring.orders import Order
from takeoff.measuring.panelling_rules import PanellingRules
from takeoff.measuring.part_rows import part_rows
from takeoff.measuring.pieces import PieceRules
from takeoff.measuring.plan import ElementPlan
from takeoff.measuring.pours import measure_pours, watertight_pours
from takeoff.measuring.prefabrication import measure_prefabrication
from takeoff.measuring.ratios import check_ratios
from takeoff.measuring.records import MeasuredPart, Measurement
from takeoff.measuring.reinforcement import Reinforcement, reinforce
from takeoff.measuring.repeats import measure_figures
from takeoff.measuring.settling import settle
from takeoff.measuring.sides import sides_against_ground
from takeoff.measuring.site_terrain import ReadTerrain
from takeoff.measuring.unmeasured import said_once, unmeasured_parts
from takeoff.reading.facts import ModelFacts

Progress = Callable[[str], None]


class Rules(Struct, frozen=True):
    """The data files that measuring goes by, read and checked; `ground_level` m above zero, if it is known."""

    convention: Convention
    allowances: AllowanceTable
    handling: Handling
    joints: JointRules
    panelling: PanellingRules
    checks: Checks
    finishes: Finishes
    ground_level: float | None = None


def measure(
    models: Sequence[ModelFacts],
    plans: Sequence[ElementPlan],
    orders: Sequence[Order],
    solids: Mapping[int, SolidResult],
    origin: Floats,
    rules: Rules,
    progress: Progress = lambda stage: None,
    crew: Crew = here,
    spread: Spread = at_once,
    terrains: Sequence[ReadTerrain] = (),
) -> Measured:
    """Measure all models together. `solids` by the key of their order, meshes relative to `origin` (3,).

    `terrains` are relative to the same origin. `crew` does the cutting of overlaps, `spread` divides what is
    measured of each body, both perhaps among other processes.
    """
    convention = rules.convention
    progress("overlaps")
    storeys = {model.model: model.storeys for model in models}
    settled = settle(plans, orders, solids, storeys, origin, convention, crew)
    bodies = settled.bodies
    progress("surfaces")
    surfaces = split_by_rise(
        make_surfaces(make_facets([body.mesh for body in bodies])), convention.slopes.limits()
    )
    rows_of = _rows_of(surfaces, len(bodies))
    progress("contacts")
    gap, joint = convention.contacts.gap_mm / 1e3, convention.contacts.joint_mm / 1e3
    asked = max(joint, convention.contacts.ask_to_mm / 1e3)
    piece = np.array([body.method in PIECES for body in bodies], dtype=bool)
    near = max(gap, asked) if piece.any() else gap
    pairs = near_pairs(boxes_of([body.mesh for body in bodies]), near + ROUNDING)
    contacts = find_contacts(surfaces, pairs, gap)
    at_piece = pairs[piece[pairs].any(axis=1)] if len(pairs) else pairs
    at_pieces = find_contacts(surfaces, at_piece, asked, JOINT_LEAN)
    progress("formwork")
    grounded, findings = slabs_on_ground(bodies, surfaces, rows_of, convention)
    sides = sides_against_ground(surfaces, bodies, rows_of, convention.slopes.side_within_deg)
    findings += sides.findings
    scene = make_scene(
        surfaces, bodies, rows_of, contacts, grounded, convention, rules.finishes, sides.regions
    )
    figures = measure_figures(scene, spread)
    sizes = [figures.sizes[number] for number in range(len(bodies))]
    formed, left_in = figures.formed, figures.left_in
    holes = tuple(
        row
        for number, found in figures.pierced.items()
        for row in hole_rows(found, bodies[number], convention)
    )
    findings += apart_findings(bodies)
    findings += left_in_findings(left_in, bodies, convention)
    findings += [*settled.findings, *support_findings(bodies, formed), *ground_form_findings(formed)]

    progress("below ground")
    grounds = find_grounds(rules.ground_level, models, bodies, sizes, grounded, terrains, origin, convention)
    findings += grounds.findings
    envelope = measure_below_ground(
        surfaces, bodies, sizes, rows_of, contacts, grounds.of, grounded, convention
    )
    below, uncut = below_ground_volumes(bodies, sizes, grounds.of)
    findings += uncut

    pours = measure_pours(bodies, sizes, convention)
    low = {bodies[number].key for number in below}
    envelope = (*envelope, *watertight_pours(pours, envelope, low))

    progress("quantities")
    measured_parts = part_rows(
        bodies, sizes, surfaces, formed, holes, below, left_in, convention, rules.handling
    )
    missing, reasons = unmeasured_parts(
        plans, orders, solids, settled, {body.key for body in bodies if body.concrete}
    )
    findings += reasons
    parts, steel = _reinforced([*measured_parts, *missing], plans, models, rules)
    findings += steel.findings
    declared = compare_declared(parts, plans, rules.checks.declared, settled.kept)
    findings += declared.findings
    parts = _with_declared(parts, declared.volumes)
    made = measure_prefabrication(
        parts,
        models,
        plans,
        bodies,
        surfaces,
        [size.outline for size in sizes],
        at_pieces,
        origin,
        PieceRules(rules.handling, rules.joints, rules.panelling),
        joint,
    )
    findings += made.findings
    formwork = tuple(row for body in formed.values() for row in body.rows)
    unformed = tuple(row for body in formed.values() for row in body.surfaces)
    results = Results(parts, formwork, unformed, holes, made.joints, pours)
    measurement = Measurement(
        parts=parts,
        formwork=formwork,
        surfaces=unformed,
        holes=holes,
        reinforcement=steel.rows,
        pieces=made.pieces,
        joints=made.joints,
        counts=_counts(parts),
        envelope=envelope,
        declared=declared.rows,
        declared_close_share=declared.close_share,
        pours=pours,
        bearings=made.bearings,
        loads=made.loads,
        lifts=made.lifts,
        casting=made.casting,
        panels=made.panels,
        storeys=made.storeys,
        repetition=made.repetition,
        caution=made.caution,
        conventions=convention_rows(
            convention, bodies, formed, left_in, surfaces, contacts, results, settled.slivers
        ),
        moulds=made.moulds,
    )
    findings += check_ratios(measurement, rules.checks)
    for model in models:
        findings += model.findings
    for plan in plans:
        findings += plan.findings
    drawing = Drawing(bodies, surfaces, Later(lambda: _drawn(scene, figures)), made.solids)
    return Measured(
        replace(measurement, findings=tuple(said_once(findings))), grounds.level, Later.of(drawing)
    )


def _drawn(scene: Scene, figures: Figures) -> dict[int, FormedBody]:
    """Formwork with what became of each face, for all bodies."""
    if figures.complete:
        return figures.formed
    return scene.formed(range(len(scene.bodies)), figures.sizes, figures.left_in)


def _rows_of(surfaces: Surfaces, count: int) -> list[Ints]:
    """Surface rows of each body."""
    order = np.argsort(surfaces.part, kind="stable")
    bounds = np.searchsorted(surfaces.part[order], np.arange(count + 1))
    return [order[bounds[i] : bounds[i + 1]] for i in range(count)]


def _reinforced(
    parts: Sequence[MeasuredPart], plans: Sequence[ElementPlan], models: Sequence[ModelFacts], rules: Rules
) -> tuple[tuple[MeasuredPart, ...], Reinforcement]:
    """The parts with their steel, and the rows and findings behind it."""
    facts = {(plan.facts.model, plan.facts.global_id): plan.facts for plan in plans}
    bars = {model.model: model.bars for model in models}
    steel = reinforce(parts, facts, bars, rules.allowances)
    own = [steel.by_part.get(part_key(part)) for part in parts]
    filled = changed(
        parts,
        reinforcement_kg=[None if one is None else one.mass for one in own],
        reinforcement_basis=["" if one is None else one.basis for one in own],
        reinforcement_low_kg=[None if one is None else one.low for one in own],
        reinforcement_high_kg=[None if one is None else one.high for one in own],
    )
    return filled, steel


def _with_declared(
    parts: Sequence[MeasuredPart], volumes: Mapping[tuple[str, str], float]
) -> tuple[MeasuredPart, ...]:
    """The declared volume of each element on the first of its rows, so that the column may be summed."""
    if not volumes:
        return tuple(parts)
    left = dict(volumes)
    declared = [
        None if part.method == "not-concrete" else left.pop((part.model, part.global_id), None)
        for part in parts
    ]
    return changed(parts, declared_volume_m3=declared)


def _counts(parts: Sequence[MeasuredPart]) -> dict[str, dict[str, int]]:
    """Number of elements by role and by method; an element with parts of several methods counts in each."""
    roles: dict[str, set[tuple[str, str]]] = defaultdict(set)
    methods: dict[str, set[tuple[str, str]]] = defaultdict(set)
    for part in parts:
        roles[part.role].add((part.model, part.global_id))
        methods[part.method].add((part.model, part.global_id))
    return {
        "by_role": {role: len(ids) for role, ids in sorted(roles.items())},
        "by_method": {method: len(ids) for method, ids in sorted(methods.items())},
    }
