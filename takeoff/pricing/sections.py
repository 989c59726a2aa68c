"""The plan of the bill: sections, the rules that make their items, the words in them (`sections.toml`)."""

from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from takeoff.data_files import checked_table, read_toml
from takeoff.findings import InputError
from takeoff.pricing.sources import COMMON_FIELDS, SOURCES, SUMMARY_FIELDS, UNITS
from takeoff.pricing.unit_systems import METRIC, UnitSystem
from takeoff.pricing.words import compose_key, pattern_fault, pattern_fields


def _as_list(value: object) -> object:
    return [value] if isinstance(value, str) else value


def _one_of(names: tuple[str, ...]) -> AfterValidator:
    def check(value: str) -> str:
        if value not in names:
            raise ValueError(f"`{value}` is not one of {', '.join(names)}")
        return value

    return AfterValidator(check)


def _pattern(value: str) -> str:
    if fault := pattern_fault(value):
        raise ValueError(fault)
    return value


def _key_prefix(value: str) -> str:
    if any(
        compose_key(segment, ()) != segment or not _is_key_segment(segment) for segment in value.split(".")
    ):
        raise ValueError("a key is written in lower-case words joined by dots, such as precast.supply")
    return value


def _is_key_segment(segment: str) -> bool:
    return segment.replace("-", "").replace("_", "").isalnum() and segment == segment.casefold()


