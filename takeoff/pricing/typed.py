"""What people typed into an earlier bill: rates, descriptions, notes, own items, own dimensions, percentages."""

from collections.abc import Mapping

from msgspec import Struct, field

from takeoff.pricing.markups import MarkupRule
from takeoff.pricing.records import BilledItem, Dimension

CARRIED = ("description", "rate", "low", "high", "note")
"""Cells of an item that are taken over where somebody typed them."""


class EarlierItem(BilledItem, frozen=True):
    """An item of the earlier bill as it stood there; `typed` names the cells that a person typed.

    `unit` is empty where the written one is not there any more.
    """

    low: float | None = None
    high: float | None = None
    note: str = ""
    typed: frozenset[str] = frozenset()
    own: tuple[tuple[str, str], ...] = ()

    @property
    def rate_key(self) -> str:
        """The key without the group of an arrangement."""
        return self.key.partition("@")[0]


class HandItem(Struct, frozen=True):
    """A line that a person wrote into the bill, in `section` below the item `after` (empty: its first).

    `quantity` None: text only. `key` is an own one to which dimensions may have been written by hand.
    """

    section: str
    after: str
    number: str
    description: str
    unit: str
    quantity: float | None
    rate: float | None
    low: float | None = None
    high: float | None = None
    note: str = ""
    key: str = ""
    own: tuple[tuple[str, str], ...] = ()


class KeptText(Struct, frozen=True):
    """Something typed that has no cell of its own in a new bill: sheet, row and column it stood in."""

    sheet: str
    place: str
    heading: str
    text: str


class HandSheet(Struct, frozen=True):
    """A sheet that a person added: its cells by row and column from 0, and their number formats.

    Cells that are in `stored` are formulas, with the value they had.
    """

    name: str
    cells: Mapping[tuple[int, int], object]
    stored: Mapping[tuple[int, int], object] = field(default_factory=dict)
    formats: Mapping[tuple[int, int], str] = field(default_factory=dict)


class TypedBill(Struct, frozen=True):
    """An earlier bill: its items, and everything in it that a person typed.

    `vanished` are items that an earlier run had found gone already. `percents` are typed markups by name,
    `prices` typed prices of resources, `markups` all markups as they stand.
    """

    file: str
    items: Mapping[str, EarlierItem] = field(default_factory=dict)
    vanished: Mapping[str, EarlierItem] = field(default_factory=dict)
    hand_items: tuple[HandItem, ...] = ()
    hand_dimensions: tuple[Dimension, ...] = ()
    percents: Mapping[str, float] = field(default_factory=dict)
    kept: tuple[KeptText, ...] = ()
    sheets: tuple[HandSheet, ...] = ()
    currency: str = ""
    units: str = ""
    prices: Mapping[str, float] = field(default_factory=dict)
    markups: tuple[MarkupRule, ...] = ()
