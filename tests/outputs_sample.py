"""A small made measurement and its bill, for the tests of tables and workbook.

Two storeys whose names a spreadsheet takes for the same number: a cast raft, cast and tilt-up walls, precast
planks under a topping, one wall of unknown making and one part that could not be measured. Some texts are
hostile on purpose.
"""

from typing import Any

from msgspec.structs import replace

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
from takeoff.measuring.records import (
    ConventionRow,
    DeclaredRow,
    EnvelopeRow,
    FormworkRow,
    HoleRow,
    JointRow,
    MeasuredPart,
    Measurement,
    PieceRow,
    PourRow,
    ReinforcementRow,
    SurfaceRow,
)
from takeoff.pricing.money import amount, exact_sum, percentage, round_quantity
from takeoff.pricing.records import Bill, Dimension, Item, Markup, Section, ShareRow

MODEL = "archive.ifc"
HOSTILE = (
    "=1+1",
    "+1",
    "-2+3",
    "@SUM(1)",
    "\t=2",
    "\n=3",
    '=HYPERLINK("http://x","y")',
    "http://example.org",
    "{=1}",
    "＝1",
)

RUN: dict[str, object] = {
    "program": "takeoff",
    "version": "0.1.0",
    "created": "2031-03-04T05:06:07+00:00",
    "title": "Archive & reading room, structure",
    "models": [{"name": MODEL, "sha256": "ab" * 32, "schema": "IFC4", "elements": 7}],
    "convention": {"name": "net", "file": "net.toml"},
    "inputs": [{"what": "rates", "file": "rates.csv", "sha256": "cd" * 32}],
    "counts": {"by_role": {"wall": 4}, "by_method": {"precast": 6}},
    "totals": {"net_volume_m3": 1.5},
    "prefabrication": [],
    "seconds": {"reading": 0.5},
    "versions": {"python": "3.11"},
    "basis": [["Density", "Reinforced concrete 2,500 kg/m3", "example value"]],
}


def long_id(text: str) -> str:
    """A text filled up to the 22 characters of a GlobalId."""
    return text[:4] + text[4:].rjust(18, "0")


def part(global_id: str, role: str, method: str, volume: float | None, **more: Any) -> MeasuredPart:
    """A part of the sample; weight at 2.5 t/m3."""
    made = MeasuredPart(
        model=MODEL,
        global_id=long_id(global_id),
        part=1,
        ifc_class=f"Ifc{role.capitalize()}",
        name=f"{role} {global_id[4:]}",
        type_name="type",
        mark=f"M{global_id[4:]}",
        storey="Ground floor",
        role=role,
        subrole="",
        method=method,
        evidence=f'material "{method}"',
        material="C30/37",
        strength_class="C30/37",
        gross_volume_m3=volume,
        net_volume_m3=volume,
        overlap_volume_m3=None if volume is None else 0.0,
        weight_t=None if volume is None else volume * 2.5,
    )
    return replace(made, **more)


