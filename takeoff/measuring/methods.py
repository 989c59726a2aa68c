"""The rules by which a model's words are read as methods: the data file, checked and compiled.

The words stand in `templates/methods.toml`, which also explains the form of a rule; what is made of the
rules' answers for one element stands in `decisions.py`.
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Annotated, Literal

from msgspec import Struct
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from takeoff.data_files import load_table
from takeoff.findings import InputError
from takeoff.measuring.ground_rules import GroundRules
from takeoff.measuring.kind_rules import KindRules
from takeoff.measuring.wording import Lexicon, phrases, squeeze
from takeoff.reading.facts import PropertyValue

# The fields in the order of their worth as evidence of how a thing is made.
FIELDS = (
    "property",
    "predefined_type",
    "material",
    "layer",
    "type",
    "name",
    "classification",
    "presentation_layer",
    "class",
    "mark",
    "embedded",
    "assembly_mark",
    "storey",
)
RANK = {name: rank for rank, name in enumerate(FIELDS)}
FieldName = Literal[
    "class",
    "predefined_type",
    "material",
    "layer",
    "type",
    "name",
    "mark",
    "assembly_mark",
    "embedded",
    "classification",
    "presentation_layer",
    "storey",
]
Outcome = Literal[
    "cast-in-place",
    "precast",
    "tilt-up",
    "concrete",
    "not-concrete",
    "permanent-formwork",
    "unresolved",
]
MAKINGS = ("cast-in-place", "precast", "tilt-up")

_LIST = "@"


class Rule(Struct, frozen=True):
    """One rule: what it says (`method`) where its words stand in one of `fields`.

    `number` counts from 1 in its own table. `own`: the user's, above all other evidence. The other flags are
    those of the data file, where they are explained.
    """

    number: int
    own: bool
    fields: tuple[str, ...]
    method: str
    because: str
    needs_concrete: bool = False
    assumed: bool = False
    shell: bool = False
    inside: bool = False

    @property
    def making(self) -> str:
        """The method that the rule states, empty where it tells only of what a thing is."""
        return self.method if self.method in MAKINGS else ""

    @property
    def substance(self) -> str:
        """`concrete`, `not-concrete` or `permanent-formwork`; empty where the rule tells of the making."""
        if self.method in MAKINGS:
            return "" if self.needs_concrete or self.assumed else "concrete"
        return "" if self.method == "unresolved" else self.method


class Statement(Struct, frozen=True):
    """What one rule says of one text. `source` names the text for a person: `material "Beton prefab"`."""

    rule: Rule
    order: int
    field: str
    source: str

    @property
    def evidence(self) -> str:
        """The few words that tell a person what decided."""
        own = "user's rule: " if self.rule.own else ""
        return f"{own}{self.source} ({self.rule.because})"


def by_rank(statement: Statement) -> tuple[int, int]:
    """Sorts statements by the worth of their field, then by the order of the rules."""
    return RANK[statement.field], statement.order


class _RuleFields(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    field: Annotated[list[FieldName], BeforeValidator(lambda v: [v] if isinstance(v, str) else v)] = []
    property: Annotated[list[str], BeforeValidator(lambda v: [v] if isinstance(v, str) else v)] = []
    words: list[str] = Field(min_length=1)
    without: list[str] = Field(default=[], alias="not")
    method: Outcome
    because: str = Field(min_length=1)
    needs_concrete: bool = False
    assumed: bool = False
    shell: bool = False
    inside: bool = False


class GroundFields(BaseModel):
    """One rule of [[against_ground]]; see the comments in templates/methods.toml."""

    model_config = ConfigDict(extra="forbid", strict=True)

    field: Annotated[list[FieldName], BeforeValidator(lambda v: [v] if isinstance(v, str) else v)] = []
    property: Annotated[list[str], BeforeValidator(lambda v: [v] if isinstance(v, str) else v)] = []
    words: list[str] = Field(min_length=1)
    without: list[str] = Field(default=[], alias="not")
    faces: Literal["all", "sides", "outside", "none"]
    holds: bool = False
    because: str = Field(min_length=1)


def _as_list(value: object) -> object:
    return [value] if isinstance(value, str) else value


class KindFields(BaseModel):
    """One rule of [[kind]]; see the comments in templates/methods.toml."""

    model_config = ConfigDict(extra="forbid", strict=True)

    field: Annotated[list[FieldName], BeforeValidator(_as_list)] = Field(min_length=1)
    property: list[str] = Field(default=[], max_length=0)
    words: list[str] = Field(min_length=1)
    without: list[str] = Field(default=[], alias="not")
    role: Annotated[
        list[Literal["wall", "slab", "column", "beam", "foundation", "stair"]], BeforeValidator(_as_list)
    ] = Field(min_length=1)
    method: Annotated[list[Literal["cast-in-place", "precast", "tilt-up"]], BeforeValidator(_as_list)] = []
    subrole: str = Field(min_length=1)


class _Assume(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    concrete: Literal["cast-in-place", "precast", "tilt-up", "unresolved"]
    foundation_without_material: Literal["cast-in-place", "precast", "unresolved"]
    no_material: Literal["cast-in-place", "precast", "tilt-up", "not-concrete", "unresolved"]
    unknown_material: Literal["cast-in-place", "precast", "tilt-up", "not-concrete", "unresolved"]


class _Limits(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    thickest_shell_mm: float = Field(gt=0)


class _RuleFile(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    nothing: list[str] = []
    properties: dict[str, list[str]] = {}
    words: dict[str, dict[str, list[str]]] = {}
    assume: _Assume
    limits: _Limits
    own: list[_RuleFields] = []
    rule: list[_RuleFields] = Field(min_length=1)
    against_ground: list[GroundFields] = []
    kind: list[KindFields] = []

    @cached_property
    def patterns(self) -> dict[str, list[str]]:
        """The patterns of each list of words, of all languages."""
        return {
            name: [pattern for patterns in languages.values() for pattern in patterns]
            for name, languages in self.words.items()
        }


class Assumptions(Struct, frozen=True):
    """Methods gone on with where nothing tells."""

    concrete: str
    foundation_without_material: str
    no_material: str
    unknown_material: str


class PropertyNames:
    """Patterns "Set.Name" in order, found for the properties of a set."""

    def __init__(self, patterns: Sequence[tuple[str, int]]) -> None:
        """`patterns`: pairs of "Set.Name" and the number that stands for it."""
        self._patterns = [(*_property_shape(pattern), number) for pattern, number in patterns]
        self._known: dict[tuple[str, ...], tuple[tuple[str, tuple[int, ...]], ...]] = {}

    def find(self, set_name: str, names: Iterable[str]) -> tuple[tuple[str, tuple[int, ...]], ...]:
        """Of the properties `names` of a set, those that fit any pattern, with the patterns' numbers."""
        key = (set_name, *names)
        found = self._known.get(key)
        if found is None:
            matched = ((name, self._match(set_name, name)) for name in key[1:])
            found = self._known[key] = tuple((name, numbers) for name, numbers in matched if numbers)
        return found

    def _match(self, set_name: str, name: str) -> tuple[int, ...]:
        own_set, own_name = squeeze(set_name), squeeze(name)
        numbers = {n for s, p, n in self._patterns if s.fullmatch(own_set) and p.fullmatch(own_name)}
        return tuple(sorted(numbers))


