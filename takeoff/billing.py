"""The data files of a bill, read once, and the bill of a measurement by them."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from takeoff.measuring.convention import load_convention
from takeoff.measuring.records import Measurement
from takeoff.pricing.bill import list_items, make_bill
from takeoff.pricing.choices import Choices, choices_of
from takeoff.pricing.items import ItemList
from takeoff.pricing.markups import MarkupPlan, load_markups
from takeoff.pricing.rates import RateBook, load_rates
from takeoff.pricing.records import Bill
from takeoff.pricing.resources import load_resources
from takeoff.pricing.sections import SectionPlan, load_sections
from takeoff.pricing.typed import TypedBill
from takeoff.pricing.unit_systems import unit_system
from takeoff.settings import Settings

if TYPE_CHECKING:
    from takeoff.reading.facts import ModelFacts
    from takeoff.runs import ModelNote


class Billing(Struct, frozen=True):
    """Rates, sections, markups and choices of a bill."""

    rates: RateBook
    sections: SectionPlan
    markups: MarkupPlan
    choices: Choices

    def items(self, measurement: Measurement, storeys: Iterable[str] = ()) -> ItemList:
        """The items of a measurement, which no rate changes. Raises InputError as `list_items` does."""
        return list_items(measurement, self.sections, self._choices(storeys))

    def price(
        self,
        measurement: Measurement,
        storeys: Iterable[str] = (),
        earlier: TypedBill | None = None,
        listed: ItemList | None = None,
    ) -> Bill:
        """The bill of a measurement, its storeys in the given order; `listed` are its items where they are known.

        Raises InputError as `make_bill` does.
        """
        choices = self._choices(storeys)
        return make_bill(measurement, self.rates, self.sections, self.markups, choices, earlier, listed)

    def _choices(self, storeys: Iterable[str]) -> Choices:
        return replace(self.choices, storeys=tuple(storeys))


def load_billing(settings: Settings) -> Billing:
    """The data files of a bill. Raises InputError naming file, place and fault."""
    system = unit_system(settings.units)
    markups = load_markups(settings.file("markups"))
    resources = load_resources(settings.file("resources"), markups.currency)
    return Billing(
        load_rates(settings.file("rates"), resources, markups.currency),
        load_sections(settings.file("sections"), system),
        markups,
        choices_of(load_convention(settings.file("convention")), system, settings.arrange),
    )


def storey_order(models: "Iterable[ModelFacts | ModelNote]") -> tuple[str, ...]:
    """Names of the storeys of all models from below."""
    levels: dict[str, float] = {}
    for model in models:
        for storey in model.storeys:
            levels[storey.name] = min(levels.get(storey.name, storey.elevation), storey.elevation)
    return tuple(sorted(levels, key=lambda name: (levels[name], name)))
