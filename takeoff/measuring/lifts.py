"""The crane question: the heaviest piece and its place, or the table by radius from a crane's position."""

from collections import defaultdict
from collections.abc import Iterable
from math import hypot

from takeoff.findings import Finding
from takeoff.measuring.bodies import PIECES
from takeoff.measuring.handling import Handling, within
from takeoff.measuring.piece_records import LiftRow
from takeoff.measuring.records import PieceRow
from takeoff.told import Quantity, counted, told


def measure_lifts(
    pieces: Iterable[PieceRow], handling: Handling
) -> tuple[tuple[LiftRow, ...], tuple[Finding, ...]]:
    """For each method and ring the piece that asks most of the crane; pieces set by hand are left out.

    With a chart that is the piece nearest to (or furthest over) what the crane takes at its radius, else the
    heaviest. Radius is measured in plan from the crane's axis to the middle of the piece.
    """
    lifted = [piece for piece in pieces if piece.setting == "crane"]
    rows: list[LiftRow] = []
    over: list[LiftRow] = []
    for method in PIECES:
        rings: dict[int, list[LiftRow]] = defaultdict(list)
        for piece in lifted:
            if piece.method == method:
                ring, row = _lift(piece, handling)
                rings[ring].append(row)
        for number, members in sorted(rings.items()):
            worst = max(members, key=lambda row: (_demand(row), row.weight_t, row.global_id))
            beyond = [row for row in members if row.check]
            over += beyond
            rows.append(_with_count(worst, len(members), len(beyond), _ring_name(number, handling)))
    return tuple(rows), _over(over)


def _lift(piece: PieceRow, handling: Handling) -> tuple[int, LiftRow]:
    """Ring (0 without a crane position) and row of one piece."""
    crane = handling.crane
    weight = handling.lifting_weight(piece.weight_t)
    x, y = piece.x_m or 0.0, piece.y_m or 0.0
    radius = hypot(x - crane.position[0], y - crane.position[1]) if crane.position else None
    capacity = crane.capacity_at(radius) if radius is not None else None
    check = ""
    if capacity is not None and not within(weight, capacity):
        check = told(
            "over: lifting weight {} of {} at {}",
            Quantity(weight, "t", ".1f"), Quantity(capacity, "t", "g"), Quantity(radius or 0.0, "m", ".1f"),
        )  # fmt: skip
    ring = 0
    if radius is not None:
        ring = next((n for n, limit in enumerate(crane.rings) if within(radius, limit)), len(crane.rings))
    return ring, LiftRow(
        piece.method, "", 1, piece.model, piece.global_id, piece.mark, piece.storey, piece.weight_t, weight,
        x, y, piece.top_m or 0.0, radius, capacity, check,
    )  # fmt: skip


def _demand(row: LiftRow) -> float:
    """How much of the crane a piece asks for; of its weight where there is no chart."""
    if row.capacity_t is None:
        return row.lifting_weight_t
    return row.lifting_weight_t / row.capacity_t if row.capacity_t > 0 else float("inf")


def _ring_name(number: int, handling: Handling) -> str:
    rings = handling.crane.rings
    if handling.crane.position is None:
        return ""
    if number >= len(rings):
        return told("over {}", Quantity(rings[-1], "m", "g"))
    inner = rings[number - 1] if number else 0.0
    return told("{} to {}", Quantity(inner, "m", "g", bare=True), Quantity(rings[number], "m", "g"))


def _with_count(row: LiftRow, pieces: int, over: int, ring: str) -> LiftRow:
    check = told("{} of {} {}", over, pieces, row.check) if over else ""
    return LiftRow(
        row.method, ring, pieces, row.model, row.global_id, row.mark, row.storey, row.weight_t,
        row.lifting_weight_t, row.x_m, row.y_m, row.top_m, row.radius_m, row.capacity_t, check,
    )  # fmt: skip


def _over(rows: list[LiftRow]) -> tuple[Finding, ...]:
    if not rows:
        return ()
    worst = max(rows, key=lambda row: (_demand(row), row.weight_t, row.global_id))
    one = len(rows) == 1
    return (
        Finding(
            "warning", "lift-over-chart", worst.model, worst.global_id,
            told(
                "{} the crane's chart from the position given, {}{} {}: move the crane, take a larger one, or {}",
                counted(len(rows), "piece is beyond", "pieces are beyond"), "" if one else "the worst ",
                worst.mark, worst.check, "divide it" if one else "divide them",
            ),
            "priced as if the crane took them", float(len(rows)), "pieces",
        ),
    )  # fmt: skip
