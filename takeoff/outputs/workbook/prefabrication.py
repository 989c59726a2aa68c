"""The Prefabrication sheet: shares with their figures and chart, repetition of pieces, joints."""

import math
from collections.abc import Mapping, Sequence

import xlsxwriter
from msgspec import Struct
from xlsxwriter.chart import Chart

from takeoff.measuring.piece_records import RepetitionRow
from takeoff.measuring.records import JointRow, Measurement, PieceRow
from takeoff.outputs.workbook.cells import Formula
from takeoff.outputs.workbook.columns import Column, shown_width
from takeoff.outputs.workbook.records import element_column
from takeoff.outputs.workbook.sheet import FIRST_ROW, HEADING_ROW, Page, Sheet
from takeoff.outputs.workbook.styles import UNIT_KINDS
from takeoff.pricing.money import QUANTITY_DIGITS
from takeoff.pricing.records import ShareRow

SHARES = (
    Column("By", widest=12, narrowest=12),
    Column("Group", widest=22, narrowest=14),
    Column("Measure", widest=26, narrowest=14),
    Column("Unit", narrowest=8),
    Column("Precast and tilt-up", "volume", narrowest=12),
    Column("All concrete", "volume", narrowest=12),
    Column("Share", "share", narrowest=9),
    Column("Other", "share", narrowest=13),
)
GROUPS = (
    Column("Group"),
    Column("Method"),
    Column("Role"),
    Column("Number", "count"),
    Column("Length m", "length"),
    Column("Width m", "length"),
    Column("Thick m", "length"),
    Column("Each t", "weight"),
    Column("Together t", "weight", narrowest=11),
    Column("Mirror of", narrowest=10),
)
JOINTS = (
    Column("Joint"),
    Column("Storey"),
    Column("Number", "count"),
    Column("Length m", "length"),
    Column("Area m2", "area"),
    Column("Grout m3", "volume"),
    Column("Sealant m", "length"),
    Column("Connections", "count"),
)
REPEATED = (
    Column("What repeats"),
    Column("Role"),
    Column("Most often"),
    Column("Unit"),
    Column("Repeated", "volume"),
    Column("All", "volume"),
    Column("Share", "share"),
)
WIDEST_REPEATED = 30
LAST_COLUMN = len(GROUPS) + 4
"""Last printed column: the chart stands to the right of the shares."""

# Pixels of a chart's title and legend, of each of its bars, and of a row of the sheet.
CHART_HEAD = 110
CHART_BAR = 34
ROW_PIXELS = 20

# Which column of Elements holds a measure's figures; other measures come from pricing as figures.
_MEASURED_FIELDS = {"volume": "net_volume_m3", "weight": "weight_t"}
_PREFABRICATED = ("precast", "tilt-up")
_DECIDED = ("cast-in-place", *_PREFABRICATED)
_GROUP_FIELDS = {"all": "", "role": "role"}
_UNRESOLVED = " with unresolved"


class ShareLayout(Struct, frozen=True):
    """Cells (from 0) of the shares of the whole, which Summary shows and draws."""

    first: int
    last: int
    rows: tuple[ShareRow, ...]


