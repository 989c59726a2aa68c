"""Extrusions of every sort of profile and curve, sound ones and hostile ones."""

import math
from collections.abc import Sequence
from typing import Any

from hostile import CURVED, FLAT, Build, Case, Entity, doubtful, entity, sound
from solid_models import SolidModel

Point = tuple[float, float]
DEPTH = 1.5


def extruded(profile: Build, depth: float = DEPTH, **where: Any) -> Build:
    """An extrusion of what `profile` builds."""
    return lambda model: model.extrusion(profile(model), depth, **where)


def polygon(*points: Point) -> Build:
    return lambda model: model.profile(points)


def section(kind: str, **sizes: float | None) -> Build:
    """A parameterised profile; all its sizes are lengths, but slopes."""

    def build(model: SolidModel) -> Entity:
        given = {
            name: value if value is None or "Slope" in name else value / model.scale
            for name, value in sizes.items()
        }
        return entity(model, kind, ProfileType="AREA", **given)

    return build


def outline(curve: Build, *holes: Build) -> Build:
    """An arbitrary profile within a curve."""

    def build(model: SolidModel) -> Entity:
        if holes:
            inner = [hole(model) for hole in holes]
            return entity(model, "IfcArbitraryProfileDefWithVoids", "AREA", None, curve(model), inner)
        return entity(model, "IfcArbitraryClosedProfileDef", "AREA", None, curve(model))

    return build


def polyline(*points: Point, closed: bool = True) -> Build:
    return lambda model: model.polyline(points, closed)


def circle(radius: float, at: Point = (0.0, 0.0)) -> Build:
    return lambda model: entity(model, "IfcCircle", _axes(model, at), radius / model.scale)


def _axes(model: SolidModel, at: Point, x: Point = (1.0, 0.0)) -> Entity:
    return entity(model, "IfcAxis2Placement2D", model.point(*at), model.direction(*x))


def ellipse(first: float, second: float, at: Point = (0.0, 0.0), x: Point = (1.0, 0.0)) -> Build:
    return lambda model: entity(
        model, "IfcEllipse", _axes(model, at, x), first / model.scale, second / model.scale
    )


def trimmed(
    basis: Build, start: float | Point, end: float | Point, sense: bool = True, master: str = ""
) -> Build:
    """A curve between two parameters or points; `master` PARAMETER, CARTESIAN or what is given."""

    def build(model: SolidModel) -> Entity:
        ends = [
            [model.point(*end) if isinstance(end, tuple) else entity(model, "IfcParameterValue", end)]
            for end in (start, end)
        ]
        said = master or ("CARTESIAN" if isinstance(start, tuple) else "PARAMETER")
        return entity(model, "IfcTrimmedCurve", basis(model), *ends, sense, said)

    return build


def composite(*parts: Build | tuple[Build, bool]) -> Build:
    """Pieces that follow on each other; one given with False runs backwards."""

    def build(model: SolidModel) -> Entity:
        segments = []
        for part in parts:
            curve, sense = part if isinstance(part, tuple) else (part, True)
            segments.append(entity(model, "IfcCompositeCurveSegment", "CONTINUOUS", sense, curve(model)))
        return entity(model, "IfcCompositeCurve", segments, False)

    return build


def indexed(points: Sequence[Point], *segments: tuple[str, Sequence[int]]) -> Build:
    """An indexed curve of lines and arcs: ("line", indices from 1), ("arc", three indices)."""

    def build(model: SolidModel) -> Entity:
        rows = [model.n(point) for point in points]
        table = entity(model, "IfcCartesianPointList2D", rows)
        kinds = {"line": "IfcLineIndex", "arc": "IfcArcIndex"}
        parts = [entity(model, kinds[kind], list(index)) for kind, index in segments]
        return entity(model, "IfcIndexedPolyCurve", table, parts or None, None)

    return build


