"""The total of every alternative as a function of the figures in doubt, for many draws at once.

A total is the markup factor times the sum of quantity times rate, plus the site cost of the weeks beyond the
base's. Quantities of steel by allowance move with the allowance; rates move by themselves or, where they are
built up, with the prices of their resources.
"""

from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct, field
from msgspec.structs import replace

from takeoff.findings import InputError
from takeoff.measuring.records import Measurement
from takeoff.pricing.alternatives import Doubt, Driver
from takeoff.pricing.markups import MarkupPlan
from takeoff.pricing.production import Production, matches_key
from takeoff.pricing.rates import Rate
from takeoff.pricing.records import Bill, Item
from takeoff.pricing.risk import Floats, Parameter
from takeoff.pricing.time import Programme, weeks_drawn

Look = tuple[str, str]
"""What tells parameters apart: kind, and a name that is unique within it."""


class Priced(Struct, frozen=True):
    """What the model needs of one alternative: its bill, the rate of each priced item, measurement, time.

    `steel` are the keys of the items that bill reinforcement.
    """

    bill: Bill
    rates: Mapping[str, Rate]
    measurement: Measurement
    programme: Programme
    steel: frozenset[str]


class Line(Struct, frozen=True):
    """A share of an item: quantity, the rate that prices it, and the allowance that it moves with (if any)."""

    item: str
    quantity: float
    formula: int
    allowance: Look | None


class CostModel(Struct):
    """Totals for figures of all `parameters`. `lines[s]` are those of alternative s, `base` the one compared to."""

    parameters: list[Parameter]
    looks: dict[Look, int]
    formulas: list[tuple[float, dict[int, float]]]
    lines: list[list[Line]]
    programmes: list[Programme]
    production: Production
    factor: float
    base: int
    keys: dict[Look, set[str]] = field(default_factory=dict)

    @property
    def likely(self) -> Floats:
        """The likely figure of every parameter, (parameters,)."""
        return np.array([parameter.likely for parameter in self.parameters])

    def works(self, figures: Floats) -> Floats:
        """Measured work with markups, (n, alternatives), for figures (n, parameters)."""
        weights = np.zeros((figures.shape[1], len(self.formulas)))
        constant = np.zeros(len(self.formulas))
        for number, (fixed, shares) in enumerate(self.formulas):
            constant[number] = fixed
            for parameter, weight in shares.items():
                weights[parameter, number] = weight
        rates = figures @ weights + constant
        allowances = sorted({line.allowance for own in self.lines for line in own if line.allowance})
        totals = np.zeros((len(figures), len(self.lines)))
        for allowance in (None, *allowances):
            amounts = np.zeros((len(self.formulas), len(self.lines)))
            for place, own in enumerate(self.lines):
                for line in own:
                    if line.allowance == allowance:
                        amounts[line.formula, place] += line.quantity
            part = rates @ amounts
            totals += part if allowance is None else part * figures[:, [self.looks[allowance]]]
        return self.factor * totals

    def weeks(self, figures: Floats) -> Floats:
        """Weeks, (n, alternatives)."""
        drawn = {
            (int(stage), int(trade)): figures[:, place]
            for (kind, name), place in self.looks.items()
            if kind == "production"
            for stage, trade in (name.split("."),)
        }
        waits = {int(name): figures[:, place] for (kind, name), place in self.looks.items() if kind == "wait"}
        columns = [
            np.broadcast_to(weeks_drawn(programme, self.production, drawn, waits), len(figures))
            for programme in self.programmes
        ]
        return np.stack(columns, axis=1)

    def totals(self, figures: Floats) -> Floats:
        """Work with markups and the site cost of the weeks beyond the base's, (n, alternatives)."""
        weeks = self.weeks(figures)
        place = self.looks.get(("site cost", ""))
        cost = self.production.site_cost_a_week.likely if place is None else figures[:, [place]]
        return self.works(figures) + cost * (weeks - weeks[:, [self.base]])


