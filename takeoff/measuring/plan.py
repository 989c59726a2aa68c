"""The plan for each element: into which parts it is taken apart and how each of them is made."""

from collections.abc import Sequence

from msgspec import Struct
from msgspec.structs import replace

from takeoff.findings import Finding
from takeoff.reading.facts import ElementFacts

METHODS = ("cast-in-place", "precast", "tilt-up", "not-concrete", "unresolved")
ROLES = ("wall", "slab", "column", "beam", "foundation", "stair")


class PartPlan(Struct, frozen=True):
    """One part to be measured.

    `layers` is the slice of the build-up in metres from the first layer's outer face, None for the whole
    body. `permanent_formwork` marks what is no concrete but stays as a form (steel decking). `evidence`
    tells a person in a few words what decided the method. `bodies` are the STEP ids of the products that make
    this part, empty where the element's bodies make it together. `shell`: the words name a precast shell
    (half slab, twin wall) that usually gets concrete cast in or on it.
    """

    part: int
    method: str
    evidence: str
    material: str = ""
    strength_class: str = ""
    layers: tuple[float, float] | None = None
    permanent_formwork: bool = False
    bodies: tuple[int, ...] = ()
    shell: bool = False


class GroundForm(Struct, frozen=True):
    """What a rule says of the ground as the form of an element, or of what is cast against it.

    `faces` need no form: `all` but the head, `sides`, `outside` (of a wall the side away from the rooms), or
    `none`. `holds`: the element holds the ground back, so that nothing cast against it needs a form there.
    `evidence` tells a person in a few words which text and rule say so.
    """

    faces: str
    holds: bool
    evidence: str


class ElementPlan(Struct, frozen=True):
    """An element with its final role, its parts and what was noticed while deciding.

    `ground` is what a rule says of ground as its form, None for nothing.
    """

    facts: ElementFacts
    role: str
    subrole: str
    parts: tuple[PartPlan, ...]
    findings: tuple[Finding, ...] = ()
    ground: GroundForm | None = None


def with_distinct_parts(plans: Sequence[ElementPlan]) -> tuple[ElementPlan, ...]:
    """The plans with part numbers that go on where two elements of one model share a GlobalId.

    Every table is keyed by model, GlobalId and part, so a fault of the exporter must not merge two elements.
    """
    used: dict[tuple[str, str], int] = {}
    distinct = []
    for plan in plans:
        key = plan.facts.model, plan.facts.global_id
        taken = used.get(key, 0)
        if taken:
            parts = tuple(replace(part, part=part.part + taken) for part in plan.parts)
            plan = replace(plan, parts=parts)
        used[key] = max([taken, *(part.part for part in plan.parts)])
        distinct.append(plan)
    return tuple(distinct)