def spline(points: Sequence[Point], degree: int = 3, closed: bool = False) -> Build:
    """A B-spline clamped at its ends."""

    def build(model: SolidModel) -> Entity:
        inner = len(points) - degree - 1
        multiplicities = [degree + 1, *[1] * inner, degree + 1]
        knots = [float(number) for number in range(inner + 2)]
        return entity(
            model, "IfcBSplineCurveWithKnots", degree, [model.point(*point) for point in points],
            "UNSPECIFIED", closed, False, multiplicities, knots, "UNSPECIFIED",
        )  # fmt: skip

    return build


def derived(parent: Build, kind: str = "IfcCartesianTransformationOperator2D", **operator: Any) -> Build:
    def build(model: SolidModel) -> Entity:
        axes = {name: model.direction(*value) for name, value in operator.items() if "Axis" in name}
        rest = {name: value for name, value in operator.items() if "Axis" not in name}
        way = entity(model, kind, LocalOrigin=model.point(0.5, 0.2), **axes, **rest)
        return entity(model, "IfcDerivedProfileDef", "AREA", None, parent(model), way)

    return build


def together(*parts: Build) -> Build:
    return lambda model: entity(
        model, "IfcCompositeProfileDef", "AREA", None, [part(model) for part in parts]
    )


def _fillet(radius: float) -> float:
    """What a fillet takes from a square corner."""
    return (1.0 - math.pi / 4.0) * radius**2


L_SHAPE = ((0, 0), (2, 0), (2, 1), (1, 1), (1, 2), (0, 2))
SQUARE = ((0, 0), (1, 0), (1, 1), (0, 1))
HALF = math.pi / 2.0
PI = math.pi


