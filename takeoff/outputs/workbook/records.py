"""The sheets that list measured records: Elements, Formwork, Reinforcement, Pieces."""

from collections.abc import Iterable, Sequence
from operator import attrgetter

from msgspec import Struct
from msgspec.structs import replace
from xlsxwriter.utility import xl_col_to_name

from takeoff.measuring.records import FormworkRow, MeasuredPart, Measurement, PieceRow, ReinforcementRow
from takeoff.outputs.workbook.columns import Column, identity_column
from takeoff.outputs.workbook.sheet import FIRST_ROW, Page, Sheet
from takeoff.outputs.workbook.table import write_table
from takeoff.pricing.unit_systems import FOOT, feet_and_inches

Fields = tuple[tuple[str, Column], ...]

ELEMENTS: Fields = (
    ("mark", Column("Mark", widest=12)),
    ("name", Column("Name", widest=26)),
    ("storey", Column("Storey", widest=14)),
    ("role", Column("Role", widest=11)),
    ("method", Column("Method", widest=13)),
    ("strength_class", Column("Strength", widest=10)),
    ("length_m", Column("Length m", "length")),
    ("width_m", Column("Width m", "length")),
    ("height_m", Column("Height m", "length")),
    ("net_volume_m3", Column("Net m3", "volume", total=True)),
    ("formwork_m2", Column("Form m2", "area", total=True)),
    ("reinforcement_kg", Column("Steel kg", "mass", total=True)),
    ("weight_t", Column("Weight t", "weight", total=True)),
    ("condition", Column("Condition", "wrapped", widest=24)),
    ("global_id", identity_column("GlobalId")),
    ("evidence", Column("What decided the method", widest=40, printed=False)),
    ("reinforcement_basis", Column("Steel from", widest=10, printed=False)),
    ("material", Column("Material", widest=30, printed=False)),
    ("gross_volume_m3", Column("Gross m3", "volume", printed=False, total=True)),
    ("overlap_volume_m3", Column("Overlap given up m3", "volume", printed=False, total=True)),
    ("declared_volume_m3", Column("Declared volume m3", "volume", printed=False, total=True)),
    ("thickness_m", Column("Thickness m", "length", printed=False)),
    ("opening_area_m2", Column("Openings m2", "area", printed=False, total=True)),
    ("plan_area_m2", Column("Plan area m2", "area", printed=False, total=True)),
    ("side_area_m2", Column("Side area m2", "area", printed=False, total=True)),
    ("reinforcement_low_kg", Column("Steel low kg", "mass", printed=False, total=True)),
    ("reinforcement_high_kg", Column("Steel high kg", "mass", printed=False, total=True)),
    ("size_band", Column("Size band", printed=False)),
    ("type_name", Column("Type", widest=30, printed=False)),
    ("subrole", Column("Subrole", printed=False)),
    ("part", Column("Part", "count", printed=False)),
    ("lump", Column("Lump", "count", printed=False)),
    ("assembly", Column("Assembly", widest=24, printed=False)),
    ("ifc_class", Column("IFC class", printed=False)),
    ("model", Column("Model", printed=False)),
)

FORMWORK: Fields = (
    ("storey", Column("Storey", widest=18)),
    ("role", Column("Role", widest=12)),
    ("category", Column("Category", widest=20)),
    ("shape", Column("Shape", widest=9)),
    ("band", Column("Depth or thickness mm", widest=14)),
    ("height_band", Column("Height band m", widest=12)),
    ("height_to_soffit_m", Column("Height to soffit m", "length")),
    ("slope_deg", Column("Slope degrees", "angle")),
    ("radius_m", Column("Radius m", "length")),
    ("place", Column("Place", widest=10)),
    ("finish", Column("Finish", widest=14)),
    ("length_m", Column("Length m", "length", total=True)),
    ("depth_m", Column("Depth m", "length")),
    ("area_m2", Column("Area m2", "area", total=True)),
    ("global_id", identity_column("GlobalId")),
    ("part", Column("Part", "count")),
    ("model", Column("Model", printed=False)),
)

REINFORCEMENT: Fields = (
    ("storey", Column("Storey", widest=18)),
    ("role", Column("Role", widest=12)),
    ("kind", Column("Kind", widest=14)),
    ("basis", Column("Basis", widest=12)),
    ("diameter_mm", Column("Diameter mm", "diameter")),
    ("low_kg", Column("Low kg", "mass", total=True)),
    ("mass_kg", Column("Likely kg", "mass", total=True)),
    ("high_kg", Column("High kg", "mass", total=True)),
    ("note", Column("How it came", "wrapped", widest=52, narrowest=24)),
    ("global_id", identity_column("GlobalId")),
    ("part", Column("Part", "count")),
    ("model", Column("Model", printed=False)),
)

