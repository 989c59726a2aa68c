"""Revolutions, tapers, pipes and other sweeps along lines, sections along an alignment: sound ones and hostile ones."""

from collections.abc import Sequence

import numpy as np
from hostile import CURVED, Build, Case, Entity, doubtful, entity, sound
from hostile_profiles import PI, SQUARE, composite, outline, polygon, section
from solid_models import SolidModel

Point3 = tuple[float, float, float]


def revolved(
    profile: Build,
    angle: float,
    at: Sequence[float] = (0.0, 0.0, 0.0),
    along: Sequence[float] = (0.0, 1.0, 0.0),
) -> Build:
    """An area turned about an axis in its plane."""

    def build(model: SolidModel) -> Entity:
        axis = entity(model, "IfcAxis1Placement", model.point(*at), model.direction(*along))
        return entity(model, "IfcRevolvedAreaSolid", profile(model), model.axes(), axis, angle)

    return build


def tapered(first: Build, last: Build, depth: float = 1.0) -> Build:
    return lambda model: entity(
        model, "IfcExtrudedAreaSolidTapered", first(model), model.axes(), model.direction(0, 0, 1),
        depth / model.scale, last(model),
    )  # fmt: skip


def line(*points: Point3, closed: bool = False) -> Build:
    return lambda model: model.polyline(points, closed)


def ring(radius: float) -> Build:
    return lambda model: entity(model, "IfcCircle", model.axes(), radius / model.scale)


def arc3(radius: float, start: float, end: float) -> Build:
    """An arc in the plane z = 0 about the origin, between two angles in radians."""

    def build(model: SolidModel) -> Entity:
        ends = [[entity(model, "IfcParameterValue", angle)] for angle in (start, end)]
        return entity(model, "IfcTrimmedCurve", ring(radius)(model), *ends, True, "PARAMETER")

    return build


def arc_at(centre: Point3, radius: float, start: float, end: float) -> Build:
    """An arc in the plane of its centre, between two angles in radians."""

    def build(model: SolidModel) -> Entity:
        circle = entity(model, "IfcCircle", model.axes(centre), radius / model.scale)
        ends = [[entity(model, "IfcParameterValue", angle)] for angle in (start, end)]
        return entity(model, "IfcTrimmedCurve", circle, *ends, True, "PARAMETER")

    return build


def indexed3(points: Sequence[Point3], *segments: tuple[str, Sequence[int]]) -> Build:
    def build(model: SolidModel) -> Entity:
        table = entity(model, "IfcCartesianPointList3D", [model.n(point) for point in points])
        kinds = {"line": "IfcLineIndex", "arc": "IfcArcIndex"}
        parts = [entity(model, kinds[kind], list(index)) for kind, index in segments]
        return entity(model, "IfcIndexedPolyCurve", table, parts or None, None)

    return build


def pipe(
    directrix: Build,
    radius: float,
    inner: float | None = None,
    start: float | None = None,
    end: float | None = None,
) -> Build:
    return lambda model: entity(
        model, "IfcSweptDiskSolid", directrix(model), radius / model.scale,
        None if inner is None else inner / model.scale, start, end,
    )  # fmt: skip


def polygonal_pipe(points: Sequence[Point3], radius: float, fillet: float | None) -> Build:
    return lambda model: entity(
        model, "IfcSweptDiskSolidPolygonal", model.polyline(points, False), radius / model.scale, None, None,
        None, None if fillet is None else fillet / model.scale,
    )  # fmt: skip


def fixed(
    profile: Build,
    directrix: Build,
    start: float | None = None,
    end: float | None = None,
    reference: Sequence[float] = (0, 0, 1),
    kind: str = "IfcFixedReferenceSweptAreaSolid",
) -> Build:
    return lambda model: entity(
        model, kind, profile(model), model.axes(), directrix(model),
        *(None if value is None else _parameter(model, value) for value in (start, end)),
        model.direction(*reference),
    )  # fmt: skip


def _parameter(model: SolidModel, value: float) -> Entity | float:
    return entity(model, "IfcParameterValue", value) if model.file.schema == "IFC4X3" else value


def over_plane(profile: Build, directrix: Build) -> Build:
    return lambda model: entity(
        model, "IfcSurfaceCurveSweptAreaSolid", profile(model), model.axes(), directrix(model), None, None,
        entity(model, "IfcPlane", model.axes()),
    )  # fmt: skip


