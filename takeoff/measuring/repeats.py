"""Figures of all bodies: one of each situation is measured, all others in it have its figures in their own names."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import shapely
from msgspec import Struct

from takeoff.cache.columns import Columns
from takeoff.geometry.mesh import Floats, Ints
from takeoff.geometry.patterns import STEP
from takeoff.isolation.spread import Spread
from takeoff.measuring.bodies import Body
from takeoff.measuring.dimensions import Dimensions
from takeoff.measuring.figures import Figures, Scene, figures_of
from takeoff.measuring.formwork import FormedBody
from takeoff.measuring.holes import Hole, LeftIn
from takeoff.measuring.records import FormworkRow, SurfaceRow
from takeoff.measuring.situations import Outlooks, Situations, find_situations

TURNS = 2
"""How often one body of a group is measured and the others compared with it, before all that are left are measured."""


def measure_figures(scene: Scene, spread: Spread) -> Figures:
    """Figures of all bodies of a scene, the work shared by `spread`.

    The one that is measured does not depend on how the work is shared, so neither do the figures.
    """
    singular = {int(scene.surfaces.part[row]) for row in scene.against} | set(scene.touches.beside)
    alike = find_situations(
        scene.surfaces, scene.bodies, scene.rows_of, scene.touches, scene.grounded, scene.finishes, singular
    )
    outlooks: Outlooks | None = None
    measured: list[Figures] = []
    source: dict[int, int] = {}
    groups: Sequence[Sequence[int]] = alike.groups
    for _ in range(TURNS):
        # The middle of a group is rarely the lowest or the highest storey.
        first = [group[len(group) // 2] for group in groups]
        found = figures_of(scene, sorted(first), spread)
        measured += found
        pairs = [(one, [n for n in group if n != one]) for one, group in zip(first, groups, strict=True)]
        pairs = [(one, rest) for one, rest in pairs if rest]
        if not pairs:
            groups = ()
            break
        formed = {number: body for part in found for number, body in part.formed.items()}
        reach = np.array([formed[one].reach if one in formed else np.inf for one, _ in pairs])
        if outlooks is None:
            outlooks = Outlooks(scene.surfaces, scene.rows_of, scene.floors, alike.anchor)
        equal = outlooks.equal([one for one, _ in pairs], [rest for _, rest in pairs], reach)
        left = []
        for (one, rest), same in zip(pairs, equal, strict=True):
            source |= dict.fromkeys(same, one)
            if len(same) < len(rest):
                left.append([number for number in rest if number not in source])
        groups = left
    measured += figures_of(scene, sorted(number for group in groups for number in group), spread)
    if not source:
        return Figures.together(measured)
    return Figures.together([*measured, _repeated(scene, alike, Figures.together(measured), source)])


def _repeated(scene: Scene, alike: Situations, figures: Figures, source: Mapping[int, int]) -> Figures:
    """Figures of the bodies that are measured by another one, their `source`."""
    rows = {of: {int(row): i for i, row in enumerate(scene.rows_of[of])} for of in set(source.values())}

    def holes(found: Sequence[Hole], number: int, of: int) -> tuple[Hole, ...]:
        return tuple(_moved(hole, rows[of], scene.rows_of[number]) for hole in found)

    pierced, left_in = {}, {}
    for number, of in source.items():
        if of in figures.pierced:
            pierced[number] = holes(figures.pierced[of], number, of)
        if of in figures.left_in:
            left = figures.left_in[of]
            left_in[number] = LeftIn(left.concrete, left.floor, holes(left.formwork, number, of), left.count)
    shared = {number: of for number, of in source.items() if of in figures.formed}
    return Figures(
        _sizes(figures.sizes, source, alike.anchor),
        pierced,
        left_in,
        _formed(scene.bodies, alike.touching, figures.formed, shared),
        complete=not shared,
    )


def _moved(hole: Hole, position: Mapping[int, int], rows: Ints) -> Hole:
    """A hole of another body in the like surfaces `rows`; `position` of the other's surfaces in its own."""
    near, far = (int(rows[position[row]]) for row in hole.faces)
    rim = frozenset(int(rows[position[row]]) for row in hole.rim)
    return Hole(hole.area, hole.girth, hole.volume, rim, (near, far), hole.label)


