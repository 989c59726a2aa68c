"""Records of what is known of pieces beyond their own row: bearings, loads, lifts, casting, division, storeys."""

from msgspec import Struct


class BearingRow(Struct, frozen=True):
    """Where a piece that spans lies on a support: `bearing_m` along the span, `width_m` across it.

    `least_m` is the limit of the joints file, None where it has none for such a piece.
    """

    model: str
    global_id: str
    mark: str
    role: str
    storey: str
    support_id: str
    support_role: str
    support_method: str
    bearing_m: float
    width_m: float
    area_m2: float
    least_m: float | None
    check: str
    support_model: str = ""


class LoadRow(Struct, frozen=True):
    """One lorry load of precast pieces in the order of erection; `vehicle` is `flat`,
    `upright` (standing on a rack), `special` (one piece beyond the limits of the road) or `pallets`."""

    load: int
    vehicle: str
    storey: str
    pieces: int
    marks: str
    weight_t: float
    length_m: float
    width_m: float
    height_m: float
    payload_share: float
    check: str = ""


class LiftRow(Struct, frozen=True):
    """Pieces of one method within one ring around the crane, and the one that asks most of it.

    Without a crane position there is one row a method for the heaviest piece. `capacity_t` is what the user
    says the crane takes at `radius_m`, None where nothing is said.
    """

    method: str
    ring: str
    pieces: int
    model: str
    global_id: str
    mark: str
    storey: str
    weight_t: float
    lifting_weight_t: float
    x_m: float
    y_m: float
    top_m: float
    radius_m: float | None
    capacity_t: float | None
    check: str


class CastingRow(Struct, frozen=True):
    """Tilt-up panels of one storey against the floor there: area to cast them on, singly and stacked."""

    storey: str
    panels: int
    panel_area_m2: float
    casting_area_m2: float
    floor_area_m2: float
    usable_area_m2: float
    stack: int
    stacked_area_m2: float
    inserts: int
    braces: int
    check: str


class PanelRow(Struct, frozen=True):
    """A piece that a body was divided into by rule. `corners` is the outline of its face in the model's
    coordinates, `x y z; x y z; ...` in metres, for whoever draws the division."""

    model: str
    global_id: str
    panel: int
    panels: int
    mark: str
    method: str
    role: str
    storey: str
    length_m: float
    width_m: float
    thickness_m: float
    volume_m3: float
    weight_t: float
    corners: str
    note: str = ""


class MouldRow(Struct, frozen=True):
    """A family of precast pieces that one adjustable mould makes: `shapes` differ in length, openings, recesses.

    `adjustable` tells that the lengths differ, from `shortest_m` to `longest_m`. `moulds` is the number for the
    uses and the time of the handling file (0 where the works' own beds serve), `changes` how often one is set to a
    further shape; `model` and `global_id` are of the first piece.
    """

    mould: str
    method: str
    role: str
    subrole: str
    model: str
    global_id: str
    pieces: int
    shapes: int
    adjustable: bool
    shortest_m: float
    longest_m: float
    width_m: float
    thickness_m: float
    moulds: int
    pieces_per_mould: float | None
    changes: int
    volume_m3: float
    basis: str

    @property
    def contact_m2(self) -> float:
        """Contact area of one mould of this size: its bottom, sides and ends, m2."""
        girth = 2.0 * (self.longest_m + self.width_m)
        return self.longest_m * self.width_m + girth * self.thickness_m


class StoreyRow(Struct, frozen=True):
    """A storey with floors: height to the next one, floor area seen from above, and which storeys are alike.

    Storeys of one `height_group` have the same height, those of one `outline_group` the same floor outline
    (shifted or turned) within the tolerances of `storey_rows`.
    """

    model: str
    storey: str
    elevation_m: float
    height_m: float | None
    floor_area_m2: float
    outline_m: float
    height_group: str = ""
    outline_group: str = ""


class RepetitionRow(Struct, frozen=True):
    """How much repeats: `repeated` of `total`, by number of pieces or by floor area; `role` for pieces of one role.

    `measure` is `pieces in groups of N or more`, `pieces for each shape`, `storey height` or `floor outline`;
    `note` names what repeats most.
    """

    measure: str
    role: str
    unit: str
    repeated: float
    total: float
    note: str = ""

    @property
    def share(self) -> float | None:
        """Repeated over total, None where there is nothing."""
        return self.repeated / self.total if self.total else None
