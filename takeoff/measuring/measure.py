"""Measuring from end to end: solids in, all tables out."""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase

import numpy as np

from takeoff.findings import Finding
from takeoff.geometry.contacts import find_contacts
from takeoff.geometry.facets import make_facets
from takeoff.geometry.mesh import Floats, Ints, Mesh
from takeoff.geometry.neighbours import near_pairs
from takeoff.geometry.solids import SolidResult
from takeoff.geometry.surfaces import Surfaces, make_surfaces
from takeoff.measuring.allowances import AllowanceTable
from takeoff.measuring.bodies import PIECES, Body
from takeoff.measuring.checks import Checks
from takeoff.measuring.convention import Convention, band
from takeoff.measuring.declared import compare_declared
from takeoff.measuring.dimensions import Dimensions, measure_dimensions
from takeoff.measuring.formwork import FormedBody, measure_formwork
from takeoff.measuring.handling import Handling
from takeoff.measuring.holes import measure_holes
from takeoff.measuring.joints import measure_joints
from takeoff.measuring.orders import Order
from takeoff.measuring.pieces import make_pieces
from takeoff.measuring.plan import ElementPlan
from takeoff.measuring.ratios import check_ratios
from takeoff.measuring.records import HoleRow, MeasuredPart, Measurement
from takeoff.measuring.reinforcement import Reinforcement, reinforce
from takeoff.measuring.settling import Settled, settle
from takeoff.measuring.units import part_key
from takeoff.measuring.unmeasured import unmeasured_parts
from takeoff.reading.facts import ModelFacts

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Rules:
    """The data files that measuring goes by, read and checked."""

    convention: Convention
    allowances: AllowanceTable
    handling: Handling
    checks: Checks


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """The tables, and behind them the bodies with their surfaces for whoever draws them."""

    measurement: Measurement
    bodies: tuple[Body, ...]
    surfaces: Surfaces


def measure(
    models: Sequence[ModelFacts],
    plans: Sequence[ElementPlan],
    orders: Sequence[Order],
    solids: Mapping[int, SolidResult],
    origin: Floats,
    rules: Rules,
    progress: Progress = lambda stage: None,
) -> Measured:
    """Measure all models together. `solids` by the key of their order, meshes relative to `origin` (3,)."""
    convention = rules.convention
    progress("overlaps")
    storeys = {model.model: model.storeys for model in models}
    settled = settle(plans, orders, solids, storeys, origin, convention)
    bodies = settled.bodies
    progress("surfaces")
    surfaces = make_surfaces(make_facets([body.mesh for body in bodies]))
    rows_of = _rows_of(surfaces, len(bodies))
    sizes = [
        measure_dimensions(surfaces, rows, body.role, body.net)
        for rows, body in zip(rows_of, bodies, strict=True)
    ]
    progress("contacts")
    gap, joint = convention.contacts.gap_mm / 1e3, convention.contacts.joint_mm / 1e3
    pairs = near_pairs(np.array([body.mesh.box() for body in bodies]).reshape(-1, 2, 3), max(gap, joint))
    contacts = find_contacts(surfaces, pairs, gap)
    piece = np.array([body.method in PIECES for body in bodies], dtype=bool)
    at_piece = pairs[piece[pairs].any(axis=1)] if len(pairs) else pairs
    joints = measure_joints(surfaces, bodies, find_contacts(surfaces, at_piece, joint))
    progress("formwork")
    grounded, findings = _on_ground(bodies, convention)
    formed = measure_formwork(surfaces, bodies, sizes, rows_of, contacts, grounded, convention)
    holes = tuple(
        hole
        for rows, body, size in zip(rows_of, bodies, sizes, strict=True)
        if body.concrete
        for hole in measure_holes(surfaces, rows, body, size, convention)
    )
    findings += [*settled.findings, *_assumptions(bodies, formed)]

    progress("quantities")
    parts = _parts(plans, bodies, sizes, surfaces, rows_of, formed, holes, rules, settled)
    missing, reasons = unmeasured_parts(plans, orders, solids, settled, {body.key for body in bodies})
    parts += missing
    findings += reasons
    parts, steel = _reinforced(parts, plans, models, rules)
    findings += steel.findings
    declared = compare_declared(parts, plans, rules.checks.declared)
    findings += declared.findings
    parts = [
        replace(part, declared_volume_m3=declared.volumes.get((part.model, part.global_id)))
        if part.lump == 1
        else part
        for part in parts
    ]
    meshes: dict[tuple[str, str, int, int], Mesh] = {(*body.key, body.lump): body.mesh for body in bodies}
    embedded = {model.model: model.embedded for model in models}
    pieces, notes = make_pieces(parts, meshes, plans, embedded, rules.handling)
    findings += notes
    measurement = Measurement(
        parts=tuple(parts),
        formwork=tuple(row for body in formed.values() for row in body.rows),
        surfaces=tuple(row for body in formed.values() for row in body.surfaces),
        holes=holes,
        reinforcement=steel.rows,
        pieces=pieces,
        joints=joints,
        counts=_counts(parts),
    )
    findings += check_ratios(measurement, rules.checks)
    for model in models:
        findings += model.findings
    for plan in plans:
        findings += plan.findings
    return Measured(replace(measurement, findings=tuple(findings)), bodies, surfaces)


