"""What a revision did: elements that came, went or changed, quantities and money by item, and the reasons."""

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from takeoff.findings import Finding, InputError
from takeoff.measuring.identity import Matching, match_elements
from takeoff.measuring.records import MeasuredPart
from takeoff.measuring.units import ElementKey
from takeoff.measuring.whereabouts import Place
from takeoff.pricing.element_differences import alike, differences, is_swallowed, summed
from takeoff.pricing.money import MONEY_DIGITS, exact, half_up
from takeoff.pricing.records import Dimension
from takeoff.pricing.ungrouping import arranged_alike, ungrouped
from takeoff.told import counted

REASONS = (
    "added",
    "removed",
    "method",
    "material",
    "dimension",
    "reinforcement",
    "convention",
    "surroundings",
    "by hand",
    "rate",
    "rounding",
)
"""Why a quantity or an amount changed; a line has one of them.

`surroundings`: the element itself is the same, what touches it or lies under it is not. `by hand`: a dimension or
an item that a person wrote. `rounding`: quantities are rounded and amounts are to the cent.
"""


@dataclass(frozen=True, slots=True)
class SideItem:
    """An item of one side. `rate` and `amount` None: not priced."""

    key: str
    number: str
    section: str
    description: str
    unit: str
    quantity: float
    rate: float | None
    amount: float | None


@dataclass(frozen=True, slots=True)
class Side:
    """The old or the new state: what was given, its parts and where they are, its bill.

    `size_step`: metres to which sizes of its parts were rounded where they were written.
    """

    name: str
    parts: tuple[MeasuredPart, ...]
    places: Mapping[ElementKey, Place]
    items: Mapping[str, SideItem]
    dimensions: tuple[Dimension, ...]
    convention: str
    currency: str = ""
    units: str = "metric"
    grand_total: float | None = None
    size_step: float = 0.0


@dataclass(frozen=True, slots=True)
class ElementChange:
    """An element that came, went or changed; `what` says in words what differs. Figures in m3, m2, kg."""

    status: str
    reason: str
    old: ElementKey | None
    new: ElementKey | None
    ground: str
    name: str
    mark: str
    storey: str
    role: str
    what: str
    old_volume_m3: float
    new_volume_m3: float
    old_formwork_m2: float
    new_formwork_m2: float
    old_steel_kg: float
    new_steel_kg: float
    money: float


@dataclass(frozen=True, slots=True)
class LineChange:
    """The change of one item at one element, or of its rate or rounding where there is no element."""

    item: str
    reason: str
    old: ElementKey | None
    new: ElementKey | None
    location: str
    old_quantity: float
    new_quantity: float
    money: float


@dataclass(frozen=True, slots=True)
class ItemChange:
    """An item before and after; None where it was not there, or not priced."""

    key: str
    old: SideItem | None
    new: SideItem | None
    by_reason: Mapping[str, float] = field(default_factory=dict)

    @property
    def shown(self) -> SideItem:
        """The item as it is, or as it was."""
        item = self.new or self.old
        assert item is not None
        return item

    @property
    def money(self) -> float:
        """New amount less the old one."""
        new, old = (_amount(item) for item in (self.new, self.old))
        return float(new - old)


@dataclass(frozen=True, slots=True)
class Changes:
    """All of it, old and new side with it."""

    old: Side
    new: Side
    elements: tuple[ElementChange, ...]
    items: tuple[ItemChange, ...]
    lines: tuple[LineChange, ...]
    unchanged: int
    matching: Matching
    findings: tuple[Finding, ...] = ()

    @property
    def by_reason(self) -> dict[str, float]:
        """Money by reason, those without any left out."""
        sums: dict[str, Decimal] = {}
        for line in self.lines:
            sums[line.reason] = sums.get(line.reason, Decimal(0)) + exact(line.money)
        return {reason: float(sums[reason]) for reason in REASONS if sums.get(reason)}


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
    quantities = _Quantities(old, new, matching)
    for key in _in_order(old.items, new.items):
        refiled += quantities.settle(key, refilable)
        own = _item_lines(key, old.items.get(key), new.items.get(key), quantities, reasons)
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


def _in_order(old: Mapping[str, SideItem], new: Mapping[str, SideItem]) -> list[str]:
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


class _Quantities:
    """Quantities by item and by pair of old and new element."""

    def __init__(self, old: Side, new: Side, matching: Matching) -> None:
        self.old: dict[str, dict[tuple[ElementKey | None, ElementKey | None], float]] = {}
        self.new: dict[str, dict[tuple[ElementKey | None, ElementKey | None], float]] = {}
        self.locations: dict[tuple[ElementKey | None, ElementKey | None], str] = {}
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
        side: dict[str, dict[tuple[ElementKey | None, ElementKey | None], float]],
        row: Dimension,
        pair: tuple[ElementKey | None, ElementKey | None],
    ) -> None:
        sums = side.setdefault(row.item, {})
        sums[pair] = sums.get(pair, 0.0) + row.quantity
        self.locations.setdefault(pair, row.location)

    def settle(self, key: str, pairs: Collection[tuple[ElementKey | None, ElementKey | None]]) -> int:
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


def _item_lines(
    key: str,
    old: SideItem | None,
    new: SideItem | None,
    quantities: _Quantities,
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
    change = _amount(new) - _amount(old)
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


def _reason(
    pair: tuple[ElementKey | None, ElementKey | None], reasons: Mapping[tuple[ElementKey, ElementKey], str]
) -> str:
    old, new = pair
    if old is None and new is None:
        return "by hand"
    if old is None:
        return "added"
    return "removed" if new is None else reasons[old, new]


def _amount(item: SideItem | None) -> Decimal:
    return exact(item.amount) if item is not None and item.amount is not None else Decimal(0)


def _sums(lines: Iterable[LineChange]) -> dict[str, float]:
    sums: dict[str, Decimal] = {}
    for line in lines:
        sums[line.reason] = sums.get(line.reason, Decimal(0)) + exact(line.money)
    return {reason: float(value) for reason, value in sums.items()}


def _money_by_element(
    lines: Iterable[LineChange],
) -> dict[tuple[ElementKey | None, ElementKey | None], float]:
    sums: dict[tuple[ElementKey | None, ElementKey | None], Decimal] = {}
    for line in lines:
        if line.old is not None or line.new is not None:
            pair = (line.old, line.new)
            sums[pair] = sums.get(pair, Decimal(0)) + exact(line.money)
    return {pair: float(value) for pair, value in sums.items()}


def _items_by_element(
    lines: Iterable[LineChange],
) -> dict[tuple[ElementKey | None, ElementKey | None], list[str]]:
    found: dict[tuple[ElementKey | None, ElementKey | None], list[str]] = {}
    for line in lines:
        found.setdefault((line.old, line.new), []).append(line.item)
    return found


def _came_or_went(
    status: str,
    key: ElementKey,
    parts: Sequence[MeasuredPart],
    money: Mapping[tuple[ElementKey | None, ElementKey | None], float],
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
