"""What can be told of a product's shape without tessellating it: whether it has a body, how it is
proportioned."""

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from takeoff.reading.attributes import attribute, clean
from takeoff.reading.places import Placements

REPRESENTATION = 6
"""Position of `Representation` among the attributes of a product, in all schemas."""

POINT_LIMIT = 2000
"""Most points of a shape that are looked at for its extents."""

_NO_BODIES = {
    "axis",
    "box",
    "footprint",
    "annotation",
    "profile",
    "surface",
    "reference",
    "clearance",
    "lighting",
    "boundary",
    "walkingline",
    "cog",
    "plan",
}
"""Identifiers of representations that are something else than a body."""

_CURVES = {
    "geometriccurveset",
    "geometricset",
    "curve",
    "curve2d",
    "curve3d",
    "annotation2d",
    "point",
    "pointcloud",
    "boundingbox",
    "fillarea",
    "text",
    "surface2d",
}
_CURVE_ITEMS = ("IfcCurve", "IfcPoint", "IfcGeometricCurveSet", "IfcBoundingBox", "IfcAnnotationFillArea")


def body_representations(product: Any) -> Iterator[Any]:
    """The representations that can be a body: not named as something else, not of curves, not empty."""
    definition = product.get_argument(REPRESENTATION)
    if definition is None:
        return
    for representation in definition.get_argument(2) or ():
        if not representation.is_a("IfcShapeRepresentation"):
            continue
        get = representation.get_argument
        if (get(1) or "").strip().lower() in _NO_BODIES:
            continue
        parts = get(3)
        if not parts or (get(2) or "").lower() in _CURVES:
            continue
        if any(not _is_curve(item) for item in parts):
            yield representation


def has_body(product: Any) -> bool:
    """Whether the product has a representation that can be a body."""
    return next(body_representations(product), None) is not None


def _is_curve(item: Any, above: tuple[int, ...] = ()) -> bool:
    """Whether an item, or all that a mapped item stands for, is no body; one that contains itself is for geometry."""
    if item.is_a("IfcMappedItem"):
        inner = item[0][1]
        if item.id() in above:
            return False
        return inner is None or not inner[3] or all(_is_curve(i, (*above, item.id())) for i in inner[3])
    return any(item.is_a(name) for name in _CURVE_ITEMS)


def items(product: Any) -> list[Any]:
    """The geometric items of the first body representation."""
    representation = next(body_representations(product), None)
    return list(representation[3]) if representation is not None else []


def presentation_layers(model: Any) -> dict[int, tuple[str, ...]]:
    """Names of presentation layers by the STEP id of the representation or item that is on them."""
    found: dict[int, tuple[str, ...]] = {}
    for layer in model.by_type("IfcPresentationLayerAssignment"):
        try:
            name = clean(layer[0])
            for assigned in layer[2] or ():
                if name and name not in found.get(assigned.id(), ()):
                    found[assigned.id()] = (*found.get(assigned.id(), ()), name)
        except RuntimeError:
            continue
    return found


def layers_of(product: Any, layers: dict[int, tuple[str, ...]]) -> tuple[str, ...]:
    """The presentation layers of a product: of its representations, their items, and what those map."""
    definition = product[REPRESENTATION]
    if definition is None or not layers:
        return ()
    names: dict[str, None] = {}
    for representation in definition[2] or ():
        names.update(dict.fromkeys(layers.get(representation.id(), ())))
        for item in (representation[3] or ())[:POINT_LIMIT]:
            names.update(dict.fromkeys(layers.get(item.id(), ())))
            if item.is_a("IfcMappedItem"):
                inner = item[0][1]
                names.update(dict.fromkeys(layers.get(inner.id(), ())))
                for mapped in (inner[3] or ())[:POINT_LIMIT]:
                    names.update(dict.fromkeys(layers.get(mapped.id(), ())))
    return tuple(names)


def extents(product: Any, placements: Placements) -> NDArray[np.float64] | None:
    """Extents of a product's shape along its own axes, the axis nearest to the vertical last, metres (3,).

    From the points that its body is written with, so a rough figure: enough to tell a wall from a slab or a
    column, never to measure. None where there are too few points.
    """
    points: list[NDArray[np.float64]] = []
    for item in items(product):
        points.extend(_points(item, 0))
        if len(points) > POINT_LIMIT:
            break
    if len(points) < 2:
        return None
    cloud = np.asarray(points, dtype=np.float64) * placements.length
    cloud = cloud[np.isfinite(cloud).all(axis=1)]
    if len(cloud) < 2:
        return None
    vertical = int(np.argmax(np.abs(placements.of(product)[2, :3])))
    sizes = cloud.max(axis=0) - cloud.min(axis=0)
    order = [axis for axis in range(3) if axis != vertical] + [vertical]
    return np.asarray(sizes[order], dtype=np.float64)


