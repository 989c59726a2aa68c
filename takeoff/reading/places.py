"""Where things are: placements, storeys with their elevations, and the way from model to map coordinates."""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from msgspec import Struct, field
from numpy.typing import NDArray

from takeoff.findings import Finding
from takeoff.reading.attributes import attribute, clean, first_line, identity, name_of
from takeoff.reading.facts import BuildingFacts, Storey
from takeoff.reading.relations import DEPTH_LIMIT, Relations
from takeoff.reading.units import unit_factor
from takeoff.told import Quantity, told

ELEVATION_TOLERANCE = 0.001
"""Metres by which a storey's written elevation may differ from its placement without a word."""

SCALE_TOLERANCE = 0.05
"""Map projections scale lengths by far less than this; beyond it a written scale is a change of units."""


class Placements(Struct):
    """World matrices of placements, each computed once. `length` is the file's length unit in metres."""

    length: float
    _known: dict[int, NDArray[np.float64]] = field(default_factory=dict)

    def of(self, product: Any) -> NDArray[np.float64]:
        """The 4x4 matrix from the product's coordinates to the model's, translation in metres."""
        matrix = self._world(attribute(product, "ObjectPlacement"), 0).copy()
        matrix[:3, 3] *= self.length
        return matrix

    def _world(self, placement: Any, depth: int) -> NDArray[np.float64]:
        """The same in the file's length unit. Unreadable placements and loops count as no placement."""
        if placement is None or depth > DEPTH_LIMIT:
            return np.eye(4)
        known = self._known.get(placement.id())
        if known is not None:
            return known
        parent = self._world(attribute(placement, "PlacementRelTo"), depth + 1)
        matrix = parent @ _relative(placement)
        self._known[placement.id()] = matrix
        return matrix


def _relative(placement: Any) -> NDArray[np.float64]:
    from ifcopenshell.util.placement import get_axis2placement

    axes = attribute(placement, "RelativePlacement") or attribute(placement, "CartesianPosition")
    if axes is None:
        return np.eye(4)
    matrix = np.asarray(get_axis2placement(axes), dtype=np.float64)
    return matrix if np.isfinite(matrix).all() else np.eye(4)


def read_storeys(
    model: Any,
    relations: Relations,
    placements: Placements,
    buildings: Mapping[int, BuildingFacts],
    name: str,
) -> tuple[dict[int, Storey], list[Finding]]:
    """Storeys by STEP id, lowest first, and what is odd about them.

    The elevation is the placement's height. Where all storeys are placed at one height although their written
    elevations differ, the written ones are taken, above that height.
    """
    found: list[tuple[Any, float, float | None]] = []
    findings: list[Finding] = []
    for storey in model.by_type("IfcBuildingStorey"):
        try:
            height = float(placements.of(storey)[2, 3])
            written = storey.Elevation
            written = float(written) * placements.length if written is not None else None
        except Exception as fault:
            findings.append(
                Finding(
                    "warning",
                    "unreadable",
                    name,
                    identity(storey),
                    f"storey cannot be read ({first_line(fault)})",
                )
            )
            continue
        found.append((storey, height, written if written is not None and math.isfinite(written) else None))
    heights = [height for _, height, _ in found]
    known = [written for _, _, written in found if written is not None]
    flat = bool(heights) and max(heights) - min(heights) <= ELEVATION_TOLERANCE
    by_words = flat and len(known) == len(found) > 1 and max(known) - min(known) > ELEVATION_TOLERANCE
    base = heights[0] if by_words else 0.0
    storeys = {}
    differing = []
    for storey, height, written in found:
        elevation = base + written if by_words and written is not None else height
        above = (buildings.get(whole.id()) for whole in relations.ancestors(storey))
        building = next((found.global_id for found in above if found is not None), "")
        title = name_of(storey) or clean(storey.LongName)
        storeys[storey.id()] = Storey(identity(storey), title, elevation, building)
        if not by_words and written is not None:
            differing.append((storey, height - written))
    if by_words:
        findings.append(
            Finding(
                "warning",
                "storey-elevation",
                name,
                "",
                "all storeys are placed at one height, their elevations differ; ask which is right",
                "the written elevations",
            )
        )
    elif differing:
        shift = float(np.median([d for _, d in differing]))
        findings.extend(
            Finding(
                "note",
                "storey-elevation",
                name,
                identity(storey),
                told(
                    "storey {}: placed {} off its written elevation",
                    name_of(storey),
                    Quantity(difference - shift, "m", "+.3f", size=True),
                ),
                "the placement",
            )
            for storey, difference in differing
            if abs(difference - shift) > ELEVATION_TOLERANCE
        )
    return dict(sorted(storeys.items(), key=lambda s: s[1].elevation)), findings


def building_place(model: Any, placements: Placements) -> tuple[float, ...] | None:
    """The matrix (row-major, 16 numbers, metres) from the coordinates of the building to the model's; of the site
    where there are several buildings. None where the file has neither, or several of both, or it is not sound."""
    for ifc_class in ("IfcBuilding", "IfcSite"):
        spaces = model.by_type(ifc_class)
        if len(spaces) != 1:
            continue
        try:
            matrix = placements.of(spaces[0])
        except Exception:
            return None  # a placement that cannot be read is told of with the elements that stand in it
        rigid = np.allclose(matrix[:3, :3] @ matrix[:3, :3].T, np.eye(3), atol=1e-6)
        return tuple(matrix.ravel().tolist()) if rigid else None
    return None