@lru_cache(maxsize=1 << 12)
def _property_shape(pattern: str) -> tuple[re.Pattern[str], re.Pattern[str]]:
    """The two halves of "Set.Name" as expressions over squeezed text; ValueError where one is missing."""
    halves = [squeeze(half) for half in pattern.split(".", 1)]
    if len(halves) != 2 or not all(halves):
        raise ValueError(f'the property {pattern!r} is not of the form "Set.Name"')
    set_shape, name_shape = (re.compile(".*".join(map(re.escape, half.split("*")))) for half in halves)
    return set_shape, name_shape


class MethodRules:
    """The compiled rules of one file: asked for the statements about texts and properties."""

    def __init__(self, source: str, data: _RuleFile) -> None:
        """Raises InputError naming `source`, the rule and the fault."""
        self.source = source
        self.assume = Assumptions(**data.assume.model_dump())
        self.thickest_shell = data.limits.thickest_shell_mm / 1000  # metres
        self._nothing = frozenset(map(squeeze, data.nothing))
        self.rules: list[Rule] = []
        groups: list[tuple[list[str], list[str]]] = []
        names: list[tuple[str, int]] = []
        for table, rows in (("own", data.own), ("rule", data.rule)):
            for number, row in enumerate(rows, 1):
                patterns, properties = _checked(row, data, f"{source}: {table} {number}")
                groups.append(patterns)
                names.extend((name, len(self.rules)) for name in properties)
                flags = {f: getattr(row, f) for f in ("needs_concrete", "assumed", "shell", "inside")}
                fields = tuple(row.field) or ("property",)
                self.rules.append(Rule(number, table == "own", fields, row.method, row.because, **flags))
        ground = [
            _checked(row, data, f"{source}: against_ground {number}")
            for number, row in enumerate(data.against_ground, 1)
        ]
        asked = [(name, number) for number, (_, wanted) in enumerate(ground) for name in wanted]
        self.ground = GroundRules(
            data.against_ground, [patterns for patterns, _ in ground], PropertyNames(asked)
        )
        self.kinds = KindRules(
            data.kind,
            [
                _checked(row, data, f"{source}: [[kind]] number {number}")[0]
                for number, row in enumerate(data.kind, 1)
            ],
        )
        try:
            self._told_by_property = PropertyNames(names)
            self._materials = PropertyNames(
                [(n, i) for i, n in enumerate(data.properties.get("material", []))]
            )
            self._strengths = PropertyNames(
                [(n, i) for i, n in enumerate(data.properties.get("strength", []))]
            )
        except ValueError as fault:
            raise InputError(f"{source}: [properties]: {fault}") from None
        self._lexicon = Lexicon(groups)
        self._fields = frozenset(field for rule in self.rules for field in rule.fields)
        self._about: dict[tuple[tuple[str, str, str], ...], tuple[Statement, ...]] = {}

    def is_filled(self, name: str, value: PropertyValue) -> bool:
        """Whether the value of the property `name` says anything.

        Blank, zero, false, a word for nothing and the property's own name (an empty form) do not.
        """
        if isinstance(value, bool | int | float):
            return bool(value)
        squeezed = squeeze(value)
        return bool(squeezed) and squeezed not in self._nothing and squeezed != squeeze(name)

    def read(self, field: str, text: str, called: str) -> Iterator[Statement]:
        """Statements of the rules on `field` about `text`, in their order; `called` names the field to a person."""
        if field not in self._fields:
            return
        for order in self._lexicon.find(text):
            rule = self.rules[order]
            if field in rule.fields:
                yield Statement(rule, order, field, f'{called} "{text}"')

    def about(self, texts: tuple[tuple[str, str, str], ...]) -> tuple[Statement, ...]:
        """Statements about several texts, each (field, text, how to name it to a person), best first."""
        found = self._about.get(texts)
        if found is None:
            told = [s for name, text, called in texts for s in self.read(name, text, called)]
            found = self._about[texts] = tuple(sorted(told, key=by_rank))
        return found

    def read_properties(self, properties: Mapping[str, Mapping[str, PropertyValue]]) -> Iterator[Statement]:
        """Statements of the rules on properties, in the order of the sets."""
        for set_name, values in properties.items():
            for name, orders in self._told_by_property.find(set_name, values):
                value = values[name]
                if self.is_filled(name, value):
                    told = self._lexicon.find(str(value))
                    for order in orders:
                        if order in told:
                            source = f"property {set_name}.{name} = {value}"
                            yield Statement(self.rules[order], order, "property", source)

    def material_properties(
        self, properties: Mapping[str, Mapping[str, PropertyValue]]
    ) -> list[tuple[str, str]]:
        """(value, "property Set.Name") of filled text properties that name a material, best first."""
        return [
            (str(value), f"property {set_name}.{name}")
            for _, set_name, name, value in self._named(self._materials, properties)
            if isinstance(value, str)
        ]

    def strength_properties(
        self, properties: Mapping[str, Mapping[str, PropertyValue]]
    ) -> list[PropertyValue]:
        """Filled values of the properties that may hold a strength class, best first."""
        return [value for *_, value in self._named(self._strengths, properties)]

    def _named(
        self, names: PropertyNames, properties: Mapping[str, Mapping[str, PropertyValue]]
    ) -> list[tuple[int, str, str, PropertyValue]]:
        found = [
            (ranks[0], set_name, name, values[name])
            for set_name, values in properties.items()
            for name, ranks in names.find(set_name, values)
            if self.is_filled(name, values[name])
        ]
        return sorted(found, key=lambda row: row[:3])


