"""The comparison of priced alternatives: what differs, what is common, what it comes to."""

from collections.abc import Mapping, Sequence

from msgspec import Struct

from takeoff.findings import Finding
from takeoff.measuring.records import Measurement
from takeoff.pricing.carbon import CarbonTable
from takeoff.pricing.cost_model import CostModel
from takeoff.pricing.money import exact, exact_sum, half_up
from takeoff.pricing.production import Production
from takeoff.pricing.records import Bill, Item
from takeoff.pricing.risk import Risk
from takeoff.pricing.scoring import Score
from takeoff.pricing.sensitivity import BreakEven, Swing
from takeoff.pricing.time import Programme

SAME = 1e-5
"""Quantities that differ by less than this, in their unit, differ by rounding only."""


class Variant(Struct, frozen=True, eq=False):
    """One way to build: the base or an alternative, measured and priced. `changes` are its changes in words."""

    name: str
    note: str
    changes: tuple[str, ...]
    measurement: Measurement
    bill: Bill
    programme: Programme

    def share_of(self, measure: str) -> float | None:
        """Precast and tilt-up against all concrete by a measure, None where there is nothing of it."""
        rows = (row for row in self.bill.shares if (row.by, row.measure) == ("all", measure))
        return next((row.share for row in rows), None)


class Cell(Struct, frozen=True):
    """An item in one variant. `amount` None: no rate. `carbon_kg` None: no factor, or none wanted."""

    quantity: float
    rate: float | None
    amount: float | None
    low: float | None
    high: float | None
    rate_source: str
    carbon_factor: float | None = None
    carbon_kg: float | None = None


class ItemLine(Struct, frozen=True):
    """An item that differs between variants; `cells` in their order, None where a variant lacks the item."""

    key: str
    section: str
    description: str
    unit: str
    cells: tuple[Cell | None, ...]

    def amount(self, place: int) -> float:
        """The amount in one variant, 0 without the item or a rate."""
        cell = self.cells[place]
        return 0.0 if cell is None or cell.amount is None else cell.amount

    def difference(self, place: int) -> float:
        """The amount beyond that of the first variant."""
        return exact_sum((self.amount(place), -self.amount(0)))


class Total(Struct, frozen=True):
    """The money of one variant. `time_cost` is the site cost of the weeks beyond the first variant's;
    `compared` is the grand total with it."""

    net: float
    common: float
    grand: float
    weeks: float
    time_cost: float
    compared: float
    unpriced: int
    carbon_t: float | None


class Comparison(Struct, frozen=True, eq=False):
    """Everything that the outputs of a comparison show; the first variant is the one compared to."""

    variants: tuple[Variant, ...]
    lines: tuple[ItemLine, ...]
    common_items: int
    totals: tuple[Total, ...]
    production: Production
    storeys: tuple[str, ...]
    model: CostModel
    risk: Risk
    swings: tuple[Swing, ...]
    break_evens: tuple[BreakEven, ...]
    findings: tuple[Finding, ...]
    basis: tuple[tuple[str, str, str], ...]
    record: Mapping[str, object]
    with_carbon: bool
    scores: tuple[Score, ...] = ()
    """One for each variant, where a scheme was given."""

    @property
    def currency(self) -> str:
        """The currency of all money here."""
        return self.variants[0].bill.currency

    def difference(self, place: int) -> float:
        """The compared total beyond the base's."""
        return exact_sum((self.totals[place].compared, -self.totals[0].compared))


def item_lines(
    variants: Sequence[Variant], carbon: CarbonTable | None
) -> tuple[tuple[ItemLine, ...], tuple[ItemLine, ...]]:
    """Items that differ between the variants, in the order of the bills, and those common to all."""
    found: dict[str, list[Item | None]] = {}
    for place, variant in enumerate(variants):
        for section in variant.bill.sections:
            for item in section.items:
                found.setdefault(item.key, [None] * len(variants))[place] = item
    order = _order(variants)
    differing: list[ItemLine] = []
    common: list[ItemLine] = []
    for key in sorted(found, key=lambda key: order[key]):
        items = found[key]
        first = next(item for item in items if item is not None)
        cells = tuple(
            None if item is None else _cell(item, variants[place].bill.units, carbon)
            for place, item in enumerate(items)
        )
        line = ItemLine(key, first.section, first.description, first.unit, cells)
        (common if _is_common(cells) else differing).append(line)
    return tuple(differing), tuple(common)


def _order(variants: Sequence[Variant]) -> dict[str, tuple[int, int, int, str]]:
    """Place of each item: by section as the bills have them, within it as the first bill that has it does."""
    sections: dict[str, tuple[str, int]] = {}
    for variant in variants:
        for section in variant.bill.sections:
            sections.setdefault(section.title, (section.code, len(sections)))
    ranked = {title: place for place, title in enumerate(sorted(sections, key=lambda t: sections[t]))}
    order: dict[str, tuple[int, int, int, str]] = {}
    for number, variant in enumerate(variants):
        for section in variant.bill.sections:
            for place, item in enumerate(section.items):
                order.setdefault(item.key, (ranked[section.title], place, number, item.key))
    return order


def _cell(item: Item, units: str, carbon: CarbonTable | None) -> Cell:
    factor = carbon.find(item, units) if carbon is not None else None
    return Cell(
        item.quantity,
        item.rate,
        item.amount,
        item.low,
        item.high,
        item.rate_source,
        None if factor is None else factor[0],
        None if factor is None else item.quantity * factor[0],
    )


def _is_common(cells: Sequence[Cell | None]) -> bool:
    """Whether all variants have the item, with the same quantity but for rounding, and at the same rate."""
    first = cells[0]
    return first is not None and all(
        cell is not None
        and abs(cell.quantity - first.quantity) < SAME
        and cell.rate == first.rate
        and cell.amount == first.amount
        for cell in cells
    )


def totals_of(
    variants: Sequence[Variant],
    common: Sequence[ItemLine],
    differing: Sequence[ItemLine],
    production: Production,
    with_carbon: bool,
) -> tuple[Total, ...]:
    """What each variant comes to. Site costs are those of the weeks beyond the first variant's, to the cent."""
    result = []
    shared = exact_sum(line.amount(0) for line in common)
    for place, variant in enumerate(variants):
        weeks = variant.programme.weeks - variants[0].programme.weeks
        time_cost = float(half_up(exact(weeks * production.site_cost_a_week.likely), 2))
        carbon = None
        if with_carbon:
            cells = [line.cells[place] for line in (*common, *differing)]
            carbon = sum(cell.carbon_kg or 0.0 for cell in cells if cell is not None) / 1000.0
        result.append(
            Total(
                variant.bill.net_total,
                shared,
                variant.bill.grand_total,
                variant.programme.weeks,
                time_cost,
                exact_sum((variant.bill.grand_total, time_cost)),
                len(variant.bill.unpriced),
                carbon,
            )
        )
    return tuple(result)
