"""The sheet Kept and a person's own sheets: what an earlier bill held that has no other place in this one."""

from collections.abc import Sequence
from datetime import date, datetime, time

from takeoff.outputs.text import cell_text
from takeoff.outputs.workbook.cells import Formula
from takeoff.outputs.workbook.columns import Column
from takeoff.outputs.workbook.sheet import Page, Sheet
from takeoff.outputs.workbook.table import write_table
from takeoff.pricing.carry import Carried
from takeoff.pricing.typed import EarlierItem, HandSheet, KeptText

VANISHED = "item not measured any more"
TYPED_TEXT = "typed cell"

COLUMNS = (
    Column("What", widest=26, narrowest=24),
    Column("Sheet", widest=16, narrowest=11),
    Column("Item key or row", "wrapped", widest=44, narrowest=30),
    Column("Column", widest=22),
    Column("Text", "wrapped", widest=60, narrowest=44),
    Column("Unit"),
    Column("Quantity", "volume"),
    Column("Rate", "rate"),
    Column("Amount", "money"),
    Column("Notes", "wrapped", widest=30, narrowest=20),
    Column("Typed cells", widest=24),
    Column("No.", printed=False),
    Column("Section", widest=30, printed=False),
    Column("Low rate", "rate", printed=False),
    Column("High rate", "rate", printed=False),
)


def write_kept(sheet: Sheet, page: Page, carried: Carried) -> None:
    """Write the items that vanished, with all that was typed for them, and the typed texts without a place."""
    note = sheet.words(
        "From the earlier bill, not in the totals: items that are not measured any more, and typed cells that "
        "have no place here. Rows may be deleted; those that stay are kept by the next run."
    )
    write_table(
        sheet, page, "Kept from the earlier bill", note, COLUMNS, kept_rows(carried), "Nothing is kept."
    )


def kept_rows(carried: Carried) -> list[Sequence[object]]:
    """Rows of the sheet: items that vanished, then texts without a place."""
    return [*map(_vanished, carried.vanished), *map(_kept, carried.kept)]


def write_hand_sheet(sheet: Sheet, hand: HandSheet) -> None:
    """Write a person's own sheet as it stood, formulas as formulas."""
    for place in sorted(hand.cells):
        value = hand.cells[place]
        stored = hand.stored.get(place)
        shown = hand.formats.get(place, "General")
        if place in hand.stored:
            value = Formula(cell_text(value), stored if isinstance(stored, int | float | str) else 0)
        elif isinstance(value, bool):
            value = str(value).upper()
        elif isinstance(value, datetime | date | time):
            form = sheet.styles.of(num_format=shown if shown != "General" else "yyyy-mm-dd")
            sheet.raw.write_datetime(*place, value, form)
            continue
        look = {} if shown == "General" else {"num_format": shown}
        sheet.put_as(*place, value, sheet.styles.of(**look))


def _vanished(item: EarlierItem) -> Sequence[object]:
    return (
        VANISHED, "Bill", item.key, "", item.description, item.unit, item.quantity, item.rate, item.amount,
        item.note, ", ".join(sorted(item.typed)), item.number, item.section, item.low, item.high,
    )  # fmt: skip


def _kept(text: KeptText) -> Sequence[object]:
    blanks = (None,) * (len(COLUMNS) - 5)
    return (TYPED_TEXT, text.sheet, text.place, text.heading, text.text, *blanks)
