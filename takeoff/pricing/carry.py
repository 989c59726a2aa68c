"""What people typed into an earlier bill, carried into a new one; what is new and what has vanished."""

from collections.abc import Collection, Mapping, Sequence

from msgspec import Struct
from msgspec.structs import replace

from takeoff.findings import Finding, InputError
from takeoff.pricing.markups import MarkupPlan
from takeoff.pricing.money import amount, total_quantity
from takeoff.pricing.records import TYPED, Dimension, Item, Section
from takeoff.pricing.typed import CARRIED, EarlierItem, HandItem, HandSheet, KeptText, TypedBill
from takeoff.told import counted

NEW = "new"
BY_HAND = "by hand"
PRICE_AT = ("Resources", "Price")
"""Sheet and column of the typed price of a resource: kept aside while no rate is built of it."""


class Carried(Struct, frozen=True):
    """The sections and dimensions with what was typed, and what did not find a place in them.

    `vanished` are the items of the earlier bill that the new one lacks, `kept` typed texts without a cell.
    """

    sections: tuple[Section, ...]
    dimensions: tuple[Dimension, ...]
    vanished: tuple[EarlierItem, ...] = ()
    kept: tuple[KeptText, ...] = ()
    findings: tuple[Finding, ...] = ()
    sheets: tuple[HandSheet, ...] = ()


def carry(
    sections: Sequence[Section],
    dimensions: Sequence[Dimension],
    typed: TypedBill,
    resources: Collection[str] = (),
) -> Carried:
    """The new bill's sections with the earlier one's typed rates, descriptions, notes, items and dimensions.

    Typed prices of other than the `resources` that the bill uses are kept aside.
    """
    earlier = _Earlier(typed)
    made = {item.key: item for section in sections for item in section.items}
    own_keys = {hand.key for hand in typed.hand_items if hand.key}
    placed = [row for row in typed.hand_dimensions if row.item in made or row.item in own_keys]
    lost = [row for row in typed.hand_dimensions if row.item not in made and row.item not in own_keys]
    added: dict[str, list[Dimension]] = {}
    for row in placed:
        added.setdefault(row.item, []).append(row)
    measured: dict[str, list[float]] = {key: [] for key in added}
    for dimension in dimensions:
        if dimension.item in measured:
            measured[dimension.item].append(dimension.quantity)
    carried = []
    for section in sections:
        items = []
        for item in section.items:
            if item.key in added:
                quantities = [*measured[item.key], *(row.quantity for row in added[item.key])]
                item = _priced(replace(item, quantity=total_quantity(quantities, item.digits)))
            items.append(earlier.into(item))
        carried.append(replace(section, items=tuple(items)))
    with_hand = _with_hand_items(carried, typed.hand_items, added)
    vanished = tuple(
        {
            **{key: item for key, item in typed.vanished.items() if key not in earlier.met},
            **{key: item for key, item in typed.items.items() if key not in earlier.met},
        }.values()
    )
    unused = [
        KeptText(PRICE_AT[0], name, PRICE_AT[1], f"{price!r}")
        for name, price in typed.prices.items()
        if name not in resources
    ]
    texts = [text for text in typed.kept if (text.sheet, text.heading) != PRICE_AT]
    kept = (*texts, *earlier.astray, *(_lost_dimension(row) for row in lost), *unused)
    return Carried(
        tuple(with_hand),
        (*dimensions, *placed),
        vanished,
        kept,
        tuple(_findings(typed, vanished, kept, with_hand)),
        typed.sheets,
    )


def carried_markups(plan: MarkupPlan, typed: TypedBill) -> MarkupPlan:
    """The markups with the percentages that somebody typed into the earlier bill."""
    rules = tuple(
        rule.model_copy(
            update={"percent": typed.percents[rule.name], "source": f"typed in {typed.file}", "typed": True}
        )
        if rule.name in typed.percents
        else rule
        for rule in plan.markup
    )
    return plan.model_copy(update={"markup": rules})


def check_previous(typed: TypedBill, currency: str, units: str) -> None:
    """Raise InputError where the earlier bill is in another currency or other units."""
    if typed.currency and typed.currency != currency:
        raise InputError(
            f"{typed.file}: the earlier bill is in {typed.currency} and this one in {currency}; its rates cannot "
            "be taken over"
        )
    if typed.units and typed.units != units:
        raise InputError(
            f"{typed.file}: the earlier bill is {typed.units} and this one {units}; its rates cannot be taken over"
        )


