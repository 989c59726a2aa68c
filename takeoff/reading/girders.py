"""Lattice girders known by their shape, since suppliers name them by type and number ("215 / 6")."""

from collections.abc import Iterator
from typing import Any

SLENDER = 50.0
"""A bar is this many times as long as thick; a web of wires is often drawn as a sheet as thin as that."""
LEAST = 3
"""Bars and sheets side by side that make a girder: a top bar and two webs, or more."""


def is_lattice_girder(product: Any) -> bool:
    """Whether a product is drawn as slender bars and sheets of one length side by side, a round bar among them."""
    if product.Representation is None:
        return False
    bodies = [
        shape for shape in product.Representation.Representations if shape.RepresentationIdentifier == "Body"
    ]
    items = [item for shape in bodies for item in _items(shape)]
    if len(items) < LEAST or not all(item.is_a("IfcExtrudedAreaSolid") for item in items):
        return False
    depths = [item.Depth for item in items]
    if max(depths) > 1.01 * min(depths):
        return False
    if not all(_thickness(item.SweptArea) <= item.Depth / SLENDER for item in items):
        return False
    return any(item.SweptArea.is_a("IfcCircleProfileDef") for item in items)


def _items(shape: Any) -> Iterator[Any]:
    """Items of a representation, mapped ones opened."""
    for item in shape.Items:
        if item.is_a("IfcMappedItem"):
            yield from _items(item.MappingSource.MappedRepresentation)
        else:
            yield item


def _thickness(profile: Any) -> float:
    """The lesser side of a round or rectangular profile; that of others counts as thick."""
    if profile.is_a("IfcCircleProfileDef"):
        return 2.0 * float(profile.Radius)
    if profile.is_a("IfcRectangleProfileDef"):
        return min(float(profile.XDim), float(profile.YDim))
    return float("inf")