def build_model(
    alternatives: Sequence[Priced],
    production: Production,
    markups: MarkupPlan,
    drivers: Sequence[Driver],
    base: int,
) -> CostModel:
    """The model of alternatives that were priced from the same data. Raises InputError for faulty drivers."""
    builder = _Builder()
    lines = [builder.lines(priced) for priced in alternatives]
    used = {
        (task.stage, task.trade)
        for priced in alternatives
        for step in priced.programme.steps
        for task in step.tasks
    }
    for stage, trade in sorted(used):
        rule = production.stages[stage].trades[trade]
        name = f"{production.stages[stage].name}: {rule.name}"
        unit = f"h/{rule.unit}" if rule.hours is not None else f"{rule.unit} a day"
        builder.doubt("production", f"{stage}.{trade}", name, unit, rule.doubt)
    for stage in sorted({stage for stage, _ in used}):
        rule_of = production.stages[stage]
        builder.doubt("wait", str(stage), f"{rule_of.name}: wait", "days", rule_of.wait_days)
    builder.doubt("site cost", "", "Site cost a week", "a week", production.site_cost_a_week)
    parameters = _grouped(builder, drivers)
    return CostModel(
        parameters,
        builder.looks,
        builder.formulas,
        lines,
        [priced.programme for priced in alternatives],
        production,
        markup_factor(markups),
        base,
        builder.keys,
    )


def markup_factor(markups: MarkupPlan) -> float:
    """What the net total is multiplied by to give the grand total."""
    running = 1.0
    for rule in markups.markup:
        running += (1.0 if rule.on == "net" else running) * rule.percent / 100.0
    return running


class _Builder:
    def __init__(self) -> None:
        self.parameters: list[Parameter] = []
        self.looks: dict[Look, int] = {}
        self.formulas: list[tuple[float, dict[int, float]]] = []
        self.keys: dict[Look, set[str]] = {}
        self._known: dict[tuple[str, int], int] = {}

    def doubt(self, kind: str, look: str, name: str, unit: str, doubt: Doubt) -> None:
        if doubt.low < doubt.high:
            self._parameter((kind, look), Parameter(kind, name, unit, doubt.low, doubt.likely, doubt.high))

    def lines(self, priced: Priced) -> list[Line]:
        """The priced items of one bill, split by the allowances behind their steel."""
        steel = _steel(priced)
        lines: list[Line] = []
        for section in priced.bill.sections:
            for item in section.items:
                rate = priced.rates.get(item.key)
                if rate is None or item.rate is None:
                    continue
                formula = self._formula(item, rate)
                left = item.quantity
                for allowance, (share, low, high) in steel.get(item.key, {}).items():
                    look = ("allowance", allowance)
                    doubt = Doubt(low=low, likely=1.0, high=high)
                    self.doubt(*look, f"Steel by {allowance}", "of likely", doubt)
                    if look in self.looks:
                        self.keys.setdefault(look, set()).add(item.key)
                        lines.append(Line(item.key, item.quantity * share, formula, look))
                        left -= item.quantity * share
                lines.append(Line(item.key, left, formula, None))
        return lines

    def _formula(self, item: Item, rate: Rate) -> int:
        """Number of the formula of a rate: a fixed share, and weights of parameters."""
        known = (rate.item, rate.line)
        if known not in self._known:
            shares: dict[int, float] = {}
            assert rate.rate is not None
            if rate.build_up is not None:
                for component in rate.build_up.components:
                    resource = component.resource
                    low = resource.price if resource.low is None else resource.low
                    high = resource.price if resource.high is None else resource.high
                    if low == high:
                        continue
                    place = self._parameter(
                        ("resource", resource.name),
                        Parameter("resource", resource.name, resource.unit, low, resource.price, high),
                    )
                    weight = component.per_unit * (1.0 + component.waste_percent / 100.0)
                    shares[place] = shares.get(place, 0.0) + weight
            else:
                low = rate.rate if rate.low is None else rate.low
                high = rate.rate if rate.high is None else rate.high
                if low < high:
                    name = rate.item if rate.line < 1_000_000 else f"{rate.item} (own rate)"
                    parameter = Parameter("rate", name, rate.unit, low, rate.rate, high)
                    shares[self._parameter(("rate", f"{rate.item} {rate.line}"), parameter)] = 1.0
            # What the cents of a built-up rate leave, and rates without a range.
            moving = sum(self.parameters[place].likely * weight for place, weight in shares.items())
            self._known[known] = len(self.formulas)
            self.formulas.append((rate.rate - moving, shares))
        for place in self.formulas[self._known[known]][1]:
            look = next(look for look, number in self.looks.items() if number == place)
            self.keys.setdefault(look, set()).add(item.key)
        return self._known[known]

    def _parameter(self, look: Look, parameter: Parameter) -> int:
        if look not in self.looks:
            self.looks[look] = len(self.parameters)
            self.parameters.append(parameter)
        return self.looks[look]