Words = Annotated[tuple[str, ...], BeforeValidator(_as_list)]
Where = dict[str, Words]
SourceName = Annotated[str, _one_of(tuple(SOURCES))]
Unit = Annotated[str, _one_of(UNITS)]
Pattern = Annotated[str, Field(min_length=1), AfterValidator(_pattern)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class Allowance(_Table):
    """So many for each `per` of the measure: `number` for all, or by the value of the field `by`.

    `round_up` makes whole numbers of each row's count, `at_least` is the least for one row.
    """

    number: Annotated[float, Field(ge=0)] | dict[str, Annotated[float, Field(ge=0)]]
    by: str = "role"
    per: float = Field(default=1.0, gt=0)
    round_up: bool = False
    at_least: float = Field(default=0.0, ge=0)
    because: str

    def number_for(self, value: str) -> float:
        """The number for one value of the field `by`; a table may give `*` for any other value."""
        if isinstance(self.number, float):
            return self.number
        return self.number.get(value, self.number.get("*", 0.0))


class Addition(_Table):
    """A percentage added to the measured quantity by the value of the field `by`, and the words for it.

    `{percent}` in `text` is the percentage; `otherwise` are the words where nothing is added.
    """

    by: str
    percent: dict[str, Annotated[float, Field(ge=0, le=100)]]
    text: str
    otherwise: str = ""

    def percent_for(self, value: str) -> float:
        """The percentage for one value of the field `by`; a table may give `*` for any other value."""
        return self.percent.get(value, self.percent.get("*", 0.0))


class ItemRule(_Table):
    """Which rows of a table become items, what is measured, how they are split and described.

    A row fits when it has what `where` asks for and not all of what `unless` names. Rules of one `series`
    (the key's own words unless stated) compete: a row goes to the first one that fits. A rule with `edges`
    is used where the convention measures edges so.
    """

    key: Annotated[str, AfterValidator(_key_prefix)]
    series: str = ""
    source: SourceName = Field(alias="from")
    measure: str
    unit: Unit
    where: Where = {}
    unless: Where = {}
    split: Words = ()
    text: Pattern
    words: dict[str, dict[str, str]] = {}
    allow: Allowance | None = None
    add: Addition | None = None
    named_rates_only: bool = False
    edges: Literal["", "area", "length"] = ""

    def makes(self, key: str) -> bool:
        """Whether an item of this key may be made by this rule."""
        key = key.partition("@")[0]
        return key == self.key or key.startswith(self.key + ".")


class SectionRule(_Table):
    """A section of the bill and the rules of its items, in order."""

    code: str = Field(min_length=1)
    title: str = Field(min_length=1)
    items: tuple[ItemRule, ...] = Field(alias="item", min_length=1)


class BandSteps(_Table):
    """Ascending upper limits of a band in other units, and what turns the figure into them."""

    steps: tuple[float, ...] = Field(min_length=1)
    scale: float = Field(default=1.0, gt=0)


class Band(BandSteps):
    """A field made of a figure: ascending upper limits `steps`; `scale` turns the figure into their unit."""

    figure: str
    imperial: BandSteps | None = None


class LeftOut(_Table):
    """Rows that are deliberately no item of the bill, and why."""

    source: SourceName = Field(alias="from")
    where: Where = {}
    because: str


class SectionPlan(_Table):
    """The whole plan; `file` is the path it was read from."""

    number: Pattern = "{section}.{item}"
    order: dict[str, Words] = {}
    words: dict[str, dict[str, str]] = {}
    bands: dict[str, Band] = {}
    left_out: tuple[LeftOut, ...] = ()
    sections: tuple[SectionRule, ...] = Field(alias="section", min_length=1)
    file: str = ""
    units: str = METRIC.name

    def fields_of(self, source: str) -> set[str]:
        """The fields of a table: common ones, its own, and the bands made of its figures."""
        table = SOURCES[source]
        bands = {name for name, band in self.bands.items() if band.figure in table.figures}
        return {*COMMON_FIELDS, *table.fields, *bands}


def load_sections(path: Path, system: UnitSystem = METRIC) -> SectionPlan:
    """The bill's plan from a TOML file, its words and bands in the units of `system`.

    Raises InputError naming file, place and fault.
    """
    worded = {**_in_units(read_toml(path), system), "file": str(path), "units": system.name}
    plan = checked_table(path, worded, SectionPlan)
    _check(plan, path)
    if system is METRIC:
        return plan
    bands = {
        name: band.model_copy(update={"steps": band.imperial.steps, "scale": band.imperial.scale})
        if band.imperial
        else band
        for name, band in plan.bands.items()
    }
    return plan.model_copy(update={"bands": bands})


def _in_units(value: Any, system: UnitSystem) -> Any:
    """The content with `{mm}`, `{m}`, `{m2}`, `{m3}`, `{t}`, `{kg}` in its texts replaced by unit words."""
    if isinstance(value, str):
        for metric, word in system.words.items():
            value = value.replace("{" + metric + "}", word)
        return value
    if isinstance(value, dict):
        return {name: _in_units(below, system) for name, below in value.items()}
    return [_in_units(below, system) for below in value] if isinstance(value, list) else value


def _check(plan: SectionPlan, path: Path) -> None:
    """Faults that no single table shows: unknown fields, measures and units that do not go together."""
    figures = {figure for table in SOURCES.values() for figure in table.figures}
    taken = {*COMMON_FIELDS, *SUMMARY_FIELDS, *(name for table in SOURCES.values() for name in table.fields)}
    for name, band in plan.bands.items():
        place = f"{path}: bands, {name}"
        if name in taken:
            raise InputError(f"{place}: a field of this name exists already; choose another name")
        if band.figure not in figures:
            raise InputError(f"{place}: figure `{band.figure}` is not one of {', '.join(sorted(figures))}")
        for steps in (band.steps, band.imperial.steps if band.imperial else ()):
            if any(low >= high for low, high in pairwise(steps)):
                raise InputError(f"{place}: steps must ascend")
    for number, left in enumerate(plan.left_out, 1):
        _known(left.where, plan.fields_of(left.source), f"{path}: left_out {number}, where")
    codes: set[str] = set()
    for number, section in enumerate(plan.sections, 1):
        if section.code in codes:
            raise InputError(f"{path}: section {number} ({section.title}): code {section.code} is used twice")
        codes.add(section.code)
        for item, rule in enumerate(section.items, 1):
            _check_rule(plan, rule, f"{path}: section {number} ({section.title}), item {item} ({rule.key})")


def _check_rule(plan: SectionPlan, rule: ItemRule, place: str) -> None:
    fields = plan.fields_of(rule.source)
    measures = SOURCES[rule.source].measures
    if rule.measure not in measures:
        raise InputError(
            f"{place}: measure `{rule.measure}` is not one of {', '.join(measures)} (from {rule.source})"
        )
    units = ("nr",) if rule.allow else measures[rule.measure]
    if rule.unit not in units:
        told = "an allowance is counted" if rule.allow else f"{rule.measure} is measured"
        raise InputError(f"{place}: unit {rule.unit} does not fit: {told} in {' or '.join(units)}")
    _known(rule.where, fields, f"{place}, where")
    _known(rule.unless, fields, f"{place}, unless")
    _known(rule.split, fields, f"{place}, split")
    if rule.allow:
        _known((rule.allow.by,), fields, f"{place}, allow")
    if rule.add:
        _known((rule.add.by,), set(rule.split), f"{place}, add: by (a field of split)")
    sayable = {*rule.split, *SUMMARY_FIELDS, *(("added",) if rule.add else ())}
    _known(pattern_fields(rule.text), sayable, f"{place}, text (fields of split, or of the whole item)")


def _known(names: Iterable[str], known: set[str], place: str) -> None:
    for name in names:
        if name not in known:
            raise InputError(f"{place}: `{name}` is not one of {', '.join(sorted(known))}")
