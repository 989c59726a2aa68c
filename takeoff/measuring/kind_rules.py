"""Rules by which a kind of member is known from its words where the predefined type says nothing of it."""

from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING

from takeoff.measuring.ground_rules import fields_of, texts_of
from takeoff.measuring.wording import Lexicon
from takeoff.reading.facts import ElementFacts

if TYPE_CHECKING:
    from takeoff.measuring.methods import KindFields

PLAIN = ("", "FLOOR", "ROOF", "NOTDEFINED", "USERDEFINED")
"""Predefined types that say nothing of how a member is made."""


class KindRules:
    """The rules [[kind]] of a methods file; the first that fits an element counts."""

    def __init__(self, rules: "Sequence[KindFields]", groups: Sequence[tuple[list[str], list[str]]]) -> None:
        """`groups`: words and exceptions of each rule."""
        self._rules = rules
        self._lexicon = Lexicon(groups)
        self._fields = fields_of(rules)

    def of(self, facts: ElementFacts, role: str, methods: Collection[str]) -> tuple[str, str] | None:
        """The subrole of an element and what tells it, None where no rule fits or the model says more itself."""
        if not self._rules or facts.subrole not in PLAIN:
            return None
        found: dict[int, str] = {}
        for name, texts in texts_of(facts, self._fields):
            for text in dict.fromkeys(texts):
                for number in self._lexicon.find(text) if text else ():
                    if name in self._rules[number].field:
                        found.setdefault(number, f'{name.replace("_", " ")} "{text}"')
        for number in sorted(found):
            rule = self._rules[number]
            if role in rule.role and (not rule.method or set(rule.method) & set(methods)):
                return rule.subrole, found[number]
        return None
