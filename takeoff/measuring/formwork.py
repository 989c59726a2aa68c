"""Formwork contact area: what remains of each face after everything that needs no form is taken off."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from takeoff.geometry.contacts import Contacts
from takeoff.geometry.mesh import Ints
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.bodies import Body
from takeoff.measuring.convention import Convention, band
from takeoff.measuring.dimensions import Dimensions
from takeoff.measuring.faces import AGAINST, FREE, GROUND, SEAT, Face, classify_faces
from takeoff.measuring.finishes import Finishes, FinishRule, finish_class
from takeoff.measuring.holes import LeftIn
from takeoff.measuring.records import FormworkRow, SurfaceRow
from takeoff.measuring.relief import CONTACT, LOST_FORM, Relief, find_relief
from takeoff.measuring.remains import Remains, Strip, find_remains
from takeoff.measuring.soffits import Below, Floors

SLIVER = 1e-3
"""Share of a soffit below which a different height under it is not told apart."""
NOISE = 1e-6
"""Remainders of a face under this area, m2, are rounding."""
UNFORMED = (FREE, GROUND, AGAINST)
"""Faces that need no form of themselves: what touches them is no form either."""
STRIPS = ("slab-edge", "foundation-side", "beam-side", "stair-riser")
"""Categories of which each connected piece has its own depth and length."""


@dataclass(frozen=True, slots=True, eq=False)
class FaceState:
    """What became of one surface, for whoever draws it.

    `row` is its place in Surfaces. `rest` is what no contact relieves, in the surface's own polygon coordinates
    (None where nothing is left), with the `category` that it is formed as, or the state that needs no form.
    `relieved` is the region in contact, None where there is none, and `touching` the states of the contacts.
    """

    row: int
    category: str
    formed: bool
    rest: shapely.Geometry | None
    relieved: shapely.Geometry | None
    touching: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, eq=False)
class FormedBody:
    """Formwork rows of one body, its other surfaces, what had to be assumed, and the state of each face.

    `seated` m2 stand on nothing that is shown, `no_floor` m2 of soffit hang over nothing; `cramped` is the m2 of
    soffit with too little room to strike a form, and the least height there.
    """

    rows: tuple[FormworkRow, ...]
    surfaces: tuple[SurfaceRow, ...]
    area: float
    seated: float
    no_floor: float
    cramped: tuple[float, float]
    faces: tuple[FaceState, ...] = ()


def measure_formwork(
    surfaces: Surfaces,
    bodies: Sequence[Body],
    dimensions: Sequence[Dimensions] | Mapping[int, Dimensions],
    rows_of: Sequence[Ints],
    contacts: Contacts,
    on_ground: Sequence[bool],
    convention: Convention,
    left_in: Mapping[int, LeftIn],
    finishes: Finishes,
    numbers: range | None = None,
    against: Mapping[int, shapely.Geometry] | None = None,
) -> dict[int, FormedBody]:
    """Formwork of every body that is formed, by position in `bodies`; of those in `numbers` only, if given.

    `rows_of[b]` are the surfaces of body b, `dimensions` is asked for the wanted ones only; `on_ground[b]` says that
    its underside lies on the ground; `left_in[b]` are the voids that stay in the quantity: their rims are not
    formed, their area counts as face. `against` are regions of faces that are cast against the ground.
    """
    formed = [number for number in numbers or range(len(bodies)) if bodies[number].formed]
    relief = find_relief(surfaces, bodies, rows_of, formed, contacts, convention, against or {})
    concrete = np.concatenate(
        [rows for rows, body in zip(rows_of, bodies, strict=True) if body.concrete] or [_none()]
    )
    remains = find_remains(
        surfaces, np.concatenate([rows_of[number] for number in formed] or [_none()]), relief.region
    )
    faces_of = {
        number: _formed_faces(surfaces, number, rows_of[number], bodies, dimensions, relief, convention, on_ground)
        for number in formed
    }  # fmt: skip
    rims = {
        number: frozenset().union(*(hole.rim for hole in left.formwork)) for number, left in left_in.items()
    }
    areas_left = remains.area.tolist()
    left = [
        (row, face.category)
        for number, faces in faces_of.items()
        for row, face in zip(rows_of[number].tolist(), faces, strict=True)
        if areas_left[row] > NOISE and row not in rims.get(number, ())
    ]
    soffits = [row for row, category in left if category.endswith("soffit") and surfaces.frame[row] >= 0]
    below = Floors(surfaces, concrete).below(soffits, [remains.rest[row] for row in soffits])
    view = _View(
        surfaces,
        bodies,
        relief,
        remains,
        dict(zip(soffits, below, strict=True)),
        remains.strips(surfaces, [row for row, category in left if category in STRIPS]),
        convention,
        surfaces.area.tolist(),
        areas_left,
        [round(90.0 - abs(rise), 1) for rise in surfaces.rise.tolist()],
        ["curved" if curved else "plane" for curved in surfaces.curved.tolist()],
        [None if radius != radius else round(radius, 4) for radius in surfaces.radius.tolist()],
    )
    return {
        number: _measure(
            view, rows_of[number], faces, bodies[number], dimensions[number],
            left_in.get(number), rims.get(number, frozenset()), finishes.of(bodies[number]),
        )
        for number, faces in faces_of.items()
    }  # fmt: skip


def _formed_faces(
    surfaces: Surfaces,
    number: int,
    rows: Ints,
    bodies: Sequence[Body],
    dimensions: Sequence[Dimensions] | Mapping[int, Dimensions],
    relief: Relief,
    convention: Convention,
    on_ground: Sequence[bool],
) -> list[Face]:
    """Faces of a formed body; the seat of one that stands on concrete with a part of it only is a soffit."""
    body = bodies[number]
    faces = classify_faces(surfaces, rows, body, dimensions[number], convention, on_ground[number])
    seats = [row for row, face in zip(rows.tolist(), faces, strict=True) if face.category == SEAT]
    if not any(row in relief.touching for row in seats):
        return faces
    return [Face(f"{body.role}-soffit", face.opening) if face.category == SEAT else face for face in faces]


def _none() -> Ints:
    return np.empty(0, dtype=np.int64)


@dataclass(frozen=True, slots=True, eq=False)
class _View:
    """What all `bodies` are measured by: `below` the soffits' floors, `strips` the pieces of edges, both by row.

    `area` m2, what is `left` of it, `slope` degrees, `shape` and `radius` m of every surface stand here as plain
    lists: read one by one, an array costs ten times as much.
    """

    surfaces: Surfaces
    bodies: Sequence[Body]
    relief: Relief
    remains: Remains
    below: Mapping[int, list[Below]]
    strips: Mapping[int, list[Strip]]
    convention: Convention
    area: list[float]
    left: list[float]
    slope: list[float]
    shape: list[str]
    radius: list[float | None]


def _measure(
    view: _View,
    rows: Ints,
    faces: Sequence[Face],
    body: Body,
    dimensions: Dimensions,
    left_in: LeftIn | None,
    rims: frozenset[int],
    finishes: Sequence[FinishRule],
) -> FormedBody:
    relief, convention = view.relief, view.convention
    model, global_id, part = body.key
    gathered: dict[tuple, list[float]] = {}
    others: list[SurfaceRow] = []
    states: list[FaceState] = []
    no_floor = 0.0
    cramped, lowest = 0.0, np.inf

    def surface(state: str, area: float, slope: float, *why: str) -> None:
        others.append(SurfaceRow(model, global_id, part, body.role, body.storey, state, area, slope, *why))

    seated = 0.0
    holes = left_in.formwork if left_in is not None else ()
    for row, face in zip(rows.tolist(), faces, strict=True):
        region = relief.region.get(row)
        rest, area = view.remains.rest[row], view.left[row]
        slope = view.slope[row]
        taken = view.area[row] - area
        touches = relief.touching.get(row, ())
        reasons = [touch.state if face.category not in UNFORMED else CONTACT for touch in touches]
        if region is not None and taken > 0:
            total = sum(touch.area for touch in touches)
            for touch, why in zip(touches, reasons, strict=True):
                surface(why, taken * touch.area / total, slope, *_because(view.bodies, body, touch.body, why))
        touching = frozenset(reasons)
        if area <= NOISE:
            states.append(FaceState(row, "", False, None, region, touching))
            continue
        category = face.category
        if category == SEAT:
            seated += area
            surface("seated", area, slope)
            states.append(FaceState(row, "seated", False, rest, region, touching))
            continue
        states.append(FaceState(row, category, category not in UNFORMED, rest, region, touching))
        if category == FREE:
            surface("free", area, slope)
            continue
        if row in rims:
            surface("left-in", area, slope)
            continue
        if category in UNFORMED:
            surface(category, area, slope, *_because(view.bodies, body, -1, category))
            continue
        filled = sum([hole.area for hole in holes if row in hole.faces]) if holes else 0.0
        pieces = _split(view, row, area, category, dimensions, body)
        for piece in _with_filled(pieces, filled):
            if piece.height is None and category.endswith("soffit"):
                no_floor += piece.area
            if piece.height is not None and piece.height < convention.soffits.least_height_m:
                cramped, lowest = cramped + piece.area, min(lowest, piece.height)
            height_band = (
                band(convention.bands.height_to_soffit_m, piece.height) if piece.height is not None else ""
            )
            key = (
                category,
                view.shape[row],
                piece.band,
                height_band,
                "opening" if face.opening else "",
                view.radius[row],
                finish_class(finishes, category),
            )
            entry = gathered.setdefault(key, [0.0, 0.0, 0.0, 0.0, 0.0, 0.0])
            entry[0] += piece.area
            entry[1] += piece.length
            entry[2] += (piece.height or 0.0) * piece.area
            entry[3] += slope * piece.area
            entry[4] += piece.depth * piece.area
            entry[5] += 0.0 if piece.height is None else piece.area
    made = tuple(
        FormworkRow(
            model, global_id, part, body.role, body.storey,
            category, shape, depth_band,
            entry[2] / entry[5] if entry[5] else None,
            entry[0],
            entry[1] if entry[1] else None,
            height_band, place, entry[3] / entry[0], radius, finish,
            entry[4] / entry[0] if entry[4] else None,
        )
        for (category, shape, depth_band, height_band, place, radius, finish), entry in gathered.items()
    )  # fmt: skip
    area = sum(row.area_m2 for row in made)
    return FormedBody(made, tuple(others), area, seated, no_floor, (cramped, float(lowest)), tuple(states))


def _because(bodies: Sequence[Body], body: Body, by: int, state: str) -> tuple[str, str, str]:
    """GlobalId and method of the neighbour `by` (-1: none), and what decided that it, or the ground, is the form."""
    other = bodies[by] if by >= 0 else None
    of, method = (other.element.facts.global_id, other.method) if other else ("", "")
    if state == AGAINST:
        ground = (other or body).element.ground
        return of, method, ground.evidence if ground else f"class {body.element.facts.ifc_class}"
    return of, method, other.plan.evidence if other and state == LOST_FORM else ""


@dataclass(frozen=True, slots=True)
class _Piece:
    area: float
    length: float
    height: float | None
    band: str
    depth: float


def _with_filled(pieces: list[_Piece], filled: float) -> list[_Piece]:
    """The pieces of a face with the area of holes that stay in added to the largest."""
    if not filled or not pieces:
        return pieces
    main = max(pieces, key=lambda piece: piece.area)
    return [replace(piece, area=piece.area + filled) if piece is main else piece for piece in pieces]


def _split(
    view: _View, row: int, area: float, category: str, dimensions: Dimensions, body: Body
) -> list[_Piece]:
    """Divide what remains of a face (`area` m2) by what drives its price: depth of an edge, height to a soffit."""
    bands = view.convention.bands
    if category.endswith("soffit"):
        if category == "slab-soffit":
            text = band(bands.slab_thickness_mm, dimensions.thickness * 1e3)
        elif category == "beam-soffit":
            text = band(bands.beam_depth_mm, dimensions.thickness * 1e3)
        else:
            text = ""
        below = _without_slivers(view.below.get(row, [Below(1.0, None)]))
        heights = [_assumed(entry, view.surfaces, row, body) for entry in below]
        return [
            _Piece(area * entry.share, 0.0, height, text, 0.0)
            for entry, height in zip(below, heights, strict=True)
        ]
    if category in STRIPS:
        pieces = []
        for strip in view.strips[row]:
            if strip.area <= NOISE:
                continue
            depth = strip.depth
            text = ""
            if category == "slab-edge":
                text = band(bands.edge_depth_mm, depth * 1e3)
            elif category == "foundation-side":
                text = band(bands.foundation_depth_mm, depth * 1e3)
            elif category == "beam-side":
                text = band(bands.beam_depth_mm, dimensions.thickness * 1e3)
            pieces.append(_Piece(strip.area, strip.area / depth if depth > 0 else 0.0, None, text, depth))
        return pieces
    text = ""
    if category == "column-side":
        text = band(bands.column_girth_mm, dimensions.outline.length * 1e3)
    return [_Piece(area, 0.0, None, text, 0.0)]


def _without_slivers(below: list[Below]) -> list[Below]:
    """Shares too small to prop for themselves go to the largest."""
    main = max(below, key=lambda entry: entry.share)
    kept = [entry for entry in below if entry is main or entry.share > SLIVER]
    rest = 1.0 - sum(entry.share for entry in kept)
    return [Below(entry.share + rest, entry.height) if entry is main else entry for entry in kept]


def _assumed(below: Below, surfaces: Surfaces, row: int, body: Body) -> float | None:
    """Height to what is below; to the level of the storey where there is nothing and the storey is under it."""
    if below.height is not None:
        return below.height
    level = body.storey_elevation
    height = None if level is None else float(surfaces.centre[row, 2]) - level
    return height if height is not None and height > 0.5 else None
