"""Rows of a measurement made ready for bill items: fields, figures and what a dimension line says of them."""

from collections.abc import Iterator

from msgspec import Struct

from takeoff.measuring.records import MeasuredPart, Measurement, PieceRow
from takeoff.pricing.choices import Choices
from takeoff.pricing.choosing import Chooser
from takeoff.pricing.register import Register, is_unit
from takeoff.pricing.unit_systems import METRIC, UnitSystem
from takeoff.told import in_units

LEAST_GAP = 0.0005
"""Metres from which on the gap of a joint is a width."""
REGULAR = 1e-6
"""Relative difference up to which a volume or area counts as the product of its sides."""


class Quantity(Struct, frozen=True):
    """A measured figure, with its sides in m where it is their product, and a note on how it came."""

    value: float
    length: float | None = None
    width: float | None = None
    height: float | None = None
    note: str = ""


class Entry(Struct, frozen=True):
    """One row of one table: `fields` to choose and split by, `figures` to band, `measures` to bill."""

    source: str
    model: str
    global_id: str
    part: int
    storey: str
    location: str
    fields: dict[str, str]
    figures: dict[str, float]
    measures: dict[str, Quantity]
    note: str = ""
    pieces: tuple[PieceRow, ...] = ()


def make_entries(measurement: Measurement, register: Register, chooser: Chooser) -> Iterator[Entry]:
    """Every row that may be billed, table by table; rows of parts that are not concrete are left out.

    So are surfaces that the plan leaves out: most rows of a model are of these.
    """
    choices, names = chooser.choices, _Names(register)
    system = choices.system
    for entries in (
        _from_parts(measurement, names, system),
        _from_formwork(measurement, names, choices),
        _from_surfaces(measurement, names, chooser),
        _from_holes(measurement, names, system),
        _from_reinforcement(measurement, names, system),
        _from_pieces(measurement, names, system),
        _from_moulds(measurement, names, system),
        _from_joints(measurement, names, system),
        _from_envelope(measurement, names),
        _from_pours(measurement, names),
    ):
        yield from (entry for entry in entries if entry.fields["method"] != "not-concrete")


_PART_FIELDS = (
    "model",
    "subrole",
    "method",
    "strength_class",
    "size_band",
    "material",
    "name",
    "type_name",
    "mark",
)


class _Names:
    """What rows say of their parts: fields and location, made once a part."""

    def __init__(self, register: Register) -> None:
        self.register = register
        # The measurement holds its parts, so that each keeps its identity.
        self._fields: dict[int, dict[str, str]] = {}
        self._locations: dict[int, str] = {}

    def fields(self, part: MeasuredPart | None, role: str, storey: str, **own: str) -> dict[str, str]:
        """The common fields, from the part where there is one, and the table's own."""
        common = self._fields.get(id(part))
        if common is None:
            common = self._fields[id(part)] = self._common(part)
        return {**common, "role": role, "storey": storey, **own}

    def location(self, part: MeasuredPart | None) -> str:
        """Mark and name of an element."""
        known = self._locations.get(id(part))
        if known is None:
            known = self._locations[id(part)] = _location(part)
        return known

    def _common(self, part: MeasuredPart | None) -> dict[str, str]:
        if part is None:
            return dict.fromkeys((*_PART_FIELDS, "bearing", "setting", "ground"), "")
        piece = self.register.piece(part) if is_unit(part) else None
        return {
            **{name: getattr(part, name) for name in _PART_FIELDS},
            "bearing": self.register.bearing(part),
            "setting": piece.setting if piece else "",
            "ground": "",
        }


def _location(part: MeasuredPart | None, several: bool = False) -> str:
    """Mark and name of an element, and which of its parts, for a stranger with the model."""
    if part is None:
        return ""
    words = list(dict.fromkeys(text for text in (part.mark, part.name) if text))
    shown = ", ".join(words) or part.type_name or part.ifc_class
    if several or part.part > 1:
        shown += f", part {part.part}"
    return f"{shown}, lump {part.lump}" if part.lump > 1 else shown


def _numbers(**figures: float | None) -> dict[str, float]:
    return {name: value for name, value in figures.items() if value is not None}