def _points(item: Any, depth: int) -> list[NDArray[np.float64]]:
    """Points of an item in the product's coordinates, file units."""
    if depth > 8:
        return []
    kind = item.is_a()
    if kind == "IfcMappedItem":
        from ifcopenshell.util.placement import get_mappeditem_transformation

        matrix = np.asarray(get_mappeditem_transformation(item), dtype=np.float64)
        return _moved([p for i in item[0][1][3] or () for p in _points(i, depth + 1)], matrix)
    if kind in ("IfcExtrudedAreaSolid", "IfcExtrudedAreaSolidTapered"):
        return _extruded(item)
    if kind in ("IfcBooleanResult", "IfcBooleanClippingResult"):
        return _points(item.FirstOperand, depth + 1)
    if kind == "IfcCsgSolid":
        return _points(item.TreeRootExpression, depth + 1)
    lists = attribute(item, "Coordinates")
    if lists is not None and lists.is_a("IfcCartesianPointList3D"):
        return [np.asarray(c, dtype=np.float64) for c in lists.CoordList[:POINT_LIMIT]]
    found = []
    for entity in item.file.traverse(item, max_levels=12):
        if entity.is_a("IfcCartesianPoint") and len(entity[0]) == 3:
            found.append(np.asarray(entity[0], dtype=np.float64))
            if len(found) >= POINT_LIMIT:
                break
    return found


def _extruded(solid: Any) -> list[NDArray[np.float64]]:
    from ifcopenshell.util.placement import get_axis2placement

    outline = profile_points(solid.SweptArea)
    direction = np.asarray(solid.ExtrudedDirection.DirectionRatios, dtype=np.float64)
    reach = direction / np.linalg.norm(direction) * float(solid.Depth)
    flat = [np.array([p[0], p[1], 0.0]) for p in outline]
    both = flat + [p + reach for p in flat]
    position = solid.Position
    return (
        _moved(both, np.asarray(get_axis2placement(position), dtype=np.float64))
        if position is not None
        else both
    )


def profile_points(profile: Any) -> list[tuple[float, float]]:
    """Points whose box is that of a profile: its own for outlines, the four corners for named shapes."""
    if profile.is_a("IfcArbitraryClosedProfileDef"):
        curve = profile.OuterCurve
        listed = attribute(curve, "Points")
        if isinstance(listed, tuple):
            return [(p[0][0], p[0][1]) for p in listed]
        if listed is not None:
            return [(c[0], c[1]) for c in listed.CoordList]
        return [
            (e[0][0], e[0][1])
            for e in curve.file.traverse(curve)
            if e.is_a("IfcCartesianPoint") and len(e[0]) >= 2
        ]
    radius = attribute(profile, "Radius")
    if radius is not None:
        return _corners(2.0 * radius, 2.0 * radius)
    width = next(
        (
            w
            for n in ("XDim", "OverallWidth", "FlangeWidth", "BottomFlangeWidth", "Width")
            if (w := attribute(profile, n))
        ),
        None,
    )
    height = next((h for n in ("YDim", "OverallDepth", "Depth") if (h := attribute(profile, n))), None)
    return _corners(width or height or 0.0, height or width or 0.0)


def _corners(width: float, height: float) -> list[tuple[float, float]]:
    return [(sx * width / 2.0, sy * height / 2.0) for sx in (-1, 1) for sy in (-1, 1)]


def _moved(points: list[NDArray[np.float64]], matrix: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    if not points:
        return []
    return list(np.asarray(points) @ matrix[:3, :3].T + matrix[:3, 3])


def axis_lean(product: Any, placements: Placements) -> float | None:
    """Degrees between a member's long axis and the vertical, None where its shape does not tell.

    The long axis is the direction of the longest extrusion in its body, else of the largest extent.
    """
    best, longest = None, 0.0
    for item in items(product)[:50]:
        solid, turn = item, np.eye(3)
        if item.is_a("IfcMappedItem"):
            from ifcopenshell.util.placement import get_mappeditem_transformation

            turn = np.asarray(get_mappeditem_transformation(item), dtype=np.float64)[:3, :3]
            inner = item[0][1][3] or ()
            solid = inner[0] if inner else item
        while solid.is_a("IfcBooleanResult"):
            solid = solid.FirstOperand
        if solid.is_a("IfcExtrudedAreaSolid") and solid.Depth > longest:
            from ifcopenshell.util.placement import get_axis2placement

            sizes = np.ptp(np.asarray(profile_points(solid.SweptArea) or [(0.0, 0.0)]), axis=0)
            if solid.Depth < sizes.max():
                continue
            local = (
                np.asarray(get_axis2placement(solid.Position), dtype=np.float64)[:3, :3]
                if solid.Position
                else np.eye(3)
            )
            best = turn @ local @ np.asarray(solid.ExtrudedDirection.DirectionRatios, dtype=np.float64)
            longest = solid.Depth
    world = placements.of(product)[:3, :3]
    if best is not None:
        upright = world @ best
        norm = float(np.linalg.norm(upright))
        return math.degrees(math.acos(min(1.0, abs(float(upright[2])) / norm))) if norm else None
    sizes3 = extents(product, placements)
    if sizes3 is None:
        return None
    return 0.0 if sizes3[2] > 1.5 * max(sizes3[0], sizes3[1]) else 90.0