def sectioned(profiles: Sequence[Build], stations: Sequence[float], directrix: Build | None = None) -> Build:
    """Sections along a straight alignment of 3 m, or along a line."""

    def build(model: SolidModel) -> Entity:
        way = (directrix or line((0, 0, 0), (3, 0, 0)))(model)
        places = []
        for station in stations:
            along = entity(model, "IfcLengthMeasure", station / model.scale)
            point = entity(model, "IfcPointByDistanceExpression", along, None, None, None, way)
            places.append(entity(model, "IfcAxis2PlacementLinear", point))
        return entity(
            model, "IfcSectionedSolidHorizontal", way, [profile(model) for profile in profiles], places
        )

    return build


def _revolutions() -> list[Case]:
    off = polygon((1, 0), (2, 0), (2, 1), (1, 1))
    on = polygon((0, 0), (1, 0), (1, 1), (0, 1))
    full = 2 * PI * 1.5
    ball = outline(
        composite(
            lambda m: _half_circle(m),
            lambda m: m.polyline(((0, 1), (0, -1)), False),
        )
    )
    tight = polygon((1e-9, 0), (1, 0), (1, 1), (1e-9, 1))
    return [
        sound("revolved-full", revolved(off, 2 * PI), full, CURVED),
        sound("revolved-quarter", revolved(off, PI / 2), full / 4, CURVED),
        sound("revolved-sliver", revolved(off, 0.001), full * 0.001 / (2 * PI), CURVED),
        sound("revolved-almost-full", revolved(off, 2 * PI - 1e-3), full * (1 - 1e-3 / (2 * PI)), CURVED),
        sound("revolved-on-axis", revolved(on, 2 * PI), PI, CURVED),
        sound("revolved-on-axis-part", revolved(on, PI), PI / 2, CURVED),
        sound("revolved-ball", revolved(ball, 2 * PI), 4 / 3 * PI, CURVED, fine=True),
        sound("revolved-triangle-to-axis", revolved(polygon((0, 0), (1, 0), (0, 1)), 2 * PI), PI / 3, CURVED),
        sound("revolved-other-side", revolved(polygon((-2, 0), (-1, 0), (-1, 1), (-2, 1)), PI), full / 2, CURVED),
        sound("revolved-axis-down", revolved(off, PI, along=(0, -1, 0)), full / 2, CURVED),
        sound("revolved-ring", revolved(section("IfcCircleProfileDef", Radius=0.5), 2 * PI, at=(1.5, 0, 0)), 2 * PI**2 * 1.5 * 0.25, CURVED, fine=True),
        sound("revolved-hollow", revolved(lambda m: m.profile(((1, 0), (2, 0), (2, 1), (1, 1)), [((1.25, 0.25), (1.75, 0.25), (1.75, 0.75), (1.25, 0.75))]), PI), 0.75 * full / 2, CURVED),
        doubtful("revolved-beside-axis", revolved(tight, 2 * PI), PI, CURVED),
        doubtful("revolved-through-axis", revolved(polygon((-1, 0), (1, 0), (1, 1), (-1, 1)), PI)),
        doubtful("revolved-through-axis-full", revolved(polygon((-1, 0), (2, 0), (2, 1), (-1, 1)), 2 * PI), 4 * PI, CURVED),
        doubtful("revolved-more", revolved(off, 7.0)),
        doubtful("revolved-degrees", revolved(off, 90.0)),
        doubtful("revolved-nothing", revolved(off, 0.0)),
        doubtful("revolved-minus", revolved(off, -PI), full / 2, CURVED),
        doubtful("revolved-axis-off-plane", revolved(off, PI, along=(0, 0, 1))),
        doubtful("revolved-axis-beside-plane", revolved(off, PI, at=(0, 0, 1))),
        doubtful("revolved-bow-tie", revolved(polygon((1, 0), (2, 1), (2, 0), (1, 1)), 2 * PI), 2 * PI * 1.5 * 0.5, CURVED),
    ]  # fmt: skip


