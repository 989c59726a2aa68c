"""Where elements are: the box of each in the models' own system, for whoever must find one again."""

from collections.abc import Iterable

import numpy as np

from takeoff.geometry.mesh import Floats, areas
from takeoff.measuring.bodies import Body
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.places import Place, Triple


def places_of(bodies: Iterable[Body], origin: Floats) -> dict[ElementKey, Place]:
    """The place of each element that has a body. `origin` (3,) is what the bodies' meshes are relative to."""
    number: dict[ElementKey, int] = {}
    owners, parts = [], []
    for body in bodies:
        if len(body.mesh.faces):
            key = body.element.facts.model, body.element.facts.global_id
            owners.append(np.full(len(body.mesh.faces), number.setdefault(key, len(number))))
            parts.append(body.mesh.corners)
    if not parts:
        return {}
    owner = np.concatenate(owners)
    order = np.argsort(owner, kind="stable")
    owner, corners = owner[order], np.concatenate(parts)[order]
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