class _Earlier:
    """Finds the earlier item of a new one: by key, else by the key without its group where that is plain."""

    def __init__(self, typed: TypedBill) -> None:
        self._file = typed.file
        self._items: Mapping[str, EarlierItem] = {**typed.vanished, **typed.items}
        self._current = typed.items
        self._by_rate: dict[str, list[EarlierItem]] = {}
        for item in self._items.values():
            self._by_rate.setdefault(item.rate_key, []).append(item)
        self.met: set[str] = set()
        self.astray: list[KeptText] = []

    def into(self, item: Item) -> Item:
        """The item with what was typed for it, and a mark of what became of it."""
        found = self._items.get(item.key)
        if found is not None:
            self.met.add(found.key)
        else:
            group = self._by_rate.get(item.rate_key, [])
            values = {tuple(getattr(old, name) for name in ("rate", "low", "high")) for old in group}
            typed = {old.typed - {"note", "description"} for old in group}
            found = group[0] if group and len(values) == 1 and len(typed) == 1 else None
            if found is not None:
                self.met.update(old.key for old in group)
                found = replace(found, typed=found.typed - {"note", "description"})
        if found is None:
            return replace(item, mark=NEW)
        if found.unit and found.unit != item.unit:
            self.astray += [
                KeptText("Bill", item.key, f"{name} by {found.unit}", f"{getattr(found, name)}")
                for name in CARRIED
                if name in found.typed and getattr(found, name) not in (None, "")
            ]
            return replace(item, mark=f"unit was {found.unit}", own=found.own)
        taken = {name: getattr(found, name) for name in CARRIED if name in found.typed}
        words = [f"{name} kept" for name in CARRIED if name in taken]
        if found.key not in self._current:
            words.insert(0, "back again")
        item = replace(item, **taken, mark=", ".join(words), typed=tuple(taken), own=found.own)
        if "rate" in taken:
            # A range that does not hold the typed rate is another rate's.
            low = (
                None if item.low is not None and item.rate is not None and item.low > item.rate else item.low
            )
            high = (
                None
                if item.high is not None and item.rate is not None and item.high < item.rate
                else item.high
            )
            item = replace(item, low=low, high=high)
            item = replace(item, rate_source=f"typed in {self._file}", rate_origin=TYPED)
        return _priced(item)


def _priced(item: Item) -> Item:
    return replace(item, amount=None if item.rate is None else amount(item.quantity, item.rate))


def _with_hand_items(
    sections: Sequence[Section], hand: Sequence[HandItem], added: Mapping[str, Sequence[Dimension]]
) -> list[Section]:
    """The sections with the hand-written lines in their places; a section that is gone comes again for them."""
    made = list(sections)
    for line in hand:
        where = next((place for place, section in enumerate(made) if section.title == line.section), None)
        if where is None:
            made.append(Section(_free_code(made), line.section or "Items added by hand", ()))
            where = len(made) - 1
        items = list(made[where].items)
        keys = [item.key for item in items]
        if not line.after:
            place = 0
        elif line.after in keys:
            place = keys.index(line.after) + 1
        else:
            place = len(items)
        while place < len(items) and items[place].by_hand:
            place += 1
        items.insert(place, _hand_item(line, added.get(line.key, ())))
        made[where] = replace(made[where], items=tuple(items))
    return made


def _hand_item(line: HandItem, own: Sequence[Dimension]) -> Item:
    quantity = total_quantity((row.quantity for row in own), 6) if own else line.quantity
    text_only = quantity is None and line.rate is None
    shown = 0.0 if quantity is None else quantity
    item = Item(
        line.key,
        line.number,
        line.section,
        line.description,
        line.unit,
        shown,
        line.rate,
        None,
        "typed by hand" if line.rate is not None else "",
        low=line.low,
        high=line.high,
        note=line.note,
        by_hand="text" if text_only else "item",
        mark=BY_HAND,
        own=line.own,
    )
    return replace(item, amount=0.0) if text_only else _priced(item)


def _free_code(sections: Sequence[Section]) -> str:
    taken = {section.code for section in sections}
    number = 1
    while f"X{number}" in taken:
        number += 1
    return f"X{number}"


def _lost_dimension(row: Dimension) -> KeptText:
    sides = " x ".join(
        f"{side:g}" for side in (row.times, row.length, row.width, row.height) if side is not None
    )
    text = ", ".join(filter(None, (row.location, row.storey, sides, f"quantity {row.quantity:g}", row.note)))
    return KeptText("Dimensions", row.item, "row added by hand for an item that is gone", text)


def _findings(
    typed: TypedBill,
    vanished: Sequence[EarlierItem],
    kept: Sequence[KeptText],
    sections: Sequence[Section],
) -> list[Finding]:
    found = []
    fresh = [item for section in sections for item in section.items if item.mark == NEW]
    if fresh:
        found.append(
            Finding(
                "note",
                "items-new",
                "",
                "",
                f"{counted(len(fresh), 'item is', 'items are')} new since {typed.file}: see the column Since the "
                "earlier bill",
                "priced from the rates",
            )
        )
    for item in vanished:
        if item.typed or item.key in typed.items:
            found.append(
                Finding(
                    "warning" if item.typed else "note",
                    "item-vanished",
                    "",
                    "",
                    f"item {item.number} ({item.key}) of {typed.file} is not measured any more: see the sheet Kept",
                    "not in the bill; what was typed for it is kept",
                    item.quantity,
                    "pieces" if item.unit == "nr" else item.unit,
                )
            )
    if kept:
        found.append(
            Finding(
                "warning",
                "typed-text-kept",
                "",
                "",
                f"{counted(len(kept), 'cell')} typed in {typed.file} {'has' if len(kept) == 1 else 'have'} no place "
                "in this bill: see the sheet Kept",
                "listed there, not in the totals",
            )
        )
    return found