def _checked(
    row: _RuleFields | GroundFields | KindFields, data: _RuleFile, where: str
) -> tuple[tuple[list[str], list[str]], list[str]]:
    """Words, exceptions and properties of a row with its lists put in. Raises InputError naming `where`."""
    try:
        patterns = _listed(row.words, data.patterns, "words"), _listed(row.without, data.patterns, "words")
        properties = _listed(row.property, data.properties, "properties")
        for name in properties:
            _property_shape(name)
        if bool(row.field) == bool(row.property):
            raise ValueError("give either `field` or `property`")
        for pattern in (*patterns[0], *patterns[1]):
            phrases(pattern)  # raises for one of no word
    except ValueError as fault:
        raise InputError(f"{where}: {fault}") from None
    return patterns, properties


def _listed(wanted: Sequence[str], lists: Mapping[str, list[str]], table: str) -> list[str]:
    out: list[str] = []
    for entry in wanted:
        if not entry.startswith(_LIST):
            out.append(entry)
        elif entry[1:] in lists:
            out.extend(lists[entry[1:]])
        else:
            raise ValueError(f"{entry}: [{table}] has no list of this name")
    return out


def load_rules(path: Path) -> MethodRules:
    """The rules in the file `path`. Raises InputError naming the file, the rule and the fault."""
    return MethodRules(str(path), load_table(path, _RuleFile))
