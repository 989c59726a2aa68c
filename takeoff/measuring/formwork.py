"""Formwork contact area: what remains of each face after everything that needs no form is taken off."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from takeoff.geometry.contacts import Contacts, covered
from takeoff.geometry.mesh import Ints
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.bodies import Body
from takeoff.measuring.convention import Convention, band
from takeoff.measuring.dimensions import Dimensions
from takeoff.measuring.faces import AGAINST, FREE, GROUND, SEAT, Face, classify_faces
from takeoff.measuring.finishes import Finishes, FinishRule, finish_class
from takeoff.measuring.holes import LeftIn
from takeoff.measuring.records import FormworkRow, SurfaceRow
from takeoff.measuring.soffits import Below, Floors

CASTING = ("foundation", "column", "wall", "beam", "slab", "stair")
"""Order of casting: a later part is relieved by the one that stands already."""
SLIVER = 1e-3
"""Share of a soffit below which a different height under it is not told apart."""
NOISE = 1e-6
"""Remainders of a face under this area, m2, are rounding."""


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
    dimensions: Sequence[Dimensions],
    rows_of: Sequence[Ints],
    contacts: Contacts,
    on_ground: Sequence[bool],
    convention: Convention,
    left_in: Mapping[int, LeftIn],
    finishes: Finishes,
) -> dict[int, FormedBody]:
    """Formwork of every body that is formed, by position in `bodies`.

    `rows_of[b]` are the surfaces of body b; `on_ground[b]` says that its underside lies on the ground;
    `left_in[b]` are the voids that stay in the quantity: their rims are not formed, their area counts as face.
    """
    relief = _relief(surfaces, bodies, contacts, convention)
    concrete = np.concatenate(
        [rows for rows, body in zip(rows_of, bodies, strict=True) if body.concrete] or [_none()]
    )
    floors = Floors(surfaces, concrete)
    result = {}
    for number, body in enumerate(bodies):
        if body.formed:
            faces = classify_faces(
                surfaces, rows_of[number], body, dimensions[number], convention, on_ground[number]
            )
            result[number] = _measure(
                surfaces, rows_of[number], faces, body, dimensions[number], relief, floors, convention,
                left_in.get(number), finishes.of(body),
            )  # fmt: skip
    return result


def _none() -> Ints:
    return np.empty(0, dtype=np.int64)


@dataclass(frozen=True, slots=True, eq=False)
class _Relief:
    """For a surface: the region that needs no form, and (GlobalId of the other, state, area) for each contact."""

    region: dict[int, shapely.Geometry]
    touching: dict[int, list[tuple[str, str, float]]]


def _relief(
    surfaces: Surfaces, bodies: Sequence[Body], contacts: Contacts, convention: Convention
) -> _Relief:
    rows, shapes = [], []
    touching: dict[int, list[tuple[str, str, float]]] = defaultdict(list)
    for mine, theirs in ((contacts.first, contacts.second), (contacts.second, contacts.first)):
        for k in range(len(contacts)):
            own, other = int(mine[k]), int(theirs[k])
            body, neighbour = int(surfaces.part[own]), int(surfaces.part[other])
            if not bodies[body].formed or not _relieved(bodies[body], bodies[neighbour], convention):
                continue
            rows.append(own)
            shapes.append(contacts.polygon[k])
            state = "permanent-formwork" if bodies[neighbour].plan.permanent_formwork else "contact"
            touching[own].append((bodies[neighbour].element.facts.global_id, state, float(contacts.area[k])))
    region = covered(surfaces, np.array(rows, dtype=np.int64), np.array(shapes, dtype=object)) if rows else {}
    return _Relief(region, touching)


def _relieved(body: Body, neighbour: Body, convention: Convention) -> bool:
    """Whether a face of `body` needs no form where `neighbour` touches it."""
    if neighbour.plan.permanent_formwork:
        return True
    if not neighbour.concrete:
        return False
    if convention.contacts.relieve == "both" or not neighbour.formed:
        return True
    return CASTING.index(body.role) >= CASTING.index(neighbour.role)


def _measure(
    surfaces: Surfaces,
    rows: Ints,
    faces: Sequence[Face],
    body: Body,
    dimensions: Dimensions,
    relief: _Relief,
    floors: Floors,
    convention: Convention,
    left_in: LeftIn | None,
    finishes: Sequence[FinishRule],
) -> FormedBody:
    model, global_id, part = body.key
    gathered: dict[tuple, list[float]] = {}
    others: list[SurfaceRow] = []
    states: list[FaceState] = []
    no_floor = 0.0
    cramped, lowest = 0.0, np.inf

    def surface(state: str, area: float, slope: float, other_id: str = "") -> None:
        others.append(
            SurfaceRow(model, global_id, part, body.role, body.storey, state, area, slope, other_id)
        )

    seats = [int(row) for row, face in zip(rows, faces, strict=True) if face.category == SEAT]
    supported = any(row in relief.touching for row in seats)
    seated = 0.0
    holes = left_in.formwork if left_in is not None else ()
    rims = frozenset().union(*(hole.rim for hole in holes))
    for row, face in zip(rows.tolist(), faces, strict=True):
        whole = surfaces.polygon[row]
        region = relief.region.get(row)
        rest = whole if region is None else shapely.difference(whole, region)
        scale = float(surfaces.scale[row])
        area = float(rest.area) * scale
        slope = round(90.0 - abs(float(surfaces.rise[row])), 1)
        taken = float(surfaces.area[row]) - area
        if region is not None and taken > 0:
            total = sum(entry[2] for entry in relief.touching[row])
            for neighbour, state, touched in relief.touching[row]:
                surface(state, taken * touched / total, slope, neighbour)
        touching = frozenset(entry[1] for entry in relief.touching.get(row, ()))
        if area <= NOISE:
            states.append(FaceState(row, "", False, None, region, touching))
            continue
        category = face.category
        if category == SEAT:
            if not supported:
                seated += area
                surface("seated", area, slope)
                states.append(FaceState(row, "seated", False, rest, region, touching))
                continue
            category = f"{body.role}-soffit"
        states.append(
            FaceState(row, category, category not in (FREE, GROUND, AGAINST), rest, region, touching)
        )
        if category == FREE:
            surface("free", area, slope)
            continue
        if row in rims:
            surface("left-in", area, slope)
            continue
        if category in (GROUND, AGAINST):
            surface(category, area, slope)
            continue
        filled = sum(hole.area for hole in holes if row in hole.faces)
        pieces = _split(surfaces, row, rest, category, dimensions, floors, body, convention)
        for piece in _with_filled(pieces, filled):
            if piece.height is None and category.endswith("soffit"):
                no_floor += piece.area
            if piece.height is not None and piece.height < convention.soffits.least_height_m:
                cramped, lowest = cramped + piece.area, min(lowest, piece.height)
            shape = "curved" if surfaces.curved[row] else "plane"
            radius = None if np.isnan(surfaces.radius[row]) else round(float(surfaces.radius[row]), 4)
            height_band = (
                band(convention.bands.height_to_soffit_m, piece.height) if piece.height is not None else ""
            )
            key = (category, shape, piece.band, height_band, "opening" if face.opening else "", radius,
                   finish_class(finishes, category))  # fmt: skip
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
    surfaces: Surfaces,
    row: int,
    rest: shapely.Geometry,
    category: str,
    dimensions: Dimensions,
    floors: Floors,
    body: Body,
    convention: Convention,
) -> list[_Piece]:
    """Divide what remains of a face by what drives its price: depth of an edge, height to a soffit."""
    scale = float(surfaces.scale[row])
    bands = convention.bands
    if category.endswith("soffit"):
        if category == "slab-soffit":
            text = band(bands.slab_thickness_mm, dimensions.thickness * 1e3)
        elif category == "beam-soffit":
            text = band(bands.beam_depth_mm, dimensions.thickness * 1e3)
        else:
            text = ""
        below = floors.below(row, rest) if surfaces.frame[row] >= 0 else [Below(1.0, None)]
        below = _without_slivers(below)
        heights = [_assumed(entry, surfaces, row, body) for entry in below]
        area = float(rest.area) * scale
        return [
            _Piece(area * entry.share, 0.0, height, text, 0.0)
            for entry, height in zip(below, heights, strict=True)
        ]
    if category in ("slab-edge", "foundation-side", "beam-side", "stair-riser"):
        pieces = []
        for piece in shapely.get_parts(rest):
            if piece.area * scale <= NOISE:
                continue
            _, low, _, high = piece.bounds
            depth = float(high - low)
            area = float(piece.area) * scale
            text = ""
            if category == "slab-edge":
                text = band(bands.edge_depth_mm, depth * 1e3)
            elif category == "foundation-side":
                text = band(bands.foundation_depth_mm, depth * 1e3)
            elif category == "beam-side":
                text = band(bands.beam_depth_mm, dimensions.thickness * 1e3)
            pieces.append(_Piece(area, area / depth if depth > 0 else 0.0, None, text, depth))
        return pieces
    text = ""
    if category == "column-side":
        text = band(bands.column_girth_mm, dimensions.outline.length * 1e3)
    return [_Piece(float(rest.area) * scale, 0.0, None, text, 0.0)]


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
