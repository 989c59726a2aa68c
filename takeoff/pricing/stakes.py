"""The money that hangs on a finding: by the items that bill what is at stake."""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping

from msgspec import Struct, field
from msgspec.structs import replace

from takeoff.findings import Finding
from takeoff.measuring.records import Measurement
from takeoff.pricing.money import exact_sum
from takeoff.pricing.records import Bill, Item

WHOLE = 0.99
"""From this share of an element's concrete on, all its items hang on a finding: form and steel go with it."""
_BILLED_FROM = {"m3": "parts", "m2": "formwork", "kg": "reinforcement"}
"""The table whose rows bill a quantity in this unit."""
_JOINTS = "joint-drawn-closed"
_VOLUMES = ("m3", "yd3")
_UNPRICED = ("item-unpriced", "not-billed", "casting-area-short", "score-without-unresolved")
"""Kinds whose quantity no item with a rate bills."""


class _Sums(Struct):
    """Measured quantity and money of some elements, by the table that items are billed from."""

    quantity: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    money: dict[str, float] = field(default_factory=lambda: defaultdict(float))

    @property
    def all_money(self) -> float:
        return sum(self.money.values())


Stakes = Mapping[tuple[str, str], _Sums]
"""What hangs on an element, on a model (GlobalId empty), and on all (both empty)."""


def with_money(findings: Iterable[Finding], stakes: Stakes) -> tuple[Finding, ...]:
    """The findings, each with the money of this bill that hangs on it, where items with rates say it.

    Concrete: the share that the worth has of the element's concrete, times its items measured by volume; all of
    its items where the whole element is at stake. Formwork and steel: the worth at the mean price of the
    element's formwork or reinforcement. Where the element itself has none: at the mean price of the model's.
    A finding on a model as a whole: in the same way over the whole model. None where nothing is priced, or pieces
    are counted of which only one is named.
    """
    return tuple(
        finding if finding.money is not None else replace(finding, money=_money(finding, stakes))
        for finding in findings
    )


def stakes_of(measurement: Measurement, bill: Bill) -> Stakes:
    """What hangs on each element, on each model and on all."""
    quantities: dict[tuple[str, str, str], list[float]] = defaultdict(list)
    money: dict[tuple[str, str, str], list[float]] = defaultdict(list)
    for part in measurement.parts:
        quantities[part.model, part.global_id, "parts"].append(part.net_volume_m3 or 0.0)
    for row in measurement.formwork:
        quantities[row.model, row.global_id, "formwork"].append(row.area_m2)
    for steel in measurement.reinforcement:
        quantities[steel.model, steel.global_id, "reinforcement"].append(steel.mass_kg)
    for joint in measurement.joints:
        quantities[joint.model, "", "joints"].append(joint.grout_m3)
    priced = {
        item.key: (_billed_as(item), item.rate)
        for section in bill.sections
        for item in section.items
        if item.rate is not None
    }
    for line in bill.dimensions:
        found = priced.get(line.item)
        if found is not None and not line.by_hand:
            source, rate = found
            money[line.model, line.global_id, source].append(line.quantity * rate)
    sums: dict[tuple[str, str], _Sums] = defaultdict(_Sums)
    for figures, name in ((quantities, "quantity"), (money, "money")):
        for (model, global_id, source), values in figures.items():
            value = math.fsum(values)
            for key in {(model, global_id), (model, ""), ("", "")}:
                getattr(sums[key], name)[source] += value
    return sums


def _billed_as(item: Item) -> str:
    """The table that an item is billed from; of joints only grout by volume hangs on how wide they are."""
    return item.source if item.source != "joints" or item.unit in _VOLUMES else f"joints by {item.unit}"


def _money(finding: Finding, sums: Stakes) -> float | None:
    if finding.worth is None or finding.kind in _UNPRICED:
        return None
    own = sums.get((finding.model, finding.global_id))
    if own is None:
        return None
    if finding.kind == _JOINTS:
        whole = sums.get((finding.model, ""), own)
        return _share(finding.worth, whole.quantity["joints"], whole.money["joints"])
    if finding.worth_unit in ("t", "pieces"):
        one = finding.global_id and (finding.worth_unit == "t" or finding.worth == 1.0)
        return exact_sum([own.all_money]) or None if one else None
    source = _BILLED_FROM.get(finding.worth_unit)
    if source is None:
        return None
    if source == "parts":
        base = own.quantity[source]
        if finding.global_id and base and finding.worth >= WHOLE * base:
            return round(own.all_money, 2) or None
        if base and own.all_money:
            return _share(finding.worth, base, own.money[source] or own.all_money)
    if not own.money[source]:
        own = sums.get((finding.model, ""), own)
    return _share(finding.worth, own.quantity[source], own.money[source])


def _share(worth: float, whole: float, money: float) -> float | None:
    """Money in the share that a worth has of the whole; None where there is none."""
    return round(money * worth / whole, 2) if whole and money else None
