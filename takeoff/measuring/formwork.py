"""Formwork contact area: what remains of each face after everything that needs no form is taken off."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from takeoff.geometry.mesh import Ints
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.bodies import Body
from takeoff.measuring.convention import Convention, band
from takeoff.measuring.dimensions import Dimensions
from takeoff.measuring.face_pieces import NOISE, STRIPS, View, split_face, with_filled
from takeoff.measuring.faces import AGAINST, FREE, GROUND, SEAT, Face, classify_faces
from takeoff.measuring.finishes import Finishes, FinishRule, finish_class
from takeoff.measuring.holes import LeftIn
from takeoff.measuring.narrow import limit_for, strips_of, told_apart
from takeoff.measuring.records import FormworkRow, SurfaceRow
from takeoff.measuring.relief import CONTACT, LOST_FORM, Relief, Touches, find_relief
from takeoff.measuring.remains import find_remains
from takeoff.measuring.soffits import Floors

UNFORMED = (FREE, GROUND, AGAINST)
"""Faces that need no form of themselves: what touches them is no form either."""

NARROW = {"opening-reveal": "narrow.reveal_mm"}
"""Keys of the convention by which strips of a category are narrow; of any other it is that of formwork."""
CLOSED = 1e-4
"""Faces nearer to each other than this, m, touch without any tolerance."""
LEVEL = 0.05
"""Tops that slope less than this, degrees, are level."""


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
    soffit with too little room to strike a form, and the least height there. `effects` are the m2 of formwork that
    values of the convention made more or less, by key; `by_thickness` the m2 on precast pieces that are taken as
    forms that stay because they are thin. What lies lower than `reach` m (in the meshes' heights) has no say in any of
    it: inf where nothing is hung over, -inf where a soffit hangs over nothing.
    """

    rows: tuple[FormworkRow, ...]
    surfaces: tuple[SurfaceRow, ...]
    area: float
    seated: float
    no_floor: float
    cramped: tuple[float, float]
    faces: tuple[FaceState, ...] = ()
    effects: tuple[tuple[str, float], ...] = ()
    by_thickness: float = 0.0
    reach: float = np.inf


def measure_formwork(
    surfaces: Surfaces,
    bodies: Sequence[Body],
    dimensions: Mapping[int, Dimensions],
    rows_of: Sequence[Ints],
    touches: Touches,
    floors: Floors,
    on_ground: Sequence[bool],
    convention: Convention,
    left_in: Mapping[int, LeftIn],
    finishes: Finishes,
    numbers: Sequence[int],
    against: Mapping[int, shapely.Geometry],
) -> dict[int, FormedBody]:
    """Formwork of the bodies `numbers` that are formed, by position in `bodies`.

    `rows_of[b]` are the surfaces of body b, `dimensions` is asked for the wanted ones only; `floors` are all that props
    can stand on; `on_ground[b]` says that
    its underside lies on the ground; `left_in[b]` are the voids that stay in the quantity: their rims are not
    formed, their area counts as face. `against` are regions of faces that are cast against the ground.
    """
    formed = [number for number in numbers if bodies[number].formed]
    relief = find_relief(surfaces, bodies, rows_of, formed, touches, convention, against)
    wanted = np.concatenate([rows_of[number] for number in formed] or [_none()])
    remains = find_remains(surfaces, wanted, relief.region)
    faces_of = {
        number: _formed_faces(surfaces, number, rows_of[number], bodies, dimensions, relief, convention, on_ground)
        for number in formed
    }  # fmt: skip
    rims = {
        number: frozenset().union(*(hole.rim for hole in left.formwork)) for number, left in left_in.items()
    }
    listed = wanted.tolist()
    areas_left = dict(zip(listed, remains.area[wanted].tolist(), strict=True))
    left = [
        (row, face.category)
        for number, faces in faces_of.items()
        for row, face in zip(rows_of[number].tolist(), faces, strict=True)
        if areas_left[row] > NOISE and row not in rims.get(number, ())
    ]
    soffits = [row for row, category in left if category.endswith("soffit") and surfaces.frame[row] >= 0]
    below = floors.below(soffits, [remains.rest[row] for row in soffits])
    slope = [round(90.0 - abs(rise), 1) for rise in surfaces.rise[wanted].tolist()]
    shape = ["curved" if curved else "plane" for curved in surfaces.curved[wanted].tolist()]
    radius = [None if size != size else round(size, 4) for size in surfaces.radius[wanted].tolist()]
    view = View(
        surfaces,
        bodies,
        relief,
        remains,
        dict(zip(soffits, below, strict=True)),
        remains.strips(surfaces, [row for row, category in left if category in STRIPS]),
        convention,
        dict(zip(listed, surfaces.area[wanted].tolist(), strict=True)),
        areas_left,
        dict(zip(listed, slope, strict=True)),
        dict(zip(listed, shape, strict=True)),
        dict(zip(listed, radius, strict=True)),
    )  # fmt: skip
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
    dimensions: Mapping[int, Dimensions],
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


