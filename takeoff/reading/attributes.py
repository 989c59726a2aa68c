"""Attributes by name, where a class may not have them, without the parser's costly search for the missing."""

import re
from functools import lru_cache
from typing import Any

_SURROGATES = re.compile("[\ud800-\udfff]")


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


def clean(value: Any) -> str:
    """A text as people wrote it: without space around it, empty for none. Bytes that are no Unicode, as
    careless exporters leave them, are taken as Windows' Western European letters; nothing else can be written
    out."""
    if not value:
        return ""
    text = str(value).strip()
    return text if text.isascii() else _SURROGATES.sub("\ufffd", text)


def identity(thing: Any) -> str:
    """The GlobalId of an entity, its STEP id (`#12`) where it has none or it cannot be read."""
    try:
        return clean(attribute(thing, "GlobalId")) or f"#{thing.id()}"
    except RuntimeError:
        return f"#{thing.id()}"


def name_of(thing: Any) -> str:
    """The name of an entity, empty for none."""
    return clean(attribute(thing, "Name"))


def first_line(fault: BaseException) -> str:
    """What a fault says, in one short line."""
    words = str(fault).splitlines()
    return clean(words[0])[:120] if words and words[0].strip() else type(fault).__name__