def _sections() -> list[Case]:
    i_shape = {"OverallWidth": 1.0, "OverallDepth": 2.0, "WebThickness": 0.2, "FlangeThickness": 0.3}
    i_area = 2 * 0.3 * 1.0 + 1.4 * 0.2
    unlike = {
        "BottomFlangeWidth": 1.5, "OverallDepth": 2.0, "WebThickness": 0.2, "BottomFlangeThickness": 0.4,
        "TopFlangeWidth": 0.8, "TopFlangeThickness": 0.3,
    }  # fmt: skip
    tee = {"Depth": 1.0, "FlangeWidth": 1.5, "WebThickness": 0.3, "FlangeThickness": 0.2}
    angle = {"Depth": 1.0, "Width": 0.8, "Thickness": 0.2}
    channel = {"Depth": 2.0, "FlangeWidth": 0.8, "WebThickness": 0.2, "FlangeThickness": 0.3}
    lipped = {"Depth": 2.0, "Width": 1.0, "WallThickness": 0.1, "Girth": 0.4}
    box = {"XDim": 2.0, "YDim": 1.0}
    hollow = {**box, "WallThickness": 0.1}
    z_area = 2 * 0.8 * 0.3 + 1.4 * 0.2
    lipped_area = 2.0 * 0.1 + 2 * 0.9 * 0.1 + 2 * 0.3 * 0.1
    given = [
        ("rectangle", "IfcRectangleProfileDef", box, 2.0, FLAT),
        ("rounded", "IfcRoundedRectangleProfileDef", {**box, "RoundingRadius": 0.3}, 2.0 - 4 * _fillet(0.3), CURVED),
        ("rounded-full", "IfcRoundedRectangleProfileDef", {**box, "RoundingRadius": 0.5}, 1.0 + PI / 4, CURVED),
        ("hollow", "IfcRectangleHollowProfileDef", hollow, 2.0 - 1.8 * 0.8, FLAT),
        ("hollow-filleted", "IfcRectangleHollowProfileDef", {**hollow, "OuterFilletRadius": 0.2, "InnerFilletRadius": 0.1},
         2.0 - 4 * _fillet(0.2) - 1.8 * 0.8 + 4 * _fillet(0.1), CURVED),
        ("circle", "IfcCircleProfileDef", {"Radius": 1.0}, PI, CURVED),
        ("circle-needle", "IfcCircleProfileDef", {"Radius": 0.004}, PI * 0.004**2, CURVED),
        ("pipe", "IfcCircleHollowProfileDef", {"Radius": 1.0, "WallThickness": 0.1}, PI * 0.19, CURVED),
        ("ellipse", "IfcEllipseProfileDef", {"SemiAxis1": 2.0, "SemiAxis2": 0.5}, PI, CURVED),
        ("ellipse-tall", "IfcEllipseProfileDef", {"SemiAxis1": 0.5, "SemiAxis2": 2.0}, PI, CURVED),
        ("trapezium", "IfcTrapeziumProfileDef", {"BottomXDim": 2.0, "TopXDim": 1.0, "YDim": 1.0, "TopXOffset": 0.3}, 1.5, FLAT),
        ("trapezium-leaning", "IfcTrapeziumProfileDef", {"BottomXDim": 1.0, "TopXDim": 1.0, "YDim": 1.0, "TopXOffset": -2.0}, 1.0, FLAT),
        ("i", "IfcIShapeProfileDef", i_shape, i_area, FLAT),
        ("i-filleted", "IfcIShapeProfileDef", {**i_shape, "FilletRadius": 0.1}, i_area + 4 * _fillet(0.1), CURVED),
        ("i-edges", "IfcIShapeProfileDef", {**i_shape, "FlangeEdgeRadius": 0.1}, i_area - 4 * _fillet(0.1), CURVED),
        ("i-unlike", "IfcAsymmetricIShapeProfileDef", unlike, 1.5 * 0.4 + 0.8 * 0.3 + 1.3 * 0.2, FLAT),
        ("t", "IfcTShapeProfileDef", tee, 1.5 * 0.2 + 0.8 * 0.3, FLAT),
        ("t-filleted", "IfcTShapeProfileDef", {**tee, "FilletRadius": 0.1}, 0.54 + 2 * _fillet(0.1), CURVED),
        ("l", "IfcLShapeProfileDef", angle, 1.0 * 0.2 + 0.6 * 0.2, FLAT),
        ("l-no-width", "IfcLShapeProfileDef", {"Depth": 1.0, "Thickness": 0.2}, 0.2 + 0.8 * 0.2, FLAT),
        ("l-filleted", "IfcLShapeProfileDef", {**angle, "FilletRadius": 0.1, "EdgeRadius": 0.05},
         0.32 + _fillet(0.1) - 2 * _fillet(0.05), CURVED),
        ("u", "IfcUShapeProfileDef", channel, 2 * 0.8 * 0.3 + 1.4 * 0.2, FLAT),
        ("u-filleted", "IfcUShapeProfileDef", {**channel, "FilletRadius": 0.1}, 0.76 + 2 * _fillet(0.1), CURVED),
        ("c", "IfcCShapeProfileDef", lipped, lipped_area, FLAT),
        ("c-filleted", "IfcCShapeProfileDef", {**lipped, "InternalFilletRadius": 0.05},
         lipped_area + 4 * _fillet(0.05) - 4 * _fillet(0.15), CURVED),
    ]  # fmt: skip
    cases = [
        sound(f"section-{name}", extruded(section(kind, **sizes)), area * DEPTH, share)
        for name, kind, sizes, area, share in given
    ]
    hostile = [
        ("z", "IfcZShapeProfileDef", channel, z_area),
        ("t-sloped", "IfcTShapeProfileDef", {**tee, "FlangeSlope": 0.1}, None),
        ("u-sloped", "IfcUShapeProfileDef", {**channel, "FlangeSlope": 0.1}, None),
        ("l-sloped", "IfcLShapeProfileDef", {**angle, "LegSlope": 0.1}, None),
        ("i-sloped", "IfcIShapeProfileDef", {**i_shape, "FlangeSlope": 0.1}, None),
        ("rounded-too-much", "IfcRoundedRectangleProfileDef", {**box, "RoundingRadius": 0.7}, None),
        ("rounded-minus", "IfcRoundedRectangleProfileDef", {**box, "RoundingRadius": -0.1}, None),
        ("hollow-too-thick", "IfcRectangleHollowProfileDef", {**box, "WallThickness": 0.5}, 2.0),
        ("hollow-far-too-thick", "IfcRectangleHollowProfileDef", {**box, "WallThickness": 0.8}, None),
        ("hollow-no-wall", "IfcRectangleHollowProfileDef", {**box, "WallThickness": 0.0}, None),
        ("hollow-inner-fillet", "IfcRectangleHollowProfileDef", {**hollow, "InnerFilletRadius": 0.5}, None),
        ("pipe-full", "IfcCircleHollowProfileDef", {"Radius": 1.0, "WallThickness": 1.0}, PI),
        ("pipe-overfull", "IfcCircleHollowProfileDef", {"Radius": 1.0, "WallThickness": 1.5}, None),
        ("pipe-minus", "IfcCircleHollowProfileDef", {"Radius": 1.0, "WallThickness": -0.1}, None),
        ("circle-nothing", "IfcCircleProfileDef", {"Radius": 0.0}, None),
        ("circle-minus", "IfcCircleProfileDef", {"Radius": -1.0}, None),
        ("rectangle-flat", "IfcRectangleProfileDef", {"XDim": 2.0, "YDim": 0.0}, None),
        ("rectangle-minus", "IfcRectangleProfileDef", {"XDim": -2.0, "YDim": 1.0}, None),
        ("ellipse-flat", "IfcEllipseProfileDef", {"SemiAxis1": 1.0, "SemiAxis2": 0.0}, None),
        ("trapezium-no-top", "IfcTrapeziumProfileDef", {"BottomXDim": 2.0, "TopXDim": 0.0, "YDim": 1.0, "TopXOffset": 1.0}, 1.0),
        ("i-thick-flanges", "IfcIShapeProfileDef", {**i_shape, "FlangeThickness": 1.2}, None),
        ("i-wide-web", "IfcIShapeProfileDef", {**i_shape, "WebThickness": 1.2}, None),
        ("i-fillet-too-large", "IfcIShapeProfileDef", {**i_shape, "FilletRadius": 1.0}, None),
        ("t-flange-all", "IfcTShapeProfileDef", {**tee, "FlangeThickness": 1.0}, None),
        ("l-thick", "IfcLShapeProfileDef", {**angle, "Thickness": 0.9}, None),
        ("u-thick", "IfcUShapeProfileDef", {**channel, "FlangeThickness": 1.1}, None),
        ("c-girth", "IfcCShapeProfileDef", {**lipped, "Girth": 1.2}, None),
        ("z-thick", "IfcZShapeProfileDef", {**channel, "FlangeThickness": 1.1}, None),
    ]  # fmt: skip
    for name, kind, sizes, area in hostile:
        cases.append(
            doubtful(f"section-{name}", extruded(section(kind, **sizes)), area and area * DEPTH, CURVED)
        )
    return cases