def _measures(**measures: Quantity | float | None) -> dict[str, Quantity]:
    return {
        name: value if isinstance(value, Quantity) else Quantity(value)
        for name, value in measures.items()
        if value is not None
    }


def _is_product(value: float, *sides: float | None) -> bool:
    product = 1.0
    for side in sides:
        if side is None:
            return False
        product *= side
    return abs(product - value) <= REGULAR * abs(value)


def _from_parts(measurement: Measurement, names: _Names, system: UnitSystem) -> Iterator[Entry]:
    layered = {(part.model, part.global_id) for part in measurement.parts if part.part > 1}
    for part in measurement.parts:
        if part.net_volume_m3 is None:
            continue
        billed = part.net_volume_m3 + part.left_in_m3
        below = part.below_ground_m3 or 0.0
        whole = below >= part.net_volume_m3 * (1.0 - REGULAR)
        location = _location(part, (part.model, part.global_id) in layered)
        if below and not whole:
            yield Entry(
                "parts", part.model, part.global_id, part.part, part.storey, location,
                names.fields(part, part.role, part.storey, ground="below"),
                {},
                _measures(volume=Quantity(below, note="the part of it below ground")),
            )  # fmt: skip
        yield Entry(
            "parts", part.model, part.global_id, part.part, part.storey, location,
            names.fields(part, part.role, part.storey, ground="below" if below and whole else ""),
            _numbers(
                thickness_m=part.thickness_m,
                weight_t=part.weight_t,
                length_m=part.length_m,
                height_m=part.height_m,
            ),
            _measures(
                volume=_volume(part, billed, system)
                if whole or not below
                else Quantity(billed - below, note="the part of it above ground"),
                weight=part.weight_t,
                plan_area=part.plan_area_m2,
                side_area=part.side_area_m2,
                length=part.length_m,
                count=1.0,
            ),
            pieces=names.register.pieces_of(part) if is_unit(part) else (),
        )  # fmt: skip


def _volume(part: MeasuredPart, net: float, system: UnitSystem) -> Quantity:
    """Net volume with its sides or, where it is not their product, what was taken off the gross volume."""
    sides = (part.length_m, part.width_m, part.height_m)
    if _is_product(net, *sides):
        return Quantity(net, *sides)
    gross, overlap = part.gross_volume_m3, part.overlap_volume_m3 or 0.0
    if gross is None:
        return Quantity(net)
    less = [f"gross {system.show(gross, 'm3', 3)}"]
    cut = gross - net - overlap
    if cut > REGULAR * gross:
        area = f" ({system.show(part.opening_area_m2, 'm2', 3)})" if part.opening_area_m2 else ""
        less.append(f"less {system.show(cut, 'm3', 3)} for openings and recesses{area}")
    if part.left_in_m3 > REGULAR * gross:
        less.append(f"{system.show(part.left_in_m3, 'm3', 3)} of small voids left in")
    if overlap > REGULAR * gross:
        less.append(f"less {system.show(overlap, 'm3', 3)} that another part keeps")
    return Quantity(net, note=", ".join(less) if len(less) > 1 else "")


def _from_formwork(measurement: Measurement, names: _Names, choices: Choices) -> Iterator[Entry]:
    for row in measurement.formwork:
        part = names.register.part(row.model, row.global_id, row.part)
        regular = row.shape == "plane" and _is_product(row.area_m2, row.length_m, row.depth_m)
        system, height, radius = choices.system, row.height_to_soffit_m, row.radius_m
        note = [f"height to soffit {system.size(height, 2)}"] if height is not None else []
        note += [f"radius {system.size(radius)}"] if radius is not None else []
        category, place = row.category, row.place
        if category == "opening-reveal" and not choices.reveals_apart:
            # The convention takes reveals together with the sides of the wall.
            category, place = "wall-side", ""
            note.append("reveal of an opening")
        elif place == "opening":
            note.append("in an opening")
        yield Entry(
            "formwork", row.model, row.global_id, row.part, row.storey, names.location(part),
            names.fields(
                part, row.role, row.storey,
                category=category, shape=row.shape, band=row.band, height_band=row.height_band,
                place=place, finish=row.finish, measure=row.measure,
            ),
            _numbers(
                height_to_soffit_m=row.height_to_soffit_m,
                depth_m=row.depth_m,
                slope_deg=row.slope_deg,
                radius_m=row.radius_m,
            ),
            _measures(
                area=Quantity(row.area_m2, row.length_m, None, row.depth_m) if regular else row.area_m2,
                length=row.length_m,
            ),
            ", ".join(note),
        )  # fmt: skip


