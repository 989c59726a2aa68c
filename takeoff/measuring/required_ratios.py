"""Required reinforcement given as a property: kg/m3 of concrete or kg/m2 of area, in any set."""

import re
from typing import Literal

from msgspec import Struct

from takeoff.reading.facts import ElementFacts

STANDARD = {"reinforcementvolumeratio": "kg/m3", "reinforcementarearatio": "kg/m2"}
"""IFC properties (Pset_ConcreteElementGeneral and others), written without blanks and in small letters."""
WORDS = re.compile(
    r"reinforc|rebar|wapening|bewehrung|armatur|armadur|armaçã|armier|ferraill|acier|armering|raudoit|betoniteräs"
)
"""Words for reinforcement in the languages whose models put such a property in sets of their own."""
PER_VOLUME = re.compile(r"kg\s*(?:/|per|pro|par|por)\s*(?:m\s*[3³]|cum|cbm)", re.IGNORECASE)
PER_AREA = re.compile(r"kg\s*(?:/|per|pro|par|por)\s*(?:m\s*[2²]|sqm|qm)", re.IGNORECASE)
NUMBER = re.compile(r"[-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?")
USUAL = {"kg/m3": (5.0, 800.0), "kg/m2": (0.5, 400.0)}
"""Outside these bounds the figure is in another unit or a slip: more steel than a member holds, or none."""


class RequiredRatio(Struct, frozen=True):
    """A ratio in `unit` with the property that gave it; `usual` tells whether it can be believed."""

    value: float
    unit: Literal["kg/m3", "kg/m2"]
    source: str
    usual: bool


def required_ratio(facts: ElementFacts) -> RequiredRatio | None:
    """The required ratio of an element: standard names first, kg/m3 before kg/m2, None where not given.

    A zero or an empty text is a property that nobody filled in, and counts as not given.
    """
    found: list[tuple[int, str, RequiredRatio]] = []
    for set_name, properties in facts.properties.items():
        for name, value in properties.items():
            compact = re.sub(r"[\W_]", "", name.casefold())
            unit = STANDARD.get(compact)
            rank = 0
            if unit is None and WORDS.search(name.casefold()):
                rank = 2
                text = f"{name} {value}" if isinstance(value, str) else name
                unit = "kg/m3" if PER_VOLUME.search(text) else "kg/m2" if PER_AREA.search(text) else None
            if unit is None:
                continue
            number = _number(value)
            if not number:
                continue
            low, high = USUAL[unit]
            is_volume = unit == "kg/m3"
            ratio = RequiredRatio(
                number, "kg/m3" if is_volume else "kg/m2", f"{set_name}.{name}", low <= number <= high
            )
            found.append((rank + (not is_volume) + 4 * (not ratio.usual), ratio.source, ratio))
    return min(found, key=lambda entry: entry[:2])[2] if found else None


def _number(value: str | float | int | bool) -> float | None:
    if isinstance(value, bool):
        return None
    if isinstance(value, str):
        match = NUMBER.search(value)
        return float(match[0].replace(",", ".")) if match else None
    return float(value)
