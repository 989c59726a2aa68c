"""Structural members in the words of the trade, written as IFC: walls, slabs, columns, beams and the rest."""

import itertools
import math
from collections.abc import Sequence
from typing import Any

from ifc_products import Products
from ifc_shapes import Entity, Point

CONCRETE = "Concrete C30/37"


def rectangle(x0: float, y0: float, x1: float, y1: float) -> list[tuple[float, float]]:
    """Corners of an upright rectangle, anticlockwise."""
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]


class Model(Products):
    """A model with one method for each kind of member; lengths in metres, heights above the model's zero.

    Every member takes the keywords of `product` (name, material, made, properties, PredefinedType, ...);
    material is `CONCRETE` and `made` In-Situ unless given otherwise.
    """

    def member(self, ifc_class: str, *items: Entity, **words: Any) -> Entity:
        """Any element of concrete cast in place, unless told otherwise."""
        return self.product(ifc_class, *items, **({"material": CONCRETE, "made": "In-Situ"} | words))

    def wall(
        self, start: Point, end: Point, thickness: float, height: float, base: float = 0.0, **words: Any
    ) -> Entity:
        """A wall centred on the line from `start` to `end` (x, y); its own x axis runs along the line."""
        along = math.hypot(end[0] - start[0], end[1] - start[1])
        turn = math.degrees(math.atan2(end[1] - start[1], end[0] - start[0]))
        body = self.extrusion(rectangle(0.0, -thickness / 2, along, thickness / 2), height)
        return self.member("IfcWall", body, at=(start[0], start[1], base), turn=turn, **words)

    def slab(
        self,
        outline: Sequence[Point],
        thickness: float,
        base: float,
        holes: Sequence[Sequence[Point]] = (),
        **words: Any,
    ) -> Entity:
        """A flat slab whose underside lies at `base`; holes belong to its outline (they are no openings)."""
        body = self.extrusion(outline, thickness, holes=holes)
        return self.member("IfcSlab", body, at=(0.0, 0.0, base), **words)

    def column(
        self, at: Point, width: float, depth: float, height: float, base: float = 0.0, **words: Any
    ) -> Entity:
        """A rectangular column about the point `at` (x, y)."""
        body = self.extrusion(self.rectangle(width, depth), height)
        return self.member("IfcColumn", body, at=(at[0], at[1], base), **words)

    def round_column(
        self, at: Point, radius: float, height: float, base: float = 0.0, **words: Any
    ) -> Entity:
        """A round column about the point `at` (x, y)."""
        body = self.extrusion(self.circle(radius), height)
        return self.member("IfcColumn", body, at=(at[0], at[1], base), **words)

    def beam(self, start: Point, end: Point, width: float, depth: float, top: float, **words: Any) -> Entity:
        """A rectangular level beam between two points (x, y), upper face at `top`, extruded lengthwise."""
        along = math.hypot(end[0] - start[0], end[1] - start[1])
        turn = math.degrees(math.atan2(end[1] - start[1], end[0] - start[0]))
        profile = self.rectangle(width, depth)
        body = self.extrusion(profile, along, axes=((1.0, 0.0, 0.0), (0.0, 1.0, 0.0)))
        return self.member("IfcBeam", body, at=(start[0], start[1], top - depth / 2), turn=turn, **words)

    def footing(self, outline: Sequence[Point], thickness: float, base: float, **words: Any) -> Entity:
        """A footing with its underside at `base`."""
        body = self.extrusion(outline, thickness)
        return self.member("IfcFooting", body, at=(0.0, 0.0, base), **words)

    def prism(
        self,
        ifc_class: str,
        outline: Sequence[Point],
        height: float,
        at: Point = (0.0, 0.0, 0.0),
        **words: Any,
    ) -> Entity:
        """Any class as an upright prism."""
        return self.member(ifc_class, self.extrusion(outline, height), at=at, **words)

    def profile_along(
        self, ifc_class: str, outline: Sequence[Point], start: Point, end: Point, **words: Any
    ) -> Entity:
        """Any class as a section pushed from `start` to `end` (x, y, z of the section's origin, level).

        The section's first coordinate points to the left of the way, its second up.
        """
        along = math.hypot(end[0] - start[0], end[1] - start[1])
        turn = math.degrees(math.atan2(end[1] - start[1], end[0] - start[0]))
        body = self.extrusion(outline, along, axes=((1.0, 0.0, 0.0), (0.0, 1.0, 0.0)))
        return self.member(ifc_class, body, at=tuple(start), turn=turn, **words)

    def box_void(self, element: Entity, low: Point, high: Point, name: str = "Opening") -> Entity:
        """A box-shaped opening between two corners in the element's own frame."""
        body = self.extrusion(rectangle(low[0], low[1], high[0], high[1]), high[2] - low[2])
        return self.void(element, body, name=name, at=(0.0, 0.0, low[2]))

    def bar(
        self,
        points: Sequence[Point],
        diameter: float,
        *,
        count: int = 1,
        spacing: Point = (0.0, 0.0, 0.0),
        name: str = "Bar",
        role: str = "MAIN",
        **words: Any,
    ) -> Entity:
        """Reinforcing bars of one shape: `count` copies along `spacing`, sizes in metres."""
        rod = self.rod(points, diameter / 2)
        items = [rod]
        if count > 1:
            source = self.source(rod)
            items = [self.mapped(source, tuple(step * i for step in spacing)) for i in range(count)]
        length = sum(math.dist(a, b) for a, b in itertools.pairwise(points))
        given: dict[str, Any] = {
            "NominalDiameter": self.length(diameter),
            "CrossSectionArea": self.in_unit(math.pi * diameter**2 / 4, 2),
            "BarLength": self.length(length),
            "BarRole": role,
            "PredefinedType": role,
            "material": "Reinforcing steel B500B",
            "filed": False,
        }
        return self.product("IfcReinforcingBar", *items, name=name, **(given | words))