def _half_circle(model: SolidModel) -> Entity:
    place = entity(model, "IfcAxis2Placement2D", model.point(0, 0), None)
    ends = [[entity(model, "IfcParameterValue", angle)] for angle in (-PI / 2, PI / 2)]
    basis = entity(model, "IfcCircle", place, 1.0 / model.scale)
    return entity(model, "IfcTrimmedCurve", basis, *ends, True, "PARAMETER")


def _tapers() -> list[Case]:
    def box(width: float, depth: float) -> Build:
        return section("IfcRectangleProfileDef", XDim=width, YDim=depth)

    def disk(radius: float) -> Build:
        return section("IfcCircleProfileDef", Radius=radius)

    frustum = (4 + 1 + 2) / 3
    turned = polygon((1, 0), (1, 1), (0, 1), (0, 0))
    return [
        sound("taper", tapered(box(2, 2), box(1, 1)), frustum),
        sound("taper-wider", tapered(box(1, 1), box(2, 2)), frustum),
        sound("taper-round", tapered(disk(1.0), disk(0.5)), PI * (1 + 0.5 + 0.25) / 3, CURVED),
        sound("taper-none", tapered(box(1, 1), box(1, 1)), 1.0),
        sound("taper-hollow", tapered(lambda m: m.profile(((0, 0), (2, 0), (2, 2), (0, 2)), [((0.5, 0.5), (1.5, 0.5), (1.5, 1.5), (0.5, 1.5))]),
                                      lambda m: m.profile(((0, 0), (2, 0), (2, 2), (0, 2)), [((0.5, 0.5), (1.5, 0.5), (1.5, 1.5), (0.5, 1.5))])), 3.0),
        doubtful("taper-turned", tapered(polygon(*SQUARE), turned), 1.0),
        doubtful("taper-other-shape", tapered(box(1, 1), polygon((0, 0), (1, 0), (0, 1)))),
        doubtful("taper-to-nothing", tapered(box(1, 1), box(1e-9, 1e-9)), 1 / 3, CURVED),
        doubtful("taper-round-to-square", tapered(disk(1.0), box(1, 1)), far=True, fine=True),
        doubtful("taper-mirrored", tapered(polygon(*SQUARE), polygon((0, 0), (-1, 0), (-1, 1), (0, 1))), 1.0),
    ]  # fmt: skip


