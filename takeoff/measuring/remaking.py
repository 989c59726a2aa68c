"""A change of method followed through plans, orders and solids, so that the same engine measures it anew.

Nothing is tessellated again: the new bodies are made of the solids of the base, before any overlap was
resolved, so that overlaps, contacts and all that hangs on them are found again for the new way of making.
"""

from collections.abc import Sequence
from itertools import chain

import numpy as np
from msgspec.structs import replace

from takeoff.findings import Finding, InputError
from takeoff.geometry.booleans import BooleanFailed
from takeoff.geometry.mesh import Mesh, volume
from takeoff.geometry.reshaping import grown_together, in_layers
from takeoff.geometry.solids import Slice, SolidRequest, SolidResult
from takeoff.measuring.bodies import PIECES
from takeoff.measuring.changes import Change, LayerChange
from takeoff.measuring.closeness import contact_areas, gap_fillers, touching
from takeoff.measuring.orders import Order
from takeoff.measuring.plan import ElementPlan, PartPlan
from takeoff.measuring.resizing import resized, thickness_of
from takeoff.measuring.selections import claims, is_concrete, selects
from takeoff.measuring.stock import (
    Stock,
    WholeBody,
    concrete_meshes,
    facts_left,
    kept_forms,
    whole_body,
)

LOST = 0.1
"""A contact of which less than this share is left is lost."""


def remake(stock: Stock, changes: Sequence[Change], where: str, joint: float) -> Stock:
    """The stock of an alternative; `where` names it in messages. The given stock is left as it is.

    `joint` is the width, m, up to which gaps beside pieces are joints; what is cast instead fills them. Raises
    InputError for selections that match nothing, elements claimed twice, and bodies to be cast in one that
    touch none of the elements named.
    """
    claimed = claims(stock.plans, changes, where)
    return _Remaker(stock, where, joint).run(stock, changes, claimed)


