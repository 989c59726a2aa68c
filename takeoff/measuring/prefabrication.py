"""Everything on pieces from one place: pieces, joints, bearings, loads, lifts, casting, storeys, repetition."""

from collections.abc import Mapping, Sequence

import shapely
from msgspec import Struct

from takeoff.findings import Finding
from takeoff.geometry.contacts import Contacts
from takeoff.geometry.mesh import Floats
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.bearings import measure_bearings
from takeoff.measuring.bodies import PIECES, Body
from takeoff.measuring.joint_rules import JointRules
from takeoff.measuring.joints import joint_row, measure_joints
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.lifts import measure_lifts
from takeoff.measuring.loads import pack_loads
from takeoff.measuring.moulds import mould_rows
from takeoff.measuring.panelling import Cut, PanelSolid
from takeoff.measuring.patches import gather_patches, member
from takeoff.measuring.piece_records import (
    BearingRow,
    CastingRow,
    LiftRow,
    LoadRow,
    MouldRow,
    PanelRow,
    RepetitionRow,
    StoreyRow,
)
from takeoff.measuring.pieces import PieceRules, make_pieces
from takeoff.measuring.plan import ElementPlan
from takeoff.measuring.records import JointRow, MeasuredPart, PieceRow
from takeoff.measuring.repetition import repetition_rows
from takeoff.measuring.storey_rows import storey_rows
from takeoff.measuring.tilt_up import measure_casting
from takeoff.measuring.wide_gaps import gap_findings, split_by_width
from takeoff.reading.common_map import building_frames
from takeoff.reading.facts import Embedded, ModelFacts


class Prefabrication(Struct, frozen=True):
    """All tables on pieces, and the bodies of divisions. `caution` is what outputs say once beside them, empty where
    there are no pieces."""

    pieces: tuple[PieceRow, ...]
    joints: tuple[JointRow, ...]
    bearings: tuple[BearingRow, ...]
    loads: tuple[LoadRow, ...]
    lifts: tuple[LiftRow, ...]
    casting: tuple[CastingRow, ...]
    panels: tuple[PanelRow, ...]
    storeys: tuple[StoreyRow, ...]
    repetition: tuple[RepetitionRow, ...]
    caution: str
    findings: tuple[Finding, ...]
    solids: tuple[PanelSolid, ...] = ()
    moulds: tuple[MouldRow, ...] = ()


def measure_prefabrication(
    parts: Sequence[MeasuredPart],
    models: Sequence[ModelFacts],
    plans: Sequence[ElementPlan],
    bodies: Sequence[Body],
    surfaces: Surfaces,
    outlines: Sequence[shapely.Geometry],
    contacts: Contacts,
    origin: Floats,
    rules: PieceRules,
    reach: float,
) -> Prefabrication:
    """Measure all that is precast or tilt-up.

    `outlines` are the plans of the bodies; `contacts` were found at pieces, with a gap of at least `reach`, the
    greatest width of a joint, m: wider ones are asked about. Meshes are relative to `origin` (3,).
    """
    meshes = {(*body.key, body.lump): body.mesh for body in bodies}
    embedded: Mapping[str, Sequence[Embedded]] = {model.model: model.embedded for model in models}
    made = make_pieces(parts, meshes, plans, embedded, rules, origin, building_frames(models))
    patches, wide = split_by_width(gather_patches(surfaces, bodies, contacts, made.rows, reach), reach)
    joints, closed = measure_joints(surfaces, bodies, patches, rules.joints, reach)
    cuts = _cut_joints(made.cuts, bodies, rules.joints)
    bearings, bearing_findings = measure_bearings(
        surfaces, bodies, outlines, patches, made.rows, rules.joints
    )
    levels = {(model.model, storey.name): storey.elevation for model in models for storey in model.storeys}
    storeys = storey_rows(bodies, outlines, {model.model: model.storeys for model in models})
    lifts, lift_findings = measure_lifts(made.rows, rules.handling)
    casting, casting_findings = measure_casting(made.rows, storeys, rules.handling)
    return Prefabrication(
        pieces=made.rows,
        joints=(*joints, *cuts),
        bearings=bearings,
        loads=pack_loads(made.rows, levels, rules.handling),
        lifts=lifts,
        casting=casting,
        panels=made.panels,
        storeys=storeys,
        repetition=repetition_rows(made.rows, storeys),
        caution=rules.handling.caution if made.rows else "",
        findings=(
            *made.findings,
            *closed,
            *gap_findings(patches, wide, reach),
            *bearing_findings,
            *lift_findings,
            *casting_findings,
        ),
        solids=made.solids,
        moulds=mould_rows(made.rows, rules.handling.moulds),
    )


def _cut_joints(
    cuts: Mapping[ElementKey, Sequence[Cut]], bodies: Sequence[Body], rules: JointRules
) -> list[JointRow]:
    """Rows of the joints that divisions make: between two pieces of one body, drawn closed."""
    main: dict[ElementKey, Body] = {}
    for body in bodies:
        known = main.get(body.key[:2])
        if body.key[:2] in cuts and body.method in PIECES and (known is None or body.net > known.net):
            main[body.key[:2]] = body
    rows = []
    for key, own in cuts.items():
        body = main[key]
        for cut in own:
            rule = rules.joint_for(cut.kind, member(body), member(body))
            rows.append(joint_row(rules, rule, body, body, cut.kind, cut.area, cut.length, 0.0, cut=True))
    return rows
