"""The sheets Score and Score quantities: points with their working, live down to the quantity of each element."""

from collections.abc import Mapping

from takeoff.outputs.workbook.cells import Formula
from takeoff.outputs.workbook.columns import Column, identity_column
from takeoff.outputs.workbook.sheet import FIRST_ROW, HEADING_ROW, Page, Sheet
from takeoff.outputs.workbook.styles import UNIT_KINDS
from takeoff.outputs.workbook.table import write_table
from takeoff.pricing.scoring import BonusScore, PartScore, Score, SystemLine, reached_from

SCORE = (
    Column("Code", narrowest=8),
    Column("Part of the scheme", narrowest=28),
    Column("What is measured", narrowest=30),
    Column("Quantity", "volume", narrowest=13),
    Column("Unit", narrowest=6),
    Column("Weight", "share", narrowest=9),
    Column("Weighted", "volume", narrowest=13),
    Column("Share", "share", narrowest=9),
    Column("Points of", "area", narrowest=10),
    Column("Points", "area", narrowest=10),
)
QUANTITIES = (
    Column("Counts in", widest=40, narrowest=14),
    Column("Quantity", "volume", narrowest=12),
    Column("Storey", widest=20),
    Column("Element", widest=36),
    identity_column("GlobalId"),
    Column("Part", "count"),
    Column("Model", widest=30),
)
_SHEET = "'Score quantities'"


def write_score(sheet: Sheet, quantities: Sheet, page: Page, score: Score) -> None:
    """Write the working of a score, and the quantities that it sums."""
    rows = [
        (_key(source.code, source.system), source.quantity, source.storey, source.location, source.global_id,
         source.part, source.model)
        for source in score.sources
    ]  # fmt: skip
    note = quantities.words(
        "Every quantity that counts in the score; the sheet Score sums them by these words."
    )
    write_table(quantities, page, "Score quantities", note, QUANTITIES, rows, "Nothing counts in the score.")
    sheet.seal_column = len(SCORE)
    sheet.head(score.name, score.notice)
    sheet.headings(HEADING_ROW, SCORE)
    row = FIRST_ROW
    part_cells, bonus_cells = [], []
    for part in score.parts:
        part_cells.append(f"J{row + 1}")
        row = _write_part(sheet, row, part)
    row = _write_sum(sheet, row, "Parts together", part_cells, score.most_parts, score.part_points)
    parts_cell = f"J{row}"
    for bonus in score.bonuses:
        bonus_cells.append(f"J{row + 1}")
        row = _write_bonus(sheet, row, bonus)
    row = _write_sum(sheet, row, "Bonuses together", bonus_cells, score.most_bonus, score.bonus_points)
    row = _write_sum(sheet, row, "Score", [parts_cell, f"J{row}"], score.most, score.total)
    sheet.widen_to(SCORE)
    sheet.fit()
    sheet.set_up(page, len(SCORE) - 1, row - 1, HEADING_ROW)


def _key(code: str, system: str) -> str:
    return f"{code}: {system}"


def _criterion(text: str) -> str:
    """A text as a criterion that only the text itself fits: wildcards marked, quotation marks doubled."""
    for sign in "~*?":
        text = text.replace(sign, "~" + sign)
    return text.replace('"', '""')


def _write_part(sheet: Sheet, row: int, part: PartScore) -> int:
    """Write a part: its own row, then a row for each system; returns the row after them."""
    number, last = row + 1, row + 1 + len(part.lines)
    kind = UNIT_KINDS.get(part.unit, "money")
    share = part.share
    least = f", nothing under {part.least * 100:g}%" if part.least else ""
    cells: dict[int, object] = {
        0: part.code,
        1: part.title,
        2: ": ".join(text for text in (part.measure, part.basis) if text) + least,
        4: part.unit,
        7: Formula(f'=IF(D{number}>0,G{number}/D{number},"")', "" if share is None else share),
        8: part.available,
        9: Formula(f"=IF(N(H{number})>={reached_from(part.least)!r},N(H{number})*I{number},0)", part.points),
    }
    if part.lines:
        cells[3] = Formula(f"=SUM(D{number + 1}:D{last})", part.quantity)
        cells[6] = Formula(f"=SUM(G{number + 1}:G{last})", sum(line.weighted for line in part.lines))
    _write_head(sheet, row, cells, kind)
    for place, line in enumerate(part.lines, start=row + 1):
        _write_line(sheet, place, part, line, kind)
    return last


def _write_line(sheet: Sheet, row: int, part: PartScore, line: SystemLine, kind: str) -> None:
    number = row + 1
    criterion = _criterion(_key(part.code, line.system))
    cells: tuple[tuple[object, str], ...] = (
        ("", "text"),
        ("", "text"),
        (line.system, "text"),
        (Formula(f'=SUMIFS({_SHEET}!$B:$B,{_SHEET}!$A:$A,"{criterion}")', line.quantity), kind),
        (part.unit, "text"),
        (line.weight, "share"),
        (Formula(f"=D{number}*F{number}", line.weighted), kind),
        ("", "text"),
        ("", "text"),
        ("", "text"),
    )
    for column, (value, form) in enumerate(cells):
        sheet.put(row, column, value, form)


def _write_bonus(sheet: Sheet, row: int, bonus: BonusScore) -> int:
    number = row + 1
    kind = UNIT_KINDS.get(bonus.unit, "count")
    steps = ", ".join(f"{points:g} from {reach * 100:g}%" for reach, points in bonus.steps)
    nested = "0"
    for reach, points in bonus.steps:
        nested = (
            f"IF(N(H{number})>={reached_from(reach)!r},{points!r},{nested})"
            if points or nested != "0"
            else nested
        )
    share = bonus.share
    told = f"{bonus.measure} ({bonus.note})" if bonus.note else bonus.measure
    cells: dict[int, object] = {
        0: bonus.code,
        1: bonus.title,
        2: f"{told}: {steps}",
        3: bonus.total,
        4: bonus.unit,
        6: bonus.repeated,
        7: Formula(f'=IF(D{number}>0,G{number}/D{number},"")', "" if share is None else share),
        8: max(points for _, points in bonus.steps),
        9: Formula(f"={nested}", bonus.points),
    }
    _write_head(sheet, row, cells, kind)
    return row + 1


def _write_head(sheet: Sheet, row: int, cells: Mapping[int, object], kind: str) -> None:
    forms = [column.kind for column in SCORE]
    forms[3] = forms[6] = kind
    forms[2] = "wrapped"
    sheet.heighten(row, [(cells.get(2, ""), SCORE[2].narrowest)])
    for column, form in enumerate(forms):
        sheet.put(row, column, cells.get(column), form, bold=True)


def _write_sum(sheet: Sheet, row: int, title: str, cells: list[str], most: float, points: float) -> int:
    added = "+".join(cells) or "0"
    for column, form in enumerate(column.kind for column in SCORE):
        value: object = {
            1: sheet.words(title),
            2: sheet.words("at most {most}", most=f"{most:g}"),
            8: most,
        }.get(column)
        if column == 9:
            value = Formula(f"=MIN({added},I{row + 1})", points)
        sheet.put_as(row, column, value, sheet.styles.total(form), form)
    return row + 1