def _rows_of(surfaces: Surfaces, count: int) -> list[Ints]:
    """Surface rows of each body."""
    order = np.argsort(surfaces.part, kind="stable")
    bounds = np.searchsorted(surfaces.part[order], np.arange(count + 1))
    return [order[bounds[i] : bounds[i + 1]] for i in range(count)]


def _on_ground(bodies: Sequence[Body], convention: Convention) -> tuple[list[bool], list[Finding]]:
    """Which slabs lie on the ground, by what the model calls them; by name alone it is a finding."""
    words = [word.casefold() for word in convention.ground.slab_words]
    grounded, findings = [], []
    for body in bodies:
        facts = body.element.facts
        if body.role != "slab":
            grounded.append(False)
            continue
        if body.element.subrole.upper() == "BASESLAB":
            grounded.append(True)
            continue
        texts = [text.casefold() for text in (facts.name, facts.type_name, facts.object_type) if text]
        named = any(fnmatchcase(text, word) for text in texts for word in words)
        grounded.append(named)
        if named and body.formed:
            findings.append(
                Finding(
                    "note", "ground-slab-by-name", facts.model, facts.global_id,
                    f"{facts.name or facts.ifc_class} is named as a slab on the ground, but is not of type BASESLAB",
                    "underside lies on the ground: blinding, no formwork",
                )
            )  # fmt: skip
    return grounded, findings


def _assumptions(bodies: Sequence[Body], formed: Mapping[int, FormedBody]) -> list[Finding]:
    """Findings for seats without support and soffits with nothing to prop from."""
    findings = []
    for number, result in formed.items():
        facts = bodies[number].element.facts
        name = facts.name or facts.ifc_class
        if result.seated > 0:
            findings.append(
                Finding(
                    "note", "seat-assumed", facts.model, facts.global_id,
                    f"{name} stands on nothing that the model shows as concrete",
                    f"its lowest face ({result.seated:.3f} m2) is seated and needs no form", result.seated, "m2",
                )
            )  # fmt: skip
        if result.no_floor > 1e-3:
            findings.append(
                Finding(
                    "note", "height-unknown", facts.model, facts.global_id,
                    f"{name}: nothing lies under {result.no_floor:.2f} m2 of its soffit, and no storey level tells",
                    "no height to soffit", result.no_floor, "m2",
                )
            )  # fmt: skip
    return findings


