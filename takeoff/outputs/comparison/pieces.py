"""The sheet Pieces: what is lifted in each variant, by shape."""

from collections.abc import Sequence

from takeoff.measuring.records import PieceRow
from takeoff.outputs.workbook.columns import Column
from takeoff.outputs.workbook.sheet import Page, Sheet
from takeoff.outputs.workbook.table import write_table
from takeoff.pricing.comparison import Comparison

COLUMNS = (
    Column("Alternative", widest=24),
    Column("Method", widest=10),
    Column("Role", widest=11),
    Column("Group", widest=10),
    Column("Number", "count", total=True),
    Column("Length m", "length"),
    Column("Width m", "length"),
    Column("Thick m", "length"),
    Column("Heaviest t", "weight"),
    Column("Together t", "weight", total=True),
    Column("Largest face m2", "area"),
    Column("Storeys", "wrapped", widest=22),
    Column("Transport", "wrapped", widest=28),
    Column("Lift", "wrapped", widest=28),
    Column("Marks", "wrapped", widest=40, printed=False),
)


def piece_rows(comparison: Comparison) -> list[tuple[object, ...]]:
    """One row a shape and variant: number, sizes, weights, checks of the heaviest."""
    rows: list[tuple[object, ...]] = []
    for variant in comparison.variants:
        groups: dict[tuple[str, str, str], list[PieceRow]] = {}
        for piece in variant.measurement.pieces:
            groups.setdefault((piece.method, piece.role, piece.repetition_group), []).append(piece)
        ranked = sorted(groups.items(), key=lambda group: (group[0][:2], -len(group[1]), group[0][2]))
        rows += [(variant.name, *key, *_row(members)) for key, members in ranked]
    return rows


def _row(members: Sequence[PieceRow]) -> tuple[object, ...]:
    heaviest = max(members, key=lambda piece: (piece.weight_t, piece.mark))
    return (
        len(members),
        heaviest.length_m,
        heaviest.width_m,
        heaviest.thickness_m,
        heaviest.weight_t,
        sum(piece.weight_t for piece in members),
        heaviest.largest_face_m2,
        ", ".join(dict.fromkeys(piece.storey for piece in members if piece.storey)),
        heaviest.transport_check,
        heaviest.lift_check,
        ", ".join(piece.mark for piece in members),
    )


def write_pieces(sheet: Sheet, page: Page, comparison: Comparison) -> None:
    """Write the pieces of all variants by shape."""
    caution = next((v.measurement.caution for v in comparison.variants if v.measurement.caution), "")
    note = caution or "Units as they are lifted, by shape."
    write_table(
        sheet,
        page,
        "Pieces",
        note,
        COLUMNS,
        piece_rows(comparison),
        "No alternative has precast or tilt-up pieces.",
    )
