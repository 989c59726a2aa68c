"""What is measured of each body by itself: sizes, holes, formwork; once for all bodies in equal situations.

Processes share what there is to measure.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import shapely
from msgspec import Struct, field

from takeoff.cache.columns import Columns, columns_of
from takeoff.geometry.contacts import Contacts
from takeoff.geometry.mesh import Ints
from takeoff.geometry.surfaces import Surfaces
from takeoff.isolation.spread import Spread
from takeoff.measuring.bodies import Body, noted
from takeoff.measuring.convention import Convention
from takeoff.measuring.dimensions import Dimensions, measure_dimensions
from takeoff.measuring.finishes import Finishes
from takeoff.measuring.formwork import FormedBody, measure_formwork
from takeoff.measuring.holes import Hole, LeftIn, find_holes, voids_left_in
from takeoff.measuring.relief import Touches, find_touches
from takeoff.measuring.soffits import Floors


class Scene(Struct, frozen=True, eq=False):
    """Bodies with their surfaces, what touches them and what props can stand on.

    `grounded[b]`: body b is a slab on the ground. `against` are the regions of faces, by surface, that are cast
    against the ground.
    """

    surfaces: Surfaces
    bodies: Sequence[Body]
    rows_of: Sequence[Ints]
    touches: Touches
    floors: Floors
    grounded: Sequence[bool]
    convention: Convention
    finishes: Finishes
    against: Mapping[int, shapely.Geometry] = field(default_factory=dict)

    def figures(self, numbers: Sequence[int]) -> "Figures":
        """Figures of the bodies `numbers`."""
        sizes = {
            number: measure_dimensions(
                self.surfaces, self.rows_of[number], self.bodies[number].role, self.bodies[number].net
            )
            for number in noted(numbers, self.bodies)
        }
        concrete = [number for number in numbers if self.bodies[number].concrete]
        pierced = {
            number: find_holes(self.surfaces, self.rows_of[number], self.bodies[number], sizes[number])
            for number in noted(concrete, self.bodies)
        }
        left_in = {
            number: left
            for number, found in pierced.items()
            if (left := voids_left_in(found, self.bodies[number], self.convention)) is not None
        }
        return Figures(sizes, pierced, left_in, self.formed(numbers, sizes, left_in))

    def formed(
        self, numbers: Sequence[int], sizes: Mapping[int, Dimensions], left_in: Mapping[int, LeftIn]
    ) -> dict[int, FormedBody]:
        """Formwork of the bodies `numbers`, with what became of each face."""
        return measure_formwork(
            self.surfaces, self.bodies, sizes, self.rows_of, self.touches, self.floors, self.grounded,
            self.convention, left_in, self.finishes, numbers, self.against,
        )  # fmt: skip


def make_scene(
    surfaces: Surfaces,
    bodies: Sequence[Body],
    rows_of: Sequence[Ints],
    contacts: Contacts,
    grounded: Sequence[bool],
    convention: Convention,
    finishes: Finishes,
    against: Mapping[int, shapely.Geometry],
) -> Scene:
    """A scene with what follows from all of its bodies together."""
    concrete = [rows for rows, body in zip(rows_of, bodies, strict=True) if body.concrete]
    wanted = np.concatenate(concrete or [np.empty(0, dtype=np.int64)])
    limits = (convention.soffits.least_height_m, *convention.bands.height_to_soffit_m.of_figures())
    floors = Floors(surfaces, wanted, limits)
    touches = find_touches(surfaces, bodies, rows_of, contacts, convention)
    return Scene(surfaces, bodies, rows_of, touches, floors, grounded, convention, finishes, against)


class Figures(Struct, frozen=True, eq=False):
    """Figures of some bodies by their number: sizes, holes, voids left in, formwork.

    `complete`: the formwork tells what became of each face. Faces do not travel between processes, nor from one
    body to another that is measured by it.
    """

    sizes: dict[int, Dimensions]
    pierced: dict[int, tuple[Hole, ...]]
    left_in: dict[int, LeftIn]
    formed: dict[int, FormedBody]
    complete: bool = True

    @staticmethod
    def together(parts: "Sequence[Figures]") -> "Figures":
        """Figures of several sets of bodies, by body."""
        return Figures(
            _by_number([part.sizes for part in parts]),
            _by_number([part.pierced for part in parts]),
            _by_number([part.left_in for part in parts]),
            _by_number([part.formed for part in parts]),
            all(part.complete for part in parts),
        )


def _by_number(tables: Sequence[Mapping[int, Any]]) -> dict[int, Any]:
    return dict(sorted((number, value) for table in tables for number, value in table.items()))


def figures_of(scene: Scene, numbers: Sequence[int], spread: Spread) -> list[Figures]:
    """Figures of the bodies `numbers`, each measured by itself, the work shared by `spread`."""
    if not numbers:
        return []
    return spread(
        lambda places: scene.figures([numbers[place] for place in places]),
        len(numbers),
        pack,
        unpack,
        lambda place: scene.bodies[numbers[place]].key[:2],
    )


def pack(figures: Figures) -> tuple[Any, ...]:
    """Figures in a form that travels fast: tables by column, faces left behind."""
    formed = figures.formed.values()
    rows = tuple(row for body in formed for row in body.rows)
    surfaces = tuple(row for body in formed for row in body.surfaces)
    sums = [
        (
            number, len(body.rows), len(body.surfaces), body.area, body.seated, body.no_floor, body.cramped,
            body.effects, body.by_thickness, body.reach,
        )
        for number, body in figures.formed.items()
    ]  # fmt: skip
    pierced = {number: holes for number, holes in figures.pierced.items() if holes}
    sizes = columns_of(tuple(figures.sizes.values()))
    return (
        tuple(figures.sizes), sizes, tuple(figures.pierced), pierced, figures.left_in,
        sums, columns_of(rows), columns_of(surfaces),
    )  # fmt: skip


def unpack(content: tuple[Any, ...]) -> Figures:
    """The opposite of `pack`."""
    numbers, sizes, concrete, pierced, left_in, sums, rows, surfaces = content
    next_row, next_surface = _rows(rows), _rows(surfaces)
    formed = {
        number: FormedBody(
            tuple(next(next_row) for _ in range(row_count)),
            tuple(next(next_surface) for _ in range(surface_count)),
            area, seated, no_floor, cramped, (), effects, thin, reach,
        )
        for number, row_count, surface_count, area, seated, no_floor, cramped, effects, thin, reach in sums
    }  # fmt: skip
    return Figures(
        dict(zip(numbers, _rows(sizes), strict=True)),
        {number: pierced.get(number, ()) for number in concrete},
        left_in,
        formed,
        complete=not formed,
    )


def _rows(columns: Columns | None) -> Iterator[Any]:
    return iter(columns.rows() if columns is not None else ())
