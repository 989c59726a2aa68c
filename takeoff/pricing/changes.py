"""What a revision did: elements that came, went or changed, quantities and money by item, and the reasons."""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal

from takeoff.findings import Finding, InputError
from takeoff.measuring.identity import Matching, match_elements
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.records import MeasuredPart
from takeoff.pricing.change_lines import Pair, PairQuantities, item_lines
from takeoff.pricing.change_records import Changes, ElementChange, ItemChange, LineChange, Side
from takeoff.pricing.element_differences import differences, is_swallowed, summed
from takeoff.pricing.money import exact
from takeoff.pricing.records import BilledItem
from takeoff.pricing.ungrouping import arranged_alike, ungrouped
from takeoff.told import counted


def check_sides(old: Side, new: Side) -> None:
    """Raise InputError where the two sides are in different currencies or units."""
    if old.currency and new.currency and old.currency != new.currency:
        raise InputError(
            f"{old.name} is in {old.currency} and {new.name} in {new.currency}; money cannot be compared"
        )
    if old.units != new.units:
        raise InputError(
            f"{old.name} is {old.units} and {new.name} {new.units}; write both in the same units"
        )


def find_changes(old: Side, new: Side) -> Changes:
    """Compare two sides; the money of the lines of an item adds up to the change of its amount, to the cent."""
    alike_arranged = arranged_alike(old, new)
    if not alike_arranged:
        old, new = ungrouped(old), ungrouped(new)
    matching = match_elements(old.parts, new.parts, old.places, new.places)
    olds, news = _by_element(old.parts), _by_element(new.parts)
    other = "convention" if old.convention != new.convention else "surroundings"
    described = {
        (pair.old, pair.new): differences(
            olds[pair.old],
            news[pair.new],
            (old.places.get(pair.old), new.places.get(pair.new)),
            other,
            max(old.size_step, new.size_step),
        )
        for pair in matching.pairs
    }
    reasons = {key: found[0] for key, found in described.items()}
    # Where identities were renewed, what two elements share may be filed under the other one.
    refilable = {
        (pair.old, pair.new)
        for pair in matching.renewed
        if not described[pair.old, pair.new][1]
        or is_swallowed(olds[pair.old]) != is_swallowed(news[pair.new])
    }
    refiled = 0
    lines: list[LineChange] = []
    items: list[ItemChange] = []
    quantities = PairQuantities(old, new, matching)
    for key in _in_order(old.items, new.items):
        refiled += quantities.settle(key, refilable)
        own = item_lines(key, old.items.get(key), new.items.get(key), quantities, reasons)
        lines += own
        item = ItemChange(key, old.items.get(key), new.items.get(key), _sums(own))
        if own or item.old is None or item.new is None:
            items.append(item)
    money = _money_by_element(lines)
    touched = _items_by_element(lines)
    elements = [
        *(_came_or_went("removed", key, olds[key], money) for key in matching.removed),
        *(_came_or_went("added", key, news[key], money) for key in matching.added),
    ]
    unchanged = 0
    for pair in matching.pairs:
        reason, what = described[pair.old, pair.new]
        worth = money.get((pair.old, pair.new), 0.0)
        if not what and (pair.old, pair.new) not in money:
            unchanged += 1
            continue
        if not what:
            what = f"the same in itself; differs in {', '.join(touched[pair.old, pair.new])}"
        elements.append(
            _element_change(
                "changed",
                reason,
                pair.old,
                pair.new,
                pair.ground,
                what,
                olds[pair.old],
                news[pair.new],
                worth,
            )
        )
    elements.sort(key=lambda change: (-abs(change.money), change.status, change.name))
    return Changes(
        old, new, tuple(elements), tuple(items), tuple(lines), unchanged, matching,
        tuple(_findings(old, new, matching, refiled, alike_arranged)),
    )  # fmt: skip


