"""Rates and allowances of one alternative, which go before those of the base."""

from collections.abc import Callable, Sequence
from pathlib import Path

from msgspec.structs import replace

from takeoff.data_files import checked_table
from takeoff.findings import InputError
from takeoff.measuring.allowances import Allowance, AllowanceTable
from takeoff.measuring.panelling_rules import PanellingRules
from takeoff.measuring.plan import METHODS, ROLES
from takeoff.pricing.alternatives import Alternative, Alternatives
from takeoff.pricing.rates import UNITS, Rate, RateBook
from takeoff.pricing.records import Bill

_OWN = 1_000_000
"""Line numbers from here on tell rates of an alternative from those of the base."""


class OwnRates(RateBook, frozen=True):
    """Books searched in their order: the first with a rate for an item gives it. `told` is where a line is from."""

    books: tuple[RateBook, ...] = ()
    told: tuple[tuple[int, str], ...] = ()

    def find(self, key: str, unit: str, *, named_only: bool = False) -> Rate | None:
        """The rate of the first book that has one. Raises InputError as each of them does."""
        for book in self.books:
            rate = book.find(key, unit, named_only=named_only)
            if rate is not None:
                return rate
        return None


class OwnAllowances(AllowanceTable, frozen=True):
    """The alternative's rows before those of the base."""

    base: AllowanceTable | None = None

    def find(
        self, role: str, method: str, strength_class: str, names: Sequence[str] = ()
    ) -> Allowance | None:
        """The alternative's row that fits most closely, else the base's."""
        own = AllowanceTable.find(self, role, method, strength_class, names)
        return own or (self.base.find(role, method, strength_class, names) if self.base else None)


def place_of(rate: Rate) -> str:
    """Where a rate stands in its own file: a line, or the number of an alternative's rate."""
    number, own = rate.line % _OWN, rate.line // _OWN
    return f"rate {number}" if own == 1 else f"line {number}"


def own_rates(
    file: Alternatives, alternative: Alternative, base: RateBook, load_book: Callable[[Path], RateBook]
) -> RateBook:
    """The rates of an alternative: those in the file, then its own rates file, then the base's.

    `load_book` reads a rates file. Raises InputError for a unit that is none and a key given twice.
    """
    books: list[RateBook] = []
    told: list[tuple[int, str]] = []
    rates: list[Rate] = []
    seen: set[str] = set()
    name = Path(file.file).name
    for number, own in enumerate(alternative.own_rates, 1):
        place = f"{file.file}: alternative '{alternative.name}', rate {number} ({own.item})"
        item = own.item.casefold()
        if own.unit not in UNITS:
            raise InputError(f"{place}: unit `{own.unit}` is not one of {', '.join(UNITS)}")
        if item in seen:
            raise InputError(f"{place}: the item is given twice")
        seen.add(item)
        line = _OWN + number
        rates.append(Rate(item, own.unit, own.rate, own.low, own.high, own.source, "", own.note, line))
        told.append((line, f"{name}, {alternative.name}, rate {number}: {own.source}"))
    if rates:
        books.append(RateBook(file.file, tuple(rates)))
    if alternative.rates:
        path = Path(file.file).parent / alternative.rates
        book = load_book(path)
        shifted = tuple(replace(rate, line=2 * _OWN + rate.line) for rate in book.rates)
        told += [
            (rate.line, f"{path.name} line {rate.line - 2 * _OWN}: {rate.source}".rstrip(": "))
            for rate in shifted
        ]
        books.append(RateBook(book.file, shifted))
    if not books:
        return base
    everything = tuple(rate for book in (*books, base) for rate in book.rates)
    return OwnRates(base.file, everything, (*books, base), tuple(told))


def own_allowances(file: Alternatives, alternative: Alternative, base: AllowanceTable) -> AllowanceTable:
    """The allowances of an alternative. Raises InputError for a role or method that is none."""
    rows: list[Allowance] = []
    for number, own in enumerate(alternative.allowances, 1):
        place = f"{file.file}: alternative '{alternative.name}', allowance {number}"
        if "*" not in own.role and own.role not in ROLES:
            raise InputError(f"{place}: role {own.role} is none of {', '.join(ROLES)}, *")
        if "*" not in own.method and own.method not in METHODS:
            raise InputError(f"{place}: method {own.method} is none of {', '.join(METHODS)}, *")
        if own.unit == "kg/m2" and own.role in ("column", "beam"):
            raise InputError(f"{place}: a {own.role} has no area to reckon kg/m2 on; give kg/m3")
        rows.append(
            Allowance(
                own.role, own.method, own.strength_class, own.name, own.unit,
                own.low, own.likely, own.high, own.source, number,
                f"{Path(file.file).name}, {alternative.name}, allowance",
            )
        )  # fmt: skip
    if not rows:
        return base
    return OwnAllowances(base.path, tuple(rows), base=base)


def own_panelling(file: Alternatives, alternative: Alternative, base: PanellingRules) -> PanellingRules:
    """The panelling rules with the alternative's entries in their place. Raises InputError for faulty ones."""
    if not alternative.panelling:
        return base
    data = base.model_dump(by_alias=True)
    for table, entries in alternative.panelling.items():
        if not isinstance(data.get(table), dict):
            raise InputError(
                f"{file.file}: alternative '{alternative.name}', panelling: '{table}' is none of wall, tilt-up, slab"
            )
        data[table] = {**data[table], **entries}
    return checked_table(
        Path(file.file), data, PanellingRules, (f"alternative '{alternative.name}'", "panelling")
    )


def with_sources(bill: Bill, rates: RateBook) -> Bill:
    """The bill with the true source of rates that are an alternative's own."""
    if not isinstance(rates, OwnRates):
        return bill
    told = dict(rates.told)
    sections = tuple(
        replace(
            section,
            items=tuple(
                replace(item, rate_source=told[item.rate_line]) if item.rate_line in told else item
                for item in section.items
            ),
        )
        for section in bill.sections
    )
    return replace(bill, sections=sections)
