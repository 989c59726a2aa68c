"""Reinforcement modelled in the file: bars, fabric and tendons with their mass and what it was reckoned
from."""

import math
from collections.abc import Iterable
from typing import Any, Literal

import numpy as np
from msgspec import Struct

from takeoff.findings import Finding
from takeoff.reading.attributes import attribute, clean, identity, name_of
from takeoff.reading.bar_lines import Line, bar_lines
from takeoff.reading.drawn_rods import DrawnRods
from takeoff.reading.facts import Bar, Declared
from takeoff.reading.shapes import items
from takeoff.reading.structure import Context, unreadable
from takeoff.reading.words import key
from takeoff.told import Quantity, told

STEEL_KG_M3 = 7850.0
"""Density of reinforcing steel, the value of the common standards for reinforcing and prestressing steel."""

PER_BAR_TOLERANCE = 0.05
"""How near a declared weight times the number of bars must come to the reckoned one to be the weight of one
bar."""

DIAMETER_TOLERANCE = 0.04
"""How far the diameter that follows from declared weight and length may be from the written one. Neighbouring
sizes of bars differ by a tenth and more, rolling tolerances of the weight come to 2 to 3 % of the
diameter."""

BAR_CLASSES = ("IfcReinforcingBar", "IfcReinforcingMesh", "IfcTendon")

_TOTAL_NAMES = {
    "totalweight",
    "gesamtgewicht",
    "totaalgewicht",
    "pesototal",
    "pesototale",
    "poidstotal",
    "totalvekt",
}
_COUNT_NAMES = {"totalnumber", "numberofbars", "count", "quantity", "anzahl", "aantal", "barcount"}

Kind = Literal["bar", "fabric", "tendon"]


class _Steel(Struct, frozen=True):
    """What is known of a product of steel, in metres and m2: for a bar its diameter, section and length."""

    diameter: float | None
    section: float | None
    length: float | None
    reckoned: float | None
    how: str


class _Drawn(Struct, frozen=True):
    """The bars that a product shows: (diameter, length) m of each, and lines for those drawn by their faces.

    `known`: all of its items could be followed.
    """

    rods: tuple[tuple[float, float], ...] = ()
    lines: tuple[Line, ...] = ()
    by_faces: bool = False
    known: bool = False

    @property
    def steel(self) -> float | None:
        """Mass of all bars as drawn, kg."""
        sections = sum(math.pi * diameter**2 / 4.0 * length for diameter, length in self.rods)
        return sections * STEEL_KG_M3 if self.known else None


def read_bars(
    context: Context, extra: Iterable[Any], hosts: dict[int, str]
) -> tuple[list[Bar], list[Finding]]:
    """All reinforcement of a model. `extra` are products of other classes that are reinforcement by their
    material; `hosts` gives the GlobalId of the element that a product belongs to, by the product's STEP
    id."""
    bars: list[Bar] = []
    findings: list[Finding] = []
    products = [p for name in BAR_CLASSES for p in context.model.by_type(name)]
    shapes = DrawnRods(context.placements.length)
    for product in [*products, *extra]:
        try:
            bar, written = _bar(context, product, hosts.get(product.id(), ""), shapes)
        except Exception as fault:
            findings.append(unreadable(context.name, product, fault))
            continue
        if bar.mass <= 0.0:
            findings.append(
                Finding(
                    "warning",
                    "bar-mass-unknown",
                    context.name,
                    bar.global_id,
                    f"{product.is_a()} {bar.name} tells neither its weight nor its diameter and length; "
                    "ask for a bar list",
                    "no mass",
                )
            )
        if written is not None and bar.diameter is not None:
            said = f"diameter {written * 1000:g} mm does not fit the declared weight and the length"
            findings.append(
                Finding(
                    "warning",
                    "bar-diameter-differs",
                    context.name,
                    bar.global_id,
                    f"{bar.name or product.is_a()}: {said}; ask which is right",
                    f"{bar.diameter * 1000:.3g} mm, by the weight",
                )
            )
        bars.append(bar)
    return bars, findings


