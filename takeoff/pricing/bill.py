"""The priced bill: items with their rates, section and grand totals, markups, and what they rest on."""

from collections.abc import Mapping, Sequence
from pathlib import Path

from msgspec.structs import replace

from takeoff.measuring.records import Measurement
from takeoff.pricing.carry import carried_markups, carry, check_previous
from takeoff.pricing.choices import Choices
from takeoff.pricing.choosing import Chooser
from takeoff.pricing.convention_basis import convention_lines, rounding_lines
from takeoff.pricing.entries import make_entries
from takeoff.pricing.gaps import (
    allowed_items,
    example_rates,
    rests_on_example,
    unmeasured_parts,
    unpriced_items,
)
from takeoff.pricing.idle_rates import idle_rates
from takeoff.pricing.items import ItemList, SectionItems, make_items
from takeoff.pricing.markups import MarkupPlan, apply_markups
from takeoff.pricing.money import amount, exact_sum
from takeoff.pricing.rates import Rate, RateBook
from takeoff.pricing.records import Bill, Item, PricedBuildUp, Section
from takeoff.pricing.register import Register
from takeoff.pricing.sections import SectionPlan
from takeoff.pricing.shares import prefabrication_shares, shares_in
from takeoff.pricing.typed import TypedBill
from takeoff.told import counted


def list_items(measurement: Measurement, sections: SectionPlan, choices: Choices) -> ItemList:
    """The items of a measurement with their dimensions, not priced yet.

    Raises InputError when two rules make the same item.
    """
    chooser = Chooser(sections, choices)
    return make_items(make_entries(measurement, Register.of(measurement), chooser), chooser)


def make_bill(
    measurement: Measurement,
    rates: RateBook,
    sections: SectionPlan,
    markups: MarkupPlan,
    choices: Choices | None = None,
    earlier: TypedBill | None = None,
    listed: ItemList | None = None,
) -> Bill:
    """The bill of a measurement; its `findings` are those of pricing only.

    What people typed into the `earlier` bill is taken over. `listed` are the items of the same measurement by the
    same sections and choices, where they are known.

    Items without a rate are listed in `unpriced` and are not in the totals. Raises InputError when a rate
    does not fit its item, when two rates fit one item equally well, or when two rules make the same item.
    """
    choices = choices or Choices()
    if earlier is not None:
        check_previous(earlier, markups.currency, choices.system.name)
        rates = rates.at_prices(earlier.prices)
    listed = listed or list_items(measurement, sections, choices)
    used: dict[int, Rate] = {}
    priced = tuple(_priced(section, rates, used) for section in listed.sections)
    carried = None
    dimensions = listed.dimensions
    if earlier is not None:
        asked = {
            line.resource.name for rate in used.values() if rate.build_up for line in rate.build_up.components
        }
        carried = carry(priced, dimensions, earlier, asked)
        priced, dimensions = carried.sections, carried.dimensions
        markups = carried_markups(markups, earlier)
    items = [item for section in priced for item in section.items]
    net_total = exact_sum(section.total for section in priced)
    lines, grand_total = apply_markups(net_total, markups)
    findings = (
        *listed.findings,
        *unmeasured_parts(measurement),
        *unpriced_items(items),
        *idle_rates(rates, sections),
        *example_rates(items, rates, used),
        *allowed_items(items, sections),
        *(carried.findings if carried else ()),
    )
    return Bill(
        priced,
        dimensions,
        net_total,
        lines,
        grand_total,
        markups.currency,
        tuple(item.key or item.description for item in items if item.rate is None and item.by_hand != "text"),
        shares_in(prefabrication_shares(measurement, items, dimensions, markups.currency), choices.system),
        findings,
        (
            *_basis(items, rates, used, sections, markups),
            *convention_lines(measurement.conventions, choices.system),
            *rounding_lines(items, dimensions),
        ),
        tuple(_build_ups(items, used)),
        choices.system.name,
        carried,
    )


def _priced(section: SectionItems, rates: RateBook, used: dict[int, Rate]) -> Section:
    """A section with its items priced; rates that were used are added to `used` by line."""
    items: list[Item] = []
    for item in section.items:
        rate = rates.find(item.rate_key, item.unit, named_only=item.key in section.named_rates_only)
        if rate is None or rate.rate is None:
            items.append(item)
            continue
        used[rate.line] = rate
        told = ", ".join(filter(None, (rate.source, rate.date)))
        items.append(
            replace(
                item,
                description=rate.description or item.description,
                rate=rate.rate,
                amount=amount(item.quantity, rate.rate),
                rate_source=f"{Path(rates.file).name} line {rate.line}" + (f": {told}" if told else ""),
                low=rate.low,
                high=rate.high,
                rate_line=rate.line,
                rate_origin=rate.source,
                rate_date=rate.date,
                rate_note=rate.note,
                own_description=bool(rate.description),
            )
        )
    return Section(section.section.code, section.section.title, tuple(items))


def _build_ups(items: Sequence[Item], used: Mapping[int, Rate]) -> list[PricedBuildUp]:
    """The build-ups that price items, in the order of the bill, each with its items."""
    priced: dict[int, list[str]] = {}
    for item in items:
        if item.rate_line:
            priced.setdefault(item.rate_line, []).append(item.key)
    return [PricedBuildUp(used[line], tuple(keys)) for line, keys in priced.items() if used[line].build_up]


def _basis(
    items: Sequence[Item],
    rates: RateBook,
    used: Mapping[int, Rate],
    plan: SectionPlan,
    markups: MarkupPlan,
) -> list[tuple[str, str, str]]:
    """Topic, text and source of what the figures of the bill rest on."""
    missing = sum(1 for item in items if item.amount is None)
    examples = sum(1 for rate in used.values() if rests_on_example(rate))
    rows = [
        (
            "Rates",
            f"{len(used)} of {counted(len(rates.rates), 'rate')} used for {counted(len(items) - missing, 'item')}, "
            f"{examples} of them example values; {counted(missing, 'item')} without a rate "
            f"{'is' if missing == 1 else 'are'} not in the totals",
            rates.file,
        ),
        (
            "Sections and items",
            f"{counted(len({item.section for item in items}), 'section')}, {counted(len(items), 'item')}",
            plan.file,
        ),
        (
            "Rounding",
            "Dimensions to 6 decimals; amounts and markups to 2 decimals, halves away from zero",
            "",
        ),
    ]
    for section in plan.sections:
        for rule in section.items:
            if not any(rule.makes(item.key) for item in items):
                continue
            if rule.allow:
                rows.append(("Allowance", f"{rule.key}: {rule.allow.because}", plan.file))
            if rule.add:
                percents = ", ".join(f"{name} {percent:g} %" for name, percent in rule.add.percent.items())
                rows.append(("Added to the quantity", f"{rule.key}: {percents}", plan.file))
    rows += [("Not billed", left.because, plan.file) for left in plan.left_out]
    for markup in markups.markup:
        on = "net" if markup.on == "net" else "running"
        source = f" ({markup.source})" if markup.source else ""
        rows.append(("Markup", f"{markup.name} {markup.percent:g} % of the {on} total{source}", markups.file))
    return list(dict.fromkeys(rows))
