"""Sections of the bill: by trade as the plan has them, by element or by storey."""

from collections.abc import Iterable

from msgspec import Struct

from takeoff.pricing.choices import Choices
from takeoff.pricing.sections import ItemRule, SectionPlan, SectionRule
from takeoff.pricing.words import slug

_GROUP_FIELDS = {"element": "role", "storey": "storey"}


class Heading(Struct, frozen=True):
    """A section's number and title."""

    code: str
    title: str


def group_of(fields: dict[str, str], rule: ItemRule, choices: Choices) -> str | None:
    """The group that a row belongs to; None where the plan's own section holds (by trade, or unresolved)."""
    name = _GROUP_FIELDS.get(choices.arrange)
    return None if name is None or rule.named_rates_only else fields.get(name, "")


def grouped_key(key: str, group: str | None, rule: ItemRule, choices: Choices) -> str:
    """The item's key, with the group behind `@` where nothing else in it tells the group."""
    if group is None or _GROUP_FIELDS[choices.arrange] in rule.split:
        return key
    return f"{key}@{slug(group)}"


def headings(
    groups: Iterable[str | None], sections: Iterable[SectionRule], plan: SectionPlan, choices: Choices
) -> list[tuple[tuple[bool, str], Heading]]:
    """Places and headings in the order of the bill: the groups in theirs, then the plan's own sections.

    A place is (False, group), or (True, code) for a section of the plan.
    """
    found = [group for group in dict.fromkeys(groups) if group is not None]
    order = list(plan.order.get("role", ()) if choices.arrange == "element" else choices.storeys)
    found.sort(key=lambda group: (not group, order.index(group) if group in order else len(order)))
    made: list[tuple[tuple[bool, str], Heading]] = []
    for number, group in enumerate(found):
        made.append(((False, group), Heading(_letters(number), _title(group, plan, choices))))
    codes = {section.code for section in sections}
    taken = {heading.code for _, heading in made}
    for section in plan.sections:
        if section.code in codes:
            code = section.code if section.code not in taken else _letters(len(made))
            made.append(((True, section.code), Heading(code, section.title)))
            taken.add(code)
    return made


def _title(group: str, plan: SectionPlan, choices: Choices) -> str:
    if choices.arrange == "storey":
        return group or "No storey"
    words = plan.words.get("role", {}).get(group, group)
    return (words[:1].upper() + words[1:]) or "Other members"


def _letters(number: int) -> str:
    """A, B, ... Z, AA, AB, ..."""
    text = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(ord("A") + rest) + text
    return text
