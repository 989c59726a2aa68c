"""Records that leave measuring: one class for each table. All figures in m, m2, m3, kg and t."""

from msgspec import Struct, field

from takeoff.findings import Finding
from takeoff.measuring.piece_records import (
    BearingRow,
    CastingRow,
    LiftRow,
    LoadRow,
    MouldRow,
    PanelRow,
    RepetitionRow,
    StoreyRow,
)


class MeasuredPart(Struct, frozen=True):
    """A row of elements.csv. None: not known or not measured (then `condition` says why)."""

    model: str
    global_id: str
    part: int
    ifc_class: str
    name: str
    type_name: str
    mark: str
    storey: str
    role: str
    subrole: str
    method: str
    evidence: str
    material: str
    strength_class: str
    gross_volume_m3: float | None = None
    net_volume_m3: float | None = None
    overlap_volume_m3: float | None = None
    length_m: float | None = None
    width_m: float | None = None
    height_m: float | None = None
    plan_area_m2: float | None = None
    side_area_m2: float | None = None
    formwork_m2: float | None = None
    reinforcement_kg: float | None = None
    reinforcement_basis: str = ""
    weight_t: float | None = None
    declared_volume_m3: float | None = None
    condition: str = ""
    lump: int = 1
    thickness_m: float | None = None
    size_band: str = ""
    assembly: str = ""
    reinforcement_low_kg: float | None = None
    reinforcement_high_kg: float | None = None
    opening_area_m2: float | None = None
    below_ground_m3: float | None = None
    left_in_m3: float = 0.0


class FormworkRow(Struct, frozen=True):
    """A row of formwork.csv: formed surface of one part, of one category and band.

    `shape` is `plane` or `curved`. `band` is the depth band of an edge, the thickness band of a soffit, else
    empty; `height_band` bands the height to soffit. `place` is `opening` inside an opening, `isolated` on a
    beam that no slab touches, else empty. `measure`
    is `length` where the convention counts a narrow strip by the metre, else `area`.
    """

    model: str
    global_id: str
    part: int
    role: str
    storey: str
    category: str
    shape: str
    band: str
    height_to_soffit_m: float | None
    area_m2: float
    length_m: float | None
    height_band: str = ""
    place: str = ""
    slope_deg: float | None = None
    radius_m: float | None = None
    finish: str = ""
    depth_m: float | None = None
    measure: str = "area"


class SurfaceRow(Struct, frozen=True):
    """A surface that needs no form, and why.

    `state` is `free` (top to be levelled), `contact`, `permanent-formwork` (steel sheet or a precast shell stays
    as the form), `ground` (blinding area), `against-ground` (cast against the ground or what holds it), `left-in`
    (the rim of a void that stays in), `narrow` (a strip that the convention leaves out) or `seated` (assumed to
    stand on something that the model does not show). `measure` is `length` where the convention counts a narrow
    strip by the metre, of `length_m`.
    `other_id` and `other_method` are of the neighbour, `evidence` tells what decided that it, or the ground, is
    the form.
    """

    model: str
    global_id: str
    part: int
    role: str
    storey: str
    state: str
    area_m2: float
    slope_deg: float | None = None
    other_id: str = ""
    other_method: str = ""
    evidence: str = ""
    measure: str = "area"
    length_m: float | None = None


class HoleRow(Struct, frozen=True):
    """A hole through a slab or wall, to be boxed out: its opening area and girth."""

    model: str
    global_id: str
    part: int
    role: str
    storey: str
    area_m2: float
    girth_m: float
    band: str


class ReinforcementRow(Struct, frozen=True):
    """Reinforcement of one part: mass with its basis `modelled`, `ratio` or `allowance`, and how it came.

    `allowance` names the row of the table that an allowance is from.
    """

    model: str
    global_id: str
    part: int
    role: str
    storey: str
    basis: str
    kind: str
    diameter_mm: float | None
    mass_kg: float
    low_kg: float
    high_kg: float
    note: str
    lump: int = 1
    allowance: str = ""


