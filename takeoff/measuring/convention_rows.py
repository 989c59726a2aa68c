"""Every value of the convention that changed a number: what it touched, and the quantity with it and without it."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from msgspec import Struct, field

from takeoff.geometry.contacts import ROUNDING, Contacts
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.below_ground import is_blinding
from takeoff.measuring.bodies import Body
from takeoff.measuring.convention import Convention, Limits, band_key
from takeoff.measuring.formwork import FormedBody
from takeoff.measuring.holes import LeftIn
from takeoff.measuring.records import (
    ConventionRow,
    FormworkRow,
    HoleRow,
    JointRow,
    MeasuredPart,
    PourRow,
    SurfaceRow,
)
from takeoff.measuring.relief import stands_later
from takeoff.measuring.settling import IN_TWO_MODELS

LEAST = 1e-6
"""Changes under this, in the quantity's unit, are rounding."""
Key = tuple[str, str]

_FORMWORK_BANDS = {
    "slab-soffit": "slab_thickness_mm",
    "beam-soffit": "beam_depth_mm",
    "slab-edge": "edge_depth_mm",
    "foundation-side": "foundation_depth_mm",
    "beam-side": "beam_depth_mm",
    "column-side": "column_girth_mm",
}
_PART_BANDS = {
    "slab": "slab_thickness_mm",
    "wall": "wall_thickness_mm",
    "column": "column_girth_mm",
    "beam": "beam_depth_mm",
    "foundation": "foundation_depth_mm",
}


class _Change(Struct):
    """Elements touched, and by how much the quantity is larger with the value than without it."""

    elements: set[Key] = field(default_factory=set)
    amount: float = 0.0

    def add(self, key: Key, amount: float) -> None:
        self.elements.add(key)
        self.amount += amount


class Results(Struct, frozen=True, eq=False):
    """What was measured by the convention: the tables that its values change."""

    parts: Sequence[MeasuredPart]
    formwork: Sequence[FormworkRow]
    surfaces: Sequence[SurfaceRow]
    holes: Sequence[HoleRow]
    joints: Sequence[JointRow]
    pours: Sequence[PourRow]


def convention_rows(
    convention: Convention,
    bodies: Sequence[Body],
    formed: Mapping[int, FormedBody],
    left_in: Mapping[int, LeftIn],
    surfaces: Surfaces,
    contacts: Contacts,
    results: Results,
    slivers: Mapping[Key, float],
) -> tuple[ConventionRow, ...]:
    """One row for each value that changed a number; values that changed nothing have none.

    `slivers`: m3 of cast concrete, by (model, GlobalId), that count as joints of another model's pieces.
    """
    rows = [
        *_of_formwork(convention, bodies, formed, surfaces, contacts, results),
        *_of_volumes(convention, bodies, left_in, results, slivers),
        *_of_allowances(convention, results),
        *_of_items(convention, bodies, formed, results),
        *_of_bands(convention, results),
    ]
    return tuple(row for row in rows if row is not None)


def _row(
    convention: Convention, key: str, change: _Change, unit: str, what: str, total: float | None = None
) -> ConventionRow | None:
    """A row; `total` is the whole quantity with the value, None where the change is all that there is of it."""
    if not change.elements or abs(change.amount) <= LEAST:
        return None
    whole = change.amount if total is None else total
    return ConventionRow(
        key, _shown(convention, key), len(change.elements), what, unit, whole - change.amount, whole
    )


def _shown(convention: Convention, key: str) -> str:
    """The value of `table.name` as the file has it."""
    table, _, name = key.partition(".")
    value = getattr(getattr(convention, table), name)
    if isinstance(value, Limits | tuple | list):
        return ", ".join(f"{step:g}" if isinstance(step, float) else str(step) for step in value)
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _of_formwork(
    convention: Convention,
    bodies: Sequence[Body],
    formed: Mapping[int, FormedBody],
    surfaces: Surfaces,
    contacts: Contacts,
    results: Results,
) -> Iterable[ConventionRow | None]:
    """Values that make formwork, or finished tops, more or less; the quantity is all of it that is billed by area."""
    changes: dict[str, _Change] = defaultdict(_Change)
    for number, body in formed.items():
        for key, amount in body.effects:
            changes[key].add(bodies[number].key[:2], amount)
    if convention.contacts.relieve == "later":
        for a, b, area in zip(contacts.first, contacts.second, contacts.area, strict=True):
            one, two = int(surfaces.part[a]), int(surfaces.part[b])
            if bodies[one].formed and bodies[two].formed and stands_later(bodies[one], bodies[two]):
                changes["contacts.relieve"].add(bodies[one].key[:2], float(area))
            elif bodies[one].formed and bodies[two].formed and stands_later(bodies[two], bodies[one]):
                changes["contacts.relieve"].add(bodies[two].key[:2], float(area))
    total = sum(row.area_m2 for row in results.formwork if row.measure == "area")
    tops = sum(row.area_m2 for row in results.surfaces if row.state == "free" and row.measure == "area")
    for key, change in sorted(changes.items()):
        of_tops = key == "narrow.finish_mm"
        what = "free tops by area" if of_tops else "formwork by area"
        yield _row(convention, key, change, "m2", what, tops if of_tops else total)


