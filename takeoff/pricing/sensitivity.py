"""What moves the difference between an alternative and the base, and the rates at which the two meet."""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from takeoff.findings import InputError
from takeoff.pricing.cost_model import CostModel
from takeoff.pricing.production import matches_key

LEAST = 0.005
"""Swings under half a cent are none."""
FARTHEST = 5.0
"""Break-evens at more than so many times a price are listed only where somebody asked for them."""


class Swing(Struct, frozen=True):
    """The difference to the base when one figure (or one group that moves together) is low or high."""

    alternative: int
    kind: str
    name: str
    unit: str
    low: float | None
    likely: float | None
    high: float | None
    at_low: float
    at_high: float

    @property
    def width(self) -> float:
        """How far the difference moves between the ends."""
        return abs(self.at_high - self.at_low)


class BreakEven(Struct, frozen=True):
    """Where an alternative and the base cost the same: `factor` on the rates of `name`, and the rate itself.

    `rate` is None where several rates are meant; `factor` None where no change of these rates can do it.
    `slope` is what the difference grows by when the rates double.
    """

    alternative: int
    name: str
    unit: str
    likely: float | None
    factor: float | None
    rate: float | None
    slope: float


def tornado(model: CostModel) -> tuple[Swing, ...]:
    """All swings of all alternatives, those of each in falling order of width."""
    members: dict[str, list[int]] = {}
    for place, parameter in enumerate(model.parameters):
        whole = parameter.group if parameter.group and parameter.correlation == 1.0 else ""
        members.setdefault(whole or f"\0{place}", []).append(place)
    rows = np.tile(model.likely, (2 * len(members), 1))
    for number, places in enumerate(members.values()):
        for place in places:
            rows[2 * number, place] = model.parameters[place].low
            rows[2 * number + 1, place] = model.parameters[place].high
    if not members:
        return ()
    totals = model.totals(rows)
    differences = totals - totals[:, [model.base]]
    swings: list[Swing] = []
    for alternative in range(totals.shape[1]):
        if alternative == model.base:
            continue
        own: list[Swing] = []
        for number, (name, places) in enumerate(members.items()):
            at_low, at_high = (float(differences[2 * number + end, alternative]) for end in (0, 1))
            if abs(at_high - at_low) < LEAST:
                continue
            first = model.parameters[places[0]]
            single = name.startswith("\0")
            own.append(
                Swing(
                    alternative,
                    first.kind if single else "driver",
                    first.name if single else name,
                    first.unit if single else f"{len(places)} prices",
                    first.low if single else None,
                    first.likely if single else None,
                    first.high if single else None,
                    at_low,
                    at_high,
                )
            )
        swings += sorted(own, key=lambda swing: (-swing.width, swing.name))
    return tuple(swings)


def break_evens(
    model: CostModel, differences: Sequence[float], wanted: Sequence[str], where: str
) -> tuple[BreakEven, ...]:
    """Break-evens of the named keys, patterns and resources, then of every other price that can do it.

    `differences` are those of the priced totals to the base, by alternative, to the cent. Raises InputError for
    a name that no priced item and no resource has; `where` is said in front of it.
    """
    found: list[BreakEven] = []
    named: set[str] = set()
    for pattern in wanted:
        keys = {
            line.item
            for own in model.lines
            for line in own
            if matches_key(pattern, line.item.partition("@")[0])
        }
        places = [model.looks[look] for look in model.looks if look == ("resource", pattern)]
        if not keys and not places:
            raise InputError(
                f"{where}: break-even of '{pattern}': no priced item has this key and no resource this name"
            )
        named.add(pattern)
        for alternative in range(len(model.lines)):
            if alternative != model.base:
                found.append(
                    _of_keys(model, alternative, pattern, keys, differences[alternative])
                    if keys
                    else _of_parameter(model, alternative, places[0], differences[alternative])
                )
    others: list[BreakEven] = []
    for place, parameter in enumerate(model.parameters):
        if parameter.kind not in ("rate", "resource") or parameter.name in named:
            continue
        for alternative in range(len(model.lines)):
            if alternative != model.base:
                entry = _of_parameter(model, alternative, place, differences[alternative])
                if entry.factor is not None and entry.factor <= FARTHEST:
                    others.append(entry)
    others.sort(key=lambda entry: (entry.alternative, -abs(entry.slope), entry.name))
    return (*found, *others)


def _of_keys(
    model: CostModel, alternative: int, pattern: str, keys: set[str], difference: float
) -> BreakEven:
    """Break-even of all items with certain keys, their rates moved by one factor."""
    likely = model.likely
    amounts, rates = [0.0, 0.0], set()
    for side, own in enumerate((model.lines[alternative], model.lines[model.base])):
        for line in own:
            if line.item in keys:
                fixed, shares = model.formulas[line.formula]
                rate = fixed + sum(float(likely[place]) * weight for place, weight in shares.items())
                rates.add(round(rate, 9))
                amounts[side] += line.quantity * rate
    slope = model.factor * (amounts[0] - amounts[1])
    single = rates.pop() if len(rates) == 1 else None
    return _entry(alternative, pattern, "", single, slope, difference)


def _of_parameter(model: CostModel, alternative: int, place: int, difference: float) -> BreakEven:
    """Break-even of one price, which may be a share in several rates."""
    parameter = model.parameters[place]
    ends = np.tile(model.likely, (2, 1))
    ends[1, place] += parameter.likely
    works = model.works(ends)
    slope = works[1] - works[0]
    slope = float(slope[alternative] - slope[model.base])
    return _entry(alternative, parameter.name, parameter.unit, parameter.likely, slope, difference)


def _entry(
    alternative: int, name: str, unit: str, likely: float | None, slope: float, difference: float
) -> BreakEven:
    factor = None
    if abs(slope) >= LEAST:
        factor = 1.0 - difference / slope
        factor = factor if factor >= 0 else None
    rate = None if factor is None or likely is None else likely * factor
    return BreakEven(alternative, name, unit, likely, factor, rate, slope)