PIECES: Fields = (
    ("mark", Column("Mark", widest=16)),
    ("repetition_group", Column("Group", widest=12)),
    ("repetition_count", Column("In the group", "count")),
    ("mirror_of", Column("Mirror of", widest=12)),
    ("method", Column("Method", widest=10)),
    ("role", Column("Role", widest=11)),
    ("storey", Column("Storey", widest=14)),
    ("length_m", Column("Length m", "length")),
    ("width_m", Column("Width m", "length")),
    ("thickness_m", Column("Thick m", "length")),
    ("volume_m3", Column("Volume m3", "volume", total=True)),
    ("weight_t", Column("Weight t", "weight", total=True)),
    ("largest_face_m2", Column("Largest face m2", "area")),
    ("openings", Column("Openings", "count", total=True)),
    ("embedded", Column("Embedded", "wrapped", widest=18)),
    ("transport_check", Column("Transport", "wrapped", widest=26)),
    ("lift_check", Column("Lift", "wrapped", widest=28)),
    ("global_id", identity_column("GlobalId")),
    ("strength_class", Column("Strength", printed=False)),
    ("subrole", Column("Subrole", printed=False)),
    ("parts", Column("Made of", widest=40, printed=False)),
    ("model", Column("Model", printed=False)),
)


_KINDS = {"m": "length", "m2": "area", "m3": "volume", "kg": "mass", "t": "weight", "deg": "angle"}


def all_fields(record: type[Struct], listed: Fields) -> Fields:
    """The listed columns and, to the right of the printed ones, one for each further field of the record."""
    named = {name for name, _ in listed}
    further = []
    for name in record.__struct_fields__:
        if name not in named:
            kind = _KINDS.get(name.rpartition("_")[2], "text")
            heading = name.replace("_", " ").capitalize()
            further.append((name, Column(heading, kind, printed=False)))
    return (*listed, *further)


def write_elements(sheet: Sheet, page: Page, measurement: Measurement) -> None:
    """Write one row a measured part."""
    elements = len({(part.model, part.global_id) for part in measurement.parts})
    note = sheet.words(
        "{elements} elements in {parts} parts, as measured; net is after openings, recesses and overlaps. "
        "Further columns stand to the right of the printed ones.",
        elements=elements,
        parts=len(measurement.parts),
    )
    nothing = "There is no element to measure."
    end = _write(sheet, page, note, MeasuredPart, ELEMENTS, measurement.parts, nothing)
    condition, method = _letter("condition"), _letter("method")
    first = FIRST_ROW + 1
    look = sheet.styles.highlight(
        sheet.styles.look.colours.attention_fill, sheet.styles.look.colours.attention_ink
    )
    # what is no concrete needs no look: it stands there to be seen, in grey
    other = f'${method}{first}="not-concrete"'
    needs = f'=AND(NOT({other}),OR(${condition}{first}<>"",${method}{first}="unresolved"))'
    muted = sheet.styles.highlight(sheet.styles.look.colours.section_fill, sheet.styles.look.colours.muted)
    last_column = sum(column.printed for _, column in ELEMENTS) - 1
    for criteria, form in ((needs, look), (f"={other}", muted)):
        rule = {"type": "formula", "criteria": criteria, "format": form}
        sheet.raw.conditional_format(FIRST_ROW, 0, max(end - 1, FIRST_ROW), last_column, rule)


def write_formwork(sheet: Sheet, page: Page, measurement: Measurement) -> None:
    """Write one row a formed surface."""
    note = sheet.words(
        "Surfaces of cast-in-place parts that need a form, without contacts, faces on ground and free tops."
    )
    _write(sheet, page, note, FormworkRow, FORMWORK, measurement.formwork, "No surface needs a form.")


def write_reinforcement(sheet: Sheet, page: Page, measurement: Measurement) -> None:
    """Write one row a mass of steel."""
    note = sheet.words(
        "Best basis first: modelled bars and fabric, the ratio that the model requires, the allowance table. "
        "Low and high show the doubt in the likely figure."
    )
    nothing = "No reinforcement was found."
    _write(sheet, page, note, ReinforcementRow, REINFORCEMENT, measurement.reinforcement, nothing)


def write_pieces(sheet: Sheet, page: Page, measurement: Measurement) -> None:
    """Write one row a precast or tilt-up unit."""
    note = sheet.words(
        "Units as they are lifted. A group holds pieces of one shape, turned or shifted; mirror images are "
        "apart. Checks compare with limits from a data file; see the sheet Handling."
    )
    _write(sheet, page, note, PieceRow, PIECES, measurement.pieces, "No precast or tilt-up pieces.")


def element_column(field: str) -> str:
    """The whole column of Elements that shows `field`, as formulas on other sheets name it."""
    letter = _letter(field)
    return f"Elements!${letter}:${letter}"


def _letter(field: str) -> str:
    return str(xl_col_to_name([name for name, _ in ELEMENTS].index(field)))


def _write(
    sheet: Sheet,
    page: Page,
    note: str,
    record: type[Struct],
    listed: Fields,
    rows: Sequence[object],
    nothing: str,
) -> int:
    fields = all_fields(record, listed)
    values = attrgetter(*(name for name, _ in fields))
    columns = [column for _, column in fields]
    table: Iterable[Sequence[object]] = map(values, rows)
    if sheet.words.units:
        sized = [column.kind == "length" and column.printed and not column.total for column in columns]
        columns = [
            replace(column, kind="size") if size else column
            for column, size in zip(columns, sized, strict=True)
        ]
        table = (_sized(row, sized) for row in table)
    return write_table(sheet, page, sheet.name, note, columns, table, nothing)


def _sized(row: Sequence[object], sized: Sequence[bool]) -> list[object]:
    """The row with its lengths, which are in feet, as feet and inches."""
    return [
        feet_and_inches(value * FOOT) if size and isinstance(value, float) else value
        for value, size in zip(row, sized, strict=True)
    ]
