"""Repetition: of pieces by shape, of storey heights and floor outlines by floor area."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence

from takeoff.measuring.piece_records import RepetitionRow, StoreyRow
from takeoff.measuring.records import PieceRow
from takeoff.told import counted, told

GROUP_SIZES = (2, 5, 10, 20)
"""Sizes of groups from which pieces count as repeated; which one matters is for the reader's scheme."""


def repetition_rows(pieces: Sequence[PieceRow], storeys: Sequence[StoreyRow]) -> tuple[RepetitionRow, ...]:
    """Rows for all pieces and by role, and for storeys. Pieces set by hand are left out."""
    rows: list[RepetitionRow] = []
    lifted = [piece for piece in pieces if piece.setting == "crane"]
    roles = list(dict.fromkeys(piece.role for piece in lifted))
    for role in ("", *roles) if len(roles) > 1 else (roles[0],) if roles else ():
        rows += _of_pieces(role, [piece for piece in lifted if not role or piece.role == role])
    for measure, kinds in (
        ("storey height", [(row.height_group, row.floor_area_m2) for row in storeys if row.height_group]),
        ("floor outline", [(row.outline_group, row.floor_area_m2) for row in storeys]),
    ):
        if len(kinds) > 1:
            rows.append(_most_common(measure, kinds))
    return tuple(rows)


def _of_pieces(role: str, pieces: Sequence[PieceRow]) -> Iterable[RepetitionRow]:
    groups = Counter((piece.method, piece.repetition_group) for piece in pieces)
    total = len(pieces)
    (_, name), most = max(groups.items(), key=lambda entry: (entry[1], entry[0]))
    for size in GROUP_SIZES:
        repeated = sum(number for number in groups.values() if number >= size)
        yield RepetitionRow(
            f"pieces in groups of {size} or more",
            role,
            "nr",
            float(repeated),
            float(total),
            f"{name} {counted(most, 'time')}",
        )
    yield RepetitionRow("pieces for each shape", role, "nr", float(total), float(len(groups)))


def _most_common(measure: str, kinds: Sequence[tuple[str, float]]) -> RepetitionRow:
    """The kind that stands for most floor area, where it occurs more than once."""
    areas: dict[str, float] = defaultdict(float)
    number = Counter(kind for kind, _ in kinds)
    for kind, area in kinds:
        areas[kind] += area
    repeated = {kind: area for kind, area in areas.items() if number[kind] > 1}
    best = max(repeated, key=lambda kind: (repeated[kind], kind), default="")
    return RepetitionRow(
        measure, "", "m2", repeated.get(best, 0.0), sum(areas.values()),
        told("{} {}", best, counted(number[best], "time")) if best else "none repeats",
    )  # fmt: skip