def _steel(priced: Priced) -> dict[str, dict[str, tuple[float, float, float]]]:
    """For items of steel by allowance: by allowance the share of the item, low and high as shares of likely."""
    rows: dict[tuple[str, str, int, str], list[float]] = {}
    for row in priced.measurement.reinforcement:
        if row.allowance and row.mass_kg > 0:
            entry = rows.setdefault((row.model, row.global_id, row.part, row.allowance), [0.0, 0.0, 0.0])
            for place, figure in enumerate((row.mass_kg, row.low_kg, row.high_kg)):
                entry[place] += figure
    by_part: dict[tuple[str, str, int], list[tuple[str, list[float]]]] = {}
    for (model, global_id, part, allowance), figures in rows.items():
        by_part.setdefault((model, global_id, part), []).append((allowance, figures))
    sums: dict[str, dict[str, list[float]]] = {}
    whole: dict[str, float] = {}
    for dimension in priced.bill.dimensions:
        if dimension.item not in priced.steel:
            continue
        whole[dimension.item] = whole.get(dimension.item, 0.0) + dimension.quantity
        for allowance, (mass, low, high) in by_part.get(
            (dimension.model, dimension.global_id, dimension.part), ()
        ):
            entry = sums.setdefault(dimension.item, {}).setdefault(allowance, [0.0, 0.0, 0.0])
            entry[0] += dimension.quantity
            entry[1] += dimension.quantity * low / mass
            entry[2] += dimension.quantity * high / mass
    return {
        key: {
            allowance: (own / whole[key], low / own, high / own)
            for allowance, (own, low, high) in found.items()
            if own > 0
        }
        for key, found in sums.items()
    }


def _grouped(builder: _Builder, drivers: Sequence[Driver]) -> list[Parameter]:
    """The parameters with the groups that the drivers make of prices."""
    parameters = list(builder.parameters)
    taken: dict[int, str] = {}
    for driver in drivers:
        members = [
            place
            for (kind, name), place in builder.looks.items()
            if kind in ("rate", "resource") and _driven(driver, kind, name, builder)
        ]
        if not members:
            raise InputError(
                f"driver '{driver.name}': no price in doubt fits {', '.join(driver.items)}; name keys of items, "
                "rates with low and high, or resources"
            )
        for place in members:
            if place in taken:
                raise InputError(
                    f"driver '{driver.name}': {parameters[place].name} moves with driver '{taken[place]}' already"
                )
            taken[place] = driver.name
            parameters[place] = replace(parameters[place], group=driver.name, correlation=driver.correlation)
    return parameters


def _driven(driver: Driver, kind: str, name: str, builder: _Builder) -> bool:
    if kind == "resource":
        return any(matches_key(pattern, name) for pattern in driver.items)
    own = builder.keys.get((kind, name), set())
    return name.rpartition(" ")[0] in driver.items or any(
        matches_key(pattern, key.partition("@")[0]) for pattern in driver.items for key in own
    )
