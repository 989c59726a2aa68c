"""Declared quantities beside the measured ones: neither trusted nor ignored."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from takeoff.findings import Finding, Severity
from takeoff.measuring.causes import BASE, Reference, likely_cause
from takeoff.measuring.checks import DeclaredLimits
from takeoff.measuring.declared_names import is_standard_set, sense_of
from takeoff.measuring.plan import ElementPlan
from takeoff.measuring.records import MeasuredPart
from takeoff.measuring.units import ElementKey
from takeoff.reading.facts import Declared

UNCUT = "openings not deducted"
WITH_OTHERS = "includes layers that are not concrete"


@dataclass(frozen=True, slots=True)
class DeclaredRow:
    """A declared quantity (m, m2, m3, kg) with the measured one; `ratio` is declared over measured.

    `agrees` tells whether they agree within the limit; `cause` is the likely cause where they do not; `sense`
    says whether the figure is `net`, `gross` or `plain` (neither word).
    """

    model: str
    global_id: str
    kind: str
    set_name: str
    name: str
    declared: float
    measured: float
    ratio: float
    agrees: bool
    cause: str = ""
    sense: str = ""


@dataclass(frozen=True, slots=True)
class DeclaredComparison:
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


@dataclass(frozen=True, slots=True)
class _Element:
    """What was measured of an element: m3 and kg over its concrete parts.

    `own` is after openings and before overlaps, `net` after both, `gross` before both. `concrete_share` is
    the part of the thickness that is concrete, None where layers of other materials have no stated thickness.
    """

    plan: ElementPlan
    parts: tuple[MeasuredPart, ...]
    own: float
    net: float
    gross: float
    mixed: bool
    concrete_share: float | None

    @property
    def key(self) -> ElementKey:
        return self.plan.facts.model, self.plan.facts.global_id


def compare_declared(
    parts: Sequence[MeasuredPart], plans: Sequence[ElementPlan], limits: DeclaredLimits
) -> DeclaredComparison:
    """Set every comparable declared quantity of the measured elements beside the measured figure.

    Volume: a net figure has to agree with the body after openings (before or after overlaps are taken out); a
    figure called just volume may also be gross; a gross figure is judged only where there is no other.
    Weight: judged by the density that it gives. Areas and lengths: only IFC base quantities with a meaning
    that is measured, of elements of one part.
    """
    elements = _elements(parts, plans)
    assemblies: dict[tuple[str, str], float] = defaultdict(float)
    for element in elements:
        assemblies[element.plan.facts.model, element.plan.facts.assembly] += element.own
    rows: list[DeclaredRow] = []
    judged: list[DeclaredRow] = []
    findings: list[Finding] = []
    volumes: dict[ElementKey, float] = {}
    close = 0
    for plan in plans:
        best = _best_volume(plan)
        if best is not None:
            volumes[plan.facts.model, plan.facts.global_id] = best.value
    for element in elements:
        if element.own < limits.least_volume:
            continue
        facts = element.plan.facts
        whole = assemblies[facts.model, facts.assembly] if facts.assembly else 0.0
        own_rows = _volume_rows(element, whole, limits)
        if own_rows:
            judged.append(own_rows[0])
            close += any(
                abs(own_rows[0].declared / figure - 1.0) <= limits.close for figure in _expected(element)
            )
        findings += _volume_findings(element, own_rows, limits)
        others = [*_weight_rows(element, limits), *_size_rows(element, limits)]
        findings += [_finding(row, "note") for row in others if not row.agrees]
        rows += [*own_rows, *others]
    findings += _totals(judged, limits)
    return DeclaredComparison(tuple(rows), tuple(findings), volumes, len(judged), close)


def _elements(parts: Sequence[MeasuredPart], plans: Sequence[ElementPlan]) -> list[_Element]:
    """Elements of which something was measured, in the order of the plans."""
    by_element: dict[ElementKey, list[MeasuredPart]] = defaultdict(list)
    for part in parts:
        by_element[part.model, part.global_id].append(part)
    elements = []
    for plan in plans:
        own = by_element[plan.facts.model, plan.facts.global_id]
        concrete = tuple(part for part in own if part.method != "not-concrete")
        if not concrete or any(part.net_volume_m3 is None for part in concrete):
            continue
        net = sum(part.net_volume_m3 or 0.0 for part in concrete)
        before = net + sum(part.overlap_volume_m3 or 0.0 for part in concrete)
        gross = sum(part.gross_volume_m3 or 0.0 for part in concrete)
        mixed = any(part.method == "not-concrete" for part in plan.parts)
        elements.append(_Element(plan, concrete, before, net, gross, mixed, _concrete_share(plan)))
    return elements


def _concrete_share(plan: ElementPlan) -> float | None:
    """Share of the build-up's thickness that is concrete; None where a part has no layers."""
    if any(part.layers is None for part in plan.parts):
        return None
    spans = [(part, part.layers[1] - part.layers[0]) for part in plan.parts if part.layers is not None]
    total = sum(span for _, span in spans)
    concrete = sum(span for part, span in spans if part.method != "not-concrete")
    return concrete / total if total > 0 else None


