"""Prefabrication share: precast and tilt-up against all concrete, for the whole, by role and by storey.

Compared are only parts whose method is decided. Where unresolved parts were measured, the same shares of
volume and weight with those in the total follow, as `... with unresolved`.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal

from takeoff.measuring.plan import ROLES
from takeoff.measuring.records import MeasuredPart, Measurement
from takeoff.pricing.money import exact
from takeoff.pricing.records import Dimension, Item, ShareRow
from takeoff.pricing.register import UNIT_METHODS, Register
from takeoff.pricing.unit_systems import UnitSystem

CONCRETE = ("cast-in-place", *UNIT_METHODS)
LEVEL = 15.0
"""Faces flatter than this, degrees, are tops and undersides."""
UNITS = {"volume": "m3", "weight": "t", "wall length": "m", "floor area": "m2", "pieces": "nr", "value": ""}


def shares_in(shares: Iterable[ShareRow], system: UnitSystem) -> tuple[ShareRow, ...]:
    """The shares with their figures in the units of a system; money and numbers stay."""
    return tuple(
        replace(
            share,
            unit=system.unit(share.unit),
            prefabricated=round(share.prefabricated * system.factor(share.unit), 6),
            total=round(share.total * system.factor(share.unit), 6),
        )
        for share in shares
    )


@dataclass(slots=True)
class _Tally:
    """Prefabricated and total by measure, role and storey."""

    sums: dict[tuple[str, str, str], list[float]] = field(default_factory=dict)

    def add(self, measure: str, role: str, storey: str, total: float, prefabricated: float) -> None:
        """Adds to the whole, to the role and to the storey."""
        for by, group in (("all", ""), ("role", role), ("storey", storey)):
            row = self.sums.setdefault((measure, by, group), [0.0, 0.0])
            row[0] += prefabricated
            row[1] += total


def prefabrication_shares(
    measurement: Measurement,
    bill_items: Sequence[Item],
    dimensions: Sequence[Dimension] = (),
    currency: str = "",
) -> tuple[ShareRow, ...]:
    """Shares by volume (m3), weight (t), wall length (m), floor area (m2), pieces (nr) and value.

    A wall length counts once for all leaves of a wall, as prefabricated when any leaf is; slabs that lie on
    one another count once as floor, as prefabricated where one is; a unit with cast concrete in it is one
    piece. Value
    is the net amount of priced items whose method is known, by storey through `dimensions`.
    """
    tally = _Tally()
    parts = [part for part in measurement.parts if part.net_volume_m3]
    decided = [part for part in parts if part.method in CONCRETE]
    for part in decided:
        made = part.method in UNIT_METHODS
        for measure, figure in (("volume", part.net_volume_m3), ("weight", part.weight_t)):
            total = figure or 0.0
            tally.add(measure, part.role, part.storey, total, total if made else 0.0)
    _add_walls(tally, decided)
    _add_floors(tally, decided, measurement)
    _add_pieces(tally, decided, measurement)
    _add_value(tally, measurement, bill_items, dimensions)
    unresolved = [part for part in parts if part.method == "unresolved"]
    if unresolved:
        for part in (*decided, *unresolved):
            made = part.method in UNIT_METHODS
            for measure, figure in (("volume", part.net_volume_m3), ("weight", part.weight_t)):
                total = figure or 0.0
                tally.add(f"{measure} with unresolved", part.role, part.storey, total, total if made else 0.0)
    return tuple(_rows(tally, measurement, currency))


def _lumps(parts: Iterable[MeasuredPart]) -> dict[tuple[str, str, int], list[MeasuredPart]]:
    """The parts of each lump of each element: leaves of one wall between two floors."""
    lumps: dict[tuple[str, str, int], list[MeasuredPart]] = {}
    for part in parts:
        lumps.setdefault((part.model, part.global_id, part.lump), []).append(part)
    return lumps


def _add_walls(tally: _Tally, parts: Sequence[MeasuredPart]) -> None:
    for lump in _lumps(part for part in parts if part.role == "wall").values():
        length = max(part.length_m or 0.0 for part in lump)
        made = any(part.method in UNIT_METHODS for part in lump)
        tally.add("wall length", "wall", lump[0].storey, length, length if made else 0.0)


def _add_floors(tally: _Tally, parts: Sequence[MeasuredPart], measurement: Measurement) -> None:
    slabs = [part for part in parts if part.role == "slab"]
    twice = _counted_twice(slabs, measurement)
    for (model, global_id, _), lump in _lumps(slabs).items():
        area = max(part.plan_area_m2 or 0.0 for part in lump)
        made = any(part.method in UNIT_METHODS for part in lump)
        less = min(area, twice.get((model, global_id), 0.0))
        if less:
            twice[model, global_id] -= less
        tally.add("floor area", "slab", lump[0].storey, area - less, area if made else 0.0)


def _counted_twice(slabs: Sequence[MeasuredPart], measurement: Measurement) -> dict[tuple[str, str], float]:
    """Plan area, m2, to take off each cast slab: what lies on units, or on or under a larger cast slab."""
    volumes: dict[tuple[str, str], float] = {}
    made: set[tuple[str, str]] = set()
    for part in slabs:
        element = (part.model, part.global_id)
        volumes[element] = volumes.get(element, 0.0) + (part.net_volume_m3 or 0.0)
        if part.method in UNIT_METHODS:
            made.add(element)
    twice: dict[tuple[str, str], float] = {}
    for joint in measurement.joints:
        sides = [(joint.model, joint.global_id), (joint.model, joint.other_id)]
        if joint.kind != "topping" or sides[0] == sides[1]:
            continue
        for cast, unit in (sides, sides[::-1]):
            if cast in volumes and cast not in made and unit in made:
                twice[cast] = twice.get(cast, 0.0) + joint.area_m2
    for surface in measurement.surfaces:
        own, other = (surface.model, surface.global_id), (surface.model, surface.other_id)
        level = surface.slope_deg is not None and surface.slope_deg < LEVEL
        if surface.state != "contact" or not level or not {own, other} <= volumes.keys() - made:
            continue
        # Both sides have a row for the contact; the smaller slab gives way.
        if (volumes[own], own[1]) < (volumes[other], other[1]):
            twice[own] = twice.get(own, 0.0) + surface.area_m2
    return twice


def _add_pieces(tally: _Tally, parts: Sequence[MeasuredPart], measurement: Measurement) -> None:
    pieces = [piece for piece in measurement.pieces if piece.method in UNIT_METHODS]
    for piece in pieces:
        tally.add("pieces", piece.role, piece.storey, 1.0, 1.0)
    register = Register.of(measurement)
    elements: dict[tuple[str, str], list[MeasuredPart]] = {}
    for part in parts:
        elements.setdefault((part.model, part.global_id), []).append(part)
    for members in elements.values():
        made = [part for part in members if part.method in UNIT_METHODS]
        if made and register.piece(made[0]) is not None:
            continue
        first = (made or members)[0]
        tally.add("pieces", first.role, first.storey, 1.0, 1.0 if made else 0.0)


def _add_value(
    tally: _Tally, measurement: Measurement, items: Sequence[Item], dimensions: Sequence[Dimension]
) -> None:
    """Each item's amount, shared out to its dimensions by quantity."""
    register = Register.of(measurement)
    by_key = {item.key: item for item in items if item.amount}
    shared: dict[tuple[str, str, str], Decimal] = {}
    listed: dict[str, Decimal] = {}
    for dimension in dimensions:
        listed[dimension.item] = listed.get(dimension.item, Decimal(0)) + exact(dimension.quantity)
    for dimension in dimensions:
        item = by_key.get(dimension.item)
        if item is None or item.amount is None or not listed[dimension.item]:
            continue
        part = register.part(dimension.model, dimension.global_id, dimension.part)
        method = item.method or (part.method if part else "")
        role = item.role or (part.role if part else "")
        cut = exact(item.amount) * exact(dimension.quantity) / listed[dimension.item]
        place = (method, role, dimension.storey)
        shared[place] = shared.get(place, Decimal(0)) + cut
    for item in by_key.values():
        if item.key not in listed and item.amount is not None:
            place = (item.method, item.role, "")
            shared[place] = shared.get(place, Decimal(0)) + exact(item.amount)
    for (method, role, storey), value in shared.items():
        if method in CONCRETE:
            tally.add("value", role, storey, float(value), float(value) if method in UNIT_METHODS else 0.0)


def _rows(tally: _Tally, measurement: Measurement, currency: str) -> Iterable[ShareRow]:
    storeys: Mapping[str, None] = dict.fromkeys(part.storey for part in measurement.parts)
    measures = [*UNITS, "volume with unresolved", "weight with unresolved"]
    groups = [("all", "")]
    groups += [("role", role) for role in ROLES]
    groups += [("storey", storey) for storey in storeys]
    listed = set(groups)
    groups += sorted({(by, group) for _, by, group in tally.sums} - listed)
    for by, group in groups:
        for measure in measures:
            prefabricated, total = tally.sums.get((measure, by, group), (0.0, 0.0))
            plain = measure.removesuffix(" with unresolved")
            known = 0.0 if plain == measure else tally.sums.get((plain, by, group), (0.0, 0.0))[1]
            if total > known:
                unit = UNITS[plain] or currency
                digits = 2 if measure == "value" else 6
                yield ShareRow(by, group, measure, unit, round(prefabricated, digits), round(total, digits))