def _pipes() -> list[Case]:
    straight = line((0, 0, 0), (3, 0, 0))
    bend = line((0, 0, 0), (2, 0, 0), (2, 2, 0))
    area = PI * 0.01
    round_end = arc_at((2, 0, 0), 0.5, -PI / 2, PI / 2)
    u_turn = indexed3(
        [(0, 0, 0), (2, 0, 0), (2.5, 0.5, 0), (2, 1, 0), (0, 1, 0)],
        ("line", (1, 2)), ("arc", (2, 3, 4)), ("line", (4, 5)),
    )  # fmt: skip
    pieces = composite(line((0, -0.5, 0), (2, -0.5, 0)), round_end, line((2, 0.5, 0), (0, 0.5, 0)))
    tight = indexed3(
        [(0, 0, 0), (2, 0, 0), (2.05, 0.05, 0), (2, 0.1, 0), (0, 0.1, 0)],
        ("line", (1, 2)), ("arc", (2, 3, 4)), ("line", (4, 5)),
    )  # fmt: skip
    closed = line((0, 0, 0), (2, 0, 0), (2, 2, 0), (0, 2, 0), closed=True)
    knot = line((0, 0, 0), (2, 0, 0), (2, 2, 0), (1, -1, 0))
    fillet = 4.0 - 2 * 0.3 + PI / 2 * 0.3
    return [
        sound("pipe-straight", pipe(straight, 0.1), 3 * area, CURVED),
        sound("pipe-hollow", pipe(straight, 0.1, 0.05), 3 * area * 0.75, CURVED),
        sound("pipe-upright", pipe(line((0, 0, 0), (0, 0, 3)), 0.1), 3 * area, CURVED),
        sound("pipe-bend", pipe(bend, 0.1), 4 * area, CURVED),
        sound("pipe-bend-hollow", pipe(bend, 0.1, 0.05), 4 * area * 0.75, CURVED),
        sound("pipe-three-ways", pipe(line((0, 0, 0), (2, 0, 0), (2, 2, 0), (2, 2, 2)), 0.1), 6 * area, CURVED),
        sound("pipe-points-in-line", pipe(line((0, 0, 0), (1, 0, 0), (2, 0, 0), (3, 0, 0)), 0.1), 3 * area, CURVED),
        sound("pipe-round", pipe(u_turn, 0.1), (4 + PI * 0.5) * area, CURVED, fine=True),
        sound("pipe-arc", pipe(arc3(1.0, 0.0, PI), 0.1), PI * area, CURVED),
        sound("pipe-ring", pipe(ring(1.0), 0.1), 2 * PI * area, CURVED, fine=True),
        sound("pipe-closed", pipe(closed, 0.1), 8 * area, CURVED),
        sound("pipe-filleted", polygonal_pipe(((0, 0, 0), (2, 0, 0), (2, 2, 0)), 0.1, 0.3), fillet * area, CURVED),
        sound("pipe-no-fillet", polygonal_pipe(((0, 0, 0), (2, 0, 0), (2, 2, 0)), 0.1, None), 4 * area, CURVED),
        sound("pipe-closed-in-space", pipe(line((0, 0, 0), (2, 0, 0), (2, 2, 0), (2, 2, 2), (0, 2, 2), (0, 0, 2), closed=True), 0.1), 12 * area, CURVED),
        doubtful("pipe-repeated-point", pipe(line((0, 0, 0), (1, 0, 0), (1, 0, 0), (3, 0, 0)), 0.1), 3 * area, CURVED),
        doubtful("pipe-part", pipe(bend, 0.1, None, 0.0, 1.0), 2 * area, CURVED),
        doubtful("pipe-part-middle", pipe(bend, 0.1, None, 0.5, 1.5), 2 * area, CURVED),
        doubtful("pipe-part-arc", pipe(ring(1.0), 0.1, None, 0.0, PI), PI * area, CURVED, fine=True),
        sound("pipe-pieces", pipe(pieces, 0.1), (4 + PI * 0.5) * area, CURVED),
        sound("pipe-pieces-whole", pipe(pieces, 0.1, None, 0.0, 2 + PI), (4 + PI * 0.5) * area, CURVED),
        sound("pipe-pieces-written-short", pipe(pieces, 0.1, None, 0.0, 5.14), (4 + PI * 0.5) * area, CURVED),
        sound("pipe-pieces-part", pipe(pieces, 0.1, None, 0.5, 1 + PI / 2), (1 + PI * 0.25) * area, CURVED),
        sound("pipe-arc-whole", pipe(arc3(1.0, 1.0, 2.0), 0.1, None, 0.0, 1.0), area, CURVED),
        sound("pipe-arc-by-circle", pipe(arc3(1.0, 1.0, 2.0), 0.1, None, 1.0, 2.0), area, CURVED),
        doubtful("pipe-pieces-counted", pipe(pieces, 0.1, None, 0.0, 3.0), (4 + PI * 0.5) * area, CURVED),
        sound("pipe-indexed-whole", pipe(u_turn, 0.1, None, 0.0, 3.0), (4 + PI * 0.5) * area, CURVED),
        doubtful("pipe-indexed-part", pipe(u_turn, 0.1, None, 0.0, 0.5)),
        doubtful("pipe-spline-part", pipe(spline3, 0.1, None, 0.0, 0.5)),
        doubtful("pipe-backwards", pipe(bend, 0.1, None, 2.0, 0.0), 4 * area, CURVED),
        doubtful("pipe-beyond", pipe(bend, 0.1, None, 0.0, 7.0), 4 * area, CURVED),
        doubtful("pipe-tight", pipe(tight, 0.1)),
        doubtful("pipe-ring-tight", pipe(ring(0.1), 0.2)),
        doubtful("pipe-back-on-itself", pipe(line((0, 0, 0), (2, 0, 0), (0, 0, 0)), 0.1)),
        doubtful("pipe-hairpin", pipe(line((0, 0, 0), (2, 0, 0), (0, 0.05, 0)), 0.1)),
        doubtful("pipe-crossing", pipe(knot, 0.1)),
        doubtful("pipe-short-legs", pipe(line((0, 0, 0), (0.05, 0, 0), (0.05, 0.05, 0), (0, 0.05, 0)), 0.1)),
        doubtful("pipe-of-nothing", pipe(line((0, 0, 0), (0, 0, 0)), 0.1)),
        doubtful("pipe-no-radius", pipe(straight, 0.0)),
        doubtful("pipe-minus", pipe(straight, -0.1)),
        doubtful("pipe-inner-larger", pipe(straight, 0.1, 0.2)),
        doubtful("pipe-inner-equal", pipe(straight, 0.1, 0.1)),
        doubtful("pipe-inner-minus", pipe(straight, 0.1, -0.05)),
        doubtful("pipe-inner-nothing", pipe(straight, 0.1, 0.0), 3 * area, CURVED),
        doubtful("pipe-fillet-too-large", polygonal_pipe(((0, 0, 0), (0.2, 0, 0), (0.2, 0.2, 0)), 0.1, 0.5)),
        doubtful("pipe-fillet-too-small", polygonal_pipe(((0, 0, 0), (2, 0, 0), (2, 2, 0)), 0.1, 0.05)),
        sound("pipe-spline", pipe(spline3, 0.1), _length(SPLINE) * area, CURVED, fine=True),
    ]  # fmt: skip


