"""Where elements are: the box of each in the models' own system, for whoever must find one again."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from takeoff.geometry.mesh import Floats, areas
from takeoff.measuring.bodies import Body
from takeoff.measuring.units import ElementKey

Triple = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Place:
    """The box of an element, metres: `low` and `high` corner in the coordinates that the models share.

    `offset` is how far the middle of the surface lies from the middle of the box, `lean` the product moments of
    the surface about its middle (xy, yz, zx), both as shares of the box's sides. They tell mirror images in one
    box apart (crossing braces, scissor stairs).
    """

    low: Triple
    high: Triple
    offset: Triple = (0.0, 0.0, 0.0)
    lean: Triple = (0.0, 0.0, 0.0)

    @property
    def centre(self) -> Triple:
        """The middle of the box."""
        x, y, z = ((a + b) / 2.0 for a, b in zip(self.low, self.high, strict=True))
        return x, y, z


def places_of(bodies: Iterable[Body], origin: Floats) -> dict[ElementKey, Place]:
    """The place of each element that has a body. `origin` (3,) is what the bodies' meshes are relative to."""
    corners: dict[ElementKey, list[Floats]] = defaultdict(list)
    for body in bodies:
        if len(body.mesh.faces):
            corners[body.element.facts.model, body.element.facts.global_id].append(body.mesh.corners)
    return {key: _place(np.concatenate(own), origin) for key, own in corners.items()}


def _place(corners: Floats, origin: Floats) -> Place:
    """The place of a surface of triangles (m, 3, 3)."""
    points = corners.reshape(-1, 3)
    low, high = points.min(axis=0), points.max(axis=0)
    sides = np.maximum(high - low, 1e-3)
    weights = areas(corners)
    share = weights / max(float(weights.sum()), 1e-12)
    middle = share @ corners.mean(axis=1)
    scaled = (corners - middle) / sides
    # Exact over a triangle: the mean of x*y is (sum of x times sum of y plus sum of x*y) / 12.
    total, turned = scaled.sum(axis=1), np.roll(scaled, -1, axis=2)
    moments = (total * turned.sum(axis=1) + (scaled * turned).sum(axis=1)) / 12.0
    return Place(
        _triple(low + origin),
        _triple(high + origin),
        _triple((middle - (low + high) / 2.0) / sides),
        _triple(share @ moments),
    )


def _triple(values: Floats) -> Triple:
    x, y, z = values.tolist()
    return x, y, z