def _bar(context: Context, product: Any, host: str, shapes: DrawnRods) -> tuple[Bar, float | None]:
    """A bar, and its diameter as written where the declared weight says another."""
    kind: Kind = "bar"
    if product.is_a("IfcTendon"):
        kind = "tendon"
    elif not product.is_a("IfcReinforcingBar"):
        kind = "fabric"
    sets, declared = context.properties.read(product)
    drawn = items(product)
    numbers = [
        int(v)
        for values in sets.values()
        for n, v in values.items()
        if key(n) in _COUNT_NAMES and isinstance(v, (int, float)) and not isinstance(v, bool) and v >= 1
    ]
    counted = [
        int(d.value) for d in declared if d.kind == "count" and key(d.name) in _COUNT_NAMES and d.value >= 1
    ]
    weighed_too = any(d.kind == "weight" and d.value > 0.0 for d in declared)
    size = _Sizes(product, context)
    sized = bool(host and weighed_too and size.length("NominalDiameter") and size.length("BarLength"))
    shown = _drawn(context, product, drawn, shapes, sized)
    steel = _steel(product, kind, size, shown)
    count = len(shown.rods) if shown.known else len(drawn)
    if product.is_a("IfcReinforcingMesh"):
        # One product is one sheet, however its wires are drawn, but for sheets drawn several times.
        count = round(shown.steel / steel.reckoned) if shown.steel and steel.reckoned else 1
    count = max(1, count)
    if count == 1 and (counted or numbers):
        count = (counted or numbers)[0]
    whole = steel.reckoned * count if steel.reckoned is not None else None
    mass, basis = _mass(declared, count, whole, steel.how)
    diameter, written = steel.diameter, None
    if whole and diameter and kind == "bar":
        weighed = diameter * math.sqrt(mass / whole)
        if abs(weighed / diameter - 1.0) > DIAMETER_TOLERANCE:
            diameter, written = _full_millimetres(weighed), diameter
    bar = Bar(
        global_id=identity(product),
        kind=kind,
        name=name_of(product) or clean(attribute(product, "ObjectType")),
        diameter=diameter,
        length=steel.length,
        count=count,
        mass=mass,
        basis=basis,
        host=host,
        lines=() if host else (*_lines(context, product, drawn), *shown.lines),
    )
    return bar, written


def _lines(context: Context, product: Any, drawn: list[Any]) -> tuple[Line, ...]:
    """Where a bar lies that belongs to no element; nothing where its drawing cannot be followed."""
    try:
        return bar_lines(product, drawn, context.placements)
    except Exception:
        return ()


def _full_millimetres(diameter: float) -> float:
    """A diameter in metres as the full millimetre that it comes near, as sizes of bars go, else as it is."""
    whole = round(diameter * 1000.0)
    return whole / 1000.0 if whole and abs(diameter * 1000.0 / whole - 1.0) < DIAMETER_TOLERANCE else diameter


def _mass(declared: Iterable[Declared], count: int, reckoned: float | None, how: str) -> tuple[float, str]:
    """(mass in kg, what it rests on): the declared total, the declared weight (of one bar, if reckoning shows
    that it is), else what was reckoned."""
    weights = [d for d in declared if d.kind == "weight" and d.value > 0.0]
    total = next((d for d in weights if key(d.name) in _TOTAL_NAMES), None)
    if total is not None:
        return total.value, f"declared {total.set_name}.{total.name}"
    if weights:
        weight = weights[0]
        where = f"declared {weight.set_name}.{weight.name}"
        if count > 1 and reckoned:
            off_each = abs(weight.value * count / reckoned - 1.0)
            if off_each <= PER_BAR_TOLERANCE and off_each < abs(weight.value / reckoned - 1.0):
                return weight.value * count, f"{where} of one bar, times {count}"
        return weight.value, where
    if reckoned:
        bars = f", {count} bars" if count > 1 else ""
        return reckoned, told("{} at {}{}", how, Quantity(STEEL_KG_M3, "kg/m3", "g"), bars)
    return 0.0, "not known"


class _Sizes:
    """Sizes by their attributes: of a product, else of its type."""

    def __init__(self, product: Any, context: Context) -> None:
        self._things = (product, context.relations.type_of.get(product.id()))
        self._units = context.properties.units

    def length(self, name: str) -> float | None:
        """A length, m."""
        return self._positive(name, self._units.length)

    def area(self, name: str) -> float | None:
        """An area, m2."""
        return self._positive(name, self._units.area)

    def _positive(self, name: str, unit: float) -> float | None:
        for thing in self._things:
            value = attribute(thing, name)
            if isinstance(value, (int, float)) and math.isfinite(value) and value > 0.0:
                return float(value) * unit
        return None


