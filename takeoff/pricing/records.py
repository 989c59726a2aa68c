"""Records of the bill: items, the dimensions behind them, money."""

from typing import TYPE_CHECKING, Literal

from msgspec import Struct, field

from takeoff.findings import Finding
from takeoff.pricing.money import QUANTITY_DIGITS

if TYPE_CHECKING:
    from takeoff.pricing.carry import Carried
    from takeoff.pricing.rates import Rate

TYPED = "typed"
"""Origin of a rate that a person typed into an earlier bill."""


class Dimension(Struct, frozen=True):
    """One line of the dimensions: a quantity of one part that goes to one item.

    `times`, `length`, `width` and `height` stand where the quantity is their product, else they are None and
    `quantity` is the measured value. `note` says what a stranger needs to follow it.
    """

    item: str
    model: str
    global_id: str
    part: int
    storey: str
    location: str
    quantity: float
    times: float | None = None
    length: float | None = None
    width: float | None = None
    height: float | None = None
    note: str = ""
    by_hand: bool = False


class BilledItem(Struct, frozen=True):
    """What an item of any bill says. `rate` and `amount` None: not priced."""

    key: str
    number: str
    section: str
    description: str
    unit: str
    quantity: float
    rate: float | None
    amount: float | None


class Item(BilledItem, frozen=True):
    """A bill item. `quantity` is the sum over its dimensions to `digits` decimals, `amount` is quantity times
    rate, to the cent.

    `rate` None: not priced. `rate_source` names the file, line and source of the rate; `rate_line`,
    `rate_origin`, `rate_date` and `rate_note` are these and more by themselves. `own_description`: it is given
    with the rate and not composed. `note` is what a person wrote beside it, `mark` what became of it since the
    earlier bill, `typed` names its cells that a person typed there; `by_hand` a line that a person wrote, `text`
    where it is no item but only text. `own` holds what stands in an office's own columns, by column; `source` is
    the table of measured rows that the item bills.
    """

    rate_source: str = ""
    method: str = ""
    role: str = ""
    low: float | None = None
    high: float | None = None
    digits: int = QUANTITY_DIGITS
    rate_line: int = 0
    rate_origin: str = ""
    rate_date: str = ""
    rate_note: str = ""
    own_description: bool = False
    note: str = ""
    mark: str = ""
    typed: tuple[str, ...] = ()
    by_hand: Literal["", "item", "text"] = ""
    own: tuple[tuple[str, str], ...] = ()
    source: str = ""

    @property
    def rate_key(self) -> str:
        """The key by which rates are found: without the group that an arrangement adds behind `@`."""
        return self.key.partition("@")[0]


class Section(Struct, frozen=True):
    """A section of the bill in its order: `code` numbers it, `title` heads it."""

    code: str
    title: str
    items: tuple[Item, ...]

    @property
    def total(self) -> float:
        """Sum of the amounts of the priced items."""
        return round(sum(item.amount or 0.0 for item in self.items), 2)


class Markup(Struct, frozen=True):
    """A markup line: `percent` of the running total `base`, or of the net total where `on_net`.

    `typed`: a person typed the percentage into an earlier bill.
    """

    name: str
    percent: float
    base: float
    amount: float
    on_net: bool = False
    typed: bool = False


class ShareRow(Struct, frozen=True):
    """Prefabrication share in one group: `by` is `all`, `role`, `storey` or `model`; `measure` what is compared."""

    by: str
    group: str
    measure: str
    unit: str
    prefabricated: float
    total: float

    @property
    def share(self) -> float | None:
        """Prefabricated over total, None when there is nothing to compare."""
        return self.prefabricated / self.total if self.total else None


class PricedBuildUp(Struct, frozen=True):
    """A rate that is built up, and the keys of the items that it prices."""

    rate: "Rate"
    items: tuple[str, ...]


class Bill(Struct, frozen=True):
    """The priced bill with everything an output needs to write it."""

    sections: tuple[Section, ...]
    dimensions: tuple[Dimension, ...]
    net_total: float
    markups: tuple[Markup, ...]
    grand_total: float
    currency: str
    unpriced: tuple[str, ...]
    shares: tuple[ShareRow, ...]
    findings: tuple[Finding, ...] = ()
    basis: tuple[tuple[str, str, str], ...] = field(default_factory=tuple)
    build_ups: tuple[PricedBuildUp, ...] = ()
    units: str = "metric"
    earlier: "Carried | None" = None
