"""Formwork contact area: what remains of each face after everything that needs no form is taken off."""

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from msgspec import Struct

from takeoff.geometry.mesh import Ints
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.bodies import Body, noted
from takeoff.measuring.convention import Convention, band
from takeoff.measuring.dimensions import Dimensions
from takeoff.measuring.face_pieces import STRIPS, View, depth_limits, split_face, with_filled
from takeoff.measuring.faces import AGAINST, FREE, GROUND, SEAT, Face, classify_faces
from takeoff.measuring.finishes import Finishes, FinishRule
from takeoff.measuring.form_rows import FormRows
from takeoff.measuring.holes import LeftIn
from takeoff.measuring.narrow import limit_for, strips_of, told_apart
from takeoff.measuring.records import FormworkRow, SurfaceRow
from takeoff.measuring.relief import CLOSED, CONTACT, LOST_FORM, Relief, Touches, find_relief
from takeoff.measuring.remains import NOISE, find_remains
from takeoff.measuring.soffits import Floors

UNFORMED = (FREE, GROUND, AGAINST)
"""Faces that need no form of themselves: what touches them is no form either."""

NARROW = {"opening-reveal": "narrow.reveal_mm"}
"""Keys of the convention by which strips of a category are narrow; of any other it is that of formwork."""
BEAMS = ("beam-side", "beam-soffit")
"""Categories that tell beams no slab touches apart: their forms stand for themselves."""
LEVEL = 0.05
"""Tops that slope less than this, degrees, are level."""


class FaceState(Struct, frozen=True, eq=False):
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


