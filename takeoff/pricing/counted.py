"""What shares and scores count: each wall, floor, frame member and piece once, and who makes it."""

from collections.abc import Iterable, Iterator, Sequence

from msgspec import Struct

from takeoff.measuring.records import MeasuredPart, Measurement
from takeoff.pricing.register import UNIT_METHODS, Register

CONCRETE = ("cast-in-place", *UNIT_METHODS)
LEVEL = 15.0
"""Faces flatter than this, degrees, are tops and undersides."""
BED_THICKNESS = 0.15
"""Metres up to which a slab on the ground may be the bed (blinding) of a larger one on top of it."""
MOSTLY = 0.5
"""Share of its area from which on a thin slab on the ground is the bed of what covers it."""
FRAME = ("column", "beam")
UNITS = {
    "volume": "m3",
    "weight": "t",
    "wall length": "m",
    "floor area": "m2",
    "frame members": "nr",
    "pieces": "nr",
}
"""Unit of each measure."""


class Counted(Struct, frozen=True):
    """A quantity that counts in a measure, with the part that stands for it (its method decides)."""

    measure: str
    part: MeasuredPart
    quantity: float

    @property
    def made(self) -> bool:
        """Whether it is precast or tilt-up."""
        return self.part.method in UNIT_METHODS


def counted_quantities(measurement: Measurement, register: Register) -> tuple[Counted, ...]:
    """All quantities of parts whose method is decided.

    A wall length counts once for all leaves of a wall, as prefabricated when any leaf is. Slabs that lie on one
    another count once as floor, as prefabricated where one is; of a thin slab on the ground that is mostly covered
    by a larger one the margin is no floor either. Frame members are columns and beams, one for
    each storey that a column stands in, without units that are set by hand (sills and bands are often
    modelled as beams). A unit with cast concrete in it is one piece.
    """
    decided = [part for part in measurement.parts if part.net_volume_m3 and part.method in CONCRETE]
    return (
        *_volumes(decided),
        *_walls(decided),
        *_floors(decided, measurement, register),
        *_members(decided, register),
        *_pieces(decided, measurement, register),
    )


def _volumes(parts: Iterable[MeasuredPart]) -> Iterator[Counted]:
    for part in parts:
        yield Counted("volume", part, part.net_volume_m3 or 0.0)
        yield Counted("weight", part, part.weight_t or 0.0)


def _lumps(parts: Iterable[MeasuredPart]) -> dict[tuple[str, str, int], list[MeasuredPart]]:
    """The parts of each lump of each element: leaves of one wall between two floors."""
    lumps: dict[tuple[str, str, int], list[MeasuredPart]] = {}
    for part in parts:
        lumps.setdefault((part.model, part.global_id, part.lump), []).append(part)
    return lumps


def _leading(lump: Sequence[MeasuredPart]) -> MeasuredPart:
    """The part that stands for several: the first that is made elsewhere, else the first."""
    return next((part for part in lump if part.method in UNIT_METHODS), lump[0])


def _walls(parts: Sequence[MeasuredPart]) -> Iterator[Counted]:
    for lump in _lumps(part for part in parts if part.role == "wall").values():
        yield Counted("wall length", _leading(lump), max(part.length_m or 0.0 for part in lump))


def _floors(parts: Sequence[MeasuredPart], measurement: Measurement, register: Register) -> Iterator[Counted]:
    slabs = [part for part in parts if part.role == "slab"]
    twice = _counted_twice(slabs, measurement)
    for (model, global_id, _), lump in _lumps(slabs).items():
        area = max(part.plan_area_m2 or 0.0 for part in lump)
        less = min(area, twice.get((model, global_id), 0.0))
        if less:
            twice[model, global_id] -= less
        thin = all(0.0 < (part.height_m or 0.0) <= BED_THICKNESS for part in lump)
        if thin and less > MOSTLY * area and (model, global_id, lump[0].part) in register.on_ground:
            continue
        yield Counted("floor area", _leading(lump), area - less)


def _counted_twice(slabs: Sequence[MeasuredPart], measurement: Measurement) -> dict[tuple[str, str], float]:
    """Plan area, m2, to take off each cast slab: what lies on units, or on or under a larger cast slab."""
    volumes: dict[tuple[str, str], float] = {}
    made: set[tuple[str, str]] = set()
    for part in slabs:
        element = (part.model, part.global_id)
        volumes[element] = volumes.get(element, 0.0) + (part.net_volume_m3 or 0.0)
        if part.method in UNIT_METHODS:
            made.add(element)
    cast_slabs = volumes.keys() - made
    twice: dict[tuple[str, str], float] = {}
    for joint in measurement.joints:
        sides = [(joint.model, joint.global_id), (joint.other_model or joint.model, joint.other_id)]
        if joint.kind != "topping" or sides[0] == sides[1]:
            continue
        for cast, unit in (sides, sides[::-1]):
            if cast in volumes and cast not in made and unit in made:
                twice[cast] = twice.get(cast, 0.0) + joint.area_m2
    for surface in measurement.surfaces:
        own, other = (surface.model, surface.global_id), (surface.model, surface.other_id)
        level = surface.slope_deg is not None and surface.slope_deg < LEVEL
        if surface.state != "contact" or not level or own not in cast_slabs or other not in cast_slabs:
            continue
        # Both sides have a row for the contact; the smaller slab gives way.
        if (volumes[own], own[1]) < (volumes[other], other[1]):
            twice[own] = twice.get(own, 0.0) + surface.area_m2
    return twice


def _members(parts: Sequence[MeasuredPart], register: Register) -> Iterator[Counted]:
    seen: set[tuple[str, str, str, int]] = set()
    for lump in _lumps(part for part in parts if part.role in FRAME).values():
        part = _leading(lump)
        piece = register.piece(part) if part.method in UNIT_METHODS else None
        if piece is not None and (piece.setting == "small" or piece.role not in FRAME):
            continue
        whole = (
            (piece.model, piece.global_id, "piece", 0)
            if piece
            else (part.model, part.global_id, "", part.lump)
        )
        if whole not in seen:
            seen.add(whole)
            yield Counted("frame members", part, 1.0)


def _pieces(parts: Sequence[MeasuredPart], measurement: Measurement, register: Register) -> Iterator[Counted]:
    by_element = {
        (part.model, part.global_id): part for part in reversed(parts) if part.method in UNIT_METHODS
    }
    for piece in measurement.pieces:
        part = by_element.get((piece.model, piece.global_id))
        if part is not None:
            yield Counted("pieces", part, 1.0)
    elements: dict[tuple[str, str], list[MeasuredPart]] = {}
    for part in parts:
        elements.setdefault((part.model, part.global_id), []).append(part)
    for members in elements.values():
        first = _leading(members)
        if first.method not in UNIT_METHODS or register.piece(first) is None:
            yield Counted("pieces", first, 1.0)