def sample_measurement() -> Measurement:
    """The measurement."""
    raft = part("raft01", "foundation", "cast-in-place", 48.123456, length_m=12.0, width_m=10.0)
    wall = part("wall02", "wall", "cast-in-place", 9.6, length_m=8.0, width_m=0.3, height_m=4.0, storey="01")
    slab = part("slab06", "slab", "cast-in-place", 12.000001, formwork_m2=4.9223, storey="Upper")
    broken = part("wall05", "wall", "cast-in-place", None, condition="not closed")
    unknown = part("wall04", "wall", "unresolved", 3.3, name="x" * 40_000)
    parts = (
        replace(raft, formwork_m2=21.0, reinforcement_kg=5293.6, reinforcement_basis="allowance"),
        replace(
            wall,
            formwork_m2=81.25,
            reinforcement_kg=960.0,
            reinforcement_basis="ratio",
            name=HOSTILE[0],
            mark=HOSTILE[1],
            type_name=HOSTILE[3],
            evidence=HOSTILE[2],
        ),
        part("wall03", "wall", "tilt-up", 7.2, storey="1", name="\x00bad\x1f \ud800name"),
        unknown,
        broken,
        slab,
        part("beam07", "beam", "not-concrete", None),
        *(
            part(f"plnk{n}", "slab", "precast", 1.2345678, storey="Upper", mark=f"P{n}", name=f"plank {n}")
            for n in range(6)
        ),
    )
    planks = [row for row in parts if row.method == "precast"]
    return Measurement(
        parts=parts,
        formwork=(
            FormworkRow(MODEL, wall.global_id, 1, "wall", "01", "wall-side", "plane", "", None, 81.25, 8.0),
            FormworkRow(
                MODEL,
                slab.global_id,
                1,
                "slab",
                "Upper",
                "slab-soffit",
                "plane",
                "150-300",
                2.95,
                4.9223,
                None,
            ),
        ),
        surfaces=(SurfaceRow(MODEL, slab.global_id, 1, "slab", "Upper", "free", 60.0, 0.0),),
        holes=(HoleRow(MODEL, slab.global_id, 1, "slab", "Upper", 0.25, 2.0, "0.1-0.5"),),
        reinforcement=(
            ReinforcementRow(
                MODEL,
                wall.global_id,
                1,
                "wall",
                "01",
                "ratio",
                "bars",
                None,
                960.0,
                900.0,
                1100.0,
                "100 kg/m3",
            ),
        ),
        pieces=tuple(_piece(n, plank) for n, plank in enumerate(planks)),
        joints=(
            JointRow(MODEL, planks[0].global_id, 1, planks[1].global_id, 1, "slab", 1.2, 6.0, 0.01, "Upper"),
        ),
        envelope=(EnvelopeRow(MODEL, wall.global_id, 1, "wall", "Upper", "wall-face", 4.5, None),),
        declared=(
            DeclaredRow(MODEL, wall.global_id, "volume", "Set", "NetVolume", 9.0, 9.6, 9.0 / 9.6, False),
        ),
        bearings=(
            BearingRow(
                MODEL,
                planks[0].global_id,
                "P1",
                "slab",
                "Upper",
                wall.global_id,
                "wall",
                "cast-in-place",
                0.1,
                1.2,
                0.12,
                0.04,
                "",
                MODEL,
            ),
        ),
        loads=(LoadRow(1, "flat", "Upper", 6, "P1, P2, P3", 18.5, 12.0, 2.4, 3.1, 0.77),),
        lifts=(
            LiftRow(
                "precast",
                "10 to 15 m",
                6,
                MODEL,
                planks[0].global_id,
                "P1",
                "Upper",
                3.09,
                4.17,
                3.0,
                4.0,
                6.2,
                11.0,
                9.0,
                "",
            ),
        ),
        casting=(CastingRow("Upper", 2, 40.0, 61.0, 90.0, 54.0, 2, 31.0, 6, 4, "cast 2 high"),),
        panels=(
            PanelRow(
                MODEL,
                planks[1].global_id,
                1,
                2,
                "P2/1",
                "precast",
                "slab",
                "Upper",
                6.0,
                0.6,
                0.2,
                0.6,
                1.5,
                "0 0 3; 6 0 3; 6 0.6 3; 0 0.6 3",
            ),
        ),
        moulds=(
            MouldRow(
                "S 600x200",
                "precast",
                "slab",
                "",
                MODEL,
                planks[1].global_id,
                6,
                2,
                True,
                3.0,
                6.0,
                0.6,
                0.2,
                1,
                6.0,
                1,
                3.6,
                "100 uses, 1 a day for 40 days",
            ),
        ),
        storeys=(StoreyRow(MODEL, "Upper", 3.0, 3.2, 90.0, 40.0, "3.200 m", "A"),),
        repetition=(RepetitionRow("pieces in groups of 2 or more", "", "nr", 6.0, 6.0, "S1 4 times"),),
        caution="Competent people decide on lifting.",
        conventions=(
            ConventionRow("slopes.free_below_deg", "15", 1, "formwork by area", "m2", 90.0, 81.0),
            ConventionRow("bands.hole_area_m2", "0.1, 0.5", 2, "holes split by bands", "nr", 2.0, 2.0),
        ),
        pours=(PourRow(MODEL, wall.global_id, 1, "wall", "Upper", 2, 1, 3.0, 0.9),),
        findings=(
            _finding("note", "method-assumed", wall, "Nothing says how it is made", "cast", 9.6, "m3"),
            _finding("warning", "ratio-unusual", slab, "Little formwork", "", 4.9, "m2"),
            _finding("warning", "ratio-unusual", wall, "Much formwork", "", 81.0, "m2"),
            _finding("error", "not-measured", broken, "=The body is not closed", "left out"),
            _finding("warning", "material-missing", unknown, "No material", "unresolved", 3.3, "m3"),
        ),
    )


def _piece(n: int, plank: MeasuredPart) -> PieceRow:
    return PieceRow(
        model=MODEL,
        global_id=plank.global_id,
        mark=plank.mark,
        method="precast",
        role="slab",
        storey="Upper",
        length_m=6.0,
        width_m=1.2,
        thickness_m=0.2,
        volume_m3=1.2345678,
        weight_t=3.0864195,
        largest_face_m2=7.2,
        openings=n % 2,
        repetition_group="S1" if n < 4 else "S2",
        repetition_count=4 if n < 4 else 2,
        mirror_of="" if n < 4 else "S1",
        transport_check="fits",
        lift_check="under the limit",
    )


def _finding(severity: Any, kind: str, row: MeasuredPart, message: str, *more: Any) -> Finding:
    return Finding(severity, kind, MODEL, row.global_id, message, *more)


def make_item(
    key: str, number: str, section: str, unit: str, dimensions: list[Dimension], rate: float | None
) -> Item:
    """An item of the sample; its words are long enough to wrap."""
    quantity = exact_sum(row.quantity for row in dimensions if row.item == key)
    words = f"Item {key.replace('.', ', ')}, including placing, compaction and curing, to the drawings"
    total = None if rate is None else amount(quantity, rate)
    source = "" if rate is None else f"rates.csv line {len(number)}: example value"
    return Item(key, number, section, words, unit, quantity, rate, total, source)


