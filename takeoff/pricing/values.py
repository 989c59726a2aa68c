"""What the parts behind a bill are worth: the amounts of its items, shared out to the cent."""

from collections.abc import Iterable, Mapping, Sequence
from decimal import ROUND_FLOOR, Decimal

from msgspec import Struct
from msgspec.structs import replace

from takeoff.measuring.records import MeasuredPart, Measurement
from takeoff.pricing.counted import CONCRETE
from takeoff.pricing.money import exact, half_up
from takeoff.pricing.records import Dimension, Item
from takeoff.pricing.register import Register

BASIS = "net amounts of the bill's items, as billed, shared out to the cent"
_CENT = Decimal("0.01")
_Place = tuple[str, str, int, str]
"""Model, GlobalId, part and storey of dimensions."""


class Value(Struct, frozen=True):
    """A share of an item's amount: of a part, None where the item is of no element. `method` and `role` are those of
    the item where it says them, else those of the part."""

    part: MeasuredPart | None
    method: str
    role: str
    storey: str
    model: str
    item: str
    amount: Decimal


def item_values(
    measurement: Measurement, items: Iterable[Item], dimensions: Sequence[Dimension]
) -> tuple[Value, ...]:
    """The amounts of priced items whose method is known, each shared out to its dimensions by quantity.

    The shares of an item are whole cents and add up to its amount, as the bill has it: what is left after rounding
    down goes to the largest remainders. So whatever sums them says the same as the bill.
    """
    register = Register.of(measurement)
    listed: dict[str, dict[_Place, Decimal]] = {}
    for row in dimensions:
        own = listed.setdefault(row.item, {})
        place = (row.model, row.global_id, row.part, row.storey)
        own[place] = own.get(place, Decimal(0)) + exact(row.quantity)
    values = []
    for item in items:
        if not item.amount:
            continue
        places = listed.get(item.key)
        if places is None:
            values.append(Value(None, item.method, item.role, "", "", item.description, exact(item.amount)))
            continue
        for (model, global_id, number, storey), amount in _shared_out(exact(item.amount), places).items():
            part = register.part(model, global_id, number)
            method = item.method or (part.method if part else "")
            role = item.role or (part.role if part else "")
            values.append(Value(part, method, role, storey, model, item.description, amount))
    return tuple(value for value in values if value.method in CONCRETE)


def as_part(value: Value) -> MeasuredPart:
    """The part of a value with the method and role by which it counts; a nameless one where it is of no element."""
    if value.part is None:
        return MeasuredPart(
            value.model, "", 0, "", value.item, "", "", value.storey, value.role, "", value.method, "", "", ""
        )
    return replace(value.part, method=value.method, role=value.role, storey=value.storey)


def _shared_out(amount: Decimal, quantities: Mapping[_Place, Decimal]) -> dict[_Place, Decimal]:
    """An amount in whole cents to places by their quantities; nothing where these add up to nothing."""
    whole = sum(quantities.values(), Decimal(0))
    if not whole:
        return {}
    shares = {key: amount * quantity / whole for key, quantity in quantities.items()}
    down = {key: share.quantize(_CENT, rounding=ROUND_FLOOR) for key, share in shares.items()}
    left = int((half_up(amount, 2) - sum(down.values(), Decimal(0))) / _CENT)
    for key in sorted(shares, key=lambda key: down[key] - shares[key])[:left]:
        down[key] += _CENT
    return down
