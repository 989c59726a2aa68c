"""What the geometry stage is asked for: one order for each element, or for each part with a body of its own."""

from collections.abc import Sequence

from msgspec import Struct

from takeoff.geometry.solids import Slicing, SolidRequest
from takeoff.measuring.plan import ElementPlan, PartPlan


class Order(Struct, frozen=True):
    """A request with the element (position in the plans) and the parts that its slices become, in order."""

    request: SolidRequest
    element: int
    parts: tuple[PartPlan, ...]


def make_orders(plans: Sequence[ElementPlan]) -> tuple[Order, ...]:
    """Orders for all parts that are concrete, permanent formwork or hold the ground; request keys count from 0."""
    orders: list[Order] = []
    for number, plan in enumerate(plans):
        facts = plan.facts
        holds = plan.ground is not None and plan.ground.holds
        wanted = tuple(p for p in plan.parts if p.method != "not-concrete" or p.permanent_formwork or holds)
        if not wanted or not facts.body:
            continue
        hint = _declared_volume(plan) if len(plan.parts) == 1 else None
        own_bodies = [part for part in wanted if part.bodies]
        if own_bodies:
            for part in own_bodies:
                request = SolidRequest(len(orders), part.bodies, facts.openings)
                orders.append(Order(request, number, (part,)))
            continue
        slicing = None
        bounds = tuple(part.layers for part in wanted if part.layers is not None)
        if bounds and facts.build_up is not None:
            build_up = facts.build_up
            slicing = Slicing(build_up.axis, build_up.sense, build_up.offset, bounds, build_up.thickness)
        request = SolidRequest(len(orders), facts.body, facts.openings, slicing, hint)
        orders.append(Order(request, number, wanted))
    return tuple(orders)


def _declared_volume(plan: ElementPlan) -> float | None:
    """A declared volume of the whole element, as a hint for the geometry stage; None when there is none."""
    volumes = [d for d in plan.facts.declared if d.kind == "volume" and d.value > 0]
    net = [d.value for d in volumes if "net" in d.name.casefold()]
    return net[0] if net else volumes[0].value if volumes else None
