"""Declared quantities set beside the measured ones, one row each."""

from collections import defaultdict
from collections.abc import Mapping, Sequence

from msgspec import Struct
from msgspec.structs import replace

from takeoff.measuring.causes import (
    NO_CAUSE,
    SAME_SHARE,
    SMALL_CAUSE,
    Reference,
    is_rounded,
    likely_cause,
    of_one_share,
)
from takeoff.measuring.checks import DeclaredLimits
from takeoff.measuring.declared_names import is_standard_set, sense_of
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.plan import ElementPlan
from takeoff.measuring.records import DeclaredRow, MeasuredPart
from takeoff.reading.facts import Declared
from takeoff.told import Quantity, told

UNCUT = "openings not deducted"
WITHOUT_SHARED = "without what it shares with other elements, which counts here"
WITH_OTHERS = "includes layers that are not concrete"


class MeasuredElement(Struct, frozen=True):
    """What was measured of an element: m3 and kg over its concrete parts.

    `own` is after openings and before overlaps, `net` after both, `gross` before both. `concrete_share` is
    the part of the thickness that is concrete, None where layers of other materials have no stated thickness.
    `kept` is space in it that other elements share.
    """

    plan: ElementPlan
    parts: tuple[MeasuredPart, ...]
    own: float
    net: float
    gross: float
    mixed: bool
    concrete_share: float | None
    kept: float = 0.0

    @property
    def key(self) -> ElementKey:
        """Model and GlobalId."""
        return self.plan.facts.model, self.plan.facts.global_id


def measured_elements(
    parts: Sequence[MeasuredPart], plans: Sequence[ElementPlan], kept: Mapping[ElementKey, float]
) -> list[MeasuredElement]:
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
        shared = kept.get((plan.facts.model, plan.facts.global_id), 0.0)
        elements.append(
            MeasuredElement(plan, concrete, before, net, gross, mixed, _concrete_share(plan), shared)
        )
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


def best_volume(plan: ElementPlan) -> Declared | None:
    """The declared volume that comes nearest in meaning to the net volume."""
    found = _volumes(plan)
    return next((found[sense][0] for sense in ("net", "plain", "gross") if sense in found), None)


def expected_volumes(element: MeasuredElement) -> list[float]:
    """Measured volumes that a right net figure may mean: the exporter may cut overlaps or not, and cannot
    leave out layers."""
    figures = [element.own, element.net]
    if element.mixed and element.concrete_share:
        figures.append(element.own / element.concrete_share)
    return [figure for figure in figures if figure > 0]


def volume_rows(element: MeasuredElement, whole: float, limits: DeclaredLimits) -> list[DeclaredRow]:
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
    if element.kept > 0:
        references.append(Reference(element.own - element.kept, WITHOUT_SHARED))
        references.append(Reference(element.net - element.kept, WITHOUT_SHARED))
    references.append(Reference(whole, "speaks of the whole assembly"))
    references += [
        Reference(part.length_m * part.width_m * part.height_m, "that of the box round it")
        for part in element.parts
        if len(element.parts) == 1 and part.length_m and part.width_m and part.height_m
    ]
    rows = []
    for sense in ("net", "plain", "gross"):
        right = [element.own, element.net] + ([element.gross] if sense != "net" else [])
        for entry in found.get(sense, ()):
            off = min(abs(entry.value / figure - 1.0) for figure in right if figure > 0)
            agrees = off <= limits.difference
            # A net figure may leave overlaps in or take them out: it stands beside the one that it means.
            fitting = min((element.own, element.net), key=lambda figure: abs(entry.value - figure))
            measured = element.gross if sense == "gross" else fitting if agrees else element.own
            cause = ""
            if off > limits.close:
                cause = likely_cause("volume", entry.value, measured, references)
            if cause == NO_CAUSE:
                if element.mixed:
                    cause = WITH_OTHERS + ", or another rule of measuring"
                elif agrees:
                    cause = "rounded" if is_rounded(entry.value, measured) else SMALL_CAUSE
            rows.append(_row(element, entry, measured, agrees, cause))
    return rows


def with_shared_causes(
    rows: Sequence[Sequence[DeclaredRow]], kinds: Sequence[str]
) -> list[list[DeclaredRow]]:
    """Rows of volumes of elements of the given kinds (a type, a name), with causes that only several show."""
    alike: dict[tuple[str, str, str, str], list[tuple[int, int]]] = defaultdict(list)
    out = [list(own) for own in rows]
    for number, (own, kind) in enumerate(zip(out, kinds, strict=True)):
        for place, row in enumerate(own):
            if kind and row.cause in (NO_CAUSE, SMALL_CAUSE):
                alike[row.model, kind, row.set_name, row.name].append((number, place))
    for places in alike.values():
        found = [out[number][place] for number, place in places]
        counts = of_one_share([row.ratio for row in found], [row.measured for row in found])
        for (number, place), row, count in zip(places, found, counts, strict=True):
            if count:
                out[number][place] = replace(row, cause=SAME_SHARE.format(count))
    return out


def weight_rows(element: MeasuredElement, limits: DeclaredLimits) -> list[DeclaredRow]:
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
        cause = told("it would be a density of {}", Quantity(best.value / element.own, "kg/m3", ".0f"))
    return [_row(element, best, measured, agrees, cause)]


def size_rows(element: MeasuredElement, limits: DeclaredLimits) -> list[DeclaredRow]:
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


def _fair_sizes(kind: str, element: MeasuredElement, part: MeasuredPart) -> list[tuple[float, float]]:
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


def _row(element: MeasuredElement, entry: Declared, measured: float, agrees: bool, cause: str) -> DeclaredRow:
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
