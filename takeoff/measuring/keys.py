"""Keys by which tables and stages name elements and parts."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from takeoff.measuring.records import MeasuredPart

PartKey = tuple[str, str, int, int]
"""Key of a part: model, GlobalId, part, lump."""
ElementKey = tuple[str, str]
"""Key of an element: model, GlobalId."""


def part_key(part: "MeasuredPart") -> PartKey:
    """Key of a part."""
    return part.model, part.global_id, part.part, part.lump