def storey_of(product: Any, relations: Relations, storeys: dict[int, Storey]) -> Storey | None:
    """The storey that a product, or else the nearest whole it is part of, is filed under."""
    for whole in (product, *relations.ancestors(product)):
        place = relations.container.get(whole.id())
        if place is None:
            place = whole if whole.id() in storeys else None
        if place is None:
            continue
        for space in (place, *relations.ancestors(place)):
            storey = storeys.get(space.id())
            if storey is not None:
                return storey
    return None


def read_map(model: Any, length: float, name: str) -> tuple[tuple[float, ...] | None, str, list[Finding]]:
    """The matrix from model to map coordinates (row-major, metres), the name of the map's reference system,
    and findings. From `IfcMapConversion`; in IFC2X3 from the property sets agreed in its place, if
    present."""
    if model.schema == "IFC2X3":
        return _map_of_properties(model, name)
    for operation in model.by_type("IfcCoordinateOperation"):
        target = operation.TargetCRS
        map_name = name_of(target)
        map_unit = attribute(target, "MapUnit")
        unit = (unit_factor(map_unit) if map_unit is not None else None) or length
        if operation.is_a("IfcMapConversion"):
            direction = (operation.XAxisAbscissa, operation.XAxisOrdinate)
            factors = [attribute(operation, f"Factor{axis}") or 1.0 for axis in "XYZ"]
            shift = [v * unit for v in (operation.Eastings, operation.Northings, operation.OrthogonalHeight)]
            scale, findings = _scale(operation.Scale, unit / length, name)
            return _matrix(shift, direction, [scale * f for f in factors]), map_name, findings
        if operation.is_a("IfcRigidOperation"):
            first, second = operation.FirstCoordinate, operation.SecondCoordinate
            if first.is_a("IfcLengthMeasure"):
                shift = [first[0] * unit, second[0] * unit, (operation.Height or 0.0) * unit]
                return _matrix(shift, (1.0, 0.0), [1.0, 1.0, 1.0]), map_name, []
    return None, "", []


def _scale(written: float | None, units: float, name: str) -> tuple[float, list[Finding]]:
    """The scale from metres to metres of a written scale, which by the standard also changes units."""
    if written is None or written == 0.0:
        return 1.0, []
    scale = written * units
    if abs(scale - 1.0) <= SCALE_TOLERANCE:
        return scale, []
    if abs(written - 1.0) <= SCALE_TOLERANCE:
        # Many exporters write the projection's scale alone and leave the change of units out.
        return written, []
    return 1.0, [
        Finding(
            "warning",
            "map-scale",
            name,
            "",
            f"the map's scale {written:g} fits neither the units nor a projection; ask the designer",
            "scale 1",
        )
    ]


def _matrix(
    shift: list[float], direction: tuple[float | None, float | None], scales: list[float]
) -> tuple[float, ...] | None:
    """Rotation about the vertical by the direction of the model's x axis on the map, scale and shift."""
    x, y = (float(v) if v is not None else None for v in direction)
    if x is None or y is None or math.hypot(x, y) == 0.0:
        x, y = 1.0, 0.0
    norm = math.hypot(x, y)
    cos, sin = x / norm, y / norm
    sx, sy, sz = scales
    numbers = (
        cos * sx,
        -sin * sy,
        0.0,
        shift[0],
        sin * sx,
        cos * sy,
        0.0,
        shift[1],
        0.0,
        0.0,
        sz,
        shift[2],
        0.0,
        0.0,
        0.0,
        1.0,
    )
    return numbers if all(map(math.isfinite, numbers)) else None


def _map_of_properties(model: Any, name: str) -> tuple[tuple[float, ...] | None, str, list[Finding]]:
    """IFC2X3 has no map conversion: property sets of the same content, attached to site or project, in
    metres."""
    sets: dict[str, dict[str, Any]] = {}
    for definition in model.by_type("IfcPropertySet"):
        title = (definition.Name or "").lower()
        if title in ("epset_mapconversion", "epset_projectedcrs"):
            sets[title] = {
                p.Name: p.NominalValue.wrappedValue
                for p in definition.HasProperties
                if p.is_a("IfcPropertySingleValue") and p.NominalValue is not None
            }
    values = sets.get("epset_mapconversion")
    map_name = clean(sets.get("epset_projectedcrs", {}).get("Name"))
    if (
        not values
        or not isinstance(values.get("Eastings"), float)
        or not isinstance(values.get("Northings"), float)
    ):
        return None, map_name, []
    shift = [
        float(values[k]) if isinstance(values.get(k), float) else 0.0
        for k in ("Eastings", "Northings", "OrthogonalHeight")
    ]
    written = values.get("Scale")
    scale, findings = _scale(float(written) if isinstance(written, float) else None, 1.0, name)
    direction = tuple(
        values.get(k) if isinstance(values.get(k), float) else None
        for k in ("XAxisAbscissa", "XAxisOrdinate")
    )
    return _matrix(shift, (direction[0], direction[1]), [scale] * 3), map_name, findings
