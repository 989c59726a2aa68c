"""Where elements are: the box of each in the models' own system, for whoever must find one again."""

from collections.abc import Iterable

import numpy as np

from takeoff.geometry.mesh import Floats, areas, stacked
from takeoff.measuring.bodies import Body
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.places import Place, Triple


def places_of(bodies: Iterable[Body], origin: Floats) -> dict[ElementKey, Place]:
    """The place of each element that has a body. `origin` (3,) is what the bodies' meshes are relative to."""
    number: dict[ElementKey, int] = {}
    solid = [body for body in bodies if len(body.mesh.faces)]
    if not solid:
        return {}
    own = [number.setdefault(body.key[:2], len(number)) for body in solid]
    owner = np.repeat(own, [len(body.mesh.faces) for body in solid])
    order = np.argsort(owner, kind="stable")
    vertices, faces = stacked([body.mesh for body in solid])
    owner, corners = owner[order], vertices[faces[order]]
    start = np.searchsorted(owner, np.arange(len(number)))
    low = np.minimum.reduceat(corners.min(axis=1), start)
    high = np.maximum.reduceat(corners.max(axis=1), start)
    sides = np.maximum(high - low, 1e-3)
    weight = areas(corners)
    share = weight / np.maximum(np.add.reduceat(weight, start), 1e-12)[owner]
    middle = np.add.reduceat(share[:, None] * corners.mean(axis=1), start)
    scaled = (corners - middle[owner][:, None]) / sides[owner][:, None]
    # Exact over a triangle: the mean of x*y is (sum of x times sum of y plus sum of x*y) / 12.
    total, turned = scaled.sum(axis=1), np.roll(scaled, -1, axis=2)
    moments = (total * np.roll(total, -1, axis=1) + (scaled * turned).sum(axis=1)) / 12.0
    lean = np.add.reduceat(share[:, None] * moments, start)
    offset = (middle - (low + high) / 2.0) / sides
    figures = (_triples(low + origin), _triples(high + origin), _triples(offset), _triples(lean))
    return {key: Place(*row) for key, row in zip(number, zip(*figures, strict=True), strict=True)}


def _triples(values: Floats) -> list[Triple]:
    return [(x, y, z) for x, y, z in values.tolist()]