def _sizes(
    sizes: Mapping[int, Dimensions], source: Mapping[int, int], anchor: Floats
) -> dict[int, Dimensions]:
    """Sizes with the outline shifted in plan."""
    numbers, of = list(source), list(source.values())
    plans = np.full(len(of), None, dtype=object)
    plans[:] = [sizes[one].outline for one in of]
    shift = anchor[numbers, :2] - anchor[of, :2]
    moves = np.abs(shift).max(axis=1) > STEP
    corners, owner = shapely.get_coordinates(plans[moves], return_index=True)
    plans[moves] = shapely.set_coordinates(plans[moves].copy(), corners + shift[moves][owner])
    found = {}
    for number, one, plan in zip(numbers, of, plans.tolist(), strict=True):
        size = sizes[one]
        found[number] = Dimensions(size.length, size.width, size.height, size.thickness, size.plan_area, plan)
    return found


def _formed(
    bodies: Sequence[Body],
    touching: Mapping[int, Sequence[int]],
    formed: Mapping[int, FormedBody],
    source: Mapping[int, int],
) -> dict[int, FormedBody]:
    """Formwork in the names of other bodies; neighbours that rows name are the other bodies' own."""
    alike: dict[int, list[int]] = defaultdict(list)
    for number, of in source.items():
        alike[of].append(number)
    rows = _in_names(FormworkRow, bodies, {of: formed[of].rows for of in alike}, alike, {})
    surfaces = _in_names(SurfaceRow, bodies, {of: formed[of].surfaces for of in alike}, alike, touching)
    found = {}
    for number, of in source.items():
        own = formed[of]
        found[number] = FormedBody(
            rows[number], surfaces[number], own.area, own.seated, own.no_floor, own.cramped, (),
            own.effects, own.by_thickness, own.reach,
        )  # fmt: skip
    return found


def _in_names(
    kind: type[Struct],
    bodies: Sequence[Body],
    tables: Mapping[int, Sequence[Any]],
    alike: Mapping[int, Sequence[int]],
    touching: Mapping[int, Sequence[int]],
) -> dict[int, tuple[Any, ...]]:
    """Rows of bodies in the names of those that are `alike`; `touching` for the neighbours in `other_id`."""
    entries = kind.__struct_fields__
    made: dict[str, list[Any]] = {name: [] for name in entries}
    ids = [body.element.facts.global_id for body in bodies]
    for of, numbers in alike.items():
        count = len(tables[of])
        if not count:
            continue
        for name in entries:
            values = [getattr(row, name) for row in tables[of]]
            if name == "model":
                values = [bodies[number].element.facts.model for number in numbers for _ in values]
            elif name == "global_id":
                values = [ids[number] for number in numbers for _ in values]
            elif name == "part":
                values = [bodies[number].number for number in numbers for _ in values]
            elif name == "storey":
                values = [bodies[number].storey for number in numbers for _ in values]
            elif name == "other_id" and any(values):
                values = _neighbours(values, [ids[by] for by in touching[of]], numbers, touching, ids)
            else:
                values *= len(numbers)
            made[name] += values
    rows = Columns(kind, len(made[entries[0]]), tuple(tuple(made[name]) for name in entries)).rows()
    found, start = {}, 0
    for of, numbers in alike.items():
        for number in numbers:
            found[number] = rows[start : start + len(tables[of])]
            start += len(tables[of])
    return found


def _neighbours(
    values: Sequence[str],
    around: Sequence[str],
    numbers: Sequence[int],
    touching: Mapping[int, Sequence[int]],
    ids: Sequence[str],
) -> list[str]:
    """For each of `numbers` the GlobalIds of its neighbours that stand where `values` stand among those `around`."""
    places = [around.index(value) if value else -1 for value in values]
    return [ids[touching[number][place]] if place >= 0 else "" for number in numbers for place in places]
