"""Tilt-up: room to cast the panels on the floor, singly or stacked, and panels beyond the usual."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from math import ceil

from takeoff.findings import Finding
from takeoff.measuring.handling import Handling, TiltUp, within
from takeoff.measuring.piece_records import CastingRow, StoreyRow
from takeoff.measuring.records import PieceRow
from takeoff.told import Quantity, counted, joined, told


def measure_casting(
    pieces: Iterable[PieceRow], storeys: Sequence[StoreyRow], handling: Handling
) -> tuple[tuple[CastingRow, ...], tuple[Finding, ...]]:
    """A row for each storey where tilt-up panels stand, and findings where the floor or a limit is too small.

    The casting area of a panel is its overall size with the margin around it. Stacked panels take the area of
    the largest of each stack; the lowest stack that fits on the usable floor counts.
    """
    rules = handling.tilt_up
    panels: dict[str, list[PieceRow]] = defaultdict(list)
    for piece in pieces:
        if piece.method == "tilt-up":
            panels[piece.storey].append(piece)
    floors: dict[str, float] = defaultdict(float)
    for row in storeys:
        floors[row.storey] += row.floor_area_m2
    rows = tuple(_row(storey, own, floors.get(storey, 0.0), rules) for storey, own in panels.items())
    findings = [finding for row in rows for finding in _short_of_floor(row, panels[row.storey], rules)]
    return rows, (*findings, *_beyond_usual(panels, rules))


def _row(storey: str, panels: Sequence[PieceRow], floor: float, rules: TiltUp) -> CastingRow:
    beds = sorted(
        ((piece.length_m + 2 * rules.margin) * (piece.width_m + 2 * rules.margin) for piece in panels),
        reverse=True,
    )
    usable = floor * rules.usable_floor
    stack = next((n for n in range(1, rules.most_in_stack + 1) if within(sum(beds[::n]), usable)), 0)
    if not floor:
        check = "no floor modelled at this storey to cast on"
    elif stack == 0:
        least = Quantity(sum(beds[:: rules.most_in_stack]), "m2", ".0f")
        check = told("over: {} even {} high of {}", least, rules.most_in_stack, Quantity(usable, "m2", ".0f"))
    else:
        check = "cast singly" if stack == 1 else f"cast {stack} high"
    return CastingRow(
        storey=storey,
        panels=len(panels),
        panel_area_m2=sum(piece.outline_m2 for piece in panels),
        casting_area_m2=sum(beds),
        floor_area_m2=floor,
        usable_area_m2=usable,
        stack=stack,
        stacked_area_m2=sum(beds[:: stack or rules.most_in_stack]),
        inserts=sum(piece.inserts for piece in panels),
        braces=sum(piece.braces for piece in panels),
        check=check,
    )


def _short_of_floor(row: CastingRow, panels: Sequence[PieceRow], rules: TiltUp) -> list[Finding]:
    if row.stack:
        return []
    return [
        Finding(
            "warning", "casting-area-short", panels[0].model, "",
            told(
                "{} at {} {} {} to be cast {} high, and the model shows {} of floor free for it: plan a casting "
                "bed beside the building, or cast in turns",
                counted(row.panels, "tilt-up panel"), row.storey or "no storey",
                "needs" if row.panels == 1 else "need", Quantity(row.stacked_area_m2, "m2", ".0f"),
                rules.most_in_stack, Quantity(row.usable_area_m2, "m2", ".0f"),
            ),
            "bed priced by the area of the panels", row.stacked_area_m2 - row.usable_area_m2, "m2",
        )
    ]  # fmt: skip


def _beyond_usual(panels: dict[str, list[PieceRow]], rules: TiltUp) -> list[Finding]:
    """One warning a model for panels that are higher, larger or more slender than usual."""
    beyond: dict[str, list[tuple[float, PieceRow, str]]] = defaultdict(list)
    for piece in (piece for own in panels.values() for piece in own):
        reasons = [(excess, text) for excess, text in panel_limits(piece, rules) if not within(excess, 1.0)]
        if reasons:
            excess = max(reasons)[0]
            beyond[piece.model].append((excess, piece, joined(", ", (text for _, text in reasons))))
    findings = []
    for model, own in sorted(beyond.items()):
        _, piece, text = max(own, key=lambda entry: (entry[0], entry[1].global_id))
        findings.append(
            Finding(
                "warning", "panel-beyond-usual", model, piece.global_id,
                told(
                    "{} beyond the usual, {}{}: {}",
                    counted(len(own), "tilt-up panel is", "tilt-up panels are"),
                    "" if len(own) == 1 else "the worst ", piece.mark, text,
                ),
                "priced as modelled", float(len(own)), "pieces",
            )
        )  # fmt: skip
    return findings


def panel_limits(piece: PieceRow, rules: TiltUp) -> list[tuple[float, str]]:
    """Height, area and slenderness of a panel as shares of their limits, each with its words."""
    height = 2.0 * ((piece.top_m or 0.0) - (piece.z_m or 0.0))
    slender = height / piece.thickness_m if piece.thickness_m else 0.0
    return [
        (
            height / rules.most_height,
            told(
                "height {} of {}",
                Quantity(height, "m", ".2f", size=True), Quantity(rules.most_height, "m", "g", size=True),
            ),
        ),
        (
            piece.outline_m2 / rules.most_area,
            told(
                "area {} of {}",
                Quantity(piece.outline_m2, "m2", ".1f"), Quantity(rules.most_area, "m2", "g"),
            ),
        ),
        (
            slender / rules.most_slenderness,
            f"{ceil(slender)} times as high as thick, of {rules.most_slenderness:g}",
        ),
    ]  # fmt: skip