def _drawn(context: Context, product: Any, drawn: list[Any], shapes: DrawnRods, sized: bool) -> _Drawn:
    """The bars that a product shows; those drawn by their faces are not looked at where it is `sized` in words."""
    unit = context.properties.units
    matrix = context.placements.of(product)
    rods: list[tuple[float, float]] = []
    lines: list[Line] = []
    for item in drawn:
        swept = _swept(item, unit.angle)
        if swept is not None:
            rods.append((2.0 * swept[0] * unit.length, swept[1] * unit.length))
            continue
        found = () if sized else shapes.of(item)
        if not found:
            return _Drawn()
        rods += [(rod.diameter, rod.length) for rod in found]
        world = np.concatenate([rod.lines for rod in found]) @ matrix[:3, :3].T + matrix[:3, 3]
        lines += [tuple((x, y, z) for x, y, z in line) for line in world.tolist()]
    return _Drawn(tuple(rods), tuple(lines), bool(lines), bool(rods))


def _steel(product: Any, kind: Kind, size: _Sizes, shown: _Drawn) -> _Steel:
    """Size of one bar and its mass in kg; attributes of the product, else of its type, else as it is drawn."""
    if product.is_a("IfcReinforcingMesh"):
        return _fabric(size, shown)
    diameter = size.length("NominalDiameter")
    length = size.length("BarLength")
    how = "nominal diameter and bar length"
    if shown.known:
        # Bars of one set may differ in length, in a tapering slab for instance: the mean keeps their sum.
        if diameter is None and shown.rods[0][0] > 0.0:
            diameter = _full_millimetres(shown.rods[0][0]) if shown.by_faces else shown.rods[0][0]
            how = "drawn diameter and bar length"
        mean = sum(length for _, length in shown.rods) / len(shown.rods)
        if length is None and mean > 0.0:
            length = mean
            how = "diameter and length of the drawn body" if shown.by_faces else "diameter and drawn length"
    section = math.pi * diameter**2 / 4.0 if diameter else size.area("CrossSectionArea")
    if kind == "tendon":
        # A strand has less steel than its circle: its section is written, where it is, for that reason.
        section = size.area("CrossSectionArea") or section
        how = how.replace("nominal diameter", "section")
    reckoned = section * length * STEEL_KG_M3 if section and length else None
    return _Steel(diameter, section, length, reckoned, how)


def _fabric(size: _Sizes, shown: _Drawn) -> _Steel:
    """A flat mesh: in either direction its section for each spacing, over the whole sheet; else its drawn wires."""
    long, wide = size.length("MeshLength"), size.length("MeshWidth")
    diameter = size.length("LongitudinalBarNominalDiameter")
    steel = 0.0
    for direction in ("Longitudinal", "Transverse"):
        section = size.area(f"{direction}BarCrossSectionArea")
        if section is None:
            across = size.length(f"{direction}BarNominalDiameter")
            section = math.pi * across**2 / 4.0 if across else None
        spacing = size.length(f"{direction}BarSpacing")
        if section and spacing:
            steel += section / spacing
    if steel and long and wide:
        reckoned = steel * long * wide * STEEL_KG_M3
        return _Steel(diameter, None, long, reckoned, "sections and spacings of the mesh")
    return _Steel(diameter, None, long, shown.steel, "sections and lengths of the drawn wires")


def _swept(item: Any, angle_unit: float) -> tuple[float, float] | None:
    """(radius, length) of a bar drawn as a disk swept along a line, in file units; None for another shape."""
    if item.is_a("IfcMappedItem"):
        inner = list(item[0][1][3] or ())
        scale = float(attribute(item[1], "Scale") or 1.0)
        found = _swept(inner[0], angle_unit) if len(inner) == 1 else None
        if found is None:
            return None
        radius, line = found
        return radius * scale, line * scale
    if item.is_a("IfcSweptDiskSolid"):
        length = curve_length(item.Directrix, angle_unit)
        return None if length is None else (float(item.Radius), length)
    if item.is_a("IfcExtrudedAreaSolid") and item.SweptArea.is_a("IfcCircleProfileDef"):
        return float(item.SweptArea.Radius), float(item.Depth)
    return None


