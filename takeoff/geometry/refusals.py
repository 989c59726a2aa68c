"""What is wrong with an item of a file: not known here, or nonsense; and what is doubtful while it is read."""

import math
from typing import Any

from msgspec import Struct, field

Notes = list[tuple[str, str]]
"""Doubts found while an item is read, as (kind, message) pairs."""


class Unread(Exception):
    """The item is of a kind that is not read here: the geometry kernel has to tessellate it."""


class Unplaced(Unread):
    """A position within the item has no location; the kernels take it to be the origin."""


class Nonsense(ValueError):
    """What the file says makes no solid, whoever reads it: no kernel is asked, because one might make up a shape."""


class Sheet(Struct, frozen=True):
    """How an item's numbers are to be read: metres in a file length, radians in a file angle; doubts go to `notes`."""

    scale: float
    angle: float
    notes: Notes = field(default_factory=list)

    def doubt(self, kind: str, message: str) -> None:
        """Note a doubt once."""
        if (kind, message) not in self.notes:
            self.notes.append((kind, message))


def number(value: Any, what: str) -> float:
    """A finite number. Raises Nonsense for anything else, truth values among them."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise Nonsense(f"{what} of {'nothing' if value is None else str(value)[:20]}")
    return float(value)


def size(item: Any, name: str, scale: float) -> float:
    """A length of an item that has to be more than zero, metres. Raises Nonsense."""
    value = number(getattr(item, name), f"{item.is_a()} with {name}")
    if value <= 0.0:
        raise Nonsense(f"{item.is_a()} with {name} of {value:g}")
    return value * scale


def radius(item: Any, name: str, scale: float) -> float:
    """A length of an item that may be left out or zero, metres. Raises Nonsense for a negative one."""
    value = getattr(item, name, None)
    if value is None:
        return 0.0
    length = number(value, f"{item.is_a()} with {name}") * scale
    if length < 0.0:
        raise Nonsense(f"{item.is_a()} with {name} of {value:g}")
    return length
