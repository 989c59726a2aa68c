"""Rules by which elements are known that the ground is the form of, or that hold the ground back."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from takeoff.measuring.plan import GroundForm
from takeoff.measuring.wording import Lexicon
from takeoff.reading.facts import ElementFacts

if TYPE_CHECKING:
    from takeoff.measuring.methods import GroundFields, KindFields, PropertyNames


class GroundRules:
    """The rules [[against_ground]] of a methods file; the first that fits an element counts."""

    def __init__(
        self,
        rules: "Sequence[GroundFields]",
        groups: Sequence[tuple[list[str], list[str]]],
        properties: "PropertyNames",
    ) -> None:
        """`groups`: words and exceptions of each rule; `properties`: the patterns of those that ask for one."""
        self._rules = rules
        self._lexicon = Lexicon(groups)
        self._properties = properties
        self._fields = fields_of(rules)

    def of(self, facts: ElementFacts) -> GroundForm | None:
        """What the first rule that fits says of an element, None where none does."""
        found: dict[int, str] = {}
        if not self._rules:
            return None
        for name, texts in texts_of(facts, self._fields):
            for text in dict.fromkeys(texts):
                for number in self._lexicon.find(text) if text else ():
                    if name in self._rules[number].field:
                        found.setdefault(number, f'{name.replace("_", " ")} "{text}"')
        for set_name, values in facts.properties.items():
            for name, numbers in self._properties.find(set_name, values):
                told = self._lexicon.find(str(values[name]))
                for number in numbers:
                    if number in told:
                        found.setdefault(number, f"property {set_name}.{name} = {values[name]}")
        if not found:
            return None
        rule = self._rules[first := min(found)]
        return GroundForm(rule.faces, rule.holds, f"{found[first]} ({rule.because})")


_TEXTS: Mapping[str, Callable[[ElementFacts], Sequence[str]]] = {
    "class": lambda facts: (facts.ifc_class,),
    "predefined_type": lambda facts: (facts.predefined_type,),
    "material": lambda facts: facts.materials,
    "layer": lambda facts: tuple(layer.name for layer in facts.build_up.layers) if facts.build_up else (),
    "type": lambda facts: (facts.type_name, facts.object_type),
    "name": lambda facts: (facts.name,),
    "mark": lambda facts: (facts.mark,),
    "assembly_mark": lambda facts: (facts.assembly_mark,),
    "classification": lambda facts: facts.classifications,
    "presentation_layer": lambda facts: facts.presentation_layers,
    "storey": lambda facts: (facts.storey,),
}
"""The texts of an element by the names that rules have for them."""


def fields_of(rules: "Sequence[GroundFields | KindFields]") -> tuple[str, ...]:
    """The texts that any of the rules asks for, in the order in which they are read."""
    wanted = {name for rule in rules for name in rule.field}
    return tuple(name for name in _TEXTS if name in wanted)


def texts_of(facts: ElementFacts, fields: Sequence[str]) -> Iterator[tuple[str, Sequence[str]]]:
    """Some of an element's texts, each with its name."""
    return ((name, _TEXTS[name](facts)) for name in fields)
