"""Rules by which elements are known that the ground is the form of, or that hold the ground back."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from takeoff.measuring.plan import GroundForm
from takeoff.measuring.wording import Lexicon
from takeoff.reading.facts import ElementFacts

if TYPE_CHECKING:
    from takeoff.measuring.methods import GroundFields, PropertyNames


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

    def of(self, facts: ElementFacts) -> GroundForm | None:
        """What the first rule that fits says of an element, None where none does."""
        found: dict[int, str] = {}
        if not self._rules:
            return None
        for name, texts in texts_of(facts).items():
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


def texts_of(facts: ElementFacts) -> Mapping[str, Sequence[str]]:
    """The texts of an element by the names that rules have for them."""
    return {
        "class": (facts.ifc_class,),
        "predefined_type": (facts.predefined_type,),
        "material": facts.materials,
        "layer": tuple(layer.name for layer in facts.build_up.layers) if facts.build_up else (),
        "type": (facts.type_name, facts.object_type),
        "name": (facts.name,),
        "mark": (facts.mark,),
        "assembly_mark": (facts.assembly_mark,),
        "classification": facts.classifications,
        "presentation_layer": facts.presentation_layers,
        "storey": (facts.storey,),
    }
