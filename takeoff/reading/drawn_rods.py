"""Bars that are drawn by their faces: what rods they are, in the coordinates of their product."""

from typing import Any

import numpy as np

from takeoff.geometry.rods import Rod, rods

FACETED = (
    "IfcFacetedBrep",
    "IfcFaceBasedSurfaceModel",
    "IfcShellBasedSurfaceModel",
    "IfcTriangulatedFaceSet",
    "IfcPolygonalFaceSet",
)
DEPTH_LIMIT = 8


class DrawnRods:
    """Rods of faceted items in metres; a shape that is drawn once for many bars is looked at once."""

    def __init__(self, length: float) -> None:
        """`length` is the file's length unit in metres."""
        self._length = length
        self._known: dict[int, tuple[Rod, ...]] = {}

    def of(self, item: Any) -> tuple[Rod, ...]:
        """The rods of an item, none where it is drawn another way or is none."""
        return self._of(item, 0)

    def _of(self, item: Any, depth: int) -> tuple[Rod, ...]:
        if item.is_a("IfcMappedItem") and depth < DEPTH_LIMIT:
            return self._mapped(item, depth)
        if item.is_a() not in FACETED:
            return ()
        known = self._known.get(item.id())
        if known is None:
            known = self._known[item.id()] = self._read(item)
        return known

    def _read(self, item: Any) -> tuple[Rod, ...]:
        from takeoff.geometry.shells import faceted

        return tuple(rod for facets in faceted(item, self._length) for rod in rods(facets.mesh))

    def _mapped(self, item: Any, depth: int) -> tuple[Rod, ...]:
        from ifcopenshell.util.placement import get_mappeditem_transformation

        matrix = np.asarray(get_mappeditem_transformation(item), dtype=np.float64)
        scale = float(abs(np.linalg.det(matrix[:3, :3]))) ** (1.0 / 3.0)
        shift = matrix[:3, 3] * self._length
        inner = [rod for part in item[0][1][3] or () for rod in self._of(part, depth + 1)]
        return tuple(
            Rod(rod.diameter * scale, rod.length * scale, rod.lines @ matrix[:3, :3].T + shift)
            for rod in inner
        )
