"""Bill items: every row goes to the items whose rules it fits, and items get keys, order and descriptions."""

import math
from collections.abc import Iterable, Mapping

from msgspec import Struct, field
from msgspec.structs import replace

from takeoff.findings import Finding, InputError
from takeoff.measuring.records import PieceRow
from takeoff.pricing.arrangement import Heading, group_of, grouped_key, headings
from takeoff.pricing.choices import Choices
from takeoff.pricing.choosing import Chooser
from takeoff.pricing.entries import Entry, Quantity
from takeoff.pricing.money import round_quantity, round_side, total_quantity
from takeoff.pricing.records import Dimension, Item
from takeoff.pricing.sections import Addition, ItemRule, SectionPlan, SectionRule
from takeoff.pricing.words import compose_key, field_words, natural_order, render
from takeoff.told import Quantity as Stated
from takeoff.told import told

SLIVER = 0.0005
"""A quantity under this, in the unit of its item (areas: ten times), prints as nothing and joins the row before."""


class _Draft(Struct):
    """An item while its rows are gathered."""

    key: str
    section: SectionRule
    rule: ItemRule
    rank: tuple[int, int]
    values: tuple[str, ...]
    group: str | None
    dimensions: list[Dimension] = field(default_factory=list)
    pieces: dict[tuple[str, str, str], PieceRow] = field(default_factory=dict)
    roles: set[str] = field(default_factory=set)
    methods: set[str] = field(default_factory=set)


class SectionItems(Struct, frozen=True):
    """The unpriced items of one section, and which of them only a rate naming them may price."""

    section: Heading
    items: tuple[Item, ...]
    named_rates_only: frozenset[str]


class ItemList(Struct, frozen=True):
    """All items with the dimensions behind them, in the order of the bill, and rows that no item takes."""

    sections: tuple[SectionItems, ...]
    dimensions: tuple[Dimension, ...]
    findings: tuple[Finding, ...]


def make_items(entries: Iterable[Entry], chooser: Chooser) -> ItemList:
    """Items with their dimensions from the rows of a measurement, by the rules of the chooser's plan.

    Raises InputError when two rules of the plan make items of the same key.
    """
    plan, choices = chooser.plan, chooser.choices
    drafts: dict[tuple[tuple[int, int], tuple[str, ...], str | None], _Draft] = {}
    missed: dict[tuple[str, ...], list[tuple[float, str]]] = {}
    for entry in entries:
        fields = chooser.banded(entry.source, entry.fields, entry.figures)
        choice = chooser(entry.source, fields)
        taken = False
        for rules in choice.series:
            for rank, section, rule in rules:
                measured = entry.measures.get(rule.measure)
                if measured is None:
                    continue
                taken = True
                values = tuple([fields.get(name, "") for name in rule.split])
                group = group_of(fields, rule, choices)
                draft = drafts.get((rank, values, group))
                if draft is None:
                    key = grouped_key(compose_key(rule.key, values), group, rule, choices)
                    draft = drafts[rank, values, group] = _Draft(key, section, rule, rank, values, group)
                _take(draft, entry, measured, fields, choices)
                break
        if not taken and not choice.left_out:
            _miss(missed, entry, fields)
    return _finish(_merged(drafts.values(), plan), plan, choices, missed)


def _take(
    draft: _Draft, entry: Entry, measured: Quantity, fields: Mapping[str, str], choices: Choices
) -> None:
    """Adds a row to an item as one dimension, unless nothing is left of it after rounding."""
    rule = draft.rule
    counted, times, note = _counted(rule, measured, fields, choices)
    quantity = round_quantity(counted * choices.system.factor(rule.unit))
    if quantity == 0.0:
        return
    length, width, height = measured.length, measured.width, measured.height
    if counted != measured.value:
        length = width = height = None  # an allowance or percentage: no longer the product of the sides
    elif times is None and (length, width, height) != (None, None, None):
        times = 1.0
    notes = "; ".join([text for text in (measured.note, entry.note, note) if text])
    dimension = Dimension(
        draft.key,
        entry.model,
        entry.global_id,
        entry.part,
        entry.storey,
        entry.location,
        quantity,
        times,
        _side(length, choices),
        _side(width, choices),
        _side(height, choices),
        notes,
    )
    before = draft.dimensions[-1] if draft.dimensions else None
    if (
        before is not None
        and quantity < (10.0 if rule.unit == "m2" else 1.0) * SLIVER
        and _alike(before, dimension)
    ):
        draft.dimensions[-1] = replace(before, quantity=round_quantity(before.quantity + quantity))
    else:
        draft.dimensions.append(dimension)
    draft.roles.add(fields["role"])
    draft.methods.add(fields["method"])
    for piece in entry.pieces:
        draft.pieces[piece.model, piece.global_id, piece.panel] = piece