class _Remaker:
    def __init__(self, stock: Stock, where: str, joint: float) -> None:
        self._models = stock.models
        self._plans = list(stock.plans)
        self._base = stock.plans
        self._solids = dict(stock.solids)
        self._terrains = stock.terrains
        self._where = where
        self._joint = joint
        self._filling: dict[int, float] = {}
        self._resized: list[int] = []
        self._orders: dict[int, list[Order]] = {}
        for order in stock.orders:
            self._orders.setdefault(order.element, []).append(order)
        self._without_bars: set[tuple[str, str]] = set()

    def run(self, stock: Stock, changes: Sequence[Change], claimed: Sequence[Sequence[int]]) -> Stock:
        taken = {position for positions in claimed for position in positions}
        for number, (change, positions) in enumerate(zip(changes, claimed, strict=True), 1):
            told = f"{self._where}, change {number}"
            if change.cast_with is not None:
                self._cast_in_one(change, positions, told, taken)
                continue
            for position in positions:
                self._change(position, change, told)
        self._tell_lost_contacts(stock)
        self._fill_joints()
        orders = [order for number in sorted(self._orders) for order in self._orders[number]]
        models = tuple(
            replace(
                model,
                bars=tuple(bar for bar in model.bars if (model.model, bar.host) not in self._without_bars),
            )
            for model in self._models
        )
        return Stock(models, tuple(self._plans), tuple(orders), self._solids, self._terrains)

    # -- one element ---------------------------------------------------------------------------------------

    def _change(self, position: int, change: Change, told: str) -> None:
        plan = self._plans[position]
        if change.omit:
            self._forget(position)
            return
        made = [part.method for part in plan.parts if part.method != "not-concrete"]
        if change.layers is None and (change.method is None or made == [change.method]):
            self._keep_method(position, change, told)
            return
        body = self._whole(position, told)
        if body is None:
            part = self._part(position, 1, change.method or "unresolved", told, change)
            self._put_plan(position, (part,))
            return
        remarks: tuple[tuple[str, str], ...] = ()
        try:
            solid = resized(body.solid, change, plan.role)
            if solid is not body.solid:
                self._resized.append(position)
            parts: tuple[PartPlan, ...]
            slices: list[Slice | None] = [solid]
            if change.layers is None:
                parts = (self._part(position, 1, change.method or "", told, change),)
                if change.method == "cast-in-place" and set(made) & set(PIECES):
                    self._filling[position] = self._reach(change)
            else:
                parts, slices, remarks = self._layers(position, change, solid, told)
        except BooleanFailed as fault:
            self._fail(position, change, told, str(fault))
            return
        self._put(position, parts, slices, body.openings, remarks)

    def _layers(
        self, position: int, change: Change, solid: Slice, told: str
    ) -> tuple[tuple[PartPlan, ...], list[Slice | None], tuple[tuple[str, str], ...]]:
        """Parts and slices of the new build-up."""
        assert change.layers is not None
        role = self._plans[position].role
        upright = role in ("wall", "column")
        thicknesses = self._thicknesses(position, change.layers, solid.mesh, upright)
        cut = in_layers(solid.mesh, thicknesses, upright, 1 if upright else -1)
        share = solid.gross / solid.net if solid.net else 1.0
        parts: list[PartPlan] = []
        slices: list[Slice | None] = []
        for number, (layer, mesh) in enumerate(zip(change.layers, cut.meshes, strict=True), 1):
            part = self._part(position, number, layer.method, told, change)
            parts.append(
                replace(
                    part,
                    strength_class=layer.strength_class or part.strength_class,
                    material=layer.material or part.material,
                    shell=layer.method == "precast",
                )
            )
            net = 0.0 if mesh is None else volume(mesh)
            slices.append(None if mesh is None else Slice(net * share, net, mesh))
        return tuple(parts), slices, cut.remarks

    def _thicknesses(
        self, position: int, layers: Sequence[LayerChange], mesh: Mesh, upright: bool
    ) -> list[float]:
        """Thickness of each layer, m; the one that is not stated takes the rest."""
        stated = [None if layer.thickness_mm is None else layer.thickness_mm / 1e3 for layer in layers]
        known = sum(thickness for thickness in stated if thickness is not None)
        if None not in stated:
            return [thickness for thickness in stated if thickness is not None]
        rest = thickness_of(mesh, upright) - known
        if rest <= 1e-3:
            facts = self._plans[position].facts
            raise InputError(
                f"{self._where}: {facts.name or facts.ifc_class} ({facts.global_id}) is {rest + known:.3f} m "
                f"thick, and layers of {known:.3f} m leave nothing for the one without a thickness"
            )
        return [rest if thickness is None else thickness for thickness in stated]

    def _keep_method(self, position: int, change: Change, told: str) -> None:
        """Another section or strength, made as in the base, part by part."""
        plan = self._plans[position]
        parts = tuple(
            part
            if part.method == "not-concrete"
            else replace(
                part,
                strength_class=change.strength_class or part.strength_class,
                material=change.material or part.material,
                evidence=f"{part.evidence}; {told}" if part.evidence else told,
            )
            for part in plan.parts
        )
        has_size = any((change.thickness_mm, change.width_mm, change.depth_mm))
        own = {part.part: part for part in parts}
        orders = self._orders.get(position, [])
        if has_size and len([part for part in parts if part.method != "not-concrete"]) > 1:
            facts = plan.facts
            raise InputError(
                f"{told}: {facts.name or facts.ifc_class} ({facts.global_id}) is made of several parts; give "
                "its new layers with their thicknesses instead of a size"
            )
        remade = []
        for order in orders:
            remade.append(replace(order, parts=tuple(own[part.part] for part in order.parts)))
            result = self._solids.get(order.request.key)
            if has_size and result is not None:
                try:
                    slices = tuple(
                        None if piece is None else resized(piece, change, plan.role)
                        for piece in result.slices
                    )
                except BooleanFailed as fault:
                    self._fail(position, change, told, str(fault))
                    return
                self._solids[order.request.key] = replace(result, slices=slices)
                self._resized.append(position)
        self._orders[position] = remade
        self._plans[position] = replace(
            plan, parts=parts, facts=facts_left(plan.facts, False, has_size), findings=plan.findings
        )

    # -- several elements in one ---------------------------------------------------------------------------

    def _cast_in_one(self, change: Change, positions: Sequence[int], told: str, taken: set[int]) -> None:
        """Each selected element becomes one body with the element of `cast_with` that it touches most."""
        assert change.cast_with is not None
        hosts = [
            position
            for position, plan in enumerate(self._base)
            if position not in positions and is_concrete(plan) and selects(change.cast_with, plan)
        ]
        if not hosts:
            raise InputError(
                f"{told}: cast_with ({change.cast_with.words}) matches no other element of concrete"
            )
        for host in hosts:
            if host in taken:
                facts = self._base[host].facts
                raise InputError(
                    f"{told}: {facts.name or facts.ifc_class} ({facts.global_id}) is to be cast with others and "
                    "is claimed by another change too; give one of the two up"
                )
        guests = {p: body for p in positions if (body := self._whole(p, told)) is not None}
        if any(self._base[p].parts[0].method in PIECES for p in positions):
            self._fill_between(guests, self._reach(change))
        bodies = {p: body for p in hosts if (body := self._whole(p, told)) is not None}
        chosen = touching(
            {p: body.solid.mesh for p, body in guests.items()},
            {p: body.solid.mesh for p, body in bodies.items()},
        )
        for position in positions:
            if position not in chosen:
                facts = self._base[position].facts
                raise InputError(
                    f"{told}: {facts.name or facts.ifc_class} ({facts.global_id}) touches no element of "
                    f"cast_with ({change.cast_with.words}); take it out of the selection"
                )
        for host in dict.fromkeys(chosen.values()):
            joining = [bodies[host], *(guests[p] for p in positions if chosen[p] == host)]
            shifts = np.cumsum([0, *(len(body.openings) for body in joining[:-1])]).tolist()
            method = next(part.method for part in self._base[host].parts if part.method != "not-concrete")
            try:
                mesh = grown_together([body.solid.mesh for body in joining], shifts)
            except BooleanFailed as fault:
                self._fail(host, change, told, str(fault))
                continue
            net = volume(mesh)
            cut = sum(body.solid.gross - body.solid.net for body in joining)
            part = self._part(host, 1, method, told, change)
            openings = tuple(size for body in joining for size in body.openings)
            self._put(host, (part,), [Slice(net + cut, net, mesh)], openings, ())
        for position in positions:
            self._forget(position)

    # -- joints that are none any more ---------------------------------------------------------------------

    def _reach(self, change: Change) -> float:
        return self._joint if change.close_joints_mm is None else change.close_joints_mm / 1e3

    def _fill_joints(self) -> None:
        """What was a piece and is cast now is cast up to all concrete beside it."""
        if not any(self._filling.values()):
            return
        meshes, owners = concrete_meshes(chain.from_iterable(self._orders.values()), self._solids)
        for position, extra in gap_fillers(meshes, owners, self._filling).items():
            order = self._orders[position][0]
            result = self._solids[order.request.key]
            solid = result.slices[0]
            assert solid is not None
            try:
                mesh = grown_together([solid.mesh, *extra])
            except BooleanFailed as fault:
                message = f"its joints cannot be filled ({fault}); its ends count as formed"
                remarks = (*result.remarks, ("joints-left-open", message))
                self._solids[order.request.key] = replace(result, remarks=remarks)
                continue
            net = volume(mesh)
            grown = Slice(solid.gross + net - solid.net, net, mesh)
            self._solids[order.request.key] = replace(result, slices=(grown, *result.slices[1:]))

    def _fill_between(self, guests: dict[int, WholeBody], reach: float) -> None:
        """Gaps between bodies that are to be cast in one with others are filled."""
        meshes = [body.solid.mesh for body in guests.values()]
        found = gap_fillers(meshes, list(guests), dict.fromkeys(guests, reach))
        for position, extra in found.items():
            body = guests[position]
            mesh = grown_together([body.solid.mesh, *extra])
            net = volume(mesh)
            guests[position] = replace(body, solid=Slice(body.solid.gross + net - body.solid.net, net, mesh))

    # -- neighbours that a new size leaves -----------------------------------------------------------------

    def _tell_lost_contacts(self, stock: Stock) -> None:
        """A finding where a body with a new size no longer touches what it touched: nothing follows by itself."""
        if not self._resized:
            return
        own = self._resized
        before = contact_areas(*concrete_meshes(stock.orders, stock.solids), own)
        after = contact_areas(*concrete_meshes(chain.from_iterable(self._orders.values()), self._solids), own)
        for (position, other), area in before.items():
            if self._plans[other].parts and after.get((position, other), 0.0) < LOST * area:
                facts, near = self._plans[position].facts, self._plans[other].facts
                name = near.name or near.ifc_class
                finding = Finding(
                    "warning", "contact-lost", facts.model, facts.global_id,
                    f"{facts.name or facts.ifc_class} with its new size no longer touches {name} "
                    f"({near.global_id}): move or extend one of them in the model, or keep another face",
                    "measured with the gap between them",
                )  # fmt: skip
                plan = self._plans[position]
                self._plans[position] = replace(plan, findings=(*plan.findings, finding))

    # -- putting it in place -------------------------------------------------------------------------------

    def _whole(self, position: int, told: str) -> WholeBody | None:
        """All concrete of an element as one body, None where it has no solid. Raises InputError."""
        try:
            return whole_body(self._orders.get(position, ()), self._solids)
        except BooleanFailed as fault:
            facts = self._base[position].facts
            raise InputError(
                f"{told}: the parts of {facts.name or facts.ifc_class} ({facts.global_id}) cannot be made one "
                f"body ({fault}); leave it out of the selection"
            ) from fault

    def _part(self, position: int, number: int, method: str, told: str, change: Change) -> PartPlan:
        """A part of the alternative; what the change does not say stays as the element's main part has it."""
        own = [part for part in self._base[position].parts if part.method != "not-concrete"]
        main = max(own, key=lambda part: part.layers[1] - part.layers[0] if part.layers else 0.0)
        return PartPlan(
            part=number,
            method=method,
            evidence=told,
            material=change.material or main.material,
            strength_class=change.strength_class or main.strength_class,
        )

    def _others(self, plan: ElementPlan) -> tuple[PartPlan, ...]:
        return tuple(part for part in plan.parts if part.method == "not-concrete")

    def _put(
        self,
        position: int,
        parts: Sequence[PartPlan],
        slices: Sequence[Slice | None],
        openings: tuple[float, ...],
        remarks: tuple[tuple[str, str], ...],
    ) -> None:
        """Give an element its new concrete parts and their solids; its other parts stay, numbered after them."""
        orders = self._orders[position]
        key = orders[0].request.key
        others = self._others(self._base[position])
        renumbered = {part.part: replace(part, part=len(parts) + i) for i, part in enumerate(others, 1)}
        stays = [
            replace(order, parts=tuple(renumbered[part.part] for part in kept))
            for order in orders
            if (kept := [part for part in order.parts if part.method == "not-concrete"])
            and len(kept) == len(order.parts)
        ]
        mixed = list(kept_forms(orders, self._solids, renumbered))
        request = SolidRequest(key, self._base[position].facts.body, self._base[position].facts.openings)
        new = Order(request, position, (*parts, *(part for part, _ in mixed)))
        self._solids[key] = SolidResult(
            key, (*slices, *(piece for _, piece in mixed)), remarks=remarks, opening_volumes=openings
        )
        self._orders[position] = [new, *(order for order in stays if order.request.key != key)]
        self._put_plan(position, (*parts, *renumbered.values()))

    def _put_plan(self, position: int, parts: Sequence[PartPlan]) -> None:
        """New parts; what the model said of the old ones (ratio, bars, declared figures, doubts) goes."""
        plan = self._plans[position]
        facts = facts_left(plan.facts, True, True)
        if not any(part.method in PIECES for part in self._base[position].parts):
            # The mark of a wall to be cast is no piece mark.
            facts = replace(facts, mark="", assembly_mark="")
        self._plans[position] = replace(plan, parts=tuple(parts), facts=facts, findings=())
        self._without_bars.add((plan.facts.model, plan.facts.global_id))

    def _fail(self, position: int, change: Change, told: str, fault: str) -> None:
        """The element cannot be made as said: it has no figures, and the reason becomes a finding."""
        part = self._part(position, 1, change.method or "unresolved", told, change)
        for order in self._orders.pop(position, []):
            self._solids.pop(order.request.key, None)
            result = SolidResult(order.request.key, (), condition=f"{told} cannot be made: {fault}")
            self._solids[order.request.key] = result
            self._orders.setdefault(position, []).append(replace(order, parts=(part,)))
        self._put_plan(position, (part,))

    def _forget(self, position: int) -> None:
        """An element that the alternative does not have, or has as part of another."""
        self._orders.pop(position, None)
        self._put_plan(position, ())
