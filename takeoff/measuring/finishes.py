"""Classes of formed finish: which faces are to be fair-faced, by rules in a data file."""

from collections.abc import Sequence
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field

from takeoff.data_files import load_table
from takeoff.measuring.bodies import Body
from takeoff.measuring.name_patterns import fits_any


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
        if self.storeys and not fits_any(self.storeys, (body.storey,)):
            return False
        texts = (facts.name, facts.type_name, facts.object_type, facts.mark, body.plan.material)
        if self.words and not fits_any(self.words, texts):
            return False
        for place, pattern in self.properties.items():
            set_name, _, name = place.partition(".")
            value = facts.properties.get(set_name, {}).get(name)
            if value is None or not fits_any((pattern,), (str(value),)):
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