def _alike(one: Dimension, other: Dimension) -> bool:
    """Whether two rows say the same of the same part, and neither is a product of its sides."""
    sides = (
        one.times,
        one.length,
        one.width,
        one.height,
        other.times,
        other.length,
        other.width,
        other.height,
    )
    if any(side is not None for side in sides):
        return False
    looks = [(d.model, d.global_id, d.part, d.storey, d.location, d.note) for d in (one, other)]
    return looks[0] == looks[1]


def _side(length: float | None, choices: Choices) -> float | None:
    return None if length is None else round_side(length * choices.system.factor("m"))


def _counted(
    rule: ItemRule, measured: Quantity, fields: Mapping[str, str], choices: Choices
) -> tuple[float, float | None, str]:
    """Quantity in the rule's unit, the number where it is one, and a note on what was allowed or added."""
    if rule.allow:
        count = measured.value / rule.allow.per * rule.allow.number_for(fields.get(rule.allow.by, ""))
        if rule.allow.round_up:
            count = float(math.ceil(count - 1e-9))
        count = max(count, rule.allow.at_least)
        return count, count, f"allowance: {rule.allow.because}"
    quantity = measured.value * 1000.0 if rule.unit == "kg" else measured.value
    percent = rule.add.percent_for(fields.get(rule.add.by, "")) if rule.add else 0.0
    if percent:
        system = choices.system
        shown = quantity * system.factor(rule.unit)
        note = f"measured {shown:.6g} {system.unit(rule.unit)}, {percent:g} % added"
        return quantity * (1.0 + percent / 100.0), None, note
    return quantity, quantity if rule.unit == "nr" else None, ""


def _miss(
    missed: dict[tuple[str, ...], list[tuple[float, str]]], entry: Entry, fields: Mapping[str, str]
) -> None:
    measure, quantity = next(iter(entry.measures.items()), ("", None))
    if quantity is None or round_quantity(quantity.value) == 0.0:
        return
    own = [fields.get(name, "") for name in ("category", "state", "joint", "basis")]
    look = (entry.source, measure, fields["method"], fields["role"], *filter(None, own))
    missed.setdefault(look, []).append((quantity.value, entry.global_id))


def _merged(drafts: Iterable[_Draft], plan: SectionPlan) -> list[_Draft]:
    """Drafts with rows, those of one rule whose values read the same in the key put together."""
    by_key: dict[str, _Draft] = {}
    for draft in drafts:
        if not draft.dimensions:
            continue
        first = by_key.setdefault(draft.key, draft)
        if first is draft:
            continue
        if first.rank != draft.rank:
            raise InputError(
                f"{plan.file}: item {draft.key} is made twice, in section {first.section.title} and in "
                f"section {draft.section.title}; give one of the two rules another key or split it further"
            )
        first.values = min(first.values, draft.values)
        first.dimensions += draft.dimensions
        first.pieces |= draft.pieces
        first.roles |= draft.roles
        first.methods |= draft.methods
    return sorted(by_key.values(), key=lambda draft: (draft.rank, _value_order(draft, plan)))


def _value_order(draft: _Draft, plan: SectionPlan) -> list[tuple[float, tuple[float, int, str]]]:
    order: list[tuple[float, tuple[float, int, str]]] = []
    for name, value in zip(draft.rule.split, draft.values, strict=True):
        listed = plan.order.get(name, ())
        place = listed.index(value) if value in listed else math.inf
        order.append((place, natural_order(value)))
    return order