def _polygons() -> list[Case]:
    near = ((0, 0), (1, 0), (1, 1), (0.5, 1e-9), (0, 1))
    comb = [(0.0, 0.0), (2.0, 0.0)]
    for tooth in range(10):
        right = 2.0 - tooth * 0.2
        comb += [(right, 1.0), (right - 0.1, 1.0), (right - 0.1, 0.1), (right - 0.2, 0.1)]
    round_ = [(math.cos(2 * PI * i / 700), math.sin(2 * PI * i / 700)) for i in range(700)]
    star = [(math.cos(4 * PI * i / 5), math.sin(4 * PI * i / 5)) for i in range(5)]
    spike = ((0, 0), (1, 0), (1, 0.5), (2, 0.5), (1, 0.5), (1, 1), (0, 1))
    keyhole = (
        (0, 0), (3, 0), (3, 3), (0, 3), (0, 1.5), (1, 1.5), (1, 2), (2, 2), (2, 1), (1, 1), (1, 1.5), (0, 1.5),
    )  # fmt: skip
    nowhere = section("IfcRectangleProfileDef", XDim=1.0, YDim=1.0)

    def unplaced(model: SolidModel) -> Entity:
        profile = nowhere(model)
        profile.Position = entity(model, "IfcAxis2Placement2D")
        return profile

    def unplaced_solid(model: SolidModel) -> Entity:
        solid = extruded(nowhere, 1.0)(model)
        solid.Position = entity(model, "IfcAxis2Placement3D")
        return solid

    return [
        sound("hole-of-two-points", extruded(outline(polyline(*SQUARE), polyline((0.2, 0.5), (0.7, 0.5))), 1.0), 1.0),
        sound("hole-in-line", extruded(outline(polyline(*SQUARE), polyline((0.2, 0.5), (0.5, 0.5), (0.7, 0.5))), 1.0), 1.0),
        sound("hole-of-one-point", extruded(outline(polyline(*SQUARE), polyline((0.2, 0.5), (0.2, 0.5))), 1.0), 1.0),
        sound("position-without-location", extruded(unplaced, 1.0), 1.0),
        sound("solid-without-location", unplaced_solid, 1.0),
        sound("polygon-l", extruded(polygon(*L_SHAPE)), 3 * DEPTH),
        sound("polygon-clockwise", extruded(polygon(*L_SHAPE[::-1])), 3 * DEPTH),
        sound("polygon-repeated-points", extruded(polygon(*[p for p in L_SHAPE for _ in (0, 1)])), 3 * DEPTH),
        sound("polygon-on-a-line", extruded(polygon((0, 0), (0.3, 0), (1, 0), (1, 1), (0.5, 1), (0, 1))), DEPTH),
        sound("polygon-not-closed", extruded(outline(polyline(*L_SHAPE, closed=False))), 3 * DEPTH),
        sound("polygon-comb", extruded(polygon(*comb)), (2 * 0.1 + 10 * 0.1 * 0.9) * DEPTH),
        sound("polygon-many", extruded(polygon(*round_)), PI * DEPTH, CURVED),
        sound("polygon-needle", extruded(polygon((0, 0), (3, 0), (3, 1e-4))), 1.5e-4 * DEPTH),
        sound("polygon-triangle", extruded(polygon((0, 0), (1, 0), (0, 1))), 0.5 * DEPTH),
        doubtful("polygon-keyhole", extruded(polygon(*keyhole)), 8 * DEPTH),
        doubtful("polygon-spike", extruded(polygon(*spike)), DEPTH),
        doubtful("polygon-bow-tie", extruded(polygon((0, 0), (1, 1), (1, 0), (0, 1))), 0.5 * DEPTH),
        doubtful("polygon-bow-tie-uneven", extruded(polygon((0, 0), (2, 2), (2, 0), (0, 1)))),
        doubtful("polygon-star", extruded(polygon(*star))),
        doubtful("polygon-twice-round", extruded(polygon(*SQUARE, *SQUARE)), DEPTH),
        doubtful("polygon-there-and-back", extruded(polygon((0, 0), (1, 0), (2, 0), (1, 0)))),
        doubtful("polygon-two-points", extruded(polygon((0, 0), (1, 0)))),
        doubtful("polygon-one-place", extruded(polygon((0, 0), (0, 0), (0, 0)))),
        doubtful("polygon-touching", extruded(polygon(*near)), 0.5 * DEPTH),
        doubtful("polygon-eight", extruded(polygon((0, 0), (1, 0), (1, 1), (2, 1), (2, 2), (1, 2), (1, 1), (0, 1))), 2 * DEPTH),
        sound("hole", extruded(lambda m: m.profile(((0, 0), (3, 0), (3, 3), (0, 3)), [((1, 1), (2, 1), (2, 2), (1, 2))])), 8 * DEPTH),
        sound("hole-clockwise", extruded(lambda m: m.profile(((0, 0), (3, 0), (3, 3), (0, 3)), [((1, 1), (1, 2), (2, 2), (2, 1))])), 8 * DEPTH),
        doubtful("hole-touching-side", extruded(lambda m: m.profile(((0, 0), (3, 0), (3, 3), (0, 3)), [((0, 1), (1, 1), (1, 2), (0, 2))])), 8 * DEPTH),
        doubtful("hole-in-corner-point", extruded(lambda m: m.profile(((0, 0), (3, 0), (3, 3), (0, 3)), [((0, 0), (1, 0.5), (0.5, 1))])), (9 - 0.375) * DEPTH),
        doubtful("hole-outside", extruded(lambda m: m.profile(SQUARE, [((2, 2), (3, 2), (3, 3), (2, 3))])), DEPTH),
        doubtful("hole-across", extruded(lambda m: m.profile(SQUARE, [((0.5, 0.25), (2, 0.25), (2, 0.75), (0.5, 0.75))])), 0.75 * DEPTH),
        doubtful("hole-equal", extruded(lambda m: m.profile(SQUARE, [SQUARE]))),
        doubtful("hole-larger", extruded(lambda m: m.profile(SQUARE, [((-1, -1), (2, -1), (2, 2), (-1, 2))]))),
        doubtful("holes-touching", extruded(lambda m: m.profile(((0, 0), (3, 0), (3, 3), (0, 3)), [((1, 1), (1.5, 1), (1.5, 2), (1, 2)), ((1.5, 1), (2, 1), (2, 2), (1.5, 2))])), 8 * DEPTH),
        doubtful("holes-overlapping", extruded(lambda m: m.profile(((0, 0), (3, 0), (3, 3), (0, 3)), [((1, 1), (1.7, 1), (1.7, 2), (1, 2)), ((1.3, 1), (2, 1), (2, 2), (1.3, 2))])), 8 * DEPTH),
        doubtful("holes-equal", extruded(lambda m: m.profile(((0, 0), (3, 0), (3, 3), (0, 3)), [((1, 1), (2, 1), (2, 2), (1, 2))] * 2)), 8 * DEPTH),
        doubtful("holes-nested", extruded(lambda m: m.profile(((0, 0), (3, 0), (3, 3), (0, 3)), [((0.5, 0.5), (2.5, 0.5), (2.5, 2.5), (0.5, 2.5)), ((1, 1), (2, 1), (2, 2), (1, 2))])), 5 * DEPTH),
        doubtful("holes-corner-to-corner", extruded(lambda m: m.profile(((0, 0), (3, 0), (3, 3), (0, 3)), [((1, 1), (1.5, 1), (1.5, 1.5), (1, 1.5)), ((1.5, 1.5), (2, 1.5), (2, 2), (1.5, 2))])), 8.5 * DEPTH),
        sound("extrusion-oblique", extruded(polygon(*SQUARE), along=(0.6, 0, 0.8)), 0.8 * DEPTH),
        sound("extrusion-down", extruded(polygon(*SQUARE), along=(0, 0, -1)), DEPTH),
        sound("extrusion-long-direction", extruded(polygon(*SQUARE), along=(0, 0, 7)), DEPTH),
        doubtful("extrusion-minus", extruded(polygon(*SQUARE), depth=-1.0), 1.0),
        doubtful("extrusion-nothing", extruded(polygon(*SQUARE), depth=0.0)),
        doubtful("extrusion-in-plane", extruded(polygon(*SQUARE), along=(1, 0, 0))),
        doubtful("extrusion-almost-in-plane", extruded(polygon(*SQUARE), along=(1, 0, 1e-12))),
        doubtful("extrusion-no-direction", extruded(polygon(*SQUARE), along=(0, 0, 0))),
        doubtful("extrusion-axis-parallel", extruded(polygon(*SQUARE), z=(0, 0, 1), x=(0, 0, 1)), DEPTH),
        sound("extrusion-axes-askew", extruded(polygon(*SQUARE), z=(0, 0, 1), x=(1, 0, 5)), DEPTH),
        sound("extrusion-thin", extruded(polygon(*SQUARE), depth=1e-4), 1e-4),
        doubtful("extrusion-thinner-than-paper", extruded(polygon(*SQUARE), depth=1e-7), 1e-7),
    ]  # fmt: skip


