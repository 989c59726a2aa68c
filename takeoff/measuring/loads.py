"""Lorry loads: precast pieces packed onto vehicles in the order in which they are set.

A check for estimating: stacks and racks are filled one after another and never re-sorted, since the site takes
the pieces in this order.
"""

from collections.abc import Iterable, Mapping

from msgspec import Struct, field

from takeoff.measuring.handling import Handling, within
from takeoff.measuring.piece_records import LoadRow
from takeoff.measuring.records import PieceRow

MOST_MARKS = 40
"""Marks that a row names; the others are counted."""


class _Stack(Struct):
    """Pieces on one another: size of the topmost, height with spacers, room that the largest take, number."""

    length: float
    width: float
    height: float
    longest: float
    widest: float
    count: int = 1


class _Row(Struct):
    """Stacks or standing pieces side by side across the vehicle."""

    stacks: list[_Stack] = field(default_factory=list)

    @property
    def length(self) -> float:
        return max(stack.longest for stack in self.stacks)

    @property
    def width(self) -> float:
        return sum(stack.widest for stack in self.stacks)


class _Load(Struct):
    """A vehicle being filled."""

    vehicle: str
    weight: float = 0.0
    rows: list[_Row] = field(default_factory=list)
    pieces: list[PieceRow] = field(default_factory=list)
    height: float = 0.0

    @property
    def length(self) -> float:
        return sum(row.length for row in self.rows)


def erection_order(
    pieces: Iterable[PieceRow], levels: Mapping[tuple[str, str], float], handling: Handling
) -> list[PieceRow]:
    """Pieces storey by storey from the lowest up, by role, then across the plan; `levels` by model and storey."""
    roles = {role: place for place, role in enumerate(handling.loads.order)}

    def place(piece: PieceRow) -> tuple[float, int, float, float, str, str]:
        level = levels.get((piece.model, piece.storey), piece.z_m or 0.0)
        rank = roles.get(piece.role, len(roles))
        return round(level, 2), rank, round(piece.x_m or 0.0), piece.y_m or 0.0, piece.mark, piece.global_id

    return sorted(pieces, key=place)


def pack_loads(
    pieces: Iterable[PieceRow], levels: Mapping[tuple[str, str], float], handling: Handling
) -> tuple[LoadRow, ...]:
    """Loads of all precast pieces: flat stacks, racks of standing pieces, one vehicle for each piece beyond the
    road's limits, and pallets (by weight alone) for what is set by hand."""
    open_loads: dict[str, _Load] = {}
    done: list[_Load] = []
    ordered = erection_order((piece for piece in pieces if piece.method == "precast"), levels, handling)
    for piece in ordered:
        vehicle = _vehicle(piece)
        load = open_loads.get(vehicle)
        if load is None or not _add(load, piece, handling):
            load = open_loads[vehicle] = _Load(vehicle, handling.loads.rack if vehicle == "upright" else 0.0)
            done.append(load)
            _add(load, piece, handling, must=True)
    return tuple(_load_row(number, load, handling) for number, load in enumerate(done, start=1))


def _vehicle(piece: PieceRow) -> str:
    if piece.setting == "small":
        return "pallets"
    if piece.transport_check.startswith("over"):
        return "special"
    return "upright" if piece.transport_check.startswith("upright") else "flat"


def _add(load: _Load, piece: PieceRow, handling: Handling, must: bool = False) -> bool:
    """Put a piece on a load where there is room, on an empty one in any case."""
    fits = within(load.weight + piece.weight_t, handling.road.payload) and load.vehicle != "special"
    if load.vehicle == "flat":
        placed = (fits and _stacked(load, piece, handling)) or (
            (fits or must) and _beside(load, piece, piece.width_m, piece.thickness_m, handling, must)
        )
    elif load.vehicle == "upright":
        standing = piece.thickness_m + handling.loads.upright_gap
        placed = (fits or must) and _beside(load, piece, standing, piece.width_m, handling, must)
    elif load.vehicle == "special":
        placed = must and _beside(load, piece, piece.width_m, piece.thickness_m, handling, must)
    else:
        placed = fits or must
    if placed:
        load.weight += piece.weight_t
        load.pieces.append(piece)
    return placed


def _stacked(load: _Load, piece: PieceRow, handling: Handling) -> bool:
    """Lay a piece on a stack that is low, long and wide enough for it, and has room around it to stick out."""
    rules, road = handling.loads, handling.road
    for row in load.rows:
        for stack in row.stacks:
            height = stack.height + rules.spacer + piece.thickness_m
            longer = max(piece.length_m, row.length) - row.length
            wider = max(piece.width_m - stack.widest, 0.0)
            if (
                stack.count < rules.most_in_stack
                and within(height, road.height - road.deck_height)
                and piece.length_m <= stack.length + rules.overhang
                and piece.width_m <= stack.width + rules.overhang
                and within(load.length + longer, road.length)
                and within(row.width + wider, road.width)
            ):
                stack.length, stack.width = piece.length_m, piece.width_m
                stack.longest = max(stack.longest, piece.length_m)
                stack.widest = max(stack.widest, piece.width_m)
                stack.height, stack.count = height, stack.count + 1
                load.height = max(load.height, height)
                return True
    return False


def _beside(
    load: _Load, piece: PieceRow, width: float, height: float, handling: Handling, must: bool
) -> bool:
    """Set a piece beside the others of a row, or in a new row where the vehicle is long enough."""
    road = handling.road
    stack = _Stack(piece.length_m, width, height, piece.length_m, width)
    for row in load.rows:
        rest = load.length - row.length
        if within(row.width + width, road.width) and within(
            rest + max(row.length, piece.length_m), road.length
        ):
            row.stacks.append(stack)
            load.height = max(load.height, height)
            return True
    if must or within(load.length + piece.length_m, road.length):
        load.rows.append(_Row([stack]))
        load.height = max(load.height, height)
        return True
    return False


def _load_row(number: int, load: _Load, handling: Handling) -> LoadRow:
    marks = [piece.mark for piece in load.pieces]
    shown = ", ".join(marks[:MOST_MARKS]) + (
        f" and {len(marks) - MOST_MARKS} more" if len(marks) > MOST_MARKS else ""
    )
    deck = handling.road.deck_height if load.vehicle == "flat" else 0.0
    return LoadRow(
        load=number,
        vehicle=load.vehicle,
        storey=", ".join(dict.fromkeys(piece.storey for piece in load.pieces)),
        pieces=len(load.pieces),
        marks=shown,
        weight_t=load.weight,
        length_m=load.length,
        width_m=max((row.width for row in load.rows), default=0.0),
        height_m=load.height + deck,
        payload_share=load.weight / handling.road.payload,
        check=load.pieces[0].transport_check if load.vehicle == "special" else "",
    )
