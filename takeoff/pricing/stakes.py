"""The money that hangs on a finding: by the items that bill what is at stake."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from takeoff.findings import Finding
from takeoff.measuring.records import Measurement
from takeoff.pricing.money import exact_sum
from takeoff.pricing.records import Bill

WHOLE = 0.99
"""From this share of an element's concrete on, all its items hang on a finding: form and steel go with it."""
_BILLED_FROM = {"m3": "parts", "m2": "formwork", "kg": "reinforcement"}
"""The table whose rows bill a quantity in this unit."""
_JOINTS = "joint-drawn-closed"
_UNPRICED = ("item-unpriced", "not-billed", "casting-area-short", "score-without-unresolved")
"""Kinds whose quantity no item with a rate bills."""


@dataclass(slots=True)
class _Sums:
    """Measured quantity and money of some elements, by the table that items are billed from."""

    quantity: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    money: dict[str, float] = field(default_factory=lambda: defaultdict(float))

    @property
    def all_money(self) -> float:
        return sum(self.money.values())


def with_money(findings: Iterable[Finding], measurement: Measurement, bill: Bill) -> tuple[Finding, ...]:
    """The findings, each with the money of this bill that hangs on it, where items with rates say it.

    Concrete: the share that the worth has of the element's concrete, times its items measured by volume; all of
    its items where the whole element is at stake. Formwork and steel: the worth at the mean price of the
    element's formwork or reinforcement. Where the element itself has none: at the mean price of the model's.
    A finding on a model as a whole: in the same way over the whole model. None where nothing is priced, or pieces
    are counted of which only one is named.
    """
    sums = _sums(measurement, bill)
    return tuple(
        finding if finding.money is not None else replace(finding, money=_money(finding, sums))
        for finding in findings
    )


def _sums(measurement: Measurement, bill: Bill) -> dict[tuple[str, str], _Sums]:
    """By element, by model (GlobalId empty), and over all (both empty)."""
    sums: dict[tuple[str, str], _Sums] = defaultdict(_Sums)

    def add(model: str, global_id: str, source: str, quantity: float, money: float) -> None:
        for key in {(model, global_id), (model, ""), ("", "")}:
            sums[key].quantity[source] += quantity
            sums[key].money[source] += money

    for part in measurement.parts:
        add(part.model, part.global_id, "parts", part.net_volume_m3 or 0.0, 0.0)
    for row in measurement.formwork:
        add(row.model, row.global_id, "formwork", row.area_m2, 0.0)
    for steel in measurement.reinforcement:
        add(steel.model, steel.global_id, "reinforcement", steel.mass_kg, 0.0)
    for joint in measurement.joints:
        add(joint.model, "", "joints", joint.grout_m3, 0.0)
    items = {item.key: item for section in bill.sections for item in section.items}
    for line in bill.dimensions:
        item = items.get(line.item)
        if item is not None and item.rate is not None and not line.by_hand:
            add(line.model, line.global_id, item.source, 0.0, line.quantity * item.rate)
    return sums


def _money(finding: Finding, sums: dict[tuple[str, str], _Sums]) -> float | None:
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