def sample_dimensions(measurement: Measurement) -> list[Dimension]:
    """A dimension for each measured volume, formed face and piece."""
    dimensions = []
    for row in measurement.parts:
        if row.net_volume_m3 is None:
            continue
        sizes = (row.length_m, row.width_m, row.height_m)
        regular = all(size is not None for size in sizes)
        length, width, height = sizes if regular else (None, None, None)
        dimensions.append(
            Dimension(
                item=f"concrete.{row.role}.{row.method}",
                model=row.model,
                global_id=row.global_id,
                part=1,
                storey=row.storey,
                location=row.name,
                quantity=round_quantity(row.net_volume_m3),
                times=1.0 if regular else None,
                length=length,
                width=width,
                height=height,
                note="-less openings",
            )
        )
    for face in measurement.formwork:
        key = f"formwork.{face.category}"
        dimensions.append(Dimension(key, MODEL, face.global_id, 1, face.storey, "face", face.area_m2))
    for piece in measurement.pieces:
        dimensions.append(
            Dimension("erection.plank", MODEL, piece.global_id, 1, piece.storey, piece.mark, 1.0, 1.0)
        )
    return dimensions


def sample_bill(measurement: Measurement) -> Bill:
    """A bill over the sample: three sections and an empty one, an item without a rate, four markups."""
    dimensions = sample_dimensions(measurement)

    def section(code: str, title: str, *items: tuple[str, str, str, float | None]) -> Section:
        made = (make_item(key, number, code, unit, dimensions, rate) for key, number, unit, rate in items)
        return Section(code, title, tuple(made))

    sections = (
        section(
            "1",
            "Concrete cast in place",
            ("concrete.foundation.cast-in-place", "1.1", "m3", 153.37),
            ("concrete.wall.cast-in-place", "1.2", "m3", 187.125),
            ("concrete.slab.cast-in-place", "1.10", "m3", 171.0),
            ("concrete.wall.unresolved", "1.11", "m3", None),
        ),
        section(
            "2",
            "Formwork",
            ("formwork.wall-side", "2.1", "m2", 41.015),
            ("formwork.slab-soffit", "2.2", "m2", 55.55),
        ),
        section(
            "3",
            "Precast and tilt-up",
            ("concrete.slab.precast", "3.1", "m3", 620.0),
            ("concrete.wall.tilt-up", "3.2", "m3", 330.33),
            ("erection.plank", "3.3", "nr", 95.0),
        ),
        Section("4", "Nothing in it", ()),
    )
    net = exact_sum(group.total for group in sections)
    markups, grand = sample_markups(net)
    unpriced = Finding("warning", "item-unpriced", "", "", "concrete.wall.unresolved has no rate", "left out")
    return Bill(
        sections=sections,
        dimensions=tuple(dimensions),
        net_total=net,
        markups=markups,
        grand_total=grand,
        currency="units",
        unpriced=("concrete.wall.unresolved",),
        shares=sample_shares(measurement),
        findings=(unpriced,),
        basis=(("Rates", "9 of 12 rates used", "rates.csv"),),
    )


def sample_markups(net: float) -> tuple[tuple[Markup, ...], float]:
    """Four markups, on the net and on the running total by turns, and the grand total."""
    markups: list[Markup] = []
    running = net
    for name, percent, on_net in (
        ("Preliminaries", 12.5, True),
        ("Overheads and profit", 7.25, False),
        ("Contingency", 3.0, True),
        ("Tax", 19.0, False),
    ):
        base = net if on_net else running
        markups.append(Markup(name, percent, base, percentage(base, percent), on_net))
        running = exact_sum((running, markups[-1].amount))
    return tuple(markups), running


def sample_shares(measurement: Measurement) -> tuple[ShareRow, ...]:
    """Shares by volume, pieces and value for the whole, by volume for walls and for two storeys."""
    decided = [row for row in measurement.parts if row.method in ("cast-in-place", "precast", "tilt-up")]

    def volume(by: str, group: str, rows: list[MeasuredPart]) -> ShareRow:
        made = sum(row.net_volume_m3 or 0.0 for row in rows if row.method != "cast-in-place")
        total = sum(row.net_volume_m3 or 0.0 for row in rows)
        return ShareRow(by, group, "volume", "m3", round(made, 6), round(total, 6))

    whole = volume("all", "", decided)
    return (
        replace(whole, measure="volume with unresolved", total=round(whole.total + 3.3, 6)),
        whole,
        ShareRow("all", "", "pieces", "nr", 7.0, 11.0),
        ShareRow("all", "", "value", "units", 4500.25, 20000.5),
        volume("role", "wall", [row for row in decided if row.role == "wall"]),
        volume("storey", "01", [row for row in decided if row.storey == "01"]),
        volume("storey", "1", [row for row in decided if row.storey == "1"]),
    )
