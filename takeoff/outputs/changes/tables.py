"""The changes of a revision as tables: elements, items, and the lines that join them."""

import csv
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path

from takeoff.outputs.files import write_folder_whole
from takeoff.outputs.run_record import FILE_NAME, is_run_folder, run_text
from takeoff.pricing.change_records import REASONS, Changes, ElementChange, ItemChange, LineChange

ELEMENTS = (
    "status", "reason", "what", "name", "mark", "storey", "role", "old_model", "old_global_id", "new_model",
    "new_global_id", "matched_by", "old_net_volume_m3", "new_net_volume_m3", "old_formwork_m2",
    "new_formwork_m2", "old_reinforcement_kg", "new_reinforcement_kg", "money",
)  # fmt: skip
ITEMS = (
    "item", "section", "description", "unit", "old_quantity", "new_quantity", "old_rate", "new_rate",
    "old_amount", "new_amount", "money", *(f"money_{reason.replace(' ', '_')}" for reason in REASONS),
)  # fmt: skip
LINES = (
    "item", "reason", "location", "old_model", "old_global_id", "new_model", "new_global_id", "old_quantity",
    "new_quantity", "money",
)  # fmt: skip


def write_change_tables(folder: Path, changes: Changes, record: dict[str, object]) -> None:
    """Write elements.csv, items.csv, lines.csv and run.json into `folder`, all of them or none.

    Raises:
        InputError: the folder cannot be written, or holds something else than an earlier run.
    """
    write_folder_whole(folder, partial(_fill, changes=changes, record=record), is_run_folder, FILE_NAME)


def element_row(change: ElementChange) -> Sequence[object]:
    """Values of ELEMENTS."""
    old, new = change.old or ("", ""), change.new or ("", "")
    return (
        change.status, change.reason, change.what, change.name, change.mark, change.storey, change.role, *old,
        *new, change.ground, change.old_volume_m3, change.new_volume_m3, change.old_formwork_m2,
        change.new_formwork_m2, change.old_steel_kg, change.new_steel_kg, change.money,
    )  # fmt: skip


def item_row(change: ItemChange) -> Sequence[object]:
    """Values of ITEMS."""
    shown, old, new = change.shown, change.old, change.new
    pairs = [
        getattr(item, name) if item is not None else None
        for name in ("quantity", "rate", "amount")
        for item in (old, new)
    ]
    reasons = [change.by_reason.get(reason, 0.0) for reason in REASONS]
    return (change.key, shown.section, shown.description, shown.unit, *pairs, change.money, *reasons)


def line_row(change: LineChange) -> Sequence[object]:
    """Values of LINES."""
    old, new = change.old or ("", ""), change.new or ("", "")
    return (
        change.item, change.reason, change.location, *old, *new, change.old_quantity, change.new_quantity,
        change.money,
    )  # fmt: skip


def _fill(folder: Path, changes: Changes, record: dict[str, object]) -> None:
    tables: dict[str, tuple[Sequence[str], Iterator[Sequence[object]]]] = {
        "elements.csv": (ELEMENTS, map(element_row, changes.elements)),
        "items.csv": (ITEMS, map(item_row, changes.items)),
        "lines.csv": (LINES, map(line_row, changes.lines)),
    }
    for name, (columns, rows) in tables.items():
        with (folder / name).open("w", encoding="utf-8", errors="replace", newline="") as stream:
            writer = csv.writer(stream, lineterminator="\r\n")
            writer.writerow(columns)
            writer.writerows(["" if value is None else value for value in row] for row in rows)
    (folder / FILE_NAME).write_text(run_text(record), encoding="utf-8", errors="replace", newline="\n")
