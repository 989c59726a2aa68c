"""Which rules of the bill sections fit a measured row."""

from collections.abc import Mapping

from msgspec import Struct

from takeoff.measuring.convention import band as band_of
from takeoff.pricing.choices import Choices
from takeoff.pricing.sections import ItemRule, SectionPlan, SectionRule

RankedRule = tuple[tuple[int, int], SectionRule, ItemRule]
"""A rule with its section, and the places of both in the plan."""


class Choice(Struct, frozen=True):
    """For rows that look alike: per series the rules that fit, in order, and whether leaving out is meant."""

    series: tuple[tuple[RankedRule, ...], ...]
    left_out: bool


class Chooser:
    """Finds the rules for a row; rows alike in all fields that any rule asks about are decided once."""

    def __init__(self, plan: SectionPlan, choices: Choices) -> None:
        self.plan, self.choices = plan, choices
        self._rules = [
            ((place, number), section, rule)
            for place, section in enumerate(plan.sections)
            for number, rule in enumerate(section.items)
            if rule.edges in ("", choices.edges)
        ]
        wheres = [(rule.source, rule.where | rule.unless) for _, _, rule in self._rules]
        wheres += [(left.source, left.where) for left in plan.left_out]
        self._asked: dict[str, tuple[str, ...]] = {}
        for source, where in wheres:
            self._asked[source] = tuple(sorted({*self._asked.get(source, ()), *where}))
        self._bands = {source: self._bands_of(source) for source in self._asked}
        self._known: dict[tuple[str | None, ...], Choice] = {}

    def __call__(self, source: str, fields: Mapping[str, str]) -> Choice:
        """The choice for a row with its bands among the fields."""
        look = (source, *map(fields.get, self._asked.get(source, ())))
        known = self._known.get(look)
        if known is None:
            known = self._known[look] = self._choice(source, fields)
        return known

    def banded(self, source: str, fields: dict[str, str], figures: Mapping[str, float]) -> dict[str, str]:
        """The fields and the bands of the figures that rules for this source speak of."""
        if not figures:
            return fields
        return fields | {
            name: band_of(steps, figures[figure] * scale)
            for name, figure, steps, scale in self._bands.get(source, ())
            if figure in figures
        }

    def leaves_out(self, source: str, fields: dict[str, str], figures: Mapping[str, float]) -> bool:
        """Whether no rule fits a row and that is meant."""
        choice = self(source, self.banded(source, fields, figures))
        return choice.left_out and not choice.series

    def _bands_of(self, source: str) -> list[tuple[str, str, tuple[float, ...], float]]:
        spoken = set(self._asked[source])
        for _, _, rule in self._rules:
            if rule.source == source:
                spoken.update(rule.split, *([by.by] for by in (rule.allow, rule.add) if by))
        return [
            (name, band.figure, band.steps, band.scale)
            for name, band in self.plan.bands.items()
            if name in spoken
        ]

    def _choice(self, source: str, fields: Mapping[str, str]) -> Choice:
        series: dict[str, list[RankedRule]] = {}
        for rank, section, rule in self._rules:
            if rule.source != source or not fits(rule.where, fields):
                continue
            if not rule.unless or not fits(rule.unless, fields):
                series.setdefault(rule.series or rule.key, []).append((rank, section, rule))
        left_out = any(left.source == source and fits(left.where, fields) for left in self.plan.left_out)
        return Choice(tuple(tuple(rules) for rules in series.values()), left_out)


def fits(where: Mapping[str, tuple[str, ...]], fields: Mapping[str, str]) -> bool:
    """Whether each field has one of the values asked for.

    A value that ends in `*` asks for any beginning with what stands before it, `*` for any but the empty one.
    """
    return all(
        fields.get(name, "") in values
        or any(value.endswith("*") and fields[name].startswith(value[:-1]) for value in values)
        if fields.get(name)
        else "" in values
        for name, values in where.items()
    )