def curve_length(curve: Any, angle_unit: float = 1.0) -> float | None:
    """Length of a bar's line in file units: straight pieces and arcs; None for a curve of another kind.

    `angle_unit` is the file's unit of plane angle in radians.
    """
    if curve.is_a("IfcPolyline"):
        return _path([p[0] for p in curve.Points])
    if curve.is_a("IfcIndexedPolyCurve"):
        points = curve.Points.CoordList
        if not curve.Segments:
            return _path(points)
        total = 0.0
        for segment in curve.Segments:
            chain = [points[i - 1] for i in segment[0]]
            total += _arc(*chain) if segment.is_a("IfcArcIndex") else _path(chain)
        return total
    if curve.is_a("IfcCompositeCurve"):
        lengths = [curve_length(s.ParentCurve, angle_unit) for s in curve.Segments]
        return None if None in lengths else float(sum(length for length in lengths if length is not None))
    if curve.is_a("IfcTrimmedCurve") and curve.BasisCurve.is_a("IfcCircle"):
        return _trimmed(curve, angle_unit)
    if curve.is_a("IfcTrimmedCurve") and curve.BasisCurve.is_a("IfcLine"):
        points = [_end(trim, "IfcCartesianPoint") for trim in (curve.Trim1, curve.Trim2)]
        if None not in points:
            return _path(points)
        first, last = (_end(trim, "IfcParameterValue") for trim in (curve.Trim1, curve.Trim2))
        if first is None or last is None:
            return None
        return abs(last - first) * float(curve.BasisCurve.Dir.Magnitude)
    return None


def _end(trim: Any, kind: str) -> Any:
    """What a trimming names of one kind: the coordinates of a point, the number of a parameter, else None."""
    return next((end[0] for end in trim if end.is_a(kind)), None)


def _path(points: Any) -> float:
    chain = np.asarray(points, dtype=np.float64)
    return float(np.linalg.norm(np.diff(chain, axis=0), axis=1).sum()) if len(chain) > 1 else 0.0


def _arc(start: Any, middle: Any, end: Any) -> float:
    """Length of the arc through three points: the radius of their circle times the angle that it turns."""
    a, b, c = (np.asarray(p, dtype=np.float64) for p in (start, middle, end))
    ab, bc, ac = (float(np.linalg.norm(v)) for v in (b - a, c - b, c - a))
    if ab == 0.0 or bc == 0.0:
        return ac
    turn = math.pi - math.acos(max(-1.0, min(1.0, float((a - b) @ (c - b)) / (ab * bc))))
    if turn < 1e-9:
        return ab + bc
    # The circle's centre angle is twice the angle on its circumference; the chord is 2 r sin(turn).
    return 2.0 * turn * ac / (2.0 * math.sin(turn)) if math.sin(turn) > 1e-12 else math.pi * ab


def _trimmed(curve: Any, angle_unit: float) -> float | None:
    """Length of an arc of a circle, from one end to the other in the sense of the curve."""
    circle = curve.BasisCurve
    ends = [_angle(circle, trim, angle_unit) for trim in (curve.Trim1, curve.Trim2)]
    first, last = ends
    if first is None or last is None:
        return None
    turn = (last - first if curve.SenseAgreement else first - last) % (2.0 * math.pi)
    return float(circle.Radius) * turn


def _angle(circle: Any, trim: Any, angle_unit: float) -> float | None:
    """Where on a circle an end is, radians: by its point, else by its parameter."""
    from ifcopenshell.util.placement import get_axis2placement

    written = _end(trim, "IfcCartesianPoint")
    if written is not None:
        matrix = np.asarray(get_axis2placement(circle.Position), dtype=np.float64)
        point = np.zeros(3)
        point[: len(written)] = written
        x, y = (matrix[:3, :3].T @ (point - matrix[:3, 3]))[:2]
        return math.atan2(y, x)
    parameter = _end(trim, "IfcParameterValue")
    return None if parameter is None else float(parameter) * angle_unit
