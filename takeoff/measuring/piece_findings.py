"""Findings on pieces: what is missing, what has no mark, marks on several shapes, limits of road and crane."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Sequence

from takeoff.findings import Finding
from takeoff.measuring.keys import PartKey, part_key
from takeoff.measuring.records import MeasuredPart, PieceRow
from takeoff.measuring.units import LIFTED
from takeoff.told import counted, told

SOLID = 0.95
"""A unit that fills more of its face times its thickness than this has no cores."""

LIMITS = {"road": "transport", "lift": "lifting"}


def without_mesh(parts: Sequence[MeasuredPart], meshes: Collection[PartKey]) -> list[Finding]:
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


def marks_made(models: Iterable[str]) -> list[Finding]:
    """One note a model on pieces to which it gives no mark; `models` has the model of each such piece."""
    made = Counter(models)
    return [
        Finding(
            "note",
            "mark-made",
            model,
            "",
            f"{counted(number, 'piece has', 'pieces have')} no mark in the model: ask the designer for piece marks",
            "marks made from the shape and the place in the building",
            float(number),
            "pieces",
        )
        for model, number in sorted(made.items())
    ]


def marks_shared(rows: Sequence[PieceRow]) -> list[Finding]:
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


def over_limits(rows: Sequence[PieceRow]) -> list[Finding]:
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
        one = len(pieces) == 1
        message = told(
            "{} over the limits of {} ({} {}), {}{} {}: divide {}, or plan and price for it",
            counted(len(pieces), "piece is", "pieces are"), LIMITS[limit],
            "group" if len(labels) == 1 else "groups", groups,
            "" if one else "the heaviest ", row.mark, check, "it" if one else "them",
        )  # fmt: skip
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


def drawn_solid(rows: Sequence[PieceRow]) -> list[Finding]:
    """One warning a model for hollow-core units that are drawn without their cores."""
    solid: dict[str, list[PieceRow]] = defaultdict(list)
    for row in rows:
        if row.subrole == "HOLLOWCORE" and row.volume_m3 > SOLID * row.largest_face_m2 * row.thickness_m:
            solid[row.model].append(row)
    findings = []
    for model, own in sorted(solid.items()):
        units = counted(len(own), "hollow-core unit is", "hollow-core units are")
        findings.append(
            Finding(
                "warning",
                "hollow-core-drawn-solid",
                model,
                own[0].global_id if len(own) == 1 else "",
                f"{units} drawn without cores, which take 30 to 50 % of usual units (order of size): concrete, weight, "
                "lifts and loads are too high; ask for the section",
                "measured as drawn, solid",
                sum(row.volume_m3 for row in own),
                "m3",
            )
        )
    return findings
