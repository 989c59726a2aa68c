"""Attributes by name, where a class may not have them, without the parser's costly search for the missing."""

from functools import lru_cache
from typing import Any


@lru_cache(maxsize=4096)
def _position(schema_class: str, name: str) -> int | None:
    """Position of an attribute among those of a class, named `IFC4.IfcWall`; None if the class lacks it."""
    import ifcopenshell.ifcopenshell_wrapper as wrapper

    schema, _, class_name = schema_class.partition(".")
    declaration = wrapper.schema_by_name(schema).declaration_by_name(class_name).as_entity()
    if declaration is None:
        return None
    names = [a.name() for a in declaration.all_attributes()]
    return names.index(name) if name in names else None


def attribute(entity: Any, name: str) -> Any:
    """The value of an attribute, None where it is empty or the entity's class does not have it."""
    if entity is None:
        return None
    position = _position(entity.is_a(True), name)
    return None if position is None else entity.get_argument(position)
