"""Prefabrication share: precast and tilt-up against all concrete, for the whole, by role, storey and model.

Compared are only parts whose method is decided. Where unresolved parts were measured, the same shares of
volume and weight with those in the total follow, as `... with unresolved`.
"""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal

from msgspec import Struct, field
from msgspec.structs import replace

from takeoff.measuring.plan import ROLES
from takeoff.measuring.records import MeasuredPart, Measurement
from takeoff.pricing.counted import UNITS as COUNTED_UNITS
from takeoff.pricing.counted import Counted, counted_quantities
from takeoff.pricing.records import Dimension, Item, ShareRow
from takeoff.pricing.register import UNIT_METHODS, Register
from takeoff.pricing.unit_systems import UnitSystem
from takeoff.pricing.values import item_values

UNITS = {**COUNTED_UNITS, "value": ""}


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


class _Tally(Struct):
    """Prefabricated and total by measure, role, storey and, where there are several, model."""

    models: frozenset[str]
    sums: dict[tuple[str, str, str], list[float]] = field(default_factory=dict)

    def add(
        self, measure: str, role: str, storey: str, model: str, total: float, prefabricated: float
    ) -> None:
        """Adds to the whole, to the role, to the storey and to the model."""
        places = [("all", ""), ("role", role), ("storey", storey)]
        if len(self.models) > 1:
            places.append(("model", model))
        for by, group in places:
            row = self.sums.setdefault((measure, by, group), [0.0, 0.0])
            row[0] += prefabricated
            row[1] += total

    def add_part(self, measure: str, part: MeasuredPart, total: float, made: bool) -> None:
        """Adds a quantity of a part."""
        self.add(measure, part.role, part.storey, part.model, total, total if made else 0.0)

    def add_counted(self, counted: Iterable[Counted], what: str = "") -> None:
        """Adds quantities, those that go to the same places together; `what` is put to the name of the measure."""
        sums: dict[tuple[str, str, str, str, bool], float] = {}
        for row in counted:
            part = row.part
            key = row.measure, part.role, part.storey, part.model, row.made
            sums[key] = sums.get(key, 0.0) + row.quantity
        for (measure, role, storey, model, made), total in sums.items():
            self.add(measure + what, role, storey, model, total, total if made else 0.0)


def prefabrication_shares(
    measurement: Measurement,
    bill_items: Sequence[Item],
    dimensions: Sequence[Dimension] = (),
    currency: str = "",
) -> tuple[ShareRow, ...]:
    """Shares by volume (m3), weight (t), wall length (m), floor area (m2), frame members, pieces (nr) and value.

    What counts once is told in `counted`. Value is the net amount of priced items whose method is known, by
    storey through `dimensions`.
    """
    tally = _Tally(frozenset(part.model for part in measurement.parts))
    register = Register.of(measurement)
    counted = counted_quantities(measurement, register)
    tally.add_counted(counted)
    _add_value(tally, measurement, bill_items, dimensions)
    unresolved = [part for part in measurement.parts if part.net_volume_m3 and part.method == "unresolved"]
    if unresolved:
        both = [row for row in counted if row.measure in ("volume", "weight")]
        tally.add_counted(both, " with unresolved")
        for part in unresolved:
            tally.add_part("volume with unresolved", part, part.net_volume_m3 or 0.0, made=False)
            tally.add_part("weight with unresolved", part, part.weight_t or 0.0, made=False)
    return tuple(_rows(tally, measurement, currency))


def _add_value(
    tally: _Tally, measurement: Measurement, items: Sequence[Item], dimensions: Sequence[Dimension]
) -> None:
    """The values behind the bill, cents of one place together."""
    sums: dict[tuple[str, str, str, str], Decimal] = {}
    for value in item_values(measurement, items, dimensions):
        place = (value.method, value.role, value.storey, value.model)
        sums[place] = sums.get(place, Decimal(0)) + value.amount
    for (method, role, storey, model), amount in sums.items():
        made = float(amount) if method in UNIT_METHODS else 0.0
        tally.add("value", role, storey, model, float(amount), made)


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
