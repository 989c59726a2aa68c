"""Scores by a scheme: shares weighted by system, bonus steps for repetition, caps, all with their working."""

from collections.abc import Sequence
from decimal import Decimal

from msgspec import Struct

from takeoff.findings import Finding
from takeoff.measuring.records import MeasuredPart, Measurement
from takeoff.pricing.counted import UNITS, counted_quantities
from takeoff.pricing.money import exact_sum
from takeoff.pricing.records import Bill
from takeoff.pricing.register import UNIT_METHODS, Register
from takeoff.pricing.schemes import Bonus, Scheme, ScoredPart
from takeoff.pricing.values import BASIS, as_part, item_values
from takeoff.told import Quantity, told


def reached_from(share: float) -> float:
    """The share from which a step at `share` counts as reached: areas that are measured in a model that is turned or in
    feet add up to half only but for rounding."""
    return round(max(share - 1e-9, 0.0), 12)


class ScoreSource(Struct, frozen=True):
    """A quantity behind a score: of which part (model, GlobalId, part number), counted as which system."""

    code: str
    system: str
    model: str
    global_id: str
    part: int
    storey: str
    location: str
    quantity: float


class SystemLine(Struct, frozen=True):
    """All quantity of one system in a part of the scheme, and what it weighs."""

    system: str
    quantity: float
    weight: float

    @property
    def weighted(self) -> float:
        """Quantity times weight."""
        return self.quantity * self.weight


class PartScore(Struct, frozen=True):
    """A part of the scheme with its working. `share` is None where the model has nothing of it."""

    code: str
    title: str
    measure: str
    unit: str
    lines: tuple[SystemLine, ...]
    available: float
    least: float

    @property
    def quantity(self) -> float:
        """Sum of the quantities."""
        return exact_sum(line.quantity for line in self.lines)

    @property
    def basis(self) -> str:
        """Where the quantities are from, if it needs saying."""
        return BASIS if self.measure == "value" else ""

    @property
    def share(self) -> float | None:
        """Weighted over whole."""
        return sum(line.weighted for line in self.lines) / self.quantity if self.quantity > 0 else None

    @property
    def points(self) -> float:
        """Share times available points; nothing under the least share."""
        share = self.share
        return self.available * share if share is not None and share >= reached_from(self.least) else 0.0


class BonusScore(Struct, frozen=True):
    """A bonus with its working: the highest step that the share reaches counts."""

    code: str
    title: str
    measure: str
    unit: str
    repeated: float
    total: float
    steps: tuple[tuple[float, float], ...]
    note: str = ""

    @property
    def share(self) -> float | None:
        """Repeated over whole."""
        return self.repeated / self.total if self.total > 0 else None

    @property
    def points(self) -> float:
        """Points of the step reached."""
        share = self.share
        return max(
            (points for reach, points in self.steps if share is not None and share >= reached_from(reach)),
            default=0.0,
        )


class Score(Struct, frozen=True):
    """The result of a scheme for one model or several together."""

    name: str
    notice: str
    file: str
    parts: tuple[PartScore, ...]
    bonuses: tuple[BonusScore, ...]
    most_parts: float
    most_bonus: float
    most: float
    sources: tuple[ScoreSource, ...]
    findings: tuple[Finding, ...] = ()

    @property
    def part_points(self) -> float:
        """Points of the parts, capped."""
        return min(sum(part.points for part in self.parts), self.most_parts)

    @property
    def bonus_points(self) -> float:
        """Points of the bonuses, capped."""
        return min(sum(bonus.points for bonus in self.bonuses), self.most_bonus)

    @property
    def total(self) -> float:
        """All points, capped."""
        return min(self.part_points + self.bonus_points, self.most)


def make_score(measurement: Measurement, scheme: Scheme, bill: Bill | None = None) -> Score:
    """The score of a measurement by a scheme; parts of unresolved method are left out and told.

    A part that measures value needs the priced `bill`.
    """
    namer = _Namer(measurement, scheme)
    register = Register.of(measurement)
    quantities = [(row.measure, row.part, row.quantity) for row in counted_quantities(measurement, register)]
    quantities += _values(measurement, bill) if bill is not None else []
    sources: list[ScoreSource] = []
    parts = []
    for entry in scheme.part:
        own = [
            _source(entry.code, namer(part), part, quantity)
            for measure, part, quantity in quantities
            if measure == entry.measure and quantity and (not entry.role or part.role in entry.role)
        ]
        sources += own
        unit = UNITS.get(entry.measure, bill.currency if bill else "")
        parts.append(_part_score(entry, own, unit, scheme))
    bonuses = tuple(_bonus_score(entry, measurement) for entry in scheme.bonus)
    return Score(
        scheme.name, scheme.notice, scheme.file, tuple(parts), bonuses,
        scheme.caps.parts, scheme.caps.bonus, scheme.most, tuple(sources),
        tuple(_findings(measurement, scheme, parts, bonuses, bill is not None)),
    )  # fmt: skip


