"""Reinforcement of each part by the best basis there is: modelled bars, a required ratio, an allowance."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path

from msgspec import Struct

from takeoff.findings import Finding
from takeoff.measuring.allowances import Allowance, AllowanceTable
from takeoff.measuring.keys import ElementKey, PartKey, part_key
from takeoff.measuring.records import MeasuredPart, ReinforcementRow
from takeoff.measuring.required_ratios import RequiredRatio, required_ratio
from takeoff.reading.facts import Bar, ElementFacts
from takeoff.told import Quantity, counted, joined, told

PARTIAL = 0.5
"""Modelled steel below this share of the low allowance is probably not all of it."""


class PartReinforcement(Struct, frozen=True):
    """Steel of one part in kg: likely, low and high, with the basis `modelled`, `ratio` or `allowance`."""

    mass: float
    low: float
    high: float
    basis: str


class Reinforcement(Struct, frozen=True):
    """All steel: by part, as rows, and what a person must look at."""

    by_part: dict[PartKey, PartReinforcement]
    rows: tuple[ReinforcementRow, ...]
    findings: tuple[Finding, ...]


def reinforce(
    parts: Sequence[MeasuredPart],
    facts: Mapping[ElementKey, ElementFacts],
    bars: Mapping[str, Sequence[Bar]],
    allowances: AllowanceTable,
) -> Reinforcement:
    """Reinforcement of all concrete parts with a volume.

    `facts` by (model, GlobalId), `bars` by model. Modelled steel of an element is shared among its parts by
    net volume; a ratio or an allowance is applied to each part's own volume or area. Raises InputError where
    two allowances fit a part equally well.
    """
    elements: dict[ElementKey, list[MeasuredPart]] = defaultdict(list)
    for part in parts:
        if part.method != "not-concrete" and part.net_volume_m3:
            elements[part.model, part.global_id].append(part)
    steel: dict[ElementKey, list[Bar]] = defaultdict(list)
    for model, modelled in bars.items():
        for bar in modelled:
            steel[model, bar.host].append(bar)
    rows: list[ReinforcementRow] = []
    findings = _without_host(bars, elements)
    missing: dict[tuple[str, str, str, str], list[MeasuredPart]] = defaultdict(list)
    for key, own in elements.items():
        if key in steel:
            rows += _modelled(own, steel[key])
            findings += _partial(own, steel[key], allowances)
            continue
        ratio = required_ratio(facts[key]) if key in facts else None
        if ratio is not None and not ratio.usual:
            findings.append(_unusual(key, ratio))
            ratio = None
        for part in own:
            row = (ratio and _by_ratio(part, ratio)) or _by_allowance(part, allowances)
            if row is None:
                missing[part.model, part.role, part.method, part.strength_class].append(part)
            else:
                rows.append(row)
    findings += _without_allowance(missing, allowances) + _assumed(rows, parts)
    return Reinforcement(_by_part(rows), tuple(rows), tuple(findings))


def _row(
    part: MeasuredPart,
    basis: str,
    figures: tuple[float, float, float],
    note: str,
    kind: str = "bar",
    diameter: float | None = None,
    allowance: str = "",
) -> ReinforcementRow:
    """A row for a part; figures are likely, low and high in kg, the diameter in mm."""
    return ReinforcementRow(
        model=part.model,
        global_id=part.global_id,
        part=part.part,
        role=part.role,
        storey=part.storey,
        basis=basis,
        kind=kind,
        diameter_mm=diameter,
        mass_kg=figures[0],
        low_kg=figures[1],
        high_kg=figures[2],
        note=note,
        lump=part.lump,
        allowance=allowance,
    )


def _modelled(own: Sequence[MeasuredPart], bars: Sequence[Bar]) -> list[ReinforcementRow]:
    """Rows of modelled steel by kind and diameter, shared by net volume among the parts of the element."""
    sort: tuple[str, float | None]
    masses: dict[tuple[str, float | None], float] = defaultdict(float)
    counts: Counter[tuple[str, float | None]] = Counter()
    bases: dict[tuple[str, float | None], set[str]] = defaultdict(set)
    for bar in bars:
        sort = (bar.kind, None if bar.diameter is None else round(bar.diameter * 1000.0, 2))
        masses[sort] += bar.mass
        counts[sort] += bar.count
        bases[sort].add(bar.basis)
    total = sum(part.net_volume_m3 or 0.0 for part in own)
    rows = []
    for part in own:
        share = (part.net_volume_m3 or 0.0) / total
        for sort in sorted(masses, key=lambda sort: (sort[0], sort[1] or 0.0)):
            mass = masses[sort] * share
            share_of = f"; {share:.1%} of it by volume of this part" if len(own) > 1 else ""
            note = told("{} modelled, mass {}{}", counts[sort], joined(", ", sorted(bases[sort])), share_of)
            rows.append(_row(part, "modelled", (mass, mass, mass), note, sort[0], sort[1]))
    return rows


def _by_ratio(part: MeasuredPart, ratio: RequiredRatio) -> ReinforcementRow | None:
    """A row by the required ratio; None where it is by area and the part has none."""
    amount = _amount(part, ratio.unit)
    if amount is None:
        return None
    mass = amount * ratio.value
    required, on = Quantity(ratio.value, ratio.unit, "g"), Quantity(amount, ratio.unit[3:])
    note = told("property {} = {} on {}", ratio.source, required, on)
    return _row(part, "ratio", (mass, mass, mass), note)


def _by_allowance(part: MeasuredPart, allowances: AllowanceTable) -> ReinforcementRow | None:
    """A row by the allowance that fits the part most closely."""
    allowance = _allowance(part, allowances)
    amount = None if allowance is None else _amount(part, allowance.unit)
    if allowance is None or amount is None:
        return None
    note = told("{} on {}, {}", _told(allowance), Quantity(amount, allowance.unit[3:]), allowance.source)
    figures = (amount * allowance.likely, amount * allowance.low, amount * allowance.high)
    line = f"{_file_name(allowance.file or allowances.path)} line {allowance.line}"
    return _row(part, "allowance", figures, note, allowance=line)


@lru_cache(maxsize=256)
def _told(allowance: Allowance) -> str:
    """An allowance in words, the same for all parts that have it."""
    return told(
        "allowance line {}: {} ({} to {})",
        allowance.line,
        Quantity(allowance.likely, allowance.unit, "g"),
        Quantity(allowance.low, allowance.unit, "g", bare=True),
        Quantity(allowance.high, allowance.unit, "g", bare=True),
    )


@lru_cache(maxsize=64)
def _file_name(path: str) -> str:
    return Path(path).name


def _allowance(part: MeasuredPart, allowances: AllowanceTable) -> Allowance | None:
    names = tuple(dict.fromkeys((part.name, part.type_name, part.subrole)))
    return allowances.find(part.role, part.method, part.strength_class, names)


def _amount(part: MeasuredPart, unit: str) -> float | None:
    """What a ratio is reckoned on: net volume m3, or the area m2 of a wall's face or a slab's plan."""
    if unit == "kg/m3":
        return part.net_volume_m3
    if part.role == "wall":
        return part.side_area_m2
    return part.plan_area_m2 if part.role in ("slab", "foundation", "stair") else None


def _by_part(rows: Sequence[ReinforcementRow]) -> dict[PartKey, PartReinforcement]:
    sums: dict[PartKey, list[float]] = defaultdict(lambda: [0.0, 0.0, 0.0])
    basis: dict[PartKey, str] = {}
    for row in rows:
        key = (row.model, row.global_id, row.part, row.lump)
        basis[key] = row.basis
        for i, figure in enumerate((row.mass_kg, row.low_kg, row.high_kg)):
            sums[key][i] += figure
    return {key: PartReinforcement(mass, low, high, basis[key]) for key, (mass, low, high) in sums.items()}


def _without_host(
    bars: Mapping[str, Sequence[Bar]], elements: Mapping[ElementKey, Sequence[MeasuredPart]]
) -> list[Finding]:
    """Modelled steel that belongs to no measured concrete: one finding a model."""
    findings = []
    for model, own in bars.items():
        loose = [bar for bar in own if (model, bar.host) not in elements]
        if loose:
            mass = sum(bar.mass for bar in loose)
            number = sum(bar.count for bar in loose)
            message = told(
                "{} ({}) {} to no measured concrete element and {} in none: ask for reinforcement that is assigned to "
                "its element",
                counted(number, "bar or mat", "bars or mats"), Quantity(mass, "kg", ".0f"),
                *(("belongs", "lies") if number == 1 else ("belong", "lie")),
            )  # fmt: skip
            assumed = "left out of the bill; the elements have steel by ratio or allowance"
            first = loose[0].global_id
            findings.append(
                Finding("warning", "bars-without-host", model, first, message, assumed, mass, "kg")
            )
    return findings


def _partial(own: Sequence[MeasuredPart], bars: Sequence[Bar], allowances: AllowanceTable) -> list[Finding]:
    """A warning where the modelled steel is far below what such an element has."""
    volume = low = likely = 0.0
    for part in own:
        row = _by_allowance(part, allowances)
        if row is not None and part.net_volume_m3:
            volume += part.net_volume_m3
            low += row.low_kg
            likely += row.mass_kg
    total = sum(part.net_volume_m3 or 0.0 for part in own)
    mass = sum(bar.mass for bar in bars)
    if not volume or mass * volume / total >= PARTIAL * low:
        return []
    message = told(
        "modelled steel is {}, the allowance begins at {}: ask whether only some of the bars are modelled",
        Quantity(mass / total, "kg/m3", ".0f"), Quantity(low / volume, "kg/m3", ".0f", bare=True),
    )  # fmt: skip
    worth = likely - mass * volume / total
    first = own[0]
    return [
        Finding(
            "warning",
            "reinforcement-partial",
            first.model,
            first.global_id,
            message,
            "the modelled steel alone is billed",
            worth,
            "kg",
        )
    ]


def _unusual(key: ElementKey, ratio: RequiredRatio) -> Finding:
    return Finding(
        "warning",
        "reinforcement-ratio-unusual",
        *key,
        f"property {ratio.source} = {ratio.value:g} cannot be {ratio.unit}: ask for the unit",
        "reinforcement by allowance",
    )


def _without_allowance(
    missing: Mapping[tuple[str, str, str, str], Sequence[MeasuredPart]], allowances: AllowanceTable
) -> list[Finding]:
    """One warning for each sort of part that no allowance fits."""
    findings = []
    for (model, role, method, strength_class), own in sorted(missing.items()):
        volume = sum(part.net_volume_m3 or 0.0 for part in own)
        message = (
            f"no reinforcement for {counted(len(own), f'{method} {role} part')} "
            f"{strength_class or 'of unknown strength'}: "
            f"no row of {allowances.path} fits (or it is by area and the part has none); add one"
        )
        findings.append(
            Finding(
                "warning",
                "reinforcement-missing",
                model,
                own[0].global_id,
                message,
                "no steel",
                volume,
                "m3",
            )
        )
    return findings


def _assumed(rows: Sequence[ReinforcementRow], parts: Sequence[MeasuredPart]) -> list[Finding]:
    """One note a model on steel by allowance, and a warning on that in parts whose method is not known."""
    method = {part_key(part): part.method for part in parts}
    sums: dict[tuple[str, bool], list[float]] = defaultdict(list)
    for row in rows:
        if row.basis == "allowance":
            key = (row.model, row.global_id, row.part, row.lump)
            sums[row.model, method[key] == "unresolved"].append(row.mass_kg)
    findings = []
    for (model, unresolved), masses in sorted(sums.items()):
        mass = sum(masses)
        steel = Quantity(mass, "kg", ".0f")
        parts_told = counted(len(masses), "part")
        if unresolved:
            message = told(
                "{} that may not be concrete would have {} of steel by allowance: settle {} material first",
                parts_told, steel, "its" if len(masses) == 1 else "their",
            )  # fmt: skip
            kind, assumed = "reinforcement-unresolved", "shown with the unresolved parts"
        else:
            message = told(
                "steel of {} ({}) is by allowance: ask the engineer for ratios or a schedule",
                parts_told, steel,
            )  # fmt: skip
            kind, assumed = "reinforcement-by-allowance", "likely figure of the allowance table"
        findings.append(
            Finding(
                "warning" if unresolved else "note",
                kind,
                model,
                "",
                message,
                assumed,
                mass,
                "kg",
            )
        )
    return findings
