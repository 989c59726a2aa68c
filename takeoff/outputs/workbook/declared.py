"""The sheet Declared: what the model states beside what was measured, with the likely cause of each difference."""

from collections.abc import Iterator, Sequence

from takeoff.measuring.causes import BASE
from takeoff.measuring.records import DeclaredRow, MeasuredPart, Measurement
from takeoff.outputs.workbook.cells import Figure, Formula
from takeoff.outputs.workbook.columns import Column, identity_column
from takeoff.outputs.workbook.sheet import FIRST_ROW, Page, Sheet
from takeoff.outputs.workbook.styles import UNIT_KINDS
from takeoff.outputs.workbook.table import write_table

COLUMNS = (
    Column("Agrees", narrowest=8),
    Column("Mark", widest=12),
    Column("Name", widest=26),
    Column("Storey", widest=14),
    Column("Role", widest=11),
    Column("Quantity", widest=9),
    Column("Unit", narrowest=6),
    Column("Declared", "volume", narrowest=12),
    Column("Measured", "volume", narrowest=12),
    Column("Difference", "volume", narrowest=12),
    Column("Declared to measured", "share", narrowest=10),
    Column("Likely cause", "wrapped", widest=44, narrowest=24),
    Column("Declared as", "wrapped", widest=34, narrowest=20),
    identity_column("GlobalId"),
    Column("Model", printed=False),
)
CLOSE = (
    "{share} of the elements with a declared volume have it within the close limit of the checks file "
    "(shipped: 0.5 %)."
)
_DECLARED, _MEASURED = "H", "I"


def write_declared(sheet: Sheet, page: Page, measurement: Measurement) -> None:
    """Write a row for each declared quantity that was compared, those that differ on top, the largest first."""
    parts = {(part.model, part.global_id): part for part in reversed(measurement.parts)}
    listed = sorted(measurement.declared, key=_order)
    differing = sum(not row.agrees for row in listed)
    number = "{count} declared quantity," if len(listed) == 1 else "{count} declared quantities,"
    apart = "{count} differs." if differing == 1 else "{count} differ."
    counted = f"{sheet.words(number, count=len(listed))} {sheet.words(apart, count=differing)}"
    share = measurement.declared_close_share
    close = (
        sheet.words(CLOSE, share=f"{share:.1%}")
        if share is not None
        else sheet.words("No declared volume could be compared.")
    )
    more = sheet.words("Declared figures are shown, never used.")
    rows = list(_rows(listed, parts, sheet))
    end = write_table(
        sheet,
        page,
        "Declared",
        f"{close} {counted} {more}",
        COLUMNS,
        rows,
        "The models declare no quantities.",
    )
    look = sheet.styles.highlight(
        sheet.styles.look.colours.attention_fill, sheet.styles.look.colours.attention_ink
    )
    sheet.raw.conditional_format(
        FIRST_ROW, 0, max(end - 1, FIRST_ROW), 0,
        {"type": "cell", "criteria": "==", "value": f'"{sheet.words("no")}"', "format": look},
    )  # fmt: skip


def _order(row: DeclaredRow) -> tuple[bool, float, str, str, str]:
    apart = round(abs(row.ratio - 1.0), 9)
    return (row.agrees, -apart, row.model, row.global_id, row.name)


def _rows(
    listed: Sequence[DeclaredRow], parts: dict[tuple[str, str], MeasuredPart], sheet: Sheet
) -> Iterator[tuple[object, ...]]:
    for place, row in enumerate(listed, start=FIRST_ROW + 1):
        part = parts.get((row.model, row.global_id))
        unit = BASE[row.kind]
        kind = UNIT_KINDS[unit]
        declared, measured = f"{_DECLARED}{place}", f"{_MEASURED}{place}"
        yield (
            sheet.words("yes") if row.agrees else sheet.words("no"),
            part.mark if part else "",
            part.name if part else "",
            part.storey if part else "",
            part.role if part else "",
            row.kind,
            sheet.words.units.get(unit, unit),
            Figure(row.declared, kind),
            Figure(row.measured, kind),
            Figure(Formula(f"={declared}-{measured}", row.declared - row.measured), kind),
            Formula(f'=IF({measured}=0,"",{declared}/{measured})', row.ratio),
            row.cause,
            f"{row.set_name}.{row.name}" + (f" ({row.sense})" if row.sense in ("net", "gross") else ""),
            row.global_id,
            row.model,
        )