def _parts(
    plans: Sequence[ElementPlan],
    bodies: Sequence[Body],
    sizes: Sequence[Dimensions],
    surfaces: Surfaces,
    rows_of: Sequence[Ints],
    formed: Mapping[int, FormedBody],
    holes: Sequence[HoleRow],
    rules: Rules,
    settled: Settled,
) -> list[MeasuredPart]:
    """A row for each concrete body."""
    pierced: dict[tuple[str, str, int], float] = defaultdict(float)
    for hole in holes:
        pierced[hole.model, hole.global_id, hole.part] += hole.area_m2
    parts = []
    for number, (body, size) in enumerate(zip(bodies, sizes, strict=True)):
        if not body.concrete:
            continue
        facts = body.element.facts
        result = formed.get(number)
        parts.append(
            MeasuredPart(
                model=facts.model,
                global_id=facts.global_id,
                part=body.number,
                ifc_class=facts.ifc_class,
                name=facts.name,
                type_name=facts.type_name,
                mark=facts.mark,
                storey=body.storey,
                role=body.role,
                subrole=body.element.subrole,
                method=body.method,
                evidence=body.plan.evidence,
                material=body.plan.material,
                strength_class=body.plan.strength_class,
                gross_volume_m3=body.gross,
                net_volume_m3=body.net,
                overlap_volume_m3=max(body.before - body.net, 0.0)
                if abs(body.before - body.net) > 1e-9
                else 0.0,
                length_m=size.length,
                width_m=size.width,
                height_m=size.height,
                plan_area_m2=size.plan_area,
                side_area_m2=_side_area(surfaces, rows_of[number], body, size),
                formwork_m2=result.area if result is not None else None,
                weight_t=body.net
                * rules.handling.density_of(body.plan.strength_class, body.plan.material)
                / 1e3,
                lump=body.lump,
                thickness_m=size.thickness,
                size_band=_size_band(body, size, rules.convention),
                assembly=facts.assembly,
                opening_area_m2=pierced.get(body.key, 0.0),
            )
        )
    return parts


def _side_area(surfaces: Surfaces, rows: Ints, body: Body, size: Dimensions) -> float:
    """Area of one face of a wall net of openings; of all upright faces for other roles, m2."""
    upright = rows[np.abs(surfaces.normal[rows, 2]) < 0.5]
    if body.role != "wall" or size.thickness <= 0:
        return float(surfaces.area[upright].sum())
    return body.net / size.thickness


def _size_band(body: Body, size: Dimensions, convention: Convention) -> str:
    """The band of size that drives the price of placing concrete in this role."""
    bands = convention.bands
    if body.role == "wall":
        return band(bands.wall_thickness_mm, size.thickness * 1e3)
    if body.role == "slab":
        return band(bands.slab_thickness_mm, size.thickness * 1e3)
    if body.role == "beam":
        return band(bands.beam_depth_mm, size.thickness * 1e3)
    if body.role == "column":
        return band(bands.column_girth_mm, size.outline.length * 1e3)
    if body.role == "foundation":
        return band(bands.foundation_depth_mm, size.thickness * 1e3)
    return ""


def _reinforced(
    parts: Sequence[MeasuredPart], plans: Sequence[ElementPlan], models: Sequence[ModelFacts], rules: Rules
) -> tuple[list[MeasuredPart], Reinforcement]:
    """The parts with their steel, and the rows and findings behind it."""
    facts = {(plan.facts.model, plan.facts.global_id): plan.facts for plan in plans}
    bars = {model.model: model.bars for model in models}
    steel = reinforce(parts, facts, bars, rules.allowances)
    filled = []
    for part in parts:
        own = steel.by_part.get(part_key(part))
        if own is not None:
            part = replace(
                part,
                reinforcement_kg=own.mass,
                reinforcement_basis=own.basis,
                reinforcement_low_kg=own.low,
                reinforcement_high_kg=own.high,
            )
        filled.append(part)
    return filled, steel


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