def _from_surfaces(measurement: Measurement, names: _Names, chooser: Chooser) -> Iterator[Entry]:
    for row in measurement.surfaces:
        part = names.register.part(row.model, row.global_id, row.part)
        fields = names.fields(
            part, row.role, row.storey, state=row.state, other_method=row.other_method, measure=row.measure
        )
        figures = {} if row.slope_deg is None else {"slope_deg": row.slope_deg}
        if chooser.leaves_out("surfaces", fields, figures):
            continue
        yield Entry(
            "surfaces", row.model, row.global_id, row.part, row.storey, names.location(part),
            fields,
            figures,
            _measures(area=row.area_m2, length=row.length_m),
            row.evidence,
        )  # fmt: skip


def _from_holes(measurement: Measurement, names: _Names, system: UnitSystem) -> Iterator[Entry]:
    for row in measurement.holes:
        part = names.register.part(row.model, row.global_id, row.part)
        yield Entry(
            "holes", row.model, row.global_id, row.part, row.storey, names.location(part),
            names.fields(part, row.role, row.storey, band=row.band),
            _numbers(area_m2=row.area_m2),
            _measures(count=1.0, area=row.area_m2, girth=row.girth_m),
            f"opening {system.show(row.area_m2, 'm2', 3)}, girth {system.size(row.girth_m, 2)}",
        )  # fmt: skip


def _from_reinforcement(measurement: Measurement, names: _Names, system: UnitSystem) -> Iterator[Entry]:
    for row in measurement.reinforcement:
        part = names.register.part(row.model, row.global_id, row.part)
        diameter = f"{row.diameter_mm:g}" if row.diameter_mm else ""
        yield Entry(
            "reinforcement", row.model, row.global_id, row.part, row.storey, names.location(part),
            names.fields(part, row.role, row.storey, basis=row.basis, kind=row.kind, diameter=diameter),
            {},
            # Mass is kept in t; a rule that bills kg turns it back.
            _measures(mass=row.mass_kg / 1000.0),
            in_units(row.note, system),
        )  # fmt: skip


def _from_pieces(measurement: Measurement, names: _Names, system: UnitSystem) -> Iterator[Entry]:
    for row in measurement.pieces:
        part = names.register.elements.get((row.model, row.global_id))
        fields = names.fields(part, row.role, row.storey, group=row.repetition_group)
        fields |= {"model": row.model, "method": row.method, "mark": row.mark or fields["mark"]}
        fields["subrole"] = row.subrole or fields["subrole"]
        fields["strength_class"] = row.strength_class or fields["strength_class"]
        fields |= {"setting": row.setting, "mould": row.mould}
        edges = "around the panel" + (
            f" and {system.size(row.opening_edges_m, 2)} around openings" if row.opening_edges_m else ""
        )
        sides = (row.length_m, row.width_m, row.thickness_m)
        size = f"{system.sizes(sides)}, {system.show(row.weight_t, 't', 2)}"
        yield Entry(
            "pieces", row.model, row.global_id, part.part if part else 1, row.storey,
            ", ".join(dict.fromkeys(text for text in (row.mark, part.name if part else "") if text)),
            fields,
            _numbers(
                length_m=row.length_m, width_m=row.width_m, thickness_m=row.thickness_m, weight_t=row.weight_t
            ),
            _measures(
                volume=row.volume_m3,
                weight=row.weight_t,
                count=1.0,
                face_area=row.largest_face_m2,
                outline_area=Quantity(row.outline_m2, row.length_m, row.width_m)
                if _is_product(row.outline_m2, row.length_m, row.width_m)
                else row.outline_m2,
                edge_length=Quantity(row.outline_m + row.opening_edges_m, note=edges),
                length=row.length_m,
                connections=Quantity(row.connections, note="allowance of the joints file"),
                inserts=Quantity(float(row.inserts), note="allowance of the handling file"),
                braces=Quantity(float(row.braces), note="allowance of the handling file"),
            ),
            size,
            (row,),
        )  # fmt: skip


