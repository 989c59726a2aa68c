"""Moulds: families of pieces that one adjustable mould makes, of one cross-section and other lengths, and their number.

Openings and recesses are boxed out in the mould and do not make another one; a rim, a nib or a string does.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from heapq import heapify, heappop, heapreplace
from math import ceil

from msgspec import Struct

from takeoff.measuring.mould_rules import MouldRules
from takeoff.measuring.piece_records import MouldRow
from takeoff.measuring.piece_sizes import PieceSizes, Section
from takeoff.measuring.records import PieceRow

SAME = 0.002
"""Difference of cross-sections, as a share, that side forms take up."""
SAME_SPREAD = 2e-3
"""Sections of one size and area are alike where their radii of gyration differ by no more than this, m."""


class MouldFit(Struct, frozen=True):
    """The mould family of a piece, and the length, m, to which the mould is set for it."""

    family: str
    length: float


def mould_families(
    sizes: Mapping[int, PieceSizes], counts: Mapping[int, int], initial: str, is_panel: bool
) -> dict[int, MouldFit]:
    """The family of each shape by its number; `counts` has how many pieces are made of it.

    A family is named by width and thickness in mm, and by the section where it is no rectangle, so that an
    added shape does not rename the others. A panel of plain thickness may be set to length either way, so that
    it belongs to two families: the one that makes most pieces has them all, then the next of what is left; of
    two that make as many the narrower.
    """
    sections: dict[str, list[Section]] = defaultdict(list)
    able: dict[str, dict[int, float]] = defaultdict(dict)
    for number, size in sizes.items():
        if size.beside.area * size.width < (1.0 - SAME) * size.along.area * size.length:
            # Curved, bent to an angle or stepped the long way: what stays the same in other lengths is the section
            # seen from there (an arc, an angle, a flight), not that at the end.
            name = _name(initial, size.length, size.thickness, size.beside, sections)
            able[name][number] = size.width
            continue
        able[_name(initial, size.width, size.thickness, size.along, sections)][number] = size.length
        turned = is_panel and _is_plain(size.length, size.thickness, size.beside)
        if turned and _is_plain(size.width, size.thickness, size.along):
            name = _name(initial, size.length, size.thickness, size.beside, sections)
            able[name].setdefault(number, size.width)
    fits: dict[int, MouldFit] = {}

    def rank(name: str) -> tuple[int, float, str]:
        left = [number for number in able[name] if number not in fits]
        widest = max((sizes[n].length * sizes[n].width / able[name][n] for n in left), default=0.0)
        return -sum(counts[number] for number in left), round(widest, 3), name

    heap = [rank(name) for name in able]
    heapify(heap)
    while heap:
        first = heap[0]
        now = rank(first[2])
        if now != first:
            heapreplace(heap, now)
            continue
        name = heappop(heap)[2]
        for number, length in able[name].items():
            fits.setdefault(number, MouldFit(name, length))
    return fits


def _is_plain(width: float, thickness: float, section: Section) -> bool:
    return abs(section.area - width * thickness) <= SAME * width * thickness


def _name(
    initial: str, width: float, thickness: float, section: Section, known: dict[str, list[Section]]
) -> str:
    """Name of a family; sections of one size and area that are not alike are numbered apart."""
    name = f"{initial} {_millimetres(width)}x{_millimetres(thickness)}"
    if _is_plain(width, thickness, section):
        return name
    name += f" ({section.area * 1e4:.0f} cm2)"
    alike = (_are_alike(section, other) for other in known[name])
    place = next((place for place, same in enumerate(alike) if same), len(known[name]))
    if place == len(known[name]):
        known[name].append(section)
    return f"{name} {place + 1}" if place else name


def _are_alike(one: Section, other: Section) -> bool:
    return max(abs(a - b) for a, b in zip(one.spreads, other.spreads, strict=True)) <= SAME_SPREAD


def _millimetres(value: float) -> int:
    """Whole mm; half a mm (parts of an inch) must not fall either way by rounding noise."""
    return round(value * 1e3 + 1e-2)


def mould_rows(pieces: Iterable[PieceRow], rules: MouldRules) -> tuple[MouldRow, ...]:
    """A row for each family of precast pieces, in order of role and pieces; what is set by hand is bought in.

    A family needs as many moulds as its pieces wear out, and as many as cast them in the time there is. One
    mould makes one shape after another: each further shape is a change of its side forms.
    """
    families: dict[tuple[str, str], list[PieceRow]] = defaultdict(list)
    for piece in pieces:
        if piece.method == "precast" and piece.setting != "small":
            families[piece.role, piece.mould].append(piece)
    rows = [_row(own, rules) for own in families.values()]
    return tuple(sorted(rows, key=lambda row: (row.role, -row.pieces, row.mould)))


def _row(pieces: list[PieceRow], rules: MouldRules) -> MouldRow:
    first = min(pieces, key=lambda piece: (piece.model, piece.global_id, piece.panel))
    longest = max(piece.mould_length_m for piece in pieces)
    shapes = len({piece.repetition_group for piece in pieces})
    rule = rules.kind_for(first)
    number, basis = 0, "beds of the works"
    if rule is not None and rule.own:
        by_use = ceil(len(pieces) / rule.uses - 1e-9)
        by_time = ceil(len(pieces) / (rule.per_day * rules.days) - 1e-9)
        number = max(by_use, by_time, 1)
        one = f"{rule.uses:g} uses, {rule.per_day:g} a day for {rules.days:g} days"
        basis = ("the time decides: " if by_time > by_use else "") + one
    elif rule is None:
        basis = "no rule for such pieces"
    turned = abs(first.mould_length_m - first.width_m) < abs(first.mould_length_m - first.length_m)
    return MouldRow(
        mould=first.mould,
        method=first.method,
        role=first.role,
        subrole=first.subrole,
        model=first.model,
        global_id=first.global_id,
        pieces=len(pieces),
        shapes=shapes,
        adjustable=len({round(piece.mould_length_m * 1e3) for piece in pieces}) > 1,
        shortest_m=min(piece.mould_length_m for piece in pieces),
        longest_m=longest,
        moulds=number,
        pieces_per_mould=len(pieces) / number if number else None,
        changes=max(shapes - number, 0) if number else 0,
        volume_m3=sum(piece.volume_m3 for piece in pieces),
        basis=basis,
        width_m=first.length_m if turned else first.width_m,
        thickness_m=first.thickness_m,
    )
