"""What makes the shapes of two elements equal, told from what the file says before any of it is worked out.

Exporters write the same column a thousand times, mapped or each in full: either way it is worked out once.
"""

import marshal
from collections.abc import Sequence
from typing import Any

import numpy as np

from takeoff.geometry.placements import Placements
from takeoff.geometry.representations import body_representation, other_bodies
from takeoff.geometry.solids import SolidRequest

Entity = Any

_PLAIN_CURVES = frozenset({"IfcPolyline", "IfcIndexedPolyCurve", "IfcCircle", "IfcEllipse"})
"""Curves that refer to points and placements only, so that all that they say can be read in one go."""

_WITHOUT_REFERENCES = 2
"""Version of the marshal format that writes equal contents alike, whoever else holds them."""


def shape_key(
    products: Sequence[Entity],
    openings: Sequence[Entity],
    request: SolidRequest,
    base: Entity,
    placements: Placements,
) -> tuple[Any, ...] | None:
    """What is equal for requests of equal shape in the axes of `base`; None where nothing tells it cheaply.

    Items of the openings that tell nothing stand for themselves: they are equal only where they are shared.
    """
    parts: list[Any] = [request.slicing]
    for number, product in enumerate((*products, *openings)):
        representation = body_representation(product)
        if representation is None or other_bodies(product, representation):
            return None
        for item in representation[3]:
            content = _content(item)
            if content is None:
                if number < len(products):
                    return None
                content = item.id()
            parts.append(content)
        if number:
            parts.append(np.round(placements.relative(base, product.ObjectPlacement), 9).tobytes())
    return tuple(parts)


def _content(item: Entity) -> Any:
    """All that a mapped item or a straight extrusion says; None for other items and for unusual ones."""
    kind = item.is_a()
    if kind == "IfcMappedItem":
        return item[0].id(), _words(item[1])
    if kind == "IfcExtrudedAreaSolid" and _is_plain(item[0]):
        return _words(item)
    return None


def _is_plain(profile: Entity) -> bool:
    """Whether a profile is given by its own figures or by plain curves: what is built of others may go in circles."""
    kind = profile.is_a()
    if kind == "IfcArbitraryClosedProfileDef":
        return profile[2].is_a() in _PLAIN_CURVES
    if kind == "IfcArbitraryProfileDefWithVoids":
        return all(curve.is_a() in _PLAIN_CURVES for curve in (profile[2], *profile[3]))
    return bool(profile.is_a("IfcParameterizedProfileDef"))


def _words(entity: Entity) -> bytes:
    """An entity with everything that it refers to, but for their numbers in the file."""
    return marshal.dumps(entity.get_info(recursive=True, include_identifier=False), _WITHOUT_REFERENCES)