def _from_moulds(measurement: Measurement, names: _Names, system: UnitSystem) -> Iterator[Entry]:
    """Families of pieces for which moulds are made; the first piece of a family stands for it."""
    families: dict[tuple[str, str], list[PieceRow]] = {}
    for piece in measurement.pieces:
        if piece.method == "precast" and piece.setting != "small":
            families.setdefault((piece.role, piece.mould), []).append(piece)
    for row in measurement.moulds:
        if not row.moulds:
            continue
        part = names.register.elements.get((row.model, row.global_id))
        fields = names.fields(part, row.role, "", mould=row.mould, setting="crane")
        fields |= {"model": row.model, "method": row.method, "subrole": row.subrole}
        reach = system.size(row.longest_m, 2)
        if row.adjustable:
            reach = f"{system.size(row.shortest_m, 2)} to {reach}"
        yield Entry(
            "moulds", row.model, row.global_id, part.part if part else 1, "", f"family {row.mould}",
            fields,
            _numbers(length_m=row.longest_m, width_m=row.width_m, thickness_m=row.thickness_m),
            _measures(
                count=Quantity(float(row.moulds), note=row.basis),
                changes=Quantity(float(row.changes), note="each further shape of the family") if row.changes else None,
                area=Quantity(row.moulds * row.contact_m2, note="bottom, sides and ends of each mould"),
            ),
            f"{row.pieces} pieces in {row.shapes} shape{'s' if row.shapes > 1 else ''}, {reach} long",
            tuple(families.get((row.role, row.mould), ())),
        )  # fmt: skip


def _from_joints(measurement: Measurement, names: _Names, system: UnitSystem) -> Iterator[Entry]:
    for row in measurement.joints:
        part = names.register.part(row.model, row.global_id, row.part)
        other = names.register.part(row.other_model or row.model, row.other_id, row.other_part)
        where = "between the pieces of one body" if row.cut else f"to {names.location(other) or row.other_id}"
        yield Entry(
            "joints", row.model, row.global_id, row.part, row.storey, names.location(part),
            names.fields(
                part, part.role if part else "", row.storey,
                joint=row.kind,
                other_method=other.method if other else "",
                other_role=other.role if other else "",
            ),
            _numbers(gap_m=row.width_m),
            _measures(
                length=row.length_m,
                area=row.area_m2,
                grout_volume=row.grout_m3,
                sealant=row.sealant_m,
                connections=Quantity(row.connections, note="allowance of the joints file"),
            ),
            # Faces that touch have no gap to tell the width of.
            f"{where}, {_width(row.width_m, system)} wide" if row.width_m >= LEAST_GAP else where,
        )  # fmt: skip


def _from_envelope(measurement: Measurement, names: _Names) -> Iterator[Entry]:
    for row in measurement.envelope:
        part = names.register.part(row.model, row.global_id, row.part)
        yield Entry(
            "envelope", row.model, row.global_id, row.part, row.storey, names.location(part),
            names.fields(part, row.role, row.storey, kind=row.kind, ground="below"),
            {},
            _measures(area=row.area_m2, length=row.length_m),
        )  # fmt: skip


def _from_pours(measurement: Measurement, names: _Names) -> Iterator[Entry]:
    for row in measurement.pours:
        part = names.register.part(row.model, row.global_id, row.part)
        yield Entry(
            "pours", row.model, row.global_id, row.part, row.storey, names.location(part),
            names.fields(part, row.role, row.storey),
            {},
            _measures(length=row.length_m, area=row.area_m2, count=float(row.joints)),
            f"allowance: {row.pours} pours, {row.joints} joints between them",
        )  # fmt: skip


def _width(gap: float, system: UnitSystem) -> str:
    return f"{gap * 1000:.0f} mm" if system is METRIC else system.size(gap)