class FormedBody(Struct, frozen=True, eq=False):
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

    `rows_of[b]` are the surfaces of body b, `dimensions` is asked for the wanted ones only; `floors` are all that
    props can stand on; `on_ground[b]` says that
    its underside lies on the ground; `left_in[b]` are the voids that stay in the quantity: their rims are not
    formed, their area counts as face. `against` are regions of faces that are cast against the ground.
    """
    formed = [number for number in numbers if bodies[number].formed]
    relief = find_relief(surfaces, bodies, rows_of, formed, touches, convention, against)
    wanted = np.concatenate([rows_of[number] for number in formed] or [_none()])
    remains = find_remains(surfaces, wanted, relief.region)
    faces_of = {
        number: _formed_faces(surfaces, number, rows_of[number], bodies, dimensions, relief, convention, on_ground)
        for number in noted(formed, bodies)
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
    levels = [bodies[number].storey_elevation for number in surfaces.part[soffits].tolist()]
    below = floors.below(soffits, [remains.rest[row] for row in soffits], levels)
    slope = [round(90.0 - abs(rise), 1) for rise in surfaces.rise[wanted].tolist()]
    shape = ["curved" if curved else "plane" for curved in surfaces.curved[wanted].tolist()]
    radius = [None if size != size else round(size, 4) for size in surfaces.radius[wanted].tolist()]
    limits = {category: depth_limits(convention, category) for category in STRIPS}
    view = View(
        surfaces,
        bodies,
        relief,
        remains,
        dict(zip(soffits, below, strict=True)),
        remains.strips(surfaces, {row: limits[category] for row, category in left if category in STRIPS}),
        convention,
        dict(zip(listed, surfaces.area[wanted].tolist(), strict=True)),
        areas_left,
        dict(zip(listed, slope, strict=True)),
        dict(zip(listed, shape, strict=True)),
        dict(zip(listed, radius, strict=True)),
    )  # fmt: skip
    made = {}
    for number in noted(faces_of, bodies):
        faces = faces_of[number]
        taking = _Taking(
            view,
            bodies[number],
            dimensions[number],
            left_in.get(number),
            rims.get(number, frozenset()),
            finishes.of(bodies[number]),
            number in touches.isolated,
        )
        listed = rows_of[number].tolist()
        for row, face in zip(listed, faces, strict=True):
            taking.take(row, face)
        made[number] = taking.formed(listed)
    return made


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


class _Taking:
    """Formwork of one body, taken face by face."""

    def __init__(
        self,
        view: View,
        body: Body,
        dimensions: Dimensions,
        left_in: LeftIn | None,
        rims: frozenset[int],
        finishes: Sequence[FinishRule],
        isolated: bool,
    ) -> None:
        self.isolated = isolated
        self.view, self.body, self.dimensions, self.rims = view, body, dimensions, rims
        self.holes = left_in.formwork if left_in is not None else ()
        self.rows = FormRows(body, finishes)
        self.others: list[SurfaceRow] = []
        self.states: list[FaceState] = []
        self.effects: dict[str, float] = defaultdict(float)
        self.seated = self.no_floor = self.thin = self.cramped = 0.0
        self.lowest = np.inf

    def take(self, row: int, face: Face) -> None:
        """Take one face: what touches it, then what is left of it."""
        view, category, area = self.view, face.category, self.view.left[row]
        touching = self._touched(row, category)
        formed = area > NOISE and category not in UNFORMED and category != SEAT
        named = "" if area <= NOISE else "seated" if category == SEAT else category
        rest = view.remains.rest[row] if area > NOISE else None
        self.states.append(FaceState(row, named, formed, rest, view.relief.region.get(row), touching))
        if area <= NOISE:
            return
        if category == SEAT:
            self.seated += area
            self._surface("seated", area, row)
        elif category == FREE:
            self._free(row, area)
        elif row in self.rims:
            self._surface("left-in", area, row)
            self.effects["voids.leave_in_formwork_m2"] -= area
        elif category in UNFORMED:
            self._surface(category, area, row, _because(view.bodies, self.body, -1, category))
            if category == GROUND and self.body.role == "slab" and not self.body.base_slab:
                self.effects["ground.slab_words"] -= area
        else:
            self._form(row, face, area)

    def formed(self, rows: Sequence[int]) -> FormedBody:
        """The body with all its faces `rows` taken."""
        made = self.rows.made()
        below = self.view.below
        return FormedBody(
            made,
            tuple(self.others),
            sum(row.area_m2 for row in made),
            self.seated,
            self.no_floor,
            (self.cramped, float(self.lowest)),
            tuple(self.states),
            tuple((key, size) for key, size in self.effects.items() if size),
            self.thin,
            min((below[row].reach for row in rows if row in below), default=np.inf),
        )

    def _surface(self, state: str, area: float, row: int, why: tuple[str, str, str] = ("", "", "")) -> None:
        body = self.body
        self.others.append(
            SurfaceRow(*body.key, body.role, body.storey, state, area, self.view.slope[row], *why)
        )

    def _touched(self, row: int, category: str) -> frozenset[str]:
        """What touches a face takes its part of it; the states of all contacts."""
        view = self.view
        touches = view.relief.touching.get(row, ())
        reasons = [touch.state if category not in UNFORMED else CONTACT for touch in touches]
        taken = view.area[row] - view.left[row]
        if row not in view.relief.region or taken <= 0:
            return frozenset(reasons)
        total = sum(touch.area for touch in touches)
        for touch, why in zip(touches, reasons, strict=True):
            share = taken * touch.area / total
            self._surface(why, share, row, _because(view.bodies, self.body, touch.body, why))
            if category in UNFORMED or category == SEAT:
                continue
            if touch.gap > CLOSED:
                self.effects["contacts.gap_mm"] -= share
            if touch.closed:
                self.effects["contacts.close_mm"] -= share
            if why == LOST_FORM and view.bodies[touch.body].concrete:
                self.thin += 0.0 if view.bodies[touch.body].plan.shell else share
        return frozenset(reasons)

    def _free(self, row: int, area: float) -> None:
        """A free top: what is narrow, by the convention, apart from the rest."""
        view, body, slope = self.view, self.body, self.view.slope[row]
        if slope > LEVEL:
            self.effects["slopes.free_below_deg"] -= area
        limit, counted = limit_for(view.convention, FREE)
        strips = []
        if limit > 0 and counted != "in":
            strips = [s for s in strips_of(view.surfaces, row, view.remains.rest[row], limit) if s.narrow]
        narrow = sum(strip.area for strip in strips)
        if narrow <= 0:
            self._surface("free", area, row)
            return
        length = sum(strip.length for strip in strips)
        state, measure = ("narrow", "area") if counted == "out" else ("free", "length")
        apart = SurfaceRow(
            *body.key, body.role, body.storey, state, narrow, slope, "", "", "", measure, length
        )
        self.others.append(apart)
        self.effects["narrow.finish_mm"] -= narrow
        if area - narrow > NOISE:
            self._surface("free", area - narrow, row)

    def _form(self, row: int, face: Face, area: float) -> None:
        """A face that is formed, in pieces by what drives their price."""
        view, category, convention = self.view, face.category, self.view.convention
        filled = sum([hole.area for hole in self.holes if row in hole.faces]) if self.holes else 0.0
        if filled:
            self.effects["voids.leave_in_formwork_m2"] += filled
        pieces = split_face(view, row, area, category, self.dimensions)
        limit, counted = limit_for(convention, category)
        if limit > 0:
            strips = strips_of(view.surfaces, row, view.remains.rest[row], limit)
            pieces = told_apart(pieces, category, strips)
        for piece in with_filled(pieces, filled):
            if piece.narrow and counted != "in":
                self.effects[NARROW.get(category, "narrow.formwork_mm")] -= piece.area
            if piece.narrow and counted == "out":
                self._surface("narrow", piece.area, row)
                continue
            if piece.height is None and category.endswith("soffit"):
                self.no_floor += piece.area
            if piece.height is not None and piece.height < convention.soffits.least_height_m:
                self.cramped, self.lowest = self.cramped + piece.area, min(self.lowest, piece.height)
            height_band = (
                band(convention.bands.height_to_soffit_m, piece.height) if piece.height is not None else ""
            )
            self.rows.add(
                piece,
                category,
                view.shape[row],
                height_band,
                "isolated" if self.isolated and category in BEAMS else "opening" if face.opening else "",
                view.radius[row],
                "length" if piece.narrow and counted == "length" else "area",
                view.slope[row],
            )


def _because(bodies: Sequence[Body], body: Body, by: int, state: str) -> tuple[str, str, str]:
    """GlobalId and method of the neighbour `by` (-1: none), and what decided that it, or the ground, is the form."""
    other = bodies[by] if by >= 0 else None
    of, method = (other.element.facts.global_id, other.method) if other else ("", "")
    if state == AGAINST:
        ground = (other or body).element.ground
        return of, method, ground.evidence if ground else f"class {body.element.facts.ifc_class}"
    return of, method, other.plan.evidence if other and state == LOST_FORM else ""