def _of_volumes(
    convention: Convention,
    bodies: Sequence[Body],
    left_in: Mapping[int, LeftIn],
    results: Results,
    slivers: Mapping[Key, float],
) -> Iterable[ConventionRow | None]:
    """Values that make concrete or floor more or less."""
    kept, twice, rest, concrete, floor = _Change(), _Change(), _Change(), _Change(), _Change()
    for part in results.parts:
        key = part.model, part.global_id
        if part.overlap_volume_m3 and part.method != "not-concrete":
            # what pieces share with cast concrete they keep in any case: the twin's rule adds the joints between them
            as_pieces = key in slivers
            change = twice if part.condition.startswith(IN_TWO_MODELS) and not as_pieces else kept
            change.add(key, -part.overlap_volume_m3)
        if part.left_in_m3:
            concrete.add(key, part.left_in_m3)
    for number, left in left_in.items():
        if left.floor:
            floor.add(bodies[number].key[:2], left.floor)
    for key, sliver in slivers.items():
        rest.add(key, -sliver)
        kept.add(key, sliver)
    net = sum(part.net_volume_m3 or 0.0 for part in results.parts)
    billed = net + concrete.amount
    yield _row(convention, "overlaps.keep", kept, "m3", "concrete, each cubic metre once", net)
    yield _row(convention, "overlaps.twin_percent", twice, "m3", "concrete, pieces of two models once", net)
    yield _row(
        convention,
        "overlaps.rest_percent",
        rest,
        "m3",
        "concrete, slivers beside another model's pieces",
        net,
    )
    yield _row(convention, "voids.leave_in_concrete_m3", concrete, "m3", "concrete billed", billed)
    area = sum(part.plan_area_m2 or 0.0 for part in results.parts if part.role == "slab")
    yield _row(convention, "voids.leave_in_floor_m2", floor, "m2", "floor area of slabs", area)


def _of_allowances(convention: Convention, results: Results) -> Iterable[ConventionRow | None]:
    """Joints that are looked for up to a width, and pours up to a size."""
    wide = _Change()
    for joint in results.joints:
        if joint.gap_m > convention.contacts.gap_mm / 1e3 + ROUNDING and not joint.cut:
            wide.add((joint.model, joint.global_id), joint.length_m)
    length = sum(joint.length_m for joint in results.joints)
    yield _row(convention, "contacts.joint_mm", wide, "m", "joints of pieces", length)
    for key, of_wall in (("pours.wall_length_m", True), ("pours.slab_volume_m3", False)):
        ends = _Change()
        for pour in results.pours:
            if (pour.role == "wall") == of_wall:
                ends.add((pour.model, pour.global_id), pour.length_m)
        yield _row(convention, key, ends, "m", "joints between pours, an allowance")


def _of_items(
    convention: Convention, bodies: Sequence[Body], formed: Mapping[int, FormedBody], results: Results
) -> Iterable[ConventionRow | None]:
    """Values that move a quantity from one item to another without changing its sum."""
    reveals, edges, leaning = _Change(), _Change(), _Change()
    for row in results.formwork:
        key = row.model, row.global_id
        if row.category == "opening-reveal" and convention.reveals.apart:
            reveals.add(key, row.area_m2)
        if row.category in ("slab-edge", "foundation-side") and convention.edges.measure == "length":
            edges.add(key, row.area_m2)
        upright = row.category.endswith(("-side", "-end", "-edge", "-riser"))
        if upright and row.slope_deg is not None and row.slope_deg < 89.9:
            leaning.add(key, row.area_m2)
    yield _row(convention, "reveals.apart", reveals, "m2", "reveals of openings as an item of their own")
    yield _row(convention, "edges.measure", edges, "m2", "edges measured by length")
    yield _row(convention, "slopes.side_within_deg", leaning, "m2", "leaning faces counted as sides")
    shells = _Change()
    for number, own in formed.items():
        if own.by_thickness:
            shells.add(bodies[number].key[:2], own.by_thickness)
    yield _row(
        convention,
        "contacts.shell_mm",
        shells,
        "m2",
        "permanent formwork of precast pieces, by their thickness",
    )
    blinding = _Change()
    for body in bodies:
        if body.concrete and is_blinding(body, convention):
            blinding.add(body.key[:2], body.net)
    yield _row(convention, "ground.blinding_words", blinding, "m3", "concrete taken as blinding")


def _of_bands(convention: Convention, results: Results) -> Iterable[ConventionRow | None]:
    """Bands by which items are split: the quantity is all that was put into them."""
    changes: dict[tuple[str, str, str], _Change] = defaultdict(_Change)
    for row in results.formwork:
        key = row.model, row.global_id
        if row.height_band:
            changes["height_to_soffit_m", "m2", "formwork"].add(key, row.area_m2)
        if row.band and row.category in _FORMWORK_BANDS:
            changes[_FORMWORK_BANDS[row.category], "m2", "formwork"].add(key, row.area_m2)
    for part in results.parts:
        if part.size_band and part.net_volume_m3 and part.role in _PART_BANDS:
            key = part.model, part.global_id
            changes[_PART_BANDS[part.role], "m3", "concrete"].add(key, part.net_volume_m3)
    for hole in results.holes:
        if hole.band:
            changes["hole_area_m2", "nr", "holes"].add((hole.model, hole.global_id), 1.0)
    for (name, unit, what), change in sorted(changes.items()):
        yield ConventionRow(
            f"bands.{band_key(convention, name)}", _shown(convention, f"bands.{name}"), len(change.elements),
            f"{what} split by bands", unit, change.amount, change.amount,
        )  # fmt: skip