def _measure(
    view: View,
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

    def surface(state: str, area: float, slope: float, why: tuple[str, str, str] = ("", "", "")) -> None:
        others.append(SurfaceRow(*body.key, body.role, body.storey, state, area, slope, *why))

    effects: dict[str, float] = defaultdict(float)
    thin = 0.0
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
                part_taken = taken * touch.area / total
                surface(why, part_taken, slope, _because(view.bodies, body, touch.body, why))
                if face.category in UNFORMED or face.category == SEAT:
                    continue
                if touch.gap > CLOSED:
                    effects["contacts.gap_mm"] -= part_taken
                if touch.closed:
                    effects["contacts.close_mm"] -= part_taken
                if why == LOST_FORM and view.bodies[touch.body].concrete:
                    thin += 0.0 if view.bodies[touch.body].plan.shell else part_taken
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
            tops = _free(view, row, body, rest, area)
            others += tops
            effects["narrow.finish_mm"] -= sum(top.area_m2 for top in tops if top.length_m is not None)
            if slope > LEVEL:
                effects["slopes.free_below_deg"] -= area
            continue
        if row in rims:
            surface("left-in", area, slope)
            effects["voids.leave_in_formwork_m2"] -= area
            continue
        if category in UNFORMED:
            surface(category, area, slope, _because(view.bodies, body, -1, category))
            if category == GROUND and body.role == "slab" and body.element.subrole.upper() != "BASESLAB":
                effects["ground.slab_words"] -= area
            continue
        filled = sum([hole.area for hole in holes if row in hole.faces]) if holes else 0.0
        if filled:
            effects["voids.leave_in_formwork_m2"] += filled
        pieces = split_face(view, row, area, category, dimensions, body)
        limit, counted = limit_for(convention, category)
        if limit > 0:
            pieces = told_apart(pieces, category, strips_of(view.surfaces, row, rest, limit))
        for piece in with_filled(pieces, filled):
            if piece.narrow and counted == "out":
                surface("narrow", piece.area, slope)
                effects[NARROW.get(category, "narrow.formwork_mm")] -= piece.area
                continue
            if piece.narrow and counted == "length":
                effects[NARROW.get(category, "narrow.formwork_mm")] -= piece.area
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
                "length" if piece.narrow and counted == "length" else "area",
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
            entry[4] / entry[0] if entry[4] else None, measure,
        )
        for (category, shape, depth_band, height_band, place, radius, finish, measure), entry in gathered.items()
    )  # fmt: skip
    area = sum(row.area_m2 for row in made)
    return FormedBody(
        made, tuple(others), area, seated, no_floor, (cramped, float(lowest)), tuple(states),
        tuple((key, size) for key, size in effects.items() if size), thin,
        min((view.below[row].reach for row in rows.tolist() if row in view.below), default=np.inf),
    )  # fmt: skip


def _free(view: View, row: int, body: Body, rest: shapely.Geometry, area: float) -> list[SurfaceRow]:
    """Rows of a free top: what is narrow, by the convention, apart from the rest."""
    slope = view.slope[row]
    limit, counted = limit_for(view.convention, FREE)
    whole = SurfaceRow(*body.key, body.role, body.storey, "free", area, slope)
    strips = strips_of(view.surfaces, row, rest, limit) if limit > 0 and counted != "in" else []
    narrow = sum(strip.area for strip in strips if strip.narrow)
    if narrow <= 0:
        return [whole]
    length = sum(strip.length for strip in strips if strip.narrow)
    out = counted == "out"
    apart = replace(
        whole,
        state="narrow" if out else "free",
        area_m2=narrow,
        measure="area" if out else "length",
        length_m=length,
    )
    return [apart] if area - narrow <= NOISE else [apart, replace(whole, area_m2=area - narrow)]


def _because(bodies: Sequence[Body], body: Body, by: int, state: str) -> tuple[str, str, str]:
    """GlobalId and method of the neighbour `by` (-1: none), and what decided that it, or the ground, is the form."""
    other = bodies[by] if by >= 0 else None
    of, method = (other.element.facts.global_id, other.method) if other else ("", "")
    if state == AGAINST:
        ground = (other or body).element.ground
        return of, method, ground.evidence if ground else f"class {body.element.facts.ifc_class}"
    return of, method, other.plan.evidence if other and state == LOST_FORM else ""