def write_prefabrication(
    book: xlsxwriter.Workbook, sheet: Sheet, page: Page, measurement: Measurement, shares: Sequence[ShareRow]
) -> ShareLayout | None:
    """Write shares, repetition and joints; returns where the shares of the whole stand, if there are any."""
    sheet.seal_column = LAST_COLUMN + 1
    sheet.head(
        sheet.words("Prefabrication"),
        sheet.words(
            "Precast and tilt-up concrete against all concrete of the model. Shares are for information and are "
            "no certificate under any scheme."
        ),
    )
    ordered = sorted(shares, key=_share_order)
    sheet.headings(HEADING_ROW, SHARES)
    for row, share in enumerate(ordered, start=FIRST_ROW):
        _write_share(sheet, row, share, measurement)
    if not ordered:
        sheet.put_as(FIRST_ROW, 0, sheet.words("No concrete to compare."), sheet.styles.note)
    row = FIRST_ROW + max(len(ordered), 1)
    sheet.widen_to(SHARES)
    whole = tuple(share for share in ordered if share.by == "all" and not share.measure.endswith(_UNRESOLVED))
    layout = ShareLayout(FIRST_ROW, FIRST_ROW + len(whole) - 1, whole) if whole else None
    if layout:
        height = CHART_HEAD + CHART_BAR * len(whole)
        place_chart(sheet, FIRST_ROW, len(SHARES), share_chart(book, sheet, layout, 470, height))
        row = max(row, FIRST_ROW + height // ROW_PIXELS + 1)
    row = _write_repetition(sheet, row + 1, measurement.pieces)
    row = _write_repeated(sheet, row + 1, measurement.repetition)
    row = _write_joints(sheet, row + 1, measurement.joints)
    sheet.fit()
    sheet.raw.autofilter(HEADING_ROW, 0, FIRST_ROW + max(len(ordered), 1) - 1, len(SHARES) - 1)
    # Several tables stand below one another: headings that are repeated on every page would be wrong ones.
    sheet.set_up(page, LAST_COLUMN, row)
    return layout


def share_chart(
    book: xlsxwriter.Workbook, sheet: Sheet, layout: ShareLayout, width: int, height: int
) -> Chart:
    """Bars from 0 to 100 % for each measure of the whole: prefabricated, and the rest. Sizes in pixels."""
    chart = book.add_chart({"type": "bar", "subtype": "percent_stacked"})
    look, words = sheet.styles.look, sheet.words
    small = {"name": look.font.name, "size": look.font.size, "color": look.colours.ink}
    made = [share.share or 0.0 for share in layout.rows]
    for column, name, colour, shown in (
        (6, words("Precast and tilt-up"), look.colours.prefabricated, made),
        (7, words("Other concrete"), look.colours.other, [1.0 - share for share in made]),
    ):
        labels = {"value": True, "num_format": '0%;;""', "font": {**small, "color": "#FFFFFF"}}
        chart.add_series(
            {
                "name": name,
                "categories": ["Prefabrication", layout.first, 2, layout.last, 2],
                "values": ["Prefabrication", layout.first, column, layout.last, column],
                "categories_data": [share.measure for share in layout.rows],
                "values_data": shown,
                "fill": {"color": colour},
                "border": {"none": True},
                "gap": 60,
                **({"data_labels": labels} if column == 6 else {}),
            }
        )
    chart.set_title({"name": words("Prefabrication share"), "name_font": {**small, "size": 11, "bold": True}})
    line = {"color": look.colours.line}
    chart.set_y_axis({"reverse": True, "num_font": small, "line": line, "major_tick_mark": "none"})
    chart.set_x_axis(
        {
            "num_format": "0%",
            "label_position": "high",
            "num_font": small,
            "major_gridlines": {"visible": True, "line": {"color": look.colours.line}},
            "line": {"none": True},
        }
    )
    chart.set_legend({"position": "bottom", "font": small})
    chart.set_chartarea({"border": {"none": True}})
    chart.set_size({"width": width, "height": height})
    return chart


def place_chart(sheet: Sheet, row: int, column: int, chart: Chart) -> None:
    """Put a chart of shares at a cell, with words for those who cannot see it."""
    words = "Bars: share of precast and tilt-up concrete by measure, from the sheet Prefabrication"
    sheet.raw.insert_chart(row, column, chart, {"x_offset": 16, "description": words})


def _share_order(share: ShareRow) -> tuple[int, bool]:
    """The whole first, with the shares that the chart shows on top; then roles, then storeys."""
    rank = {"all": 0, "role": 1, "storey": 2}.get(share.by, 3)
    return rank, rank == 0 and share.measure.endswith(_UNRESOLVED)


def _write_share(sheet: Sheet, row: int, share: ShareRow, measurement: Measurement) -> None:
    number = row + 1
    kind = UNIT_KINDS.get(share.unit, "money" if share.measure == "value" else "volume")
    parts = _live_figures(number, share, measurement)
    known = share.share
    sheet.put(row, 0, share.by)
    sheet.put(row, 1, share.group or ("" if share.by == "all" else f"no {share.by}"))
    sheet.put(row, 2, share.measure)
    sheet.put(row, 3, share.unit)
    sheet.put(row, 4, parts[0], kind)
    sheet.put(row, 5, parts[1], kind)
    sheet.put(
        row, 6, Formula(f'=IF(F{number}>0,E{number}/F{number},"")', "" if known is None else known), "share"
    )
    rest = Formula(f'=IF(F{number}>0,1-G{number},"")', "" if known is None else 1 - known)
    sheet.put(row, 7, rest, "share")
    for column, value, form in ((1, share.group, "text"), (2, share.measure, "text"), (5, share.total, kind)):
        sheet.widen(column, min(shown_width(value, form), SHARES[column].widest))


def _live_figures(number: int, share: ShareRow, measurement: Measurement) -> tuple[object, object]:
    """Both figures as sums over Elements where they are that, else as pricing states them.

    Groups by storey are stated: a storey called `01` would, as a criterion, also match `1`.
    """
    field = _MEASURED_FIELDS.get(share.measure.removesuffix(_UNRESOLVED))
    grouping = _GROUP_FIELDS.get(share.by)
    stated = (share.prefabricated, share.total)
    if field is None or grouping is None:
        return stated
    compared = (*_DECIDED, "unresolved") if share.measure.endswith(_UNRESOLVED) else _DECIDED
    group = f",{element_column(grouping)},$B{number}" if grouping else ""
    formulas = []
    for methods, figure in ((_PREFABRICATED, share.prefabricated), (compared, share.total)):
        measured = math.fsum(
            getattr(part, field) or 0.0
            for part in measurement.parts
            if part.method in methods and (not grouping or getattr(part, grouping) == share.group)
        )
        # Near the middle between two roundings a spreadsheet may go the other way: stated then.
        if abs(measured - figure) > 0.499 * 10**-QUANTITY_DIGITS:
            return stated
        sums = (
            f'SUMIFS({element_column(field)},{element_column("method")},"{method}"{group})'
            for method in methods
        )
        formulas.append(Formula(f"=ROUND({'+'.join(sums)},{QUANTITY_DIGITS})", figure))
    return formulas[0], formulas[1]


def _write_repetition(sheet: Sheet, row: int, pieces: Sequence[PieceRow]) -> int:
    """Write the groups of equal pieces, largest group first; returns the row after them."""
    if not pieces:
        return row
    sheet.put_as(row, 0, sheet.words("Repetition of pieces"), sheet.styles.subtitle)
    sheet.headings(row + 1, GROUPS)
    groups: dict[str, list[PieceRow]] = {}
    for piece in pieces:
        groups.setdefault(piece.repetition_group, []).append(piece)
    ordered = sorted(groups.items(), key=lambda group: (-len(group[1]), group[0]))
    first = row + 2
    for index, (name, members) in enumerate(ordered, start=first):
        _write_group(sheet, index, name, members)
    end = first + len(ordered)
    totals: dict[int, Formula | str] = {
        0: sheet.words("{count} shapes", count=len(ordered)),
        3: Formula(f"=SUM(D{first + 1}:D{end})", len(pieces)),
        8: Formula(f"=SUM(I{first + 1}:I{end})", math.fsum(piece.weight_t for piece in pieces)),
    }
    _write_totals(sheet, end, GROUPS, totals)
    return end + 1


def _write_totals(
    sheet: Sheet, row: int, columns: Sequence[Column], totals: Mapping[int, Formula | str]
) -> None:
    for index, column in enumerate(columns):
        sheet.put_as(row, index, totals.get(index), sheet.styles.total(column.kind), column.kind)


def _write_group(sheet: Sheet, row: int, name: str, members: list[PieceRow]) -> None:
    piece = members[0]
    number = row + 1
    together = math.fsum(member.weight_t for member in members)
    cells: tuple[object, ...] = (
        name,
        piece.method,
        piece.role,
        len(members),
        piece.length_m,
        piece.width_m,
        piece.thickness_m,
        together / len(members),
        Formula(f"=D{number}*H{number}", together),
        piece.mirror_of,
    )
    for index, (column, value) in enumerate(zip(GROUPS, cells, strict=True)):
        sheet.put(row, index, value, column.kind)
        sheet.widen(index, min(max(shown_width(value, column.kind), column.narrowest), 22))


def _write_joints(sheet: Sheet, row: int, joints: Sequence[JointRow]) -> int:
    """Write the joints by kind and storey; returns the row after them."""
    if not joints:
        return row
    sheet.put_as(row, 0, sheet.words("Joints"), sheet.styles.subtitle)
    sheet.headings(row + 1, JOINTS)
    groups: dict[tuple[str, str], list[JointRow]] = {}
    for joint in joints:
        groups.setdefault((joint.kind, joint.storey), []).append(joint)
    first = row + 2
    for index, ((kind, storey), members) in enumerate(groups.items(), start=first):
        for column, value in enumerate((kind, storey, *_sums(members))):
            sheet.put(index, column, value, JOINTS[column].kind)
    end = first + len(groups)
    totals: dict[int, Formula | str] = {
        column: Formula(f"=SUM({'ABCDEFGH'[column]}{first + 1}:{'ABCDEFGH'[column]}{end})", value)
        for column, value in enumerate(_sums(joints), start=2)
    }
    _write_totals(sheet, end, JOINTS, totals)
    return end + 1


def _sums(joints: Sequence[JointRow]) -> tuple[float, ...]:
    """Number of joints, length, area, grout, sealant, connections."""
    fields = ("length_m", "area_m2", "grout_m3", "sealant_m", "connections")
    return (len(joints), *(math.fsum(getattr(joint, name) for joint in joints) for name in fields))


def _write_repeated(sheet: Sheet, row: int, rows: Sequence[RepetitionRow]) -> int:
    """Write what repeats of pieces, storey heights and floors; returns the row after it."""
    if not rows:
        return row
    sheet.put_as(row, 0, sheet.words("Repetition by number and floor area"), sheet.styles.subtitle)
    sheet.headings(row + 1, REPEATED)
    for index, entry in enumerate(rows, start=row + 2):
        per_shape = entry.measure == "pieces for each shape"
        kind = UNIT_KINDS.get(entry.unit, "count")
        ratio = f"E{index + 1}/F{index + 1}"
        share = entry.share or 0.0
        cells = (
            (entry.measure, "text"),
            (entry.role, "text"),
            (entry.note, "text"),
            (entry.unit, "text"),
            (entry.repeated, kind),
            (entry.total, kind),
            (Formula(f'=IF(F{index + 1}>0,{ratio},"")', share), "ratio" if per_shape else "share"),
        )
        for column, (value, form) in enumerate(cells):
            sheet.put(index, column, value, form)
        sheet.widen(0, min(shown_width(entry.measure, "text"), WIDEST_REPEATED))
        sheet.widen(2, min(shown_width(entry.note, "text"), WIDEST_REPEATED))
    return row + 2 + len(rows)