def _by_element(parts: Iterable[MeasuredPart]) -> dict[ElementKey, list[MeasuredPart]]:
    found: dict[ElementKey, list[MeasuredPart]] = {}
    for part in parts:
        found.setdefault((part.model, part.global_id), []).append(part)
    return found


def _in_order(old: Mapping[str, BilledItem], new: Mapping[str, BilledItem]) -> list[str]:
    """The new side's items in their order, those that are gone behind the last that stood before them."""
    keys = list(new)
    place = -1
    for key in old:
        if key in new:
            place = keys.index(key)
        else:
            place += 1
            keys.insert(place, key)
    return keys


def _sums(lines: Iterable[LineChange]) -> dict[str, float]:
    sums: dict[str, Decimal] = {}
    for line in lines:
        sums[line.reason] = sums.get(line.reason, Decimal(0)) + exact(line.money)
    return {reason: float(value) for reason, value in sums.items()}


def _money_by_element(
    lines: Iterable[LineChange],
) -> dict[Pair, float]:
    sums: dict[Pair, Decimal] = {}
    for line in lines:
        if line.old is not None or line.new is not None:
            pair = (line.old, line.new)
            sums[pair] = sums.get(pair, Decimal(0)) + exact(line.money)
    return {pair: float(value) for pair, value in sums.items()}


def _items_by_element(
    lines: Iterable[LineChange],
) -> dict[Pair, list[str]]:
    found: dict[Pair, list[str]] = {}
    for line in lines:
        found.setdefault((line.old, line.new), []).append(line.item)
    return found


def _came_or_went(
    status: str,
    key: ElementKey,
    parts: Sequence[MeasuredPart],
    money: Mapping[Pair, float],
) -> ElementChange:
    old, new = (key, None) if status == "removed" else (None, key)
    before, after = (parts, ()) if status == "removed" else ((), parts)
    return _element_change(status, status, old, new, "", "", before, after, money.get((old, new), 0.0))


def _element_change(
    status: str,
    reason: str,
    old: ElementKey | None,
    new: ElementKey | None,
    ground: str,
    what: str,
    before: Sequence[MeasuredPart],
    after: Sequence[MeasuredPart],
    money: float,
) -> ElementChange:
    shown = (after or before)[0]
    return ElementChange(
        status,
        reason,
        old,
        new,
        ground,
        shown.name,
        shown.mark,
        shown.storey,
        shown.role,
        what,
        summed(before, "net_volume_m3"),
        summed(after, "net_volume_m3"),
        summed(before, "formwork_m2"),
        summed(after, "formwork_m2"),
        summed(before, "reinforcement_kg"),
        summed(after, "reinforcement_kg"),
        money,
    )


def _findings(old: Side, new: Side, matching: Matching, refiled: int, alike_arranged: bool) -> list[Finding]:
    found = [
        Finding(
            "note",
            "element-matched",
            pair.new[0],
            pair.new[1],
            f"is taken for {pair.old[1]} of {old.name} by {pair.ground}: its GlobalId was renewed",
            "compared as one element",
        )
        for pair in matching.renewed
    ]
    if not alike_arranged:
        found.append(
            Finding(
                "note", "arrangement-differs", "", "",
                f"{old.name} and {new.name} are arranged differently: items are compared without their groups",
                "one item for all groups",
            )
        )  # fmt: skip
    if refiled:
        found.append(
            Finding(
                "note", "lines-refiled", "", "",
                f"{counted(refiled, 'line of an element', 'lines of elements')} with a renewed GlobalId stand at "
                "another of these elements now, with the same quantity in all: joints, moulds and the like are filed "
                "under one of those that share them",
                "not listed as a change",
            )
        )  # fmt: skip
    for unpriced in sorted({*_unpriced(old), *_unpriced(new)}):
        found.append(
            Finding(
                "warning", "item-unpriced", "", "",
                f"{unpriced} has no rate on one side or both: its change has no price", "0",
            )
        )  # fmt: skip
    return found


def _unpriced(side: Side) -> set[str]:
    return {key for key, item in side.items.items() if item.rate is None}