def _volumes(plan: ElementPlan) -> dict[str, list[Declared]]:
    """Declared volumes of an element by sense, those in standard sets first; zeros say nothing."""
    found: dict[str, list[Declared]] = defaultdict(list)
    for entry in plan.facts.declared:
        sense = sense_of(entry, plan.role) if entry.kind == "volume" and entry.value > 0 else None
        if sense is not None:
            found[sense].append(entry)
    for entries in found.values():
        entries.sort(key=lambda entry: not is_standard_set(entry.set_name))
    return found


def _best_volume(plan: ElementPlan) -> Declared | None:
    """The declared volume that comes nearest in meaning to the net volume."""
    found = _volumes(plan)
    return next((found[sense][0] for sense in ("net", "plain", "gross") if sense in found), None)


def _expected(element: _Element) -> list[float]:
    """Measured volumes that a right net figure may mean: the exporter may cut overlaps or not, and cannot
    leave out layers."""
    figures = [element.own, element.net]
    if element.mixed and element.concrete_share:
        figures.append(element.own / element.concrete_share)
    return [figure for figure in figures if figure > 0]


def _volume_rows(element: _Element, whole: float, limits: DeclaredLimits) -> list[DeclaredRow]:
    """A row for each declared volume, the one that is judged first."""
    found = _volumes(element.plan)
    references = [Reference(element.gross, UNCUT)]
    if element.mixed:
        total = element.own / element.concrete_share if element.concrete_share else 0.0
        references.append(Reference(total, WITH_OTHERS))
    if len(element.parts) > 1:
        references += [
            Reference(part.net_volume_m3 or 0.0, f"speaks of part {part.part} alone")
            for part in element.parts
        ]
    references.append(Reference(whole, "speaks of the whole assembly"))
    rows = []
    for sense in ("net", "plain", "gross"):
        right = [element.own, element.net] + ([element.gross] if sense != "net" else [])
        for entry in found.get(sense, ()):
            agrees = any(
                abs(entry.value / figure - 1.0) <= limits.difference for figure in right if figure > 0
            )
            measured = element.gross if sense == "gross" else element.own
            cause = "" if agrees else likely_cause("volume", entry.value, measured, references)
            if cause.startswith("no simple") and element.mixed:
                cause = WITH_OTHERS + ", or another rule of measuring"
            rows.append(_row(element, entry, measured, agrees, cause))
    return rows


def _volume_findings(element: _Element, rows: Sequence[DeclaredRow], limits: DeclaredLimits) -> list[Finding]:
    """At most one finding on volumes: the judged figure differs, or figures of one sense disagree."""
    if not rows:
        return []
    alike = [row for row in rows if row.sense == rows[0].sense]
    spread = max(row.declared for row in alike) / min(row.declared for row in alike) - 1.0
    if spread > limits.difference:
        fitting = next((row for row in alike if row.agrees), None)
        figures = ", ".join(f"{row.set_name}.{row.name} {row.declared:.4f}" for row in alike)
        verdict = f"the first to fit is that of {fitting.set_name}" if fitting else "none of them fits"
        message = (
            f"the model's own sets disagree: {figures} m3; measured {rows[0].measured:.4f} m3, {verdict}: "
            "ask which set is kept up to date"
        )
        worth = abs(max(row.declared for row in alike) - min(row.declared for row in alike))
        return [
            Finding(
                "note" if fitting else "warning",
                "declared-volume-differs",
                *element.key,
                message,
                "the measured volume",
                worth,
                "m3",
            )
        ]
    if rows[0].agrees:
        return []
    return [_finding(rows[0], "note" if rows[0].cause == WITH_OTHERS else "warning")]