def _curves() -> list[Case]:
    unit = circle(1.0)
    chord = polyline((1, 0), (-1, 0), closed=False)
    back = polyline((-1, 0), (1, 0), closed=False)
    half_disk = PI / 2
    upper = trimmed(unit, 0.0, PI)
    stadium = [(0, -0.5), (2, -0.5), (2.5, 0), (2, 0.5), (0, 0.5), (-0.5, 0)]
    arcs = (("line", (1, 2)), ("arc", (2, 3, 4)), ("line", (4, 5)), ("arc", (5, 6, 1)))
    bulge = [(0, 0), (1, 0), (1, 1), (0, 1)]
    bezier = spline(((0, 0), (0, 1), (1, 1), (1, 0)))  # a cubic over a chord of 1 whose area is 3/5
    return [
        sound("circle-curve", extruded(outline(unit)), PI * DEPTH, CURVED),
        sound("circle-with-hole", extruded(outline(unit, circle(0.5))), 0.75 * PI * DEPTH, CURVED),
        sound("ellipse-turned", extruded(outline(ellipse(2, 0.5, (0.2, 0.1), (0.6, 0.8)))), PI * DEPTH, CURVED),
        sound("half-disk", extruded(outline(composite(upper, back))), half_disk * DEPTH, CURVED),
        sound("half-disk-backwards", extruded(outline(composite((upper, False), (back, False)))), half_disk * DEPTH, CURVED),
        sound("half-disk-sense-false", extruded(outline(composite(trimmed(unit, PI, 0.0, sense=False), chord))), half_disk * DEPTH, CURVED),
        sound("half-disk-by-points", extruded(outline(composite(trimmed(unit, (1, 0), (-1, 0)), back))), half_disk * DEPTH, CURVED),
        sound("three-quarters", extruded(outline(composite(trimmed(unit, 0.0, 1.5 * PI), polyline((0, -1), (0, 0), (1, 0), closed=False)))), 0.75 * PI * DEPTH, CURVED),
        sound("arc-over-zero", extruded(outline(composite(trimmed(unit, 1.5 * PI, HALF), polyline((0, 1), (0, -1), closed=False)))), half_disk * DEPTH, CURVED),
        sound("half-ellipse", extruded(outline(composite(trimmed(ellipse(2, 1), 0.0, PI), polyline((-2, 0), (2, 0), closed=False)))), PI * DEPTH, CURVED),
        sound("half-ellipse-by-points", extruded(outline(composite(trimmed(ellipse(2, 1), (2, 0), (-2, 0)), polyline((-2, 0), (2, 0), closed=False)))), PI * DEPTH, CURVED),
        sound("indexed-lines", extruded(outline(indexed((*L_SHAPE, (0, 0))))), 3 * DEPTH),
        sound("indexed-stadium", extruded(outline(indexed(stadium, *arcs))), (2 + PI / 4) * DEPTH, CURVED),
        sound("indexed-closing-by-itself", extruded(outline(indexed(bulge, ("line", (1, 2, 3, 4, 1))))), DEPTH),
        sound("bezier", extruded(outline(composite(bezier, polyline((1, 0), (0, 0), closed=False)))), 0.6 * DEPTH, CURVED),
        sound("trimmed-lines", extruded(outline(composite(*_lines(SQUARE)))), DEPTH),
        doubtful("half-disk-wrong-sense", extruded(outline(composite(upper, (back, False)))), half_disk * DEPTH, CURVED),
        doubtful("half-disk-open", extruded(outline(composite(upper))), half_disk * DEPTH, CURVED),
        doubtful("arc-wrong-way", extruded(outline(composite(trimmed(unit, PI, 0.0), back))), half_disk * DEPTH, CURVED),
        doubtful("arc-ends-apart", extruded(outline(composite(trimmed(unit, 0.0, 3.0), back)))),
        doubtful("arc-in-degrees", extruded(outline(composite(trimmed(unit, 0.0, 180.0), back))), half_disk * DEPTH, CURVED),
        doubtful("arc-of-nothing", extruded(outline(composite(trimmed(unit, 1.0, 1.0), back)))),
        doubtful("arc-nan-degenerate", extruded(outline(indexed([(0, 0), (1, 0), (1, 0)], ("arc", (1, 2, 3)))))),
        doubtful("arc-straight", extruded(outline(indexed([(0, 0), (1, 0), (2, 0), (2, 2)], ("arc", (1, 2, 3)), ("line", (3, 4, 1))))), 2 * DEPTH),
        doubtful("arc-back-to-start", extruded(outline(indexed([(0, 0), (1, 1), (0, 0), (2, 2)], ("arc", (1, 2, 3)), ("line", (3, 4, 1)))))),
        doubtful("indexed-zero-based", extruded(outline(indexed(bulge, ("line", (0, 1, 2, 3, 0)))))),
        doubtful("indexed-beyond", extruded(outline(indexed(bulge, ("line", (1, 2, 3, 9)))))),
        doubtful("indexed-jump", extruded(outline(indexed(bulge, ("line", (1, 2)), ("line", (3, 4)))))),
        doubtful("spline-crossing", extruded(outline(composite(spline(((0, 0), (3, 2), (-2, 2), (1, 0))), polyline((1, 0), (0, 0), closed=False))))),
        doubtful("circle-hole-larger", extruded(outline(circle(0.5), unit))),
        doubtful("circle-hole-touching", extruded(outline(unit, circle(0.5, (0.5, 0.0)))), 0.75 * PI * DEPTH, CURVED),
        doubtful("trimmed-line-outline", extruded(outline(trimmed(unit, 0.0, PI))), half_disk * DEPTH, CURVED),
        sound("derived", extruded(derived(polygon(*L_SHAPE), Scale=0.5, Axis1=(0, 1), Axis2=(-1, 0))), 0.75 * DEPTH),
        sound("derived-mirrored", extruded(derived(polygon(*L_SHAPE), Axis1=(-1, 0), Axis2=(0, 1))), 3 * DEPTH),
        sound("derived-not-uniform", extruded(derived(polygon(*SQUARE), "IfcCartesianTransformationOperator2DnonUniform", Scale=2.0, Scale2=0.5)), DEPTH),
        doubtful("derived-flat", extruded(derived(polygon(*SQUARE), Scale=0.0))),
        sound("composite-profile", extruded(together(polygon(*SQUARE), polygon((2, 0), (3, 0), (3, 1), (2, 1)))), 2 * DEPTH),
        doubtful("composite-profile-touching", extruded(together(polygon(*SQUARE), polygon((1, 0), (2, 0), (2, 1), (1, 1)))), 2 * DEPTH),
        doubtful("composite-profile-overlapping", extruded(together(polygon(*SQUARE), polygon((0.5, 0), (1.5, 0), (1.5, 1), (0.5, 1)))), 1.5 * DEPTH),
        sound("band", extruded(lambda m: entity(m, "IfcCenterLineProfileDef", "AREA", None, m.polyline(((0, 0), (2, 0), (2, 2)), False), 0.2 / m.scale)), 0.2 * 4 * DEPTH),
        doubtful("band-into-itself", extruded(lambda m: entity(m, "IfcCenterLineProfileDef", "AREA", None, m.polyline(((0, 0), (2, 0), (0, 0.1)), False), 0.5 / m.scale))),
        doubtful("line-profile", extruded(lambda m: entity(m, "IfcArbitraryOpenProfileDef", "CURVE", None, m.polyline(SQUARE, False)))),
    ]  # fmt: skip


def _lines(points: Sequence[Point]) -> list[Build]:
    """A polygon of lines, each cut off at a parameter."""

    def side(start: Point, end: Point) -> Build:
        def line(model: SolidModel) -> Entity:
            long = math.dist(start, end)
            way = model.direction((end[0] - start[0]) / long, (end[1] - start[1]) / long)
            return entity(
                model, "IfcLine", model.point(*start), entity(model, "IfcVector", way, 2.0 / model.scale)
            )

        return trimmed(line, 0.0, math.dist(start, end) / 2.0)

    return [side(start, end) for start, end in zip(points, [*points[1:], points[0]], strict=True)]


CASES = [*_sections(), *_polygons(), *_curves()]
