"""Pieces: precast and tilt-up units as they are lifted, with sizes, weights, marks and repetition groups."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from takeoff.findings import Finding
from takeoff.geometry.mesh import Floats, Mesh, volume
from takeoff.isolation.notes import each
from takeoff.measuring.congruence import group_congruent
from takeoff.measuring.handling import Handling, number_of
from takeoff.measuring.joint_rules import JointRules
from takeoff.measuring.keys import ElementKey, PartKey, part_key
from takeoff.measuring.moulds import mould_families
from takeoff.measuring.panelling import Cut, Panel, PanelSolid, divide
from takeoff.measuring.panelling_rules import PanellingRules
from takeoff.measuring.piece_codes import mirror_labels, piece_numbers, shape_codes
from takeoff.measuring.piece_findings import drawn_solid, marks_made, marks_shared, over_limits, without_mesh
from takeoff.measuring.piece_records import PanelRow
from takeoff.measuring.piece_sizes import PieceSizes, joined, piece_sizes, upper_side
from takeoff.measuring.plan import ElementPlan
from takeoff.measuring.records import MeasuredPart, PieceRow
from takeoff.measuring.shapes import moments
from takeoff.measuring.units import Unit, find_units
from takeoff.reading.facts import Embedded
from takeoff.told import Quantity, told

INITIALS = {"wall": "W", "slab": "S", "column": "C", "beam": "B", "foundation": "F", "stair": "ST"}
PANELS = ("wall", "slab")
TOP_STAYS = ("slab",)
"""Roles whose pieces have an upper side: soffit and top are not made alike, so they are not turned over."""


class PieceRules(Struct, frozen=True):
    """The data files that pieces go by; without `panelling` nothing is divided."""

    handling: Handling
    joints: JointRules
    panelling: PanellingRules | None = None


class Pieces(Struct, frozen=True):
    """Rows of all pieces, those of divided bodies again with their outlines, the joints that divisions make (by
    the main element of the body), findings, and the bodies of the pieces of divisions."""

    rows: tuple[PieceRow, ...]
    panels: tuple[PanelRow, ...]
    cuts: Mapping[ElementKey, tuple[Cut, ...]]
    findings: tuple[Finding, ...]
    solids: tuple[PanelSolid, ...] = ()


class _Draft(Struct, frozen=True, eq=False):
    """A piece on its way to a row: its bodies, place (level, x, y, z) and figures. `frame` (4, 4) leads from the
    coordinates of the bodies to those of the building, `spot` (3,) is the middle of its volume there. `panel` counts
    from 1 where a body was divided in `panels`, and `corners` is the outline of its face."""

    unit: Unit
    bodies: list[Mesh]
    place: tuple[float, float, float, float]
    volume: float
    weight: float
    mark: str
    frame: Floats
    spot: Floats
    panel: int = 0
    panels: int = 0
    corners: Floats | None = None
    note: str = ""

    @property
    def name(self) -> str:
        """What tells the piece from all others: GlobalId, and number of the panel."""
        own = self.unit.elements[0][1]
        return f"{own}/{self.panel}" if self.panel else own


def make_pieces(
    parts: Sequence[MeasuredPart],
    meshes: Mapping[PartKey, Mesh],
    plans: Sequence[ElementPlan],
    embedded: Mapping[str, Sequence[Embedded]],
    rules: PieceRules,
    origin: Floats | None = None,
    frames: Mapping[str, Floats] | None = None,
) -> Pieces:
    """Pieces of all models, in order of method, role and size.

    `meshes` holds the net mesh of each part, all in one coordinate system, relative to `origin` (3,); `embedded`
    the parts cast into or fixed to elements, by model; `frames` the matrix (4, 4) from the models' coordinates to
    those of the building, by model: marks that are made go by the place in it. A part with a weight keeps it, else
    the density of the handling file gives it. Groups hold pieces of one method and role that are congruent; they are
    named by their shape (see `piece_codes`), so the same shapes have the same labels in every revision. No GlobalId
    decides a label or a mark.
    """
    units, notes = find_units(parts, meshes, rules.handling.unit)
    facts = {(plan.facts.model, plan.facts.global_id): plan.facts for plan in plans}
    layers = {
        (plan.facts.model, plan.facts.global_id): [
            p.material for p in plan.parts if p.method == "not-concrete"
        ]
        for plan in plans
    }
    findings = [*notes, *without_mesh(parts, meshes)]
    home = np.zeros(3) if origin is None else origin
    classes: dict[tuple[str, str], list[_Draft]] = defaultdict(list)
    cuts: dict[ElementKey, tuple[Cut, ...]] = {}
    for unit in each(units, lambda unit: (unit.main.model, unit.main.global_id)):
        fact = facts.get(unit.elements[0])
        mark = unit.main.mark
        if fact is not None:
            mark = (unit.assembly and fact.assembly_mark) or fact.mark or mark
        level = fact.storey_elevation if fact is not None and fact.storey_elevation is not None else 0.0
        bodies = [meshes[part_key(part)] for part in unit.parts]
        matrix = (frames or {}).get(unit.main.model, np.eye(4)) @ _shift(home)
        whole = _draft(unit, bodies, level, mark, matrix, rules.handling)
        drafts, made = _divided(whole, level, rules, findings)
        classes[unit.main.method, unit.main.role] += drafts
        if made:
            cuts[unit.elements[0]] = made
    rows: list[PieceRow] = []
    panels: list[PanelRow] = []
    solids: list[PanelSolid] = []
    for (method, role), drafts in sorted(classes.items()):
        texts = _embedded_texts(drafts, embedded, layers, rules.handling)
        for row, draft in _rows(method, role, drafts, texts, rules, home, findings):
            rows.append(row)
            if draft.corners is not None:
                panels.append(_panel_row(row, draft, home))
                solids.append(_panel_solid(row, draft))
    unmarked = [draft.unit.main.model for drafts in classes.values() for draft in drafts if not draft.mark]
    findings += marks_made(unmarked) + marks_shared(rows) + drawn_solid(rows) + over_limits(rows)
    panels.sort(key=lambda panel: (panel.model, panel.global_id, panel.panel))
    return Pieces(tuple(rows), tuple(panels), cuts, tuple(findings), tuple(solids))


def _shift(origin: Floats) -> Floats:
    """The matrix (4, 4) that moves by `origin` (3,)."""
    matrix = np.eye(4)
    matrix[:3, 3] = origin
    return matrix


def _place(bodies: Sequence[Mesh], level: float) -> tuple[float, float, float, float]:
    boxes = np.array([body.box() for body in bodies])
    middle = ((boxes[:, 0].min(axis=0) + boxes[:, 1].max(axis=0)) / 2.0).round(2).tolist()
    return round(level, 3), middle[0], middle[1], middle[2]


def _spot(bodies: Sequence[Mesh], frame: Floats) -> Floats:
    """The middle (3,) of the volume of bodies, in the coordinates that `frame` (4, 4) leads to."""
    sizes, centres, _ = zip(*(moments(body.corners) for body in bodies), strict=True)
    centre = np.average(np.array(centres), axis=0, weights=np.maximum(sizes, 1e-12))
    return np.asarray(frame[:3, :3] @ centre + frame[:3, 3])


def _draft(
    unit: Unit, bodies: list[Mesh], level: float, mark: str, frame: Floats, handling: Handling
) -> _Draft:
    return _Draft(
        unit,
        bodies,
        _place(bodies, level),
        sum(part.net_volume_m3 or 0.0 for part in unit.parts),
        sum(_weight(part, handling) for part in unit.parts),
        mark,
        frame,
        _spot(bodies, frame),
    )


def _divided(
    whole: _Draft, level: float, rules: PieceRules, findings: list[Finding]
) -> tuple[list[_Draft], tuple[Cut, ...]]:
    """The pieces that a body is divided into by rule, with the joints between them; itself where it is not."""
    panelling = rules.panelling
    main = whole.unit.main
    rule = panelling.rule_for(main.method, main.role) if panelling is not None else None
    if panelling is None or rule is None or (whole.mark and not panelling.divide_marked):
        return [whole], ()
    density = whole.weight / whole.volume * 1e3
    division = divide(whole.bodies, rule, density)
    if division is None:
        return [whole], ()
    model, global_id = whole.unit.elements[0]
    size = told("{}, {}", Quantity(whole.volume, "m3", ".2f"), Quantity(whole.weight, "t", ".1f"))
    if len(division.panels) < 2:
        message = told(
            "{} of {} is larger than one piece can be, and {}: ask how it is made",
            main.role, size, division.note,
        )  # fmt: skip
        findings.append(
            Finding(
                "warning",
                "piece-not-divided",
                model,
                global_id,
                message,
                "counted as one piece",
                whole.weight,
                "t",
            )
        )
        return [whole], ()
    number = len(division.panels)
    note = told("; {}", division.note) if division.note else ""
    message = told(
        "{} of {} is one body without a mark, larger than one piece can be{}: ask for the pieces",
        main.role, size, note,
    )  # fmt: skip
    findings.append(
        Finding(
            "warning", "piece-divided", model, global_id, message,
            f"divided by rule into {number} pieces", float(number), "pieces",
        )
    )  # fmt: skip
    drafts = []
    for place, panel in enumerate(division.panels, start=1):
        drafts.append(_panel_draft(whole, panel, place, number, level, density, division.note))
    return drafts, division.cuts


def _panel_draft(
    whole: _Draft, panel: Panel, place: int, number: int, level: float, density: float, note: str
) -> _Draft:
    own = sum(volume(body) for body in panel.bodies)
    return _Draft(
        whole.unit,
        panel.bodies,
        _place(panel.bodies, level),
        own,
        own * density / 1e3,
        f"{whole.mark}/{place}" if whole.mark else "",
        whole.frame,
        _spot(panel.bodies, whole.frame),
        place,
        number,
        panel.corners,
        note,
    )


def _rows(
    method: str,
    role: str,
    drafts: list[_Draft],
    cast_in: Mapping[tuple[str, str], str],
    rules: PieceRules,
    origin: Floats,
    findings: list[Finding],
) -> list[tuple[PieceRow, _Draft]]:
    """Rows of one method and role."""
    drafts = sorted(
        drafts, key=lambda draft: (*draft.spot.round(3).tolist(), draft.unit.main.model, draft.name)
    )
    solids = [joined(draft.bodies) for draft in drafts]
    ups = [upper_side(solid) if role in TOP_STAYS else None for solid in solids]
    grouping = group_congruent(solids, ups=ups)
    members: dict[int, list[_Draft]] = defaultdict(list)
    for draft, number in zip(drafts, grouping.groups, strict=True):
        members[number].append(draft)
    sizes: dict[int, PieceSizes] = {}
    for number, group in members.items():
        try:
            sizes[number] = piece_sizes(drafts[grouping.leaders[number]].bodies, role in PANELS)
        except ValueError as fault:
            for draft in group:
                model, global_id = draft.unit.elements[0]
                message = f"piece without overall sizes: {fault}; check its shape in the model"
                findings.append(Finding("error", "piece-not-measured", model, global_id, message, "left out"))
    order = sorted(
        sizes,
        key=lambda n: (
            *(-round(x, 3) for x in (sizes[n].length, sizes[n].width, sizes[n].thickness)),
            -round(grouping.shapes[n].volume, 4),
            *(
                -round(figure, 5)
                for figure in (grouping.shapes[n].area, *grouping.shapes[n].spreads.tolist())
            ),
            n,
        ),
    )
    initial = ("T" if method == "tilt-up" else "") + INITIALS.get(role, "P")
    leaders = [grouping.leaders[number] for number in order]
    codes = shape_codes(
        [solids[leader] for leader in leaders],
        [grouping.shapes[number] for number in order],
        [(sizes[n].length, sizes[n].width, sizes[n].thickness) for n in order],
        [ups[leader] for leader in leaders],
    )
    labels = {number: f"{initial}-{code}" for number, code in zip(order, codes, strict=True)}
    mirror_of = mirror_labels(grouping.mirrors, labels)
    counts = {number: len(members[number]) for number in order}
    moulds = mould_families({number: sizes[number] for number in order}, counts, initial, role in PANELS)
    rows = []
    for number in order:
        group = sorted(members[number], key=lambda draft: draft.place)
        numbers = piece_numbers(np.array([draft.spot for draft in group]))
        for draft, counted in zip(group, numbers, strict=True):
            row = _row(draft, sizes[number], labels[number], counted, rules, origin)
            row = replace(
                row,
                repetition_count=len(group),
                mirror_of=mirror_of.get(number, ""),
                embedded=cast_in.get(draft.unit.elements[0], "") if draft.panel <= 1 else "",
                mould=moulds[number].family,
                mould_length_m=moulds[number].length,
            )
            rows.append((row, draft))
    return rows


def _row(
    draft: _Draft, size: PieceSizes, label: str, number: str, rules: PieceRules, origin: Floats
) -> PieceRow:
    """The row of one piece, but for what its group tells."""
    main = draft.unit.main
    handling = rules.handling
    setting = handling.setting(draft.weight)
    tilt_up = handling.tilt_up if main.method == "tilt-up" else None
    boxes = np.array([body.box() for body in draft.bodies])
    low, high = boxes[:, 0].min(axis=0) + origin, boxes[:, 1].max(axis=0) + origin
    upright = float(high[2] - low[2])
    broad = size.length if abs(size.length - upright) > abs(size.width - upright) else size.width
    return PieceRow(
        model=main.model,
        global_id=main.global_id,
        mark=draft.mark or f"{label}-{number}",
        method=main.method,
        role=main.role,
        storey=main.storey,
        length_m=size.length,
        width_m=size.width,
        thickness_m=size.thickness,
        volume_m3=draft.volume,
        weight_t=draft.weight,
        largest_face_m2=size.largest_face,
        openings=size.openings,
        repetition_group=label,
        repetition_count=1,
        strength_class=main.strength_class,
        parts="; ".join(f"{part.global_id}/{part.part}" for part in draft.unit.parts),
        transport_check=handling.transport_check(
            main.method, main.role, size.length, size.width, size.thickness, draft.weight
        ),
        lift_check=handling.lift_check(main.method, draft.weight),
        subrole=main.subrole,
        outline_m=size.outline,
        opening_edges_m=size.opening_edges,
        x_m=float(low[0] + high[0]) / 2.0,
        y_m=float(low[1] + high[1]) / 2.0,
        z_m=float(low[2] + high[2]) / 2.0,
        setting=setting,
        connections=0.0 if setting == "small" else rules.joints.connections_for(main, size.length),
        inserts=number_of(draft.weight, tilt_up.insert_for, tilt_up.least_inserts) if tilt_up else 0,
        braces=number_of(broad, tilt_up.brace_for, tilt_up.least_braces) if tilt_up else 0,
        panel=f"{draft.panel} of {draft.panels}" if draft.panel else "",
        top_m=float(high[2]),
        outline_m2=size.outline_area,
    )


def _panel_row(row: PieceRow, draft: _Draft, origin: Floats) -> PanelRow:
    corners = (draft.corners if draft.corners is not None else np.zeros((0, 3))) + origin
    return PanelRow(
        model=row.model,
        global_id=row.global_id,
        panel=draft.panel,
        panels=draft.panels,
        mark=row.mark,
        method=row.method,
        role=row.role,
        storey=row.storey,
        length_m=row.length_m,
        width_m=row.width_m,
        thickness_m=row.thickness_m,
        volume_m3=row.volume_m3,
        weight_t=row.weight_t,
        corners="; ".join(" ".join(f"{x:.4f}" for x in point) for point in corners.tolist()),
        note=draft.note,
    )


def _panel_solid(row: PieceRow, draft: _Draft) -> PanelSolid:
    parts = tuple((part.model, part.global_id, part.part) for part in draft.unit.parts)
    return PanelSolid(row.model, row.global_id, draft.panel, parts, tuple(draft.bodies))


def _weight(part: MeasuredPart, handling: Handling) -> float:
    """Weight of a part in tonnes."""
    if part.weight_t is not None:
        return part.weight_t
    return (part.net_volume_m3 or 0.0) * handling.density_of(part.strength_class, part.material) / 1000.0


def _embedded_texts(
    drafts: Sequence[_Draft],
    embedded: Mapping[str, Sequence[Embedded]],
    layers: Mapping[ElementKey, Sequence[str]],
    handling: Handling,
) -> dict[tuple[str, str], str]:
    """What is cast into each piece, such as `4 anchor, 2 socket`, by the piece's main element.

    `layers` are the materials of the parts of an element that are no concrete: those of a kind that is cast in count.
    """
    owner: dict[tuple[str, str], tuple[str, str]] = {}
    for draft in drafts:
        main = draft.unit.elements[0]
        owner.update(dict.fromkeys(draft.unit.elements, main))
        if draft.unit.assembly:
            owner[main[0], draft.unit.assembly] = main
    counts: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    for model in {draft.unit.main.model for draft in drafts}:
        for item in embedded.get(model, ()):
            if (model, item.host) in owner:
                counts[owner[model, item.host]][
                    handling.kind_of(item.name, item.material, form=item.form)
                ] += 1
    for element, main in owner.items():
        kinds = [handling.kind_of(material) for material in layers.get(element, ())]
        if known := [kind for kind in kinds if kind in handling.embedded]:
            counts[main].update(known)
    return {
        main: ", ".join(
            f"{n} {kind}" for kind, n in sorted(count.items(), key=lambda pair: (-pair[1], pair[0]))
        )
        for main, count in counts.items()
    }
