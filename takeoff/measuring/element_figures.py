"""The figures of an element as a whole, gathered from its parts: what is handed back to the model's author."""

from collections import defaultdict
from collections.abc import Sequence

from msgspec import Struct, field
from msgspec.structs import replace

from takeoff.measuring.keys import ElementKey
from takeoff.measuring.plan import ElementPlan
from takeoff.measuring.records import MeasuredPart, PieceRow

ASSUMED = ("assumption:", "none:")
"""How the evidence of a method begins where nothing in the model tells it."""
SAME = 1e-3
"""Share by which an area may differ from the product of two sides and still be that rectangle."""


class ElementFigures(Struct, frozen=True):
    """Figures of one element in m, m2, m3 and kg; None: not known, or has no one value for the whole element.

    `gross_volume` before openings, `net_volume` after openings and overlaps. `face_*`: one face of a wall or a
    slab, `gross` with its openings filled in. `length`, `width`, `height` are overall sizes and stand only
    where the shape is constant along them (`height` of a wall with a level head). `section` is the cross-section
    of a column or pile that keeps it over its height, `girth_area` the surface around it. `whole` is False
    where the element has parts that are no concrete: the figures are then of its concrete only.
    `methods` are those of its parts without repeats, `assumed` tells that nothing in the model decided them.
    """

    plan: ElementPlan
    parts: tuple[MeasuredPart, ...]
    methods: tuple[str, ...]
    assumed: bool
    whole: bool
    net_volume: float | None = None
    gross_volume: float | None = None
    overlap_volume: float | None = None
    weight: float | None = None
    formwork: float | None = None
    reinforcement: float | None = None
    reinforcement_basis: str = ""
    length: float | None = None
    width: float | None = None
    height: float | None = None
    thickness: float | None = None
    face_net: float | None = None
    face_gross: float | None = None
    section: float | None = None
    girth_area: float | None = None
    pieces: tuple[PieceRow, ...] = field(default=())

    @property
    def key(self) -> ElementKey:
        """Model and GlobalId."""
        return self.plan.facts.model, self.plan.facts.global_id

    @property
    def condition(self) -> str:
        """Why there are no (certain) figures, empty where all is well."""
        return "; ".join(dict.fromkeys(part.condition for part in self.parts if part.condition))


def element_figures(
    plans: Sequence[ElementPlan], parts: Sequence[MeasuredPart], pieces: Sequence[PieceRow]
) -> tuple[ElementFigures, ...]:
    """Figures of every element that is or may be concrete, in the order of the plans.

    Elements of one model that share a GlobalId are left out: nothing can be said of either by its GlobalId.
    """
    own_parts: dict[ElementKey, list[MeasuredPart]] = defaultdict(list)
    for part in parts:
        own_parts[part.model, part.global_id].append(part)
    own_pieces: dict[ElementKey, list[PieceRow]] = defaultdict(list)
    for piece in pieces:
        own_pieces[piece.model, piece.global_id].append(piece)
    counts: dict[ElementKey, int] = defaultdict(int)
    for plan in plans:
        counts[plan.facts.model, plan.facts.global_id] += 1
    figures = []
    for plan in plans:
        key = plan.facts.model, plan.facts.global_id
        concrete = tuple(part for part in own_parts.get(key, ()) if part.method != "not-concrete")
        if concrete and counts[key] == 1:
            figures.append(_figures(plan, concrete, tuple(own_pieces.get(key, ()))))
    return tuple(figures)


def _figures(
    plan: ElementPlan, parts: tuple[MeasuredPart, ...], pieces: tuple[PieceRow, ...]
) -> ElementFigures:
    planned = [part for part in plan.parts if part.method != "not-concrete" or part.permanent_formwork]
    found = ElementFigures(
        plan,
        parts,
        methods=tuple(dict.fromkeys(part.method for part in parts)),
        assumed=any(part.evidence.startswith(ASSUMED) for part in parts),
        whole=len(planned) == len(plan.parts) and all(part.method != "not-concrete" for part in planned),
        net_volume=_sum([part.net_volume_m3 for part in parts]),
        gross_volume=_sum([part.gross_volume_m3 for part in parts]),
        overlap_volume=_sum([part.overlap_volume_m3 for part in parts]),
        weight=_sum([None if part.weight_t is None else part.weight_t * 1e3 for part in parts]),
        formwork=_sum([part.formwork_m2 or 0.0 for part in parts])
        if any(part.formwork_m2 is not None for part in parts)
        else None,
        reinforcement=_sum([part.reinforcement_kg for part in parts]),
        reinforcement_basis="; ".join(
            dict.fromkeys(p.reinforcement_basis for p in parts if p.reinforcement_basis)
        ),
        pieces=pieces,
    )
    return _with_sizes(found, parts[0]) if len(parts) == 1 and parts[0].net_volume_m3 else found


def _sum(values: Sequence[float | None]) -> float | None:
    """The sum, None where a summand is not known."""
    known = [value for value in values if value is not None]
    return sum(known) if known and len(known) == len(values) else None


def _with_sizes(figures: ElementFigures, part: MeasuredPart) -> ElementFigures:
    """The figures with the sizes of the one part that makes the element, as far as they are constant."""
    opening = part.opening_area_m2 or 0.0
    length, width, height, thickness = part.length_m, part.width_m, part.height_m, part.thickness_m
    if part.role == "wall":
        face = part.side_area_m2
        gross = None if face is None else face + opening
        level = length and height and gross and abs(length * height - gross) <= SAME * gross
        return replace(
            figures, length=length, thickness=thickness, height=height if level else None,
            face_net=face, face_gross=gross,
        )  # fmt: skip
    if part.role == "slab":
        # The slab's own thickness is its volume over its larger face, so this gives back that face.
        face = part.net_volume_m3 / thickness if thickness and part.net_volume_m3 else None
        gross = None if face is None else face + opening
        square = length and width and gross and abs(length * width - gross) <= SAME * gross
        return replace(
            figures, thickness=thickness, face_net=face, face_gross=gross,
            length=length if square else None, width=width if square else None,
        )  # fmt: skip
    if part.role == "foundation":
        prism = _is_prism(part)
        return replace(
            figures, height=height if prism else None,
            length=length if prism else None, width=width if prism else None,
        )  # fmt: skip
    if part.role == "column":
        prism = _is_prism(part)
        return replace(
            figures, length=height,
            section=part.plan_area_m2 if prism else None, girth_area=part.side_area_m2 if prism else None,
        )  # fmt: skip
    if part.role == "beam":
        return replace(figures, length=length)
    return figures


def _is_prism(part: MeasuredPart) -> bool:
    """Whether the part keeps its plan over its height."""
    own = (part.net_volume_m3 or 0.0) + (part.overlap_volume_m3 or 0.0)
    filled = (part.plan_area_m2 or 0.0) * (part.height_m or 0.0)
    return own > 0 and abs(filled - own) <= SAME * own
