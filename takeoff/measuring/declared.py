"""Declared quantities beside the measured ones: neither trusted nor ignored."""

from collections import defaultdict
from collections.abc import Mapping, Sequence

from msgspec import Struct

from takeoff.findings import Finding
from takeoff.measuring.checks import DeclaredLimits
from takeoff.measuring.declared_findings import layered, near, quantity_differs, totals, volume_findings
from takeoff.measuring.declared_rows import (
    DeclaredRow,
    best_volume,
    expected_volumes,
    measured_elements,
    size_rows,
    volume_rows,
    weight_rows,
    with_shared_causes,
)
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.plan import ElementPlan
from takeoff.measuring.records import MeasuredPart


class DeclaredComparison(Struct, frozen=True):
    """All rows and findings; `volumes` the best declared volume (m3) of each element, agreeing or not.

    `compared` elements have a declared volume and a measured one, `close` of them agree closely (0.5 %).
    """

    rows: tuple[DeclaredRow, ...]
    findings: tuple[Finding, ...]
    volumes: dict[ElementKey, float]
    compared: int
    close: int

    @property
    def close_share(self) -> float | None:
        """Share of the compared elements that agree closely, None where nothing was compared."""
        return self.close / self.compared if self.compared else None


def compare_declared(
    parts: Sequence[MeasuredPart],
    plans: Sequence[ElementPlan],
    limits: DeclaredLimits,
    kept: Mapping[ElementKey, float] | None = None,
) -> DeclaredComparison:
    """Set every comparable declared quantity of the measured elements beside the measured figure.

    `kept` m3 of an element are space that others share and that counts in it.

    Volume: a net figure has to agree with the body after openings (before or after overlaps are taken out); a
    figure called just volume may also be gross; a gross figure is judged only where there is no other.
    Weight: judged by the density that it gives. Areas and lengths: only IFC base quantities with a meaning
    that is measured, of elements of one part; no finding where the volume agrees, since the shape is then the
    same and exporters mean many things by an area.
    """
    elements = measured_elements(parts, plans, kept or {})
    assemblies: dict[tuple[str, str], float] = defaultdict(float)
    for element in elements:
        if element.plan.facts.assembly:
            assemblies[element.plan.facts.model, element.plan.facts.assembly] += element.own
    rows: list[DeclaredRow] = []
    judged: list[DeclaredRow] = []
    findings: list[Finding] = []
    volumes: dict[ElementKey, float] = {}
    close = 0
    for plan in plans:
        best = best_volume(plan)
        if best is not None:
            volumes[plan.facts.model, plan.facts.global_id] = best.value
    elements = [element for element in elements if element.own >= limits.least_volume]
    stated = [
        volume_rows(
            element, assemblies.get((element.plan.facts.model, element.plan.facts.assembly), 0.0), limits
        )
        for element in elements
    ]
    kinds = [element.plan.facts.type_name or element.plan.facts.name for element in elements]
    for element, own_rows in zip(elements, with_shared_causes(stated, kinds), strict=True):
        if own_rows:
            judged.append(own_rows[0])
            close += any(
                abs(own_rows[0].declared / figure - 1.0) <= limits.close
                for figure in expected_volumes(element)
            )
        findings += volume_findings(own_rows, limits)
        weights, sizes = weight_rows(element, limits), size_rows(element, limits)
        findings += [quantity_differs(row, "note") for row in weights if not row.agrees]
        if not (own_rows and own_rows[0].agrees):
            findings += [quantity_differs(row, "note") for row in sizes if not row.agrees]
        rows += [*own_rows, *weights, *sizes]
    findings += [*layered(judged), *near(judged, limits), *totals(judged, limits)]
    return DeclaredComparison(tuple(rows), tuple(findings), volumes, len(judged), close)
