"""Pieces: precast and tilt-up units as they are lifted, with sizes, weights, marks and repetition groups."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from takeoff.findings import Finding
from takeoff.geometry.mesh import Mesh
from takeoff.measuring.congruence import group_congruent
from takeoff.measuring.handling import Handling
from takeoff.measuring.piece_sizes import PieceSizes, joined, piece_sizes
from takeoff.measuring.plan import ElementPlan
from takeoff.measuring.records import MeasuredPart, PieceRow
from takeoff.measuring.units import LIFTED, PartKey, Unit, find_units, part_key
from takeoff.reading.facts import Embedded

INITIALS = {"wall": "W", "slab": "S", "column": "C", "beam": "B", "foundation": "F", "stair": "ST"}
PANELS = ("wall", "slab")


@dataclass(frozen=True, slots=True, eq=False)
class _Draft:
    """A unit on its way to a row: its bodies, place (x, y, z) and figures."""

    unit: Unit
    bodies: list[Mesh]
    place: tuple[float, float, float, float]
    volume: float
    weight: float
    mark: str


def make_pieces(
    parts: Sequence[MeasuredPart],
    meshes: Mapping[PartKey, Mesh],
    plans: Sequence[ElementPlan],
    embedded: Mapping[str, Sequence[Embedded]],
    handling: Handling,
) -> tuple[tuple[PieceRow, ...], tuple[Finding, ...]]:
    """Pieces of all models, in order of repetition group and place.

    `meshes` holds the net mesh of each part, all in one coordinate system; `embedded` the parts cast into or
    fixed to elements, by model. A part with a weight keeps it, else the density of `handling` gives it.
    Groups hold pieces of one method and role that are congruent; they are numbered by size, so the same
    models give the same labels whatever the order of the elements.
    """
    units, notes = find_units(parts, meshes, handling.unit)
    facts = {(plan.facts.model, plan.facts.global_id): plan.facts for plan in plans}
    findings = [*notes, *_without_mesh(parts, meshes)]
    classes: dict[tuple[str, str], list[_Draft]] = defaultdict(list)
    for unit in units:
        fact = facts.get(unit.elements[0])
        mark = unit.main.mark
        if fact is not None:
            mark = (unit.assembly and fact.assembly_mark) or fact.mark or mark
        bodies = [meshes[part_key(part)] for part in unit.parts]
        level = fact.storey_elevation if fact is not None and fact.storey_elevation is not None else 0.0
        middle = np.mean([body.box() for body in bodies], axis=(0, 1)).round(2).tolist()
        classes[unit.main.method, unit.main.role].append(
            _Draft(
                unit,
                bodies,
                (round(level, 3), middle[0], middle[1], middle[2]),
                sum(part.net_volume_m3 or 0.0 for part in unit.parts),
                sum(_weight(part, handling) for part in unit.parts),
                mark,
            )
        )
    rows: list[PieceRow] = []
    for (method, role), drafts in sorted(classes.items()):
        rows += _rows(method, role, drafts, _embedded_texts(drafts, embedded, handling), handling, findings)
    findings += _marks_made(classes.values()) + _marks_shared(rows) + _over_limits(rows)
    return tuple(rows), tuple(findings)


def _rows(
    method: str,
    role: str,
    drafts: list[_Draft],
    cast_in: Mapping[tuple[str, str], str],
    handling: Handling,
    findings: list[Finding],
) -> list[PieceRow]:
    """Rows of one method and role."""
    drafts = sorted(drafts, key=lambda draft: draft.unit.elements[0][::-1])
    grouping = group_congruent([joined(draft.bodies) for draft in drafts])
    members: dict[int, list[_Draft]] = defaultdict(list)
    for draft, number in zip(drafts, grouping.groups, strict=True):
        members[number].append(draft)
    sizes: dict[int, PieceSizes] = {}
    for number, group in members.items():
        try:
            sizes[number] = piece_sizes(group[0].bodies, role in PANELS)
        except ValueError as fault:
            for draft in group:
                model, global_id = draft.unit.elements[0]
                message = f"piece without overall sizes: {fault}; check its shape in the model"
                findings.append(Finding("error", "piece-not-measured", model, global_id, message, "left out"))
    order = sorted(
        sizes,
        key=lambda n: (
            *(-round(x, 3) for x in (sizes[n].length, sizes[n].width, sizes[n].thickness)),
            -round(members[n][0].volume, 4),
            members[n][0].unit.elements[0][::-1],
        ),
    )
    initial = ("T" if method == "tilt-up" else "") + INITIALS.get(role, "P")
    labels = {number: f"{initial}{place}" for place, number in enumerate(order, start=1)}
    mirror_of = _mirrors(grouping.mirrors, order)
    rows = []
    for number in order:
        group = sorted(members[number], key=lambda draft: (draft.place, draft.unit.elements[0][::-1]))
        size = sizes[number]
        digits = max(2, len(str(len(group))))
        for place, draft in enumerate(group, start=1):
            main = draft.unit.main
            rows.append(
                PieceRow(
                    model=main.model,
                    global_id=main.global_id,
                    mark=draft.mark or f"{labels[number]}-{place:0{digits}d}",
                    method=method,
                    role=role,
                    storey=main.storey,
                    length_m=size.length,
                    width_m=size.width,
                    thickness_m=size.thickness,
                    volume_m3=draft.volume,
                    weight_t=draft.weight,
                    largest_face_m2=size.largest_face,
                    openings=size.openings,
                    repetition_group=labels[number],
                    repetition_count=len(group),
                    mirror_of=labels.get(mirror_of.get(number, -1), ""),
                    strength_class=main.strength_class,
                    embedded=cast_in.get(draft.unit.elements[0], ""),
                    parts="; ".join(f"{part.global_id}/{part.part}" for part in draft.unit.parts),
                    transport_check=handling.transport_check(
                        method, role, size.length, size.width, size.thickness, draft.weight
                    ),
                    lift_check=handling.lift_check(method, draft.weight),
                    subrole=main.subrole,
                )
            )
    return rows


def _mirrors(found: Mapping[int, int], order: Sequence[int]) -> dict[int, int]:
    """Mirror images by group: of two, the later in `order` names the earlier."""
    place = {number: i for i, number in enumerate(order)}
    pairs = [(a, b) for a, b in found.items() if a in place and b in place]
    return {max(pair, key=lambda n: place[n]): min(pair, key=lambda n: place[n]) for pair in pairs}


def _weight(part: MeasuredPart, handling: Handling) -> float:
    """Weight of a part in tonnes."""
    if part.weight_t is not None:
        return part.weight_t
    return (part.net_volume_m3 or 0.0) * handling.density_of(part.strength_class, part.material) / 1000.0


def _embedded_texts(
    drafts: Sequence[_Draft], embedded: Mapping[str, Sequence[Embedded]], handling: Handling
) -> dict[tuple[str, str], str]:
    """What is cast into each piece, such as `4 anchor, 2 socket`, by the piece's main element."""
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
                counts[owner[model, item.host]][handling.kind_of(item.name, item.material)] += 1
    return {
        main: ", ".join(
            f"{n} {kind}" for kind, n in sorted(count.items(), key=lambda pair: (-pair[1], pair[0]))
        )
        for main, count in counts.items()
    }


