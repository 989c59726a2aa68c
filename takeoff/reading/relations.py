"""How the objects of a model hang together, looked up once for the whole file and kept by STEP id."""

from collections.abc import Iterator
from typing import Any

from msgspec import Struct, field

from takeoff.reading.attributes import first_line

DEPTH_LIMIT = 64
"""Deepest nesting of aggregates that is followed; deeper is a loop or hostile."""


class Relations(Struct):
    """Indexes of the relations of a model: STEP id of the object to what it is related with.

    `parent` and `children` are by aggregation and nesting between products. `broken` holds the STEP ids of
    relations that could not be read, with the fault.
    """

    parent: dict[int, Any] = field(default_factory=dict)
    children: dict[int, list[Any]] = field(default_factory=dict)
    container: dict[int, Any] = field(default_factory=dict)
    type_of: dict[int, Any] = field(default_factory=dict)
    definitions: dict[int, list[Any]] = field(default_factory=dict)
    materials: dict[int, list[Any]] = field(default_factory=dict)
    classifications: dict[int, list[Any]] = field(default_factory=dict)
    openings: dict[int, list[Any]] = field(default_factory=dict)
    additions: dict[int, list[Any]] = field(default_factory=dict)
    served: dict[int, Any] = field(default_factory=dict)
    broken: list[tuple[int, str]] = field(default_factory=list)

    def ancestors(self, product: Any) -> Iterator[Any]:
        """The wholes that a product is part of, nearest first; a loop ends it."""
        seen = {product.id()}
        for _ in range(DEPTH_LIMIT):
            product = self.parent.get(product.id())
            if product is None or product.id() in seen:
                return
            seen.add(product.id())
            yield product

    def descendants(self, product: Any) -> Iterator[Any]:
        """All that a product is made of, depth first, each once."""
        seen = {product.id()}
        waiting = list(reversed(self.children.get(product.id(), ())))
        while waiting:
            child = waiting.pop()
            if child.id() in seen:
                continue
            seen.add(child.id())
            yield child
            waiting.extend(reversed(self.children.get(child.id(), ())))


def read_relations(model: Any) -> Relations:
    """Go once over each kind of relation. Attribute positions are the same in IFC2X3, IFC4 and IFC4X3."""
    found = Relations()
    for name in ("IfcRelAggregates", "IfcRelNests"):
        for relation in _each(model, name):
            with _Guard(found, relation):
                whole = relation[4]
                for part in relation[5]:
                    if part.id() not in found.parent:
                        found.parent[part.id()] = whole
                        found.children.setdefault(whole.id(), []).append(part)
    for relation in _each(model, "IfcRelReferencedInSpatialStructure"):
        with _Guard(found, relation):
            for product in relation[4]:
                found.container.setdefault(product.id(), relation[5])
    for relation in _each(model, "IfcRelContainedInSpatialStructure"):
        with _Guard(found, relation):
            for product in relation[4]:
                found.container[product.id()] = relation[5]
    for relation in _each(model, "IfcRelDefinesByType"):
        with _Guard(found, relation):
            for product in relation[4]:
                found.type_of[product.id()] = relation[5]
    _listed(model, found, "IfcRelDefinesByProperties", found.definitions)
    _listed(model, found, "IfcRelAssociatesMaterial", found.materials)
    _listed(model, found, "IfcRelAssociatesClassification", found.classifications)
    for name, target in (("IfcRelVoidsElement", found.openings), ("IfcRelProjectsElement", found.additions)):
        for relation in _each(model, name):
            with _Guard(found, relation):
                target.setdefault(relation[4].id(), []).append(relation[5])
    for relation in _each(model, "IfcRelAssignsToProduct"):
        with _Guard(found, relation):
            for product in relation[4]:
                found.served.setdefault(product.id(), relation[6])
    return found


def _each(model: Any, name: str) -> Any:
    """The relations of one kind, in the order of the file."""
    try:
        return model.by_type(name)
    except RuntimeError:
        return ()


def _listed(model: Any, found: Relations, name: str, target: dict[int, list[Any]]) -> None:
    """Index relations of the form (objects, definition), of which an object may have many."""
    for relation in _each(model, name):
        with _Guard(found, relation):
            definition = relation[5]
            if definition is None:
                raise ValueError("names nothing")
            for product in relation[4]:
                target.setdefault(product.id(), []).append(definition)


class _Guard:
    """Lets one unreadable relation cost that relation only, and notes it."""

    __slots__ = ("found", "relation")

    def __init__(self, found: Relations, relation: Any) -> None:
        self.found = found
        self.relation = relation

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, trace: object) -> bool:
        if fault is None or not isinstance(fault, Exception):
            return False
        self.found.broken.append(
            (self.relation.id(), f"{self.relation.is_a()} cannot be read ({first_line(fault)})")
        )
        return True
