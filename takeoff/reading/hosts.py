"""What belongs to which concrete element: reinforcement and embedded things, by the model's own relations."""

from typing import Any

from msgspec import Struct, field

from takeoff.reading.attributes import identity, name_of
from takeoff.reading.bars import BAR_CLASSES
from takeoff.reading.facts import ElementFacts, Embedded
from takeoff.reading.girders import is_lattice_girder
from takeoff.reading.roles import kind_of
from takeoff.reading.structure import Context, Structure, substance_of
from takeoff.reading.words import key, substance

_HOST_IDS = {"hostglobalid", "hostguid", "hostid", "hostifcguid", "parentguid", "parentglobalid"}
_HOST_MARKS = {"hostmark", "hostelementmark"}
_NEVER_EMBEDDED = (
    "IfcFeatureElement",
    "IfcCovering",
    "IfcElementAssembly",
    "IfcVirtualElement",
    "IfcDoor",
    "IfcWindow",
    "IfcFurnishingElement",
    "IfcRailing",
)


class Hosts(Struct):
    """Finds the element that a product belongs to. `elements` are the facts by STEP id of their product."""

    context: Context
    elements: dict[int, ElementFacts]
    _by_body: dict[int, ElementFacts] = field(default_factory=dict)
    _in_assembly: dict[int, ElementFacts | None] = field(default_factory=dict)
    _by_global_id: dict[str, ElementFacts] = field(default_factory=dict)
    _by_mark: dict[str, ElementFacts | None] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for facts in self.elements.values():
            self._by_global_id.setdefault(facts.global_id, facts)
            for body in facts.body:
                self._by_body.setdefault(body, facts)
            if facts.mark:
                self._by_mark[facts.mark] = None if facts.mark in self._by_mark else facts

    def of(self, product: Any) -> ElementFacts | None:
        """The nearest element that the product is part of, else the biggest concrete one of its assembly,
        else the one it is assigned to, else the one that its properties name."""
        relations = self.context.relations
        for whole in relations.ancestors(product):
            facts = self.elements.get(whole.id()) or self._by_body.get(whole.id())
            if facts is not None and is_concrete(facts) is not False:
                return facts
            if kind_of(whole) == "assembly":
                facts = self._of_assembly(whole)
                if facts is not None:
                    return facts
        served = relations.served.get(product.id())
        if served is not None and served.id() in self.elements:
            return self.elements[served.id()]
        return None

    def named(self, product: Any) -> ElementFacts | None:
        """The element that a property of the product names by GlobalId or by a mark that only one element
        has."""
        for values in self.context.properties.sets(product).values():
            for name, value in values.items():
                simple = key(name)
                if simple in _HOST_IDS:
                    found = self._by_global_id.get(str(value))
                elif simple in _HOST_MARKS:
                    found = self._by_mark.get(str(value))
                else:
                    continue
                if found is not None:
                    return found
        return None

    def _of_assembly(self, assembly: Any) -> ElementFacts | None:
        """The biggest concrete element directly in an assembly; with none there, the only one further
        down."""
        if assembly.id() in self._in_assembly:
            return self._in_assembly[assembly.id()]
        direct = self._concrete(self.context.relations.children.get(assembly.id(), ()))
        best = max(direct, key=declared_size) if direct else None
        if best is None:
            below = self._concrete(self.context.relations.descendants(assembly))
            best = below[0] if len(below) == 1 else None
        self._in_assembly[assembly.id()] = best
        return best

    def _concrete(self, products: Any) -> list[ElementFacts]:
        """Elements of concrete among products; where none plainly is, those that might be."""
        found = [self.elements[p.id()] for p in products if p.id() in self.elements]
        found = [facts for facts in found if facts.role]
        return [f for f in found if is_concrete(f)] or [f for f in found if is_concrete(f) is None]


def is_concrete(facts: ElementFacts) -> bool | None:
    """Whether an element is of concrete by its materials, else its names; None where these don't tell."""
    texts = (
        [*facts.materials, *facts.material_categories]
        if any(facts.materials)
        else [facts.name, facts.object_type, facts.type_name]
    )
    found = {substance(text) for text in texts}
    if "concrete" in found:
        return True
    return False if "other" in found else None


def declared_size(facts: ElementFacts) -> tuple[float, float]:
    """(volume, weight) that the model declares, the largest of each: enough to find the main piece of a
    unit."""
    return tuple(  # type: ignore[return-value]
        max((d.value for d in facts.declared if d.kind == kind), default=0.0) for kind in ("volume", "weight")
    )


def read_embedded(context: Context, structure: Structure, hosts: Hosts) -> list[Embedded]:
    """Things that are part of a concrete element or of its assembly without being its concrete or its bars.

    An element of another substance inside a concrete unit (an anchor exported as a beam) is named here too.
    """
    bars = {bar.id() for bar in structure.bars}
    bodies = {body.id() for draft in structure.drafts.values() for body in draft.bodies}
    found = []
    for children in context.relations.children.values():
        for product in children:
            step_id = product.id()
            if step_id in bars or not product.is_a("IfcElement"):
                continue
            if product.is_a("IfcReinforcingElement") and product.is_a() in BAR_CLASSES:
                continue
            if any(product.is_a(name) for name in _NEVER_EMBEDDED):
                continue
            facts = hosts.elements.get(step_id)
            if facts is not None and is_concrete(facts) is not False:
                continue
            if facts is None and (step_id in bodies or _is_concrete_part(context, product)):
                continue
            host = hosts.of(product)
            if host is not None and host.step_id != step_id:
                found.append(
                    Embedded(
                        global_id=identity(product),
                        ifc_class=product.is_a(),
                        name=name_of(product),
                        material=", ".join(context.materials.of(product).names),
                        host=host.global_id,
                        form="lattice girder" if is_lattice_girder(product) else "",
                    )
                )
    return found


def _is_concrete_part(context: Context, product: Any) -> bool:
    """Whether a part that isn't counted (its whole has a body of its own) is concrete, and so nothing
    embedded."""
    return bool(context.materials.of(product).text) and substance_of(context, product) == "concrete"