def _finish(
    drafts: list[_Draft],
    plan: SectionPlan,
    choices: Choices,
    missed: Mapping[tuple[str, ...], list[tuple[float, str]]],
) -> ItemList:
    sections: list[SectionItems] = []
    dimensions: list[Dimension] = []
    grouped: dict[tuple[bool, str], list[_Draft]] = {}
    ordered = headings(
        (draft.group for draft in drafts),
        (draft.section for draft in drafts if draft.group is None),
        plan,
        choices,
    )
    for draft in drafts:
        grouped.setdefault(_place(draft), []).append(draft)
    for place, heading in ordered:
        own = grouped[place]
        items = tuple(_item(draft, number, heading, plan, choices) for number, draft in enumerate(own, 1))
        named = frozenset(draft.key for draft in own if draft.rule.named_rates_only)
        sections.append(SectionItems(heading, items, named))
        dimensions.extend(dimension for draft in own for dimension in draft.dimensions)
    return ItemList(tuple(sections), tuple(dimensions), tuple(_not_billed(missed)))


def _place(draft: _Draft) -> tuple[bool, str]:
    """Where a draft stands: in a group of the arrangement, or in the plan's section of that code."""
    return (True, draft.section.code) if draft.group is None else (False, draft.group)


def _item(draft: _Draft, number: int, heading: Heading, plan: SectionPlan, choices: Choices) -> Item:
    rule = draft.rule
    by_field = dict(zip(rule.split, draft.values, strict=True))
    words = {name: field_words(name, value, (rule.words, plan.words)) for name, value in by_field.items()}
    words |= _summary(draft.pieces, choices)
    if rule.add:
        words["added"] = added_words(rule.add, by_field.get(rule.add.by, ""))
    return Item(
        draft.key,
        render(plan.number, {"section": heading.code, "item": str(number)}),
        heading.title,
        render(rule.text, words),
        choices.system.unit(rule.unit),
        total_quantity((dimension.quantity for dimension in draft.dimensions), choices.digits_for(rule.unit)),
        None,
        None,
        method=draft.methods.pop() if len(draft.methods) == 1 else "",
        role=draft.roles.pop() if len(draft.roles) == 1 else "",
        digits=choices.digits_for(rule.unit),
        source=rule.source,
    )


def _summary(pieces: Mapping[tuple[str, str, str], PieceRow], choices: Choices) -> dict[str, str]:
    """Words for number, largest size (by volume) and heaviest weight of the pieces of an item."""
    if not pieces:
        return {"pieces": "", "largest": "", "heaviest": ""}
    largest = max(pieces.values(), key=lambda piece: (piece.volume_m3, piece.global_id))
    sides = (largest.length_m, largest.width_m, largest.thickness_m)
    return {
        "pieces": f"{len(pieces)} unit" + ("s" if len(pieces) > 1 else ""),
        "largest": choices.system.sizes(sides, 2),
        "heaviest": choices.system.show(max(piece.weight_t for piece in pieces.values()), "t", 2),
    }


def added_words(addition: Addition, value: str) -> str:
    """What a description says of a percentage added to the quantity, or of none."""
    percent = addition.percent_for(value)
    return addition.text.replace("{percent}", f"{percent:g}") if percent else addition.otherwise


def _not_billed(missed: Mapping[tuple[str, ...], list[tuple[float, str]]]) -> Iterable[Finding]:
    units = {"volume": "m3", "area": "m2", "length": "m", "mass": "t", "count": "pieces"}
    for (source, measure, *what), rows in missed.items():
        worth = round_quantity(math.fsum(value for value, _ in rows))
        unit = units.get(measure, "")
        yield Finding(
            "error",
            "not-billed",
            "",
            rows[0][1] if len(rows) == 1 else "",
            told(
                "{}: {} of them ({}; {}) {} no item of the bill: add an item for them in the bill sections, or list "
                "them there as left out",
                source,
                len(rows),
                ", ".join(filter(None, what)),
                Stated(worth, unit, "g"),
                "fits" if len(rows) == 1 else "fit",
            ),
            "not in the bill",
            worth,
            unit,
        )
