"""Checks before signing: ratios that a surveyor looks at, beside what is usual."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from statistics import median

from msgspec import Struct

from takeoff.findings import Finding
from takeoff.measuring.checks import Checks, RatioLimits
from takeoff.measuring.plan import ROLES
from takeoff.measuring.records import MeasuredPart, Measurement
from takeoff.told import Quantity, told

SUPPORTED = 0.3
"""A slab that rests on planks, decking or other concrete with more than this share of its plan is left out of
the formwork ratio: its soffit needs no form."""
GIVEN = ("modelled", "ratio")
"""Bases of steel that are worth a check; an allowance is within its own limits."""


class RatioRow(Struct, frozen=True):
    """One ratio with its usual limits; `of` is a role, `all`, or method, role and storey."""

    name: str
    of: str
    value: float
    unit: str
    low: float
    high: float
    detail: str = ""

    @property
    def usual(self) -> bool:
        """Whether the value lies within its limits."""
        return self.low <= self.value <= self.high


def ratios(measurement: Measurement, checks: Checks) -> tuple[RatioRow, ...]:
    """All ratios of a measurement: formwork, steel and thickness by role, concrete by floor area, repeats."""
    limits = checks.ratios
    concrete = [part for part in measurement.parts if part.method != "not-concrete" and part.net_volume_m3]
    return (
        *_formwork(concrete, measurement, limits),
        *_steel(concrete, limits),
        *_thickness(concrete, limits),
        *_floor(concrete, limits),
        *_repeats(concrete, limits),
    )


def check_ratios(measurement: Measurement, checks: Checks) -> tuple[Finding, ...]:
    """A finding of kind `ratio-unusual` for each ratio outside its limits; nothing is changed by it."""
    return tuple(
        Finding(
            "note",
            "ratio-unusual",
            "",
            "",
            told(
                "{} of {}: {}, usual {} to {} ({}): look for the reason before signing",
                row.name,
                row.of,
                Quantity(row.value, row.unit, ".3g"),
                Quantity(row.low, row.unit, ".3g", bare=True),
                Quantity(row.high, row.unit, ".3g", bare=True),
                row.detail,
            ),
            "nothing changed",
        )
        for row in ratios(measurement, checks)
        if not row.usual
    )


def _of(volume: float) -> Quantity:
    return Quantity(volume, "m3", ".2f")


def _volume(parts: Iterable[MeasuredPart]) -> float:
    return sum(part.net_volume_m3 or 0.0 for part in parts)


def _by_role(parts: Sequence[MeasuredPart]) -> dict[str, list[MeasuredPart]]:
    return {role: own for role in ROLES if (own := [part for part in parts if part.role == role])}


def _formwork(
    concrete: Sequence[MeasuredPart], measurement: Measurement, limits: RatioLimits
) -> list[RatioRow]:
    """Formwork to concrete of what is cast in place, m2/m3."""
    resting: dict[tuple[str, str, int], float] = defaultdict(float)
    for surface in measurement.surfaces:
        if surface.role == "slab" and surface.state in ("contact", "permanent-formwork", "ground", "seated"):
            resting[surface.model, surface.global_id, surface.part] += surface.area_m2
    cast = [
        part
        for part in concrete
        if part.method == "cast-in-place"
        and part.formwork_m2 is not None
        and not (
            part.role == "slab"
            and resting[part.model, part.global_id, part.part] > SUPPORTED * (part.plan_area_m2 or 0.0)
        )
    ]
    rows = []
    for role, own in _by_role(cast).items():
        volume, area = _volume(own), sum(part.formwork_m2 or 0.0 for part in own)
        if role in limits.formwork and volume >= limits.least_volume:
            detail = told("{} on {} cast in place", Quantity(area, "m2", ".1f"), _of(volume))
            face = sum((part.side_area_m2 if role == "wall" else part.plan_area_m2) or 0.0 for part in own)
            if role in limits.thickness and face:
                thick = Quantity(volume / face, "m", ".2f", size=True)
                detail = told("{}, mean thickness {}", detail, thick)
            rows.append(
                RatioRow("formwork to concrete", role, area / volume, "m2/m3", *limits.formwork[role], detail)
            )
    return rows


def _steel(concrete: Sequence[MeasuredPart], limits: RatioLimits) -> list[RatioRow]:
    """Steel to concrete where the model gives it, kg/m3."""
    given = [part for part in concrete if part.reinforcement_basis in GIVEN]
    rows = []
    for role, own in _by_role(given).items():
        volume, mass = _volume(own), sum(part.reinforcement_kg or 0.0 for part in own)
        if role in limits.steel and volume >= limits.least_volume:
            detail = told("{} in {}", Quantity(mass, "kg", ".0f"), _of(volume))
            rows.append(
                RatioRow("steel to concrete", role, mass / volume, "kg/m3", *limits.steel[role], detail)
            )
    return rows


def _thickness(concrete: Sequence[MeasuredPart], limits: RatioLimits) -> list[RatioRow]:
    """Mean thickness: volume over plan area of slabs, over one face of walls, m. Precast parts are left out
    (planks and leaves are thin by design)."""
    rows = []
    for role, own in _by_role([part for part in concrete if part.method != "precast"]).items():
        if role not in limits.thickness:
            continue
        known = [(part, part.side_area_m2 if role == "wall" else part.plan_area_m2) for part in own]
        area = sum(size for _, size in known if size)
        volume = _volume(part for part, size in known if size)
        if area and volume >= limits.least_volume:
            detail = told("{} over {}", _of(volume), Quantity(area, "m2", ".1f"))
            rows.append(RatioRow("mean thickness", role, volume / area, "m", *limits.thickness[role], detail))
    return rows


def _floor(concrete: Sequence[MeasuredPart], limits: RatioLimits) -> list[RatioRow]:
    """All concrete but foundations to floor area, m3/m2.

    A storey's floor area is the plan of its slabs; where planks carry a topping the larger of the two counts,
    since one lies on the other.
    """
    areas: dict[tuple[str, bool], float] = defaultdict(float)
    for part in concrete:
        if part.role == "slab":
            areas[part.storey, part.method == "precast"] += part.plan_area_m2 or 0.0
    storeys = {storey for (storey, _), area in areas.items() if area > 0}
    floor = sum(max(areas[storey, False], areas[storey, True]) for storey in storeys)
    volume = _volume(part for part in concrete if part.role != "foundation")
    has_frame = any(part.role in ("wall", "column", "beam") for part in concrete)
    if len(storeys) < limits.floor.least_storeys or not has_frame:
        return []
    detail = told(
        "{} on {} of slabs in {} storeys, foundations apart",
        Quantity(volume, "m3", ".1f"), Quantity(floor, "m2", ".0f"), len(storeys),
    )  # fmt: skip
    return [
        RatioRow("concrete to floor area", "all", volume / floor, "m3/m2", *limits.floor.concrete, detail)
    ]


def _repeats(concrete: Sequence[MeasuredPart], limits: RatioLimits) -> list[RatioRow]:
    """Storeys whose concrete of one role nearly repeats the usual storey, as a ratio to it."""
    sums: dict[tuple[str, str], dict[str, float]] = defaultdict(lambda: defaultdict(float))
    for part in concrete:
        if part.storey:
            sums[part.role, part.method][part.storey] += part.net_volume_m3 or 0.0
    rows = []
    repeat = limits.repeat
    for (role, method), by_storey in sorted(sums.items()):
        if len(by_storey) < repeat.least_storeys:
            continue
        usual = median(by_storey.values())
        if usual < limits.least_volume:
            continue
        for storey, volume in by_storey.items():
            if abs(volume / usual - 1.0) < repeat.far:
                detail = told("{} against {} in the usual storey", _of(volume), _of(usual))
                rows.append(
                    RatioRow(
                        "storey to storey",
                        f"{method} {role}, {storey}",
                        volume / usual,
                        "times",
                        1.0 - repeat.near,
                        1.0 + repeat.near,
                        detail,
                    )
                )
    return rows
