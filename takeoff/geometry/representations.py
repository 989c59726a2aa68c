"""Which of the shapes that a file gives for a product is its body."""

from typing import Any

Entity = Any

_BODIES = ("Body", "Facetation", "Body-FallBack", "Tessellation")
"""Identifiers of representations that hold a body, in the order in which they are looked for."""

_OTHERS = (
    "Axis",
    "Box",
    "FootPrint",
    "Annotation",
    "Profile",
    "Surface",
    "Reference",
    "Clearance",
    "Lighting",
)
"""Identifiers of representations that are no body."""


def body_representation(product: Entity) -> Entity:
    """The representation that holds a product's body, None where it has none.

    Of several with one identifier, that of the model view is taken, else the first.
    """
    shape = getattr(product, "Representation", None)
    if shape is None:
        return None
    # By position, which is quicker: context, identifier, type, items.
    found = [
        (part[1], part) for part in shape.Representations if part.is_a("IfcShapeRepresentation") and part[3]
    ]
    for identifier in _BODIES:
        named = [part for name, part in found if name == identifier]
        if len(named) > 1:
            views = [part for part in named if getattr(part[0], "TargetView", None) == "MODEL_VIEW"]
            return (views or named)[0]
        if named:
            return named[0]
    rest = [part for name, part in found if name not in _OTHERS]
    rest = [part for part in rest if (part[2] or "") not in ("Curve2D", "BoundingBox", "Annotation2D")]
    return rest[0] if rest else None


def other_bodies(product: Entity, chosen: Entity) -> list[Entity]:
    """Further bodies that a product has beside the one that is taken: of the same name and in the same context."""
    shape = product.Representation
    parts = () if shape is None else shape.Representations
    if len(parts) < 2:
        return []
    return [
        part
        for part in parts
        if part.id() != chosen.id()
        and part.is_a("IfcShapeRepresentation")
        and part[3]
        and (part[0], part[1]) == (chosen[0], chosen[1])
        and part[1] in _BODIES
    ]