SPLINE: tuple[Point3, ...] = ((0, 0, 0), (1, 1, 0), (2, -1, 1), (3, 0, 0))


def _length(control: Sequence[Point3]) -> float:
    """Length of a cubic by its derivative."""
    t = np.linspace(0.0, 1.0, 20001)
    steps = np.diff(np.array(control, dtype=float), axis=0)
    way = 3 * (
        (1 - t[:, None]) ** 2 * steps[0]
        + 2 * t[:, None] * (1 - t[:, None]) * steps[1]
        + t[:, None] ** 2 * steps[2]
    )
    return float(np.trapezoid(np.linalg.norm(way, axis=1), t))


def spline3(model: SolidModel) -> Entity:
    corners = [model.point(*point) for point in SPLINE]
    return entity(
        model, "IfcBSplineCurveWithKnots", 3, corners, "UNSPECIFIED", False, False, [4, 4], [0.0, 1.0],
        "UNSPECIFIED",
    )  # fmt: skip


def _sweeps() -> list[Case]:
    box = section("IfcRectangleProfileDef", XDim=0.2, YDim=0.4)
    straight = line((0, 0, 0), (3, 0, 0))
    bend = line((0, 0, 0), (2, 0, 0), (2, 2, 0))
    flat = arc3(1.0, 0.0, PI / 2)
    return [
        doubtful("fixed-straight", fixed(box, straight), 0.08 * 3),
        doubtful("fixed-bend", fixed(box, bend), 0.08 * 4),
        doubtful("fixed-arc", fixed(box, flat), 0.08 * PI / 2, CURVED),
        doubtful("fixed-round", fixed(section("IfcCircleProfileDef", Radius=0.1), flat), PI * 0.01 * PI / 2, CURVED, far=True, fine=True),
        doubtful("fixed-part", fixed(box, bend, 0.0, 1.0), 0.08 * 2),
        doubtful("fixed-reference-along", fixed(box, straight, reference=(1, 0, 0))),
        doubtful("fixed-no-reference", fixed(box, straight, reference=(0, 0, 0))),
        doubtful("fixed-no-line", fixed(box, line((0, 0, 0), (0, 0, 0)))),
        doubtful("fixed-hairpin", fixed(box, line((0, 0, 0), (2, 0, 0), (0, 0.05, 0)))),
        doubtful("fixed-line-profile", fixed(lambda m: entity(m, "IfcArbitraryOpenProfileDef", "CURVE", None, m.polyline(SQUARE, False)), straight)),
        doubtful("surface-straight", over_plane(box, straight), 0.08 * 3),
        doubtful("surface-bend", over_plane(box, bend), 0.08 * 4),
        doubtful("surface-arc", over_plane(box, flat), 0.08 * PI / 2, CURVED),
    ]  # fmt: skip


