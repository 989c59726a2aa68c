"""Classes of formed finish: which faces are to be fair-faced, by rules in a data file."""

import re
from collections.abc import Sequence
from fnmatch import translate
from functools import lru_cache
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field

from takeoff.data_files import load_table
from takeoff.measuring.bodies import Body


class FinishRule(BaseModel):
    """One rule: all fields that are given must fit; `words` are looked for in name, type, material and mark."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    finish: str = Field(alias="class", min_length=1)
    because: str = Field(min_length=1)
    roles: tuple[str, ...] = ()
    categories: tuple[str, ...] = ()
    storeys: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    properties: dict[str, str] = Field(default_factory=dict)

    def fits(self, body: Body) -> bool:
        """Whether the rule is about this body, whatever its faces."""
        facts = body.element.facts
        if self.roles and body.role not in self.roles:
            return False
        if self.storeys and not _any(self.storeys, (body.storey,)):
            return False
        texts = (facts.name, facts.type_name, facts.object_type, facts.mark, body.plan.material)
        if self.words and not _any(self.words, texts):
            return False
        for place, pattern in self.properties.items():
            set_name, _, name = place.partition(".")
            value = facts.properties.get(set_name, {}).get(name)
            if value is None or not _any((pattern,), (str(value),)):
                return False
        return True


class Finishes(BaseModel):
    """The rules of a finishes file, in their order."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    finish: tuple[FinishRule, ...] = ()

    def of(self, body: Body) -> tuple[FinishRule, ...]:
        """The rules that are about a body."""
        return tuple(rule for rule in self.finish if rule.fits(body))


def finish_class(rules: Sequence[FinishRule], category: str) -> str:
    """Class of a face of this category by the first rule that fits, empty for ordinary."""
    return next((rule.finish for rule in rules if not rule.categories or category in rule.categories), "")


def load_finishes(path: Path) -> Finishes:
    """Read a finishes file. Raises InputError with the rule and the fault."""
    return load_table(path, Finishes)


def _any(patterns: tuple[str, ...], texts: Sequence[str]) -> bool:
    fits = _expression(patterns).match
    return any(fits(text.casefold()) for text in texts if text)


@lru_cache(maxsize=256)
def _expression(patterns: tuple[str, ...]) -> re.Pattern[str]:
    """One expression for all patterns: bodies are many, rules are few."""
    return re.compile("|".join(translate(pattern.casefold()) for pattern in patterns))
