"""The change of an item by lines: quantities by pair of old and new element, then the rate, then rounding."""

import math
from collections.abc import Collection, Mapping
from decimal import Decimal

from takeoff.measuring.identity import Matching
from takeoff.measuring.keys import ElementKey
from takeoff.pricing.change_records import LineChange, Side, amount_of
from takeoff.pricing.element_differences import alike
from takeoff.pricing.money import MONEY_DIGITS, exact, half_up
from takeoff.pricing.records import BilledItem, Dimension

Pair = tuple[ElementKey | None, ElementKey | None]
"""An old and a new element; None where there is none."""


class PairQuantities:
    """Quantities by item and by pair of old and new element."""

    def __init__(self, old: Side, new: Side, matching: Matching) -> None:
        self.old: dict[str, dict[Pair, float]] = {}
        self.new: dict[str, dict[Pair, float]] = {}
        self.locations: dict[Pair, str] = {}
        news, olds = matching.new_of, matching.old_of
        known_old = {(part.model, part.global_id) for part in old.parts}
        known_new = {(part.model, part.global_id) for part in new.parts}
        for row in old.dimensions:
            own = (row.model, row.global_id)
            self._add(self.old, row, (own, news.get(own)) if own in known_old else (None, None))
        for row in new.dimensions:
            own = (row.model, row.global_id)
            self._add(self.new, row, (olds.get(own), own) if own in known_new else (None, None))

    def _add(
        self,
        side: dict[str, dict[Pair, float]],
        row: Dimension,
        pair: Pair,
    ) -> None:
        sums = side.setdefault(row.item, {})
        sums[pair] = sums.get(pair, 0.0) + row.quantity
        self.locations.setdefault(pair, row.location)

    def settle(self, key: str, pairs: Collection[Pair]) -> int:
        """Leave out what an item only has at other elements of `pairs` now, all of them together having the same
        quantity; returns how many elements that are."""
        before, after = self.old.get(key, {}), self.new.get(key, {})
        moved = [pair for pair in pairs if not alike(before.get(pair, 0.0), after.get(pair, 0.0))]
        sums = [math.fsum(side.get(pair, 0.0) for pair in moved) for side in (before, after)]
        if not moved or not alike(*sums):
            return 0
        for pair in moved:
            before.pop(pair, None)
            after.pop(pair, None)
        return len(moved)


def item_lines(
    key: str,
    old: BilledItem | None,
    new: BilledItem | None,
    quantities: PairQuantities,
    reasons: Mapping[tuple[ElementKey, ElementKey], str],
) -> list[LineChange]:
    """Lines of one item: quantities at the old rate, then the rate, then what rounding leaves."""
    before, after = quantities.old.get(key, {}), quantities.new.get(key, {})
    old_rate = old.rate if old is not None else None
    new_rate = new.rate if new is not None else None
    rate = exact(old_rate if old_rate is not None else new_rate or 0.0)
    lines: list[LineChange] = []
    for pair in dict.fromkeys((*before, *after)):
        was, now = before.get(pair, 0.0), after.get(pair, 0.0)
        if alike(was, now):
            continue
        money = half_up((exact(now) - exact(was)) * rate, MONEY_DIGITS)
        lines.append(
            LineChange(key, _reason(pair, reasons), *pair, quantities.locations[pair], was, now, float(money))
        )
    if not before and not after:
        # An item without dimensions: written by hand, or a side that does not list them.
        was, now = (item.quantity if item is not None else 0.0 for item in (old, new))
        if was != now:
            money = half_up((exact(now) - exact(was)) * rate, MONEY_DIGITS)
            lines.append(LineChange(key, "by hand", None, None, "", was, now, float(money)))
    change = amount_of(new) - amount_of(old)
    if old_rate is not None and new is not None and new_rate != old_rate:
        step = half_up((exact(new_rate or 0.0) - exact(old_rate)) * exact(new.quantity), MONEY_DIGITS)
        lines.append(LineChange(key, "rate", None, None, "", new.quantity, new.quantity, float(step)))
    elif old is not None and old_rate is None and new_rate is not None:
        step = half_up(exact(new_rate) * exact(old.quantity), MONEY_DIGITS)
        lines.append(LineChange(key, "rate", None, None, "", old.quantity, old.quantity, float(step)))
    rest = change - sum((exact(line.money) for line in lines), Decimal(0))
    if rest:
        lines.append(LineChange(key, "rounding", None, None, "", 0.0, 0.0, float(rest)))
    return lines


def _reason(pair: Pair, reasons: Mapping[tuple[ElementKey, ElementKey], str]) -> str:
    old, new = pair
    if old is None and new is None:
        return "by hand"
    if old is None:
        return "added"
    return "removed" if new is None else reasons[old, new]