def _sectioned() -> list[Case]:
    def box(width: float, depth: float) -> Build:
        return section("IfcRectangleProfileDef", XDim=width, YDim=depth)

    more = {"schema": "IFC4X3", "solid": False}
    given: list[tuple[str, list[Build], list[float], float | None, Build | None]] = [
        ("straight", [box(1, 0.5), box(1, 0.5)], [0, 3], 1.5, None),
        ("three", [box(1, 0.5)] * 3, [0, 1, 3], 1.5, None),
        ("part", [box(1, 0.5)] * 2, [1, 2], 0.5, None),
        ("widening", [box(1, 1), box(2, 1)], [0, 2], 3.0, None),
        ("frustum", [box(2, 2), box(1, 1)], [0, 3], 7.0, None),
        ("backwards", [box(1, 0.5)] * 2, [3, 0], 1.5, None),
        ("same-place", [box(1, 0.5)] * 2, [1, 1], None, None),
        ("beyond", [box(1, 0.5)] * 2, [0, 9], None, None),
        ("one", [box(1, 0.5)], [1], None, None),
        ("unlike", [box(1, 0.5), section("IfcCircleProfileDef", Radius=0.5)], [0, 3], None, None),
        ("bend", [box(0.2, 0.2)] * 2, [0, 4], 0.16, line((0, 0, 0), (2, 0, 0), (2, 2, 0))),
        ("arc", [box(0.2, 0.2)] * 2, [0, PI / 2], 0.04 * PI / 2, arc3(1.0, 0.0, PI / 2)),
        ("round", [section("IfcCircleProfileDef", Radius=0.5)] * 2, [0, 3], PI * 0.75, None),
        (
            "hollow",
            [section("IfcRectangleHollowProfileDef", XDim=1.0, YDim=1.0, WallThickness=0.1)] * 2,
            [0, 3],
            3 * 0.36,
            None,
        ),
        ("climbing", [box(1, 0.5)] * 2, [0, 5], 2.0, line((0, 0, 0), (4, 0, 3))),
        (
            "through-corner",
            [box(0.4, 0.2), box(0.2, 0.2)],
            [1, 3],
            0.2 * (0.35 + 0.25),
            line((0, 0, 0), (2, 0, 0), (2, 2, 0)),
        ),
        ("ring", [box(0.2, 0.2)] * 2, [0, 2 * PI], 0.04 * 2 * PI, ring(1.0)),
        ("there-and-back", [box(0.2, 0.2)] * 2, [0, 4], None, line((0, 0, 0), (2, 0, 0), (0, 0, 0))),
        ("tight", [box(3, 0.2)] * 2, [0, PI / 2], None, arc3(1.0, 0.0, PI / 2)),
        ("upright", [box(1, 0.5)] * 2, [0, 3], None, line((0, 0, 0), (0, 0, 3))),
        ("counts-differ", [box(1, 0.5)] * 3, [0, 3], None, None),
    ]
    told = ("backwards", "unlike")
    derived = "IfcDirectrixDerivedReferenceSweptAreaSolid"
    straight, bend = line((0, 0, 0), (3, 0, 0)), line((0, 0, 0), (2, 0, 0), (2, 2, 0))

    def surface(model: SolidModel) -> Entity:
        way = straight(model)
        places = [
            entity(model, "IfcAxis2PlacementLinear", entity(model, "IfcPointByDistanceExpression",
                   entity(model, "IfcLengthMeasure", at / model.scale), None, None, None, way))
            for at in (0.0, 3.0)
        ]  # fmt: skip
        rims = [
            entity(
                model, "IfcArbitraryOpenProfileDef", "CURVE", None, model.polyline(((0, 0), (1, 0)), False)
            )
            for _ in places
        ]
        return entity(model, "IfcSectionedSurface", way, places, rims)

    return [
        doubtful("derived-straight", fixed(box(0.2, 0.4), straight, kind=derived), 0.08 * 3, **more),
        doubtful("derived-bend", fixed(box(0.2, 0.4), bend, kind=derived), 0.08 * 4, CURVED, **more),
        doubtful(
            "derived-arc",
            fixed(box(0.2, 0.4), arc3(1.0, 0.0, PI / 2), kind=derived),
            0.08 * PI / 2,
            CURVED,
            **more,
        ),
        doubtful("sectioned-surface", surface, **more),
    ] + [
        (doubtful if value is None or name in told else sound)(
            f"sectioned-{name}", sectioned(profiles, stations, way), value, CURVED, **more
        )
        for name, profiles, stations, value, way in given
    ]


CASES = [*_revolutions(), *_tapers(), *_pipes(), *_sweeps(), *_sectioned()]
