"""Prices of labour, plant, materials and subcontracts (`resources.csv` or .xlsx), and rates built up of them."""

from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from takeoff.findings import InputError
from takeoff.pricing.money import MONEY_DIGITS, exact, half_up
from takeoff.pricing.table_files import (
    check_currency,
    check_date,
    check_header,
    check_range,
    figure,
    named_cells,
    read_rows,
)

COLUMNS = ("resource", "kind", "unit", "price", "low", "high", "source", "date", "note")
MORE_COLUMNS = ("currency",)
KINDS = ("labour", "plant", "material", "subcontract")
LINE_DIGITS = 4
"""Decimals of a line of a build-up; the rate itself is to the cent."""


class Resource(Struct, frozen=True):
    """A priced resource: a grade of labour by the hour, a machine, a material, a subcontractor's price.

    `typed`: a person typed the price into an earlier bill.
    """

    name: str
    kind: str
    unit: str
    price: float
    low: float | None
    high: float | None
    source: str
    date: str
    note: str
    line: int
    typed: bool = False


class ResourceBook(Struct, frozen=True):
    """All resources of one file by name."""

    file: str
    resources: dict[str, Resource]


class Component(Struct, frozen=True):
    """A line of a build-up: so much of a resource for one unit of the item, and the waste on it, percent."""

    resource: Resource
    per_unit: float
    waste_percent: float
    note: str
    line: int

    def amount(self, price: float) -> Decimal:
        """Its share in the rate at a price of the resource."""
        waste = 1 + exact(self.waste_percent) / 100
        return half_up(exact(self.per_unit) * waste * exact(price), LINE_DIGITS)


class BuildUp(Struct, frozen=True):
    """A rate made of components."""

    components: tuple[Component, ...]

    @property
    def rate(self) -> float:
        """The sum of the components, to the cent."""
        return self._sum([component.resource.price for component in self.components])

    @property
    def low(self) -> float | None:
        """The rate at the low prices where any is given."""
        return self._bound([component.resource.low for component in self.components])

    @property
    def high(self) -> float | None:
        """The rate at the high prices where any is given."""
        return self._bound([component.resource.high for component in self.components])

    def at(self, prices: Mapping[str, float]) -> "BuildUp":
        """The same build-up at other prices of resources, by name; their ranges hold no more."""
        return BuildUp(
            tuple(
                replace(
                    line,
                    resource=replace(
                        line.resource, price=prices[line.resource.name], low=None, high=None, typed=True
                    ),
                )
                if line.resource.name in prices
                else line
                for line in self.components
            )
        )

    def _bound(self, prices: list[float | None]) -> float | None:
        if all(price is None for price in prices):
            return None
        pairs = zip(prices, self.components, strict=True)
        return self._sum([line.resource.price if price is None else price for price, line in pairs])

    def _sum(self, prices: list[float]) -> float:
        lines = zip(self.components, prices, strict=True)
        return float(half_up(sum((line.amount(price) for line, price in lines), Decimal(0)), MONEY_DIGITS))


def load_resources(path: Path, currency: str = "") -> ResourceBook:
    """Resources from a CSV file or the sheet Resources of a workbook, with the header of COLUMNS.

    Raises InputError naming file and line for a wrong header, an unknown kind, labour not priced by the hour,
    a price that is missing, no number, negative or in another currency, and a name given twice.
    """
    rows = read_rows(path, "resources", "Resources")
    header = check_header(next(rows, None), path, COLUMNS, MORE_COLUMNS)
    found: dict[str, Resource] = {}
    for row in rows:
        cells = named_cells(row, header)
        name = cells["resource"].casefold()
        if not name:
            raise InputError(f"{row.place}: a resource needs a name, such as concrete-c30-37")
        if name in found:
            raise InputError(
                f"{row.place}: resource `{name}` is given twice, first in line {found[name].line}"
            )
        if cells["kind"] not in KINDS:
            raise InputError(f"{row.place}: kind `{cells['kind']}` is not one of {', '.join(KINDS)}")
        if not cells["unit"]:
            raise InputError(f"{row.place}: resource `{name}` has no unit")
        if cells["kind"] == "labour" and cells["unit"] != "h":
            raise InputError(f"{row.place}: labour is priced by the hour; unit `{cells['unit']}` must be h")
        price, low, high = (figure(cells[column], column, row.place) for column in ("price", "low", "high"))
        if price is None:
            raise InputError(f"{row.place}: resource `{name}` has no price")
        check_range(price, low, high, row.place, "price")
        check_date(cells["date"], row.place)
        check_currency(cells.get("currency", ""), currency, row.place)
        found[name] = Resource(
            name,
            cells["kind"],
            cells["unit"],
            price,
            low,
            high,
            cells["source"],
            cells["date"],
            cells["note"],
            row.line,
        )
    return ResourceBook(str(path), found)


def component(cells: dict[str, str], resources: ResourceBook, line: int, place: str) -> Component:
    """A line of a build-up from its cells. Raises InputError naming the fault."""
    name = cells["resource"].casefold()
    resource = resources.resources.get(name)
    if resource is None:
        raise InputError(f"{place}: resource `{cells['resource']}` is not in {resources.file}; add it there")
    if cells["unit"] and cells["unit"] != resource.unit:
        raise InputError(
            f"{place}: unit {cells['unit']} of `{name}` does not fit; it is priced by {resource.unit} in "
            f"{resources.file}, line {resource.line}"
        )
    for column in ("rate", "low", "high"):
        if cells[column]:
            raise InputError(
                f"{place}: {column} {cells[column]} beside a resource; its price stands in {resources.file}"
            )
    per_unit = figure(cells.get("per_unit", ""), "per_unit", place)
    if not per_unit:
        raise InputError(f"{place}: say in `per_unit` how much of `{name}` one unit of the item takes")
    waste = figure(cells.get("waste_percent", ""), "waste_percent", place) or 0.0
    if waste and resource.kind != "material":
        raise InputError(f"{place}: waste belongs to materials; `{name}` is {resource.kind}")
    if waste > 100:
        raise InputError(f"{place}: waste_percent {waste:g} is above 100")
    return Component(resource, per_unit, waste, cells["note"], line)
