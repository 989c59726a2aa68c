"""Which elements a selection means, and that no element is claimed twice."""

import re
from collections.abc import Iterable, Sequence
from functools import lru_cache

from takeoff.findings import InputError
from takeoff.measuring.bodies import CONCRETE
from takeoff.measuring.changes import Change, Selection
from takeoff.measuring.plan import ElementPlan
from takeoff.reading.words import plain


def selects(selection: Selection, plan: ElementPlan) -> bool:
    """Whether an element fits every field of a selection."""
    facts = plan.facts
    materials = [*facts.materials, *(part.material for part in plan.parts)]
    texts: dict[str, Iterable[str]] = {
        "role": (plan.role,),
        "subrole": (plan.subrole,),
        "storey": (facts.storey,),
        "name": (facts.name,),
        "type": (facts.type_name,),
        "mark": (facts.mark, facts.assembly_mark),
        "material": materials,
        "method": (part.method for part in plan.parts),
        "strength_class": (part.strength_class for part in plan.parts),
        "ifc_class": (facts.ifc_class,),
        "model": (facts.model,),
    }
    for field, values in texts.items():
        patterns = getattr(selection, field)
        if patterns is not None and not any(
            _pattern(pattern).fullmatch(plain(value.strip())) for value in values for pattern in patterns
        ):
            return False
    return selection.global_id is None or facts.global_id in selection.global_id


@lru_cache(maxsize=1024)
def _pattern(text: str) -> re.Pattern[str]:
    return re.compile(".*".join(re.escape(plain(piece)) for piece in text.strip().split("*")), re.DOTALL)


def is_concrete(plan: ElementPlan) -> bool:
    """Whether an element has a part that is, or may be, concrete."""
    return bool(plan.role) and any(part.method in CONCRETE for part in plan.parts)


def claims(
    plans: Sequence[ElementPlan], changes: Sequence[Change], where: str
) -> tuple[tuple[int, ...], ...]:
    """Positions of the elements that each change claims; `where` names the alternative in messages.

    Raises InputError for a selection that matches nothing (or nothing of concrete), a GlobalId that no element
    has, and for two changes that claim one element.
    """
    owner: dict[int, int] = {}
    result = []
    for number, change in enumerate(changes, 1):
        place = f"{where}, change {number} ({change.select.words})"
        _known_ids(change.select, plans, place)
        fitting = [
            position
            for position, plan in enumerate(plans)
            if selects(change.select, plan) and not any(selects(left, plan) for left in change.without)
        ]
        own = tuple(position for position in fitting if is_concrete(plans[position]))
        if not own:
            raise InputError(f"{place}: {_why_nothing(change, plans, fitting)}")
        for position in own:
            if position in owner:
                facts = plans[position].facts
                raise InputError(
                    f"{place}: {facts.name or facts.ifc_class} ({facts.global_id}) is claimed by change "
                    f"{owner[position]} too; leave it out of one of them with except"
                )
            owner[position] = number
        result.append(own)
    return tuple(result)


def _known_ids(selection: Selection, plans: Sequence[ElementPlan], place: str) -> None:
    missing = set(selection.global_id or ()) - {plan.facts.global_id for plan in plans}
    if missing:
        raise InputError(f"{place}: no element has the GlobalId {min(missing)}; correct it or take it out")


def _why_nothing(change: Change, plans: Sequence[ElementPlan], fitting: Sequence[int]) -> str:
    if fitting:
        names = sorted({plans[i].facts.name or plans[i].facts.ifc_class for i in fitting})
        return f"matches only what is no concrete ({', '.join(names[:3])}); change its method rules first"
    if change.without and any(selects(change.select, plan) for plan in plans):
        return "except leaves nothing of the selection"
    for field in type(change.select).model_fields:
        patterns = getattr(change.select, field)
        if patterns is None or field == "global_id":
            continue
        alone = Selection.model_validate({field: patterns})
        if not any(selects(alone, plan) for plan in plans):
            return f"matches no element: none has {alone.words}; look at the sheet Elements of a bill"
    return "matches no element: no element fits all of it; look at the sheet Elements of a bill"
