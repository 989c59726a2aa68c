"""Sides that are arranged differently, by element, trade or storey, made comparable: items without their groups."""

from collections.abc import Iterable

from msgspec.structs import replace

from takeoff.pricing.change_records import Side
from takeoff.pricing.money import exact_sum
from takeoff.pricing.records import BilledItem

_GROUP = "@"
"""What stands before the group in an item's key."""


def arranged_alike(old: Side, new: Side) -> bool:
    """Whether the items of both sides are in groups of one kind, or in none."""
    groups = [_groups(side.items) for side in (old, new)]
    return (not groups[0] and not groups[1]) or bool(groups[0] & groups[1])


def ungrouped(side: Side) -> Side:
    """The side with the items of all groups together, in the place of the first."""
    together: dict[str, list[BilledItem]] = {}
    for key, item in side.items.items():
        together.setdefault(_plain(key), []).append(item)
    return replace(
        side,
        items={key: _joined(key, items) for key, items in together.items()},
        dimensions=tuple(replace(row, item=_plain(row.item)) for row in side.dimensions),
    )


def _joined(key: str, items: list[BilledItem]) -> BilledItem:
    first = items[0]
    rates = {item.rate for item in items}
    amounts = [item.amount for item in items if item.amount is not None]
    return replace(
        first,
        key=key,
        quantity=exact_sum(item.quantity for item in items),
        # Groups that somebody priced apart have no rate in common.
        rate=first.rate if len(rates) == 1 else _mean(items),
        amount=exact_sum(amounts) if amounts else None,
    )


def _mean(items: list[BilledItem]) -> float | None:
    """The rate that the priced groups have on average."""
    priced = [item for item in items if item.amount is not None]
    quantity = exact_sum(item.quantity for item in priced)
    return exact_sum(item.amount or 0.0 for item in priced) / quantity if quantity else None


def _groups(keys: Iterable[str]) -> set[str]:
    return {key.partition(_GROUP)[2] for key in keys if _GROUP in key}


def _plain(key: str) -> str:
    return key.partition(_GROUP)[0]
