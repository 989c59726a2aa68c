"""What a revision did, as records: the two sides, and the changes of elements, items and single lines."""

from collections.abc import Mapping
from decimal import Decimal

from msgspec import Struct, field

from takeoff.findings import Finding
from takeoff.measuring.identity import Matching
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.records import MeasuredPart
from takeoff.measuring.whereabouts import Place
from takeoff.pricing.money import exact
from takeoff.pricing.records import BilledItem, Dimension

REASONS = (
    "added",
    "removed",
    "method",
    "material",
    "dimension",
    "reinforcement",
    "convention",
    "surroundings",
    "by hand",
    "rate",
    "rounding",
)
"""Why a quantity or an amount changed; a line has one of them.

`surroundings`: the element itself is the same, what touches it or lies under it is not. `by hand`: a dimension or
an item that a person wrote. `rounding`: quantities are rounded and amounts are to the cent.
"""


class Side(Struct, frozen=True):
    """The old or the new state: what was given, its parts and where they are, its bill.

    `size_step`: metres to which sizes of its parts were rounded where they were written.
    """

    name: str
    parts: tuple[MeasuredPart, ...]
    places: Mapping[ElementKey, Place]
    items: Mapping[str, BilledItem]
    dimensions: tuple[Dimension, ...]
    convention: str
    currency: str = ""
    units: str = "metric"
    grand_total: float | None = None
    size_step: float = 0.0


class ElementChange(Struct, frozen=True):
    """An element that came, went or changed; `what` says in words what differs. Figures in m3, m2, kg."""

    status: str
    reason: str
    old: ElementKey | None
    new: ElementKey | None
    ground: str
    name: str
    mark: str
    storey: str
    role: str
    what: str
    old_volume_m3: float
    new_volume_m3: float
    old_formwork_m2: float
    new_formwork_m2: float
    old_steel_kg: float
    new_steel_kg: float
    money: float


class LineChange(Struct, frozen=True):
    """The change of one item at one element, or of its rate or rounding where there is no element."""

    item: str
    reason: str
    old: ElementKey | None
    new: ElementKey | None
    location: str
    old_quantity: float
    new_quantity: float
    money: float


class ItemChange(Struct, frozen=True):
    """An item before and after; None where it was not there, or not priced."""

    key: str
    old: BilledItem | None
    new: BilledItem | None
    by_reason: Mapping[str, float] = field(default_factory=dict)

    @property
    def shown(self) -> BilledItem:
        """The item as it is, or as it was."""
        item = self.new or self.old
        assert item is not None
        return item

    @property
    def money(self) -> float:
        """New amount less the old one."""
        return float(amount_of(self.new) - amount_of(self.old))


class Changes(Struct, frozen=True):
    """All of it, old and new side with it."""

    old: Side
    new: Side
    elements: tuple[ElementChange, ...]
    items: tuple[ItemChange, ...]
    lines: tuple[LineChange, ...]
    unchanged: int
    matching: Matching
    findings: tuple[Finding, ...] = ()

    @property
    def by_reason(self) -> dict[str, float]:
        """Money by reason, those without any left out."""
        sums: dict[str, Decimal] = {}
        for line in self.lines:
            sums[line.reason] = sums.get(line.reason, Decimal(0)) + exact(line.money)
        return {reason: float(sums[reason]) for reason in REASONS if sums.get(reason)}


def amount_of(item: BilledItem | None) -> Decimal:
    """Its amount, 0 where it is not there or not priced."""
    return exact(item.amount) if item is not None and item.amount is not None else Decimal(0)