class PieceRow(Struct, frozen=True):
    """A row of pieces.csv: one precast or tilt-up unit as it is lifted.

    `outline_m` is the true length around the largest face, `opening_edges_m` that around its openings,
    `outline_m2` what the outline encloses, openings included; `x_m`,
    `y_m`, `z_m` the middle of the piece in the model's coordinates. `setting` is `small` for what is set by
    hand or with small plant, else `crane`. `connections`, `inserts` and `braces` are allowances of the data
    files. `mould` names the family of pieces that one adjustable mould makes, set to `mould_length_m`.
    `panel` tells which of the pieces it is that one body was divided into.
    """

    model: str
    global_id: str
    mark: str
    method: str
    role: str
    storey: str
    length_m: float
    width_m: float
    thickness_m: float
    volume_m3: float
    weight_t: float
    largest_face_m2: float
    openings: int
    repetition_group: str
    repetition_count: int
    mirror_of: str = ""
    strength_class: str = ""
    embedded: str = ""
    parts: str = ""
    transport_check: str = ""
    lift_check: str = ""
    subrole: str = ""
    outline_m: float = 0.0
    opening_edges_m: float = 0.0
    x_m: float | None = None
    y_m: float | None = None
    z_m: float | None = None
    setting: str = "crane"
    connections: float = 0.0
    inserts: int = 0
    braces: int = 0
    mould: str = ""
    panel: str = ""
    top_m: float | None = None
    outline_m2: float = 0.0
    mould_length_m: float = 0.0


class JointRow(Struct, frozen=True):
    """A joint of a piece with another piece or with cast concrete, once for the pair however many parts meet.

    `kind`: `bed` under a piece, `bearing` under one that spans, `vertical` beside walls, columns and beams,
    `slab` between the edges of slabs and stairs, `wall-to-slab`; `topping` and `cast-on` are no joints to fill
    but tops of pieces that concrete is cast on. The piece named first is the one that is set; `gap_m` is the
    width as drawn, `width_m` as counted where it is drawn closed. `cut` marks a joint that a division made. Where a
    piece meets two others side by side the rows of both pairs have their parts of one length, one area and one filling.
    """

    model: str
    global_id: str
    part: int
    other_id: str
    other_part: int
    kind: str
    area_m2: float
    length_m: float
    gap_m: float
    storey: str
    other_model: str = ""
    width_m: float = 0.0
    grout_m3: float = 0.0
    sealant_m: float = 0.0
    connections: float = 0.0
    cut: bool = False


class EnvelopeRow(Struct, frozen=True):
    """Below ground: an outer face of one part (area) or a joint to be sealed (length).

    `kind` is `wall-face`, `edge`, `underside`, `top`, `joint-base`, `joint-wall` or `joint-pour`.
    """

    model: str
    global_id: str
    part: int
    role: str
    storey: str
    kind: str
    area_m2: float | None
    length_m: float | None


class PourRow(Struct, frozen=True):
    """An allowance for pours of one part: how many, the joints between them, stop-ends in m and m2."""

    model: str
    global_id: str
    part: int
    role: str
    storey: str
    pours: int
    joints: int
    length_m: float
    area_m2: float


class DeclaredRow(Struct, frozen=True):
    """A declared quantity (m, m2, m3, kg) with the measured one; `ratio` is declared over measured.

    `agrees` tells whether they agree within the limit; `cause` is the likely cause where they do not; `sense`
    says whether the figure is `net`, `gross` or `plain` (neither word).
    """

    model: str
    global_id: str
    kind: str
    set_name: str
    name: str
    declared: float
    measured: float
    ratio: float
    agrees: bool
    cause: str = ""
    sense: str = ""


class ConventionRow(Struct, frozen=True):
    """A value of the convention that changed a number in this run.

    `key` is its table and name in the file, `value` as it stands there; `elements` how many it touched. `quantity`
    says of what `without_value` and `with_value` are the amounts, in `unit`; they are equal where the value only
    divides the quantity among items.
    """

    key: str
    value: str
    elements: int
    quantity: str
    unit: str
    without_value: float
    with_value: float


class Measurement(Struct, frozen=True):
    """All that measuring hands on."""

    parts: tuple[MeasuredPart, ...] = ()
    formwork: tuple[FormworkRow, ...] = ()
    surfaces: tuple[SurfaceRow, ...] = ()
    holes: tuple[HoleRow, ...] = ()
    reinforcement: tuple[ReinforcementRow, ...] = ()
    pieces: tuple[PieceRow, ...] = ()
    joints: tuple[JointRow, ...] = ()
    findings: tuple[Finding, ...] = ()
    counts: dict[str, dict[str, int]] = field(default_factory=dict)
    envelope: tuple[EnvelopeRow, ...] = ()
    declared: tuple[DeclaredRow, ...] = ()
    declared_close_share: float | None = None
    pours: tuple[PourRow, ...] = ()
    bearings: tuple[BearingRow, ...] = ()
    loads: tuple[LoadRow, ...] = ()
    lifts: tuple[LiftRow, ...] = ()
    casting: tuple[CastingRow, ...] = ()
    panels: tuple[PanelRow, ...] = ()
    storeys: tuple[StoreyRow, ...] = ()
    repetition: tuple[RepetitionRow, ...] = ()
    caution: str = ""
    moulds: tuple[MouldRow, ...] = ()
    conventions: tuple[ConventionRow, ...] = ()
