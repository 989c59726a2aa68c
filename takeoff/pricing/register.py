"""The parts and pieces of a measurement by the names under which other rows speak of them."""

from msgspec import Struct, field

from takeoff.measuring.records import MeasuredPart, Measurement, PieceRow

UNIT_METHODS = ("precast", "tilt-up")
"""Methods whose elements are lifted as units; these count as prefabricated."""

MOST = 0.5
"""Share of a slab's plan that must lie on units for the slab to be their topping."""


class Register(Struct):
    """Look-ups by model, GlobalId and part; `elements` leads to the part that is a unit, if any."""

    parts: dict[tuple[str, str, int], MeasuredPart] = field(default_factory=dict)
    elements: dict[tuple[str, str], MeasuredPart] = field(default_factory=dict)
    anywhere: dict[tuple[str, int], MeasuredPart] = field(default_factory=dict)
    pieces: dict[tuple[str, str], list[PieceRow]] = field(default_factory=dict)
    on_ground: set[tuple[str, str, int]] = field(default_factory=set)
    on_units: dict[tuple[str, int], float] = field(default_factory=dict)

    @classmethod
    def of(cls, measurement: Measurement) -> "Register":
        """The register of one measurement; a part in several lumps stands under its first."""
        register = cls()
        for part in measurement.parts:
            register.parts.setdefault((part.model, part.global_id, part.part), part)
            register.anywhere.setdefault((part.global_id, part.part), part)
            element = (part.model, part.global_id)
            known = register.elements.get(element)
            if known is None or (is_unit(part) and not is_unit(known)):
                register.elements[element] = part
        for piece in measurement.pieces:
            for name in piece_elements(piece):
                register.pieces.setdefault((piece.model, name), []).append(piece)
        for surface in measurement.surfaces:
            if surface.state == "ground":
                register.on_ground.add((surface.model, surface.global_id, surface.part))
        for joint in measurement.joints:
            sides = ((joint.global_id, joint.part), (joint.other_id, joint.other_part))
            for top, under in (sides, sides[::-1]):
                unit = register.anywhere.get(under)
                if joint.kind == "topping" and unit is not None and is_unit(unit) and unit.role == "slab":
                    register.on_units[top] = register.on_units.get(top, 0.0) + joint.area_m2
        return register

    def bearing(self, part: MeasuredPart) -> str:
        """What a part is cast on: `ground`, `units` (most of it lies on precast slab units), or empty.

        A slab that the model calls a base slab is on the ground even where blinding is modelled under it.
        """
        if part.subrole == "BASESLAB" or (part.model, part.global_id, part.part) in self.on_ground:
            return "ground"
        on_units = self.on_units.get((part.global_id, part.part), 0.0)
        if part.plan_area_m2 and on_units > MOST * part.plan_area_m2 and not is_unit(part):
            return "units"
        return ""

    def part(self, model: str, global_id: str, part: int) -> MeasuredPart | None:
        """The part of a row, if need be from another model, else the element's leading part."""
        return (
            self.parts.get((model, global_id, part))
            or self.anywhere.get((global_id, part))
            or self.elements.get((model, global_id))
        )

    def piece(self, part: MeasuredPart) -> PieceRow | None:
        """The piece that a part belongs to, the first where a body was divided into several."""
        return next(iter(self.pieces_of(part)), None)

    def pieces_of(self, part: MeasuredPart) -> tuple[PieceRow, ...]:
        """The piece that a part belongs to, or all those that its body was divided into."""
        return tuple(self.pieces.get((part.model, part.global_id), ()))


def is_unit(part: MeasuredPart) -> bool:
    """Whether a part belongs to a unit that is lifted."""
    return part.method in UNIT_METHODS


def piece_elements(piece: PieceRow) -> list[str]:
    """GlobalIds of the elements of a piece: its main one, then those that `parts` lists.

    `parts` reads `GlobalId/part; GlobalId/part`.
    """
    listed = [text.split("/")[0].strip() for text in piece.parts.split(";")]
    return list(dict.fromkeys(name for name in (piece.global_id, *listed) if name))
