"""Rows for what has no figures: elements that are no concrete, that could not be measured, that were swallowed."""

from collections.abc import Mapping, Sequence

from takeoff.findings import Finding
from takeoff.geometry.solids import SolidResult
from takeoff.measuring.declared_rows import best_volume
from takeoff.measuring.orders import Order
from takeoff.measuring.plan import ElementPlan, PartPlan
from takeoff.measuring.records import MeasuredPart
from takeoff.measuring.settling import Settled
from takeoff.told import Quantity, joined, told

NOT_MEASURED = "not-measured"
"""Kind of the finding on an element without figures."""
_SAYING_SO = ("no-body", "piece-not-measured")
"""Kinds of other stages that say no more of such an element."""

_NOTES = ("measured-one-way",)
"""Remarks of the geometry stage that are no doubt, only less proof than usual."""


def unmeasured_parts(
    plans: Sequence[ElementPlan],
    orders: Sequence[Order],
    solids: Mapping[int, SolidResult],
    settled: Settled,
    measured: set[tuple[str, str, int]],
) -> tuple[list[MeasuredPart], list[Finding]]:
    """A row for each planned part that is not among `measured`, and findings for what went wrong or is in doubt."""
    rows: list[MeasuredPart] = []
    findings: list[Finding] = []
    by_part: dict[tuple[int, int], SolidResult] = {}
    for order in orders:
        result = solids.get(order.request.key)
        if result is None:
            continue
        findings += _remarks(plans[order.element], result)
        for part in order.parts:
            by_part[order.element, part.part] = result
    for number, plan in enumerate(plans):
        facts = plan.facts
        for part in plan.parts:
            if (facts.model, facts.global_id, part.part) in measured or not plan.role:
                continue
            if part.method == "not-concrete":
                rows.append(_row(plan, part, "not concrete"))
                continue
            if (number, part.part) in settled.swallowed:
                gross, net, reason = settled.swallowed[number, part.part]
                rows.append(_row(plan, part, reason, gross, net))
                continue
            solid = by_part.get((number, part.part))
            reason = solid.condition if solid is not None and solid.condition else ""
            if not reason:
                reason = (
                    "has no body in the model" if not facts.body else "its layer has no extent in the body"
                )
            rows.append(_row(plan, part, told("not measured: {}", reason)))
            findings.append(_not_measured(plan, reason))
    return rows, findings


def _row(
    plan: ElementPlan, part: PartPlan, condition: str, gross: float | None = None, net: float | None = None
) -> MeasuredPart:
    facts = plan.facts
    return MeasuredPart(
        model=facts.model,
        global_id=facts.global_id,
        part=part.part,
        ifc_class=facts.ifc_class,
        name=facts.name,
        type_name=facts.type_name,
        mark=facts.mark,
        storey=facts.storey,
        role=plan.role,
        subrole=plan.subrole,
        method=part.method,
        evidence=part.evidence,
        material=part.material,
        strength_class=part.strength_class,
        gross_volume_m3=gross,
        net_volume_m3=None if net is None else 0.0,
        overlap_volume_m3=net,
        condition=condition,
        assembly=facts.assembly,
    )


def _not_measured(plan: ElementPlan, reason: str) -> Finding:
    facts = plan.facts
    declared = joined(
        ", ",
        (
            told("{}.{} = {}", entry.set_name, entry.name, Quantity(entry.value, "m3", "g"))
            for entry in facts.declared
            if entry.kind == "volume"
        ),
    )
    best = best_volume(plan)
    volume = best.value if best is not None else None
    offered = told("; the model declares {}, which is not used", declared) if declared else ""
    return Finding(
        "error", NOT_MEASURED, facts.model, facts.global_id,
        told("{} {}: {}{}", facts.ifc_class, facts.name or "(no name)", reason, offered),
        "left out of all quantities", *((volume, "m3") if volume else (None, "")),
    )  # fmt: skip


def said_once(findings: Sequence[Finding]) -> list[Finding]:
    """The findings without those that only say again that an element could not be measured."""
    unmeasured = {(found.model, found.global_id) for found in findings if found.kind == NOT_MEASURED}
    return [
        found
        for found in findings
        if found.kind not in _SAYING_SO or (found.model, found.global_id) not in unmeasured
    ]


def _remarks(plan: ElementPlan, result: SolidResult) -> list[Finding]:
    facts = plan.facts
    name = facts.name or facts.ifc_class
    return [
        Finding(
            "note" if kind in _NOTES else "warning",
            kind,
            facts.model,
            facts.global_id,
            told("{}: {}", name, message),
        )
        for kind, message in result.remarks
    ]