def _weight_rows(element: _Element, limits: DeclaredLimits) -> list[DeclaredRow]:
    """The row of the declared weight nearest in meaning to the net weight, judged by its density."""
    found: dict[str, Declared] = {}
    for entry in element.plan.facts.declared:
        sense = sense_of(entry, element.plan.role) if entry.kind == "weight" and entry.value > 0 else None
        if sense is not None:
            found.setdefault(sense, entry)
    best = next((found[sense] for sense in ("net", "plain", "gross") if sense in found), None)
    weights = [part.weight_t for part in element.parts if part.weight_t is not None]
    if best is None or len(weights) != len(element.parts) or element.mixed or not element.net:
        return []
    measured = sum(weights) * 1000.0 * element.own / element.net
    density = measured / element.own
    low, high = limits.light_density if density < limits.density[0] else limits.density
    agrees = any(low <= best.value / figure <= high for figure in (element.own, element.net))
    references = [Reference(element.gross * density, UNCUT)]
    cause = "" if agrees else likely_cause("weight", best.value, measured, references)
    if cause.startswith("no simple"):
        cause = f"it would be a density of {best.value / element.own:.0f} kg/m3"
    return [_row(element, best, measured, agrees, cause)]


def _size_rows(element: _Element, limits: DeclaredLimits) -> list[DeclaredRow]:
    """Rows of standard areas and lengths of an element of one part, compared with every fair reading."""
    if len(element.parts) != 1 or element.mixed:
        return []
    part = element.parts[0]
    rows = []
    for entry in element.plan.facts.declared:
        if entry.kind not in ("area", "length") or entry.value <= 0:
            continue
        if sense_of(entry, element.plan.role) is None:
            continue
        fair = _fair_sizes(entry.kind, element, part)
        if not fair:
            continue
        agrees = any(
            abs(entry.value - figure) <= limits.difference * figure + slack for figure, slack in fair
        )
        cause = "" if agrees else likely_cause(entry.kind, entry.value, fair[0][0], ())
        rows.append(_row(element, entry, fair[0][0], agrees, cause))
    return rows


def _fair_sizes(kind: str, element: _Element, part: MeasuredPart) -> list[tuple[float, float]]:
    """Measured figures that a declared area or length may mean, the plainest first, each with what the rules
    of measuring may add: a wall is as long as its axis or its face, so by its thickness more or less."""
    thickness = part.thickness_m or 0.0
    if kind == "length":
        slack = thickness if element.plan.role == "wall" else 0.0
        return [(part.length_m, slack)] if part.length_m else []
    area = part.side_area_m2 if element.plan.role == "wall" else part.plan_area_m2
    if not area:
        return []
    opening = part.opening_area_m2 or 0.0
    slack = thickness * (part.height_m or 0.0) if element.plan.role == "wall" else 0.0
    fair = [(area, slack), (area + opening, slack)]
    if thickness:
        # Along the slope of a pitched slab; before openings and overlaps where the figure is gross.
        fair += [(element.own / thickness, slack), (element.gross / thickness, slack)]
    return fair


def _row(element: _Element, entry: Declared, measured: float, agrees: bool, cause: str) -> DeclaredRow:
    return DeclaredRow(
        *element.key,
        kind=entry.kind,
        set_name=entry.set_name,
        name=entry.name,
        declared=entry.value,
        measured=measured,
        ratio=entry.value / measured,
        agrees=agrees,
        cause=cause,
        sense=sense_of(entry, element.plan.role) or "",
    )


def _finding(row: DeclaredRow, severity: Severity) -> Finding:
    unit = BASE[row.kind]
    message = (
        f"{row.set_name}.{row.name} says {row.declared:.4g} {unit}, measured {row.measured:.4g} {unit} "
        f"({row.ratio:.4g} times): {row.cause}"
    )
    worth = abs(row.declared - row.measured) if row.kind == "volume" else None
    return Finding(
        severity,
        f"declared-{row.kind}-differs",
        row.model,
        row.global_id,
        message,
        f"the measured {row.kind}",
        worth,
        unit if worth is not None else "",
    )


def _totals(rows: Sequence[DeclaredRow], limits: DeclaredLimits) -> list[Finding]:
    """A note for each model whose declared volumes do not add up to the measured ones."""
    sums: dict[str, list[float]] = defaultdict(lambda: [0.0, 0.0])
    for row in rows:
        sums[row.model][0] += row.declared
        sums[row.model][1] += row.measured
    findings = []
    for model, (declared, measured) in sorted(sums.items()):
        low, high = limits.total
        if not low <= declared / measured <= high:
            message = (
                f"declared volumes come to {declared:.2f} m3, the same elements measured {measured:.2f} m3 "
                f"({declared / measured:.4f} times, usual {low:g} to {high:g}): "
                "look at the findings on single elements"
            )
            findings.append(
                Finding(
                    "note",
                    "declared-total-differs",
                    model,
                    "",
                    message,
                    "the measured volumes",
                    abs(declared - measured),
                    "m3",
                )
            )
    return findings