class _Namer:
    """The system of a part, by the first entry of the scheme that fits."""

    def __init__(self, measurement: Measurement, scheme: Scheme) -> None:
        methods: dict[tuple[str, str], set[str]] = {}
        for part in measurement.parts:
            methods.setdefault((part.model, part.global_id), set()).add(part.method)
        self._mixed = {
            key
            for key, own in methods.items()
            if own & set(UNIT_METHODS) and own - set(UNIT_METHODS) - {"not-concrete"}
        }
        self._scheme = scheme

    def __call__(self, part: MeasuredPart) -> str:
        mixed = (part.model, part.global_id) in self._mixed
        return next((system.name for system in self._scheme.system if system.fits(part, mixed)), "other")


def _values(measurement: Measurement, bill: Bill) -> list[tuple[str, MeasuredPart, float]]:
    """The values behind the bill, those of one part together; what is of no element by its item."""
    items = [item for section in bill.sections for item in section.items]
    sums: dict[tuple[object, ...], tuple[MeasuredPart, Decimal]] = {}
    for value in item_values(measurement, items, bill.dimensions):
        part = as_part(value)
        key = (part.model, part.global_id, part.part, part.name, part.method, part.role, part.storey)
        sums[key] = (part, sums.get(key, (part, Decimal(0)))[1] + value.amount)
    return [("value", part, float(amount)) for part, amount in sums.values()]


def _source(code: str, system: str, part: MeasuredPart, quantity: float) -> ScoreSource:
    words = ", ".join(dict.fromkeys(text for text in (part.mark, part.name) if text)) or part.ifc_class
    return ScoreSource(code, system, part.model, part.global_id, part.part, part.storey, words, quantity)


def _part_score(entry: ScoredPart, own: Sequence[ScoreSource], unit: str, scheme: Scheme) -> PartScore:
    listed: dict[str, list[float]] = {}
    for source in own:
        listed.setdefault(source.system, []).append(source.quantity)
    sums = {system: exact_sum(quantities) for system, quantities in listed.items()}
    order = [system.name for system in scheme.system] + ["other"]
    lines = tuple(
        SystemLine(name, sums[name], entry.weight_of(name)) for name in dict.fromkeys(order) if name in sums
    )
    return PartScore(entry.code, entry.title, entry.measure, unit, lines, entry.points, entry.least)


def _bonus_score(entry: Bonus, measurement: Measurement) -> BonusScore:
    row = next(
        (row for row in measurement.repetition if (row.measure, row.role) == (entry.measure, entry.role)),
        None,
    )
    if row is None and not entry.role:
        # A model with pieces of one role has no row for all roles together.
        row = next((row for row in measurement.repetition if row.measure == entry.measure), None)
    return BonusScore(
        entry.code, entry.title, entry.measure, row.unit if row else "", row.repeated if row else 0.0,
        row.total if row else 0.0, entry.steps, row.note if row else "",
    )  # fmt: skip


def _findings(
    measurement: Measurement,
    scheme: Scheme,
    parts: Sequence[PartScore],
    bonuses: Sequence[BonusScore],
    priced: bool,
) -> list[Finding]:
    findings = []
    volume = sum(part.net_volume_m3 or 0.0 for part in measurement.parts if part.method == "unresolved")
    if volume:
        findings.append(
            Finding(
                "warning", "score-without-unresolved", "", "",
                told(
                    "{} are of unresolved method and count in no part of the score: resolve them first",
                    Quantity(volume, "m3", ".2f"),
                ),
                "left out of the score", volume, "m3",
            )
        )  # fmt: skip
    unpriced = [part.code for part in parts if part.measure == "value" and not priced]
    if unpriced:
        findings.append(
            Finding(
                "warning", "score-without-prices", "", "",
                f"parts {', '.join(unpriced)} of {scheme.name} measure value, which only a bill has: "
                "make the score with the bill",
                "no points for them", float(len(unpriced)), "pieces",
            )
        )  # fmt: skip
    empty = [part.code for part in parts if part.share is None and part.code not in unpriced]
    empty += [bonus.code for bonus in bonuses if bonus.share is None]
    if empty:
        findings.append(
            Finding(
                "note", "score-part-empty", "", "",
                f"the model has nothing that parts {', '.join(empty)} of {scheme.name} measure: "
                "look in the scheme what then holds",
                "no points for them", float(len(empty)), "pieces",
            )
        )  # fmt: skip
    others = sum(line.quantity for part in parts for line in part.lines if line.system == "other")
    if others:
        findings.append(
            Finding(
                "note", "score-system-unknown", "", "",
                "some parts fit none of the scheme's systems: add a system for them",
                "weighed as any other", others, "",
            )
        )  # fmt: skip
    return findings