def _without_mesh(parts: Sequence[MeasuredPart], meshes: Mapping[PartKey, Mesh]) -> list[Finding]:
    """Precast and tilt-up parts that could not be measured, so that no piece stands for them."""
    return [
        Finding(
            "warning",
            "piece-not-measured",
            part.model,
            part.global_id,
            f"{part.method} {part.role} has no measured shape ({part.condition or 'no mesh'}): "
            "it is missing from the pieces",
            "left out",
            1.0,
            "pieces",
        )
        for part in parts
        if part.method in LIFTED and part_key(part) not in meshes and part.net_volume_m3 != 0.0
    ]


def _marks_made(classes: Iterable[list[_Draft]]) -> list[Finding]:
    """One note a model on pieces to which the model gives no mark."""
    made = Counter(draft.unit.main.model for drafts in classes for draft in drafts if not draft.mark)
    return [
        Finding(
            "note",
            "mark-made",
            model,
            "",
            f"{number} pieces have no mark in the model: ask the designer for piece marks",
            "marks made from repetition group and place",
            float(number),
            "pieces",
        )
        for model, number in sorted(made.items())
    ]


def _marks_shared(rows: Sequence[PieceRow]) -> list[Finding]:
    """Marks that the model gives to pieces of different shapes."""
    shapes: dict[tuple[str, str], dict[str, PieceRow]] = defaultdict(dict)
    for row in rows:
        shapes[row.model, row.mark].setdefault(row.repetition_group, row)
    return [
        Finding(
            "warning",
            "mark-on-different-shapes",
            model,
            min(row.global_id for row in groups.values()),
            f"mark {mark} stands on pieces of {len(groups)} shapes ({', '.join(groups)}): "
            "ask which of them the mark means",
            "pieces counted by shape",
            float(len(groups)),
            "pieces",
        )
        for (model, mark), groups in sorted(shapes.items())
        if len(groups) > 1
    ]


def _over_limits(rows: Sequence[PieceRow]) -> list[Finding]:
    """One warning a model for all pieces over the limits of the road, one for those of the crane."""
    over: dict[tuple[str, str], list[tuple[PieceRow, str]]] = defaultdict(list)
    for row in rows:
        for limit, check in (("road", row.transport_check), ("lift", row.lift_check)):
            if check.startswith("over"):
                over[row.model, limit].append((row, check))
    findings = []
    for (model, limit), pieces in sorted(over.items()):
        row, check = max(pieces, key=lambda pair: (pair[0].weight_t, pair[0].global_id))
        labels = list(dict.fromkeys(piece.repetition_group for piece, _ in pieces))
        groups = ", ".join(labels[:5]) + (f" and {len(labels) - 5} more" if len(labels) > 5 else "")
        message = (
            f"{len(pieces)} pieces are beyond the usual (groups {groups}), the heaviest {row.mark} {check}: "
            "divide them, or plan and price for it"
        )
        findings.append(
            Finding(
                "warning",
                f"piece-over-{limit}-limit",
                model,
                row.global_id,
                message,
                "priced as modelled",
                float(len(pieces)),
                "pieces",
            )
        )
    return findings
