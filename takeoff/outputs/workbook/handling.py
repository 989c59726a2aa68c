"""The sheet Handling: cranes, loads, casting, bearings and divisions of pieces, below the word of care."""

import math
from collections.abc import Iterable, Sequence
from operator import attrgetter

from takeoff.measuring.records import Measurement
from takeoff.outputs.workbook.cells import Formula
from takeoff.outputs.workbook.columns import Column, identity_column, shown_width
from takeoff.outputs.workbook.sheet import HEADING_ROW, Page, Sheet

Fields = tuple[tuple[str, Column], ...]

LIFTS: Fields = (
    ("method", Column("Method")),
    ("ring", Column("From the crane")),
    ("pieces", Column("Pieces", "count")),
    ("mark", Column("Asks most")),
    ("storey", Column("Storey")),
    ("weight_t", Column("Weight t", "weight")),
    ("lifting_weight_t", Column("Lifting weight t", "weight")),
    ("radius_m", Column("Radius m", "length")),
    ("capacity_t", Column("Crane takes t", "weight")),
    ("top_m", Column("Top at m", "length")),
    ("check", Column("Check", "wrapped")),
)
LOADS: Fields = (
    ("load", Column("Load", "count")),
    ("vehicle", Column("Vehicle")),
    ("pieces", Column("Pieces", "count", total=True)),
    ("marks", Column("Pieces by mark", "wrapped")),
    ("storey", Column("Storey")),
    ("weight_t", Column("Weight t", "weight", total=True)),
    ("payload_share", Column("Of the payload", "share")),
    ("length_m", Column("Length m", "length")),
    ("width_m", Column("Width m", "length")),
    ("height_m", Column("Height m", "length")),
    ("check", Column("Check", "wrapped")),
)
CASTING: Fields = (
    ("storey", Column("Storey")),
    ("check", Column("Check", "wrapped")),
    ("panels", Column("Panels", "count", total=True)),
    ("stack", Column("Stacked", "count")),
    ("inserts", Column("Inserts", "count", total=True)),
    ("braces", Column("Braces", "count", total=True)),
    ("panel_area_m2", Column("Panels m2", "area", total=True)),
    ("casting_area_m2", Column("Casting m2", "area", total=True)),
    ("stacked_area_m2", Column("Stacked m2", "area", total=True)),
    ("floor_area_m2", Column("Floor m2", "area")),
    ("usable_area_m2", Column("Usable m2", "area")),
)
BEARINGS: Fields = (
    ("mark", Column("Mark")),
    ("role", Column("Role")),
    ("storey", Column("Storey")),
    ("support_role", Column("On")),
    ("support_method", Column("Made")),
    ("bearing_m", Column("Bearing m", "length")),
    ("width_m", Column("Width m", "length")),
    ("least_m", Column("Least m", "length")),
    ("area_m2", Column("Area m2", "area")),
    ("support_id", identity_column("GlobalId of the support")),
    ("check", Column("Check", "wrapped")),
)
PANELS: Fields = (
    ("mark", Column("Mark")),
    ("role", Column("Role")),
    ("panel", Column("Piece", "count")),
    ("panels", Column("Of", "count")),
    ("storey", Column("Storey")),
    ("length_m", Column("Length m", "length")),
    ("width_m", Column("Width m", "length")),
    ("thickness_m", Column("Thick m", "length")),
    ("weight_t", Column("Weight t", "weight", total=True)),
    ("global_id", identity_column("GlobalId of the body")),
    ("note", Column("Note", "wrapped")),
)
MOULDS: Fields = (
    ("mould", Column("Family")),
    ("role", Column("Role")),
    ("pieces", Column("Pieces", "count", total=True)),
    ("shapes", Column("Shapes", "count", total=True)),
    ("shortest_m", Column("From m", "length")),
    ("longest_m", Column("To m", "length")),
    ("moulds", Column("Moulds", "count", total=True)),
    ("pieces_per_mould", Column("Pieces a mould", "length")),
    ("changes", Column("Changes", "count", total=True)),
    ("volume_m3", Column("Concrete m3", "volume", total=True)),
    ("basis", Column("Basis", "wrapped")),
)
COLUMN_COUNT = 11
WIDEST = 26
WRAPPED = 34


def write_handling(sheet: Sheet, page: Page, measurement: Measurement) -> None:
    """Write one block a subject, each with its headings; blocks without rows are left out."""
    sheet.seal_column = COLUMN_COUNT
    sheet.head(sheet.words("Handling"), measurement.caution)
    row = HEADING_ROW - 1
    bearings = sorted(measurement.bearings, key=lambda bearing: not bearing.check)
    blocks: tuple[tuple[str, Fields, Sequence[object]], ...] = (
        ("Lifts", LIFTS, measurement.lifts),
        ("Casting of tilt-up panels", CASTING, measurement.casting),
        ("Loads in the order of erection", LOADS, measurement.loads),
        ("Moulds by adjustable families", MOULDS, measurement.moulds),
        ("Bearings", BEARINGS, bearings),
        ("Bodies divided into pieces by rule", PANELS, measurement.panels),
    )
    for title, fields, rows in blocks:
        if rows:
            row = _write_block(sheet, row, title, fields, rows) + 1
    sheet.fit()
    sheet.set_up(page, COLUMN_COUNT - 1, row - 1)


def _write_block(sheet: Sheet, row: int, title: str, fields: Fields, rows: Sequence[object]) -> int:
    """Write a block and return the row after it."""
    sheet.put_as(row, 0, sheet.words(title), sheet.styles.subtitle)
    columns = [column for _, column in fields]
    sheet.headings(row + 1, columns)
    values = attrgetter(*(name for name, _ in fields))
    first = row + 2
    table = [values(record) for record in rows]
    widths = [_width(sheet, column, (line[index] for line in table)) for index, column in enumerate(columns)]
    for index, width in enumerate(widths):
        sheet.widen(index, width)
    for place, line in enumerate(table, start=first):
        sheet.heighten(
            place,
            [
                (line[i], int(0.85 * widths[i]))
                for i, column in enumerate(columns)
                if column.kind == "wrapped"
            ],
        )
        for index, (value, column) in enumerate(zip(line, columns, strict=True)):
            sheet.put(place, index, value, column.kind)
    end = first + len(table)
    if not any(column.total for column in columns):
        return end
    for index, column in enumerate(columns):
        total = None
        if column.total:
            letter = chr(ord("A") + index)
            total = Formula(
                f"=SUM({letter}{first + 1}:{letter}{end})", math.fsum(float(line[index]) for line in table)
            )
        sheet.put_as(end, index, total, sheet.styles.total(column.kind), column.kind)
    return end + 1


def _width(sheet: Sheet, column: Column, values: Iterable[object]) -> int:
    most = WRAPPED if column.kind == "wrapped" else WIDEST
    heading = max(map(len, sheet.words(column.heading).split())) + 1
    return max(
        heading,
        column.narrowest,
        min(most, max((shown_width(v, column.kind) for v in values if v not in (None, "")), default=0)),
    )
