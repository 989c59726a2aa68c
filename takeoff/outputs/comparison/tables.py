"""The comparison as a folder of CSV tables."""

import csv
import json
from collections.abc import Iterable, Sequence
from functools import partial
from pathlib import Path

from takeoff.outputs.comparison.basis import basis_rows
from takeoff.outputs.comparison.pieces import COLUMNS as PIECE_COLUMNS
from takeoff.outputs.comparison.pieces import piece_rows
from takeoff.outputs.comparison.quantities import quantity_rows
from takeoff.outputs.files import write_folder_whole
from takeoff.pricing.comparison import Comparison

FILE_NAME = "comparison.json"


def write_comparison_tables(folder: Path, comparison: Comparison) -> None:
    """Write every table and `comparison.json` into `folder`, all of them or none. Raises InputError."""
    write_folder_whole(folder, partial(_fill, comparison=comparison), _is_ours, FILE_NAME)


def _is_ours(folder: Path) -> bool:
    try:
        return "alternatives" in json.loads((folder / FILE_NAME).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False


def _fill(folder: Path, comparison: Comparison) -> None:
    names = [variant.name for variant in comparison.variants]
    _write(folder / "summary.csv", ("alternative", *SUMMARY), _summary(comparison))
    _write(
        folder / "differences.csv",
        ("item", "section", "description", "unit", "alternative", *CELL, "difference"),
        (
            (
                line.key,
                line.section,
                line.description,
                line.unit,
                names[place],
                *_cell(cell),
                line.difference(place),
            )
            for line in comparison.lines
            for place, cell in enumerate(line.cells)
        ),
    )
    _write(
        folder / "quantities.csv",
        ("what", "of_what", "unit", "alternative", "quantity", "difference"),
        (
            (*look, names[place], figure, figure - figures[0])
            for look, figures in quantity_rows(comparison)
            for place, figure in enumerate(figures)
        ),
    )
    pieces = [column.heading.lower().replace(" ", "_") for column in PIECE_COLUMNS]
    _write(folder / "pieces.csv", pieces, piece_rows(comparison))
    _write(folder / "time.csv", TIME, _time(comparison))
    _write(
        folder / "sensitivity.csv",
        (
            "alternative",
            "kind",
            "name",
            "unit",
            "low",
            "likely",
            "high",
            "difference_at_low",
            "difference_at_high",
        ),
        (
            (names[s.alternative], s.kind, s.name, s.unit, s.low, s.likely, s.high, s.at_low, s.at_high)
            for s in comparison.swings
        ),
    )
    _write(
        folder / "break_even.csv",
        ("alternative", "name", "unit", "likely", "break_even", "factor", "slope"),
        (
            (names[b.alternative], b.name, b.unit, b.likely, b.rate, b.factor, b.slope)
            for b in comparison.break_evens
        ),
    )
    _write(folder / "basis.csv", ("topic", "text", "source"), basis_rows(comparison))
    text = json.dumps(summary_record(comparison), ensure_ascii=False, indent=1)
    (folder / FILE_NAME).write_text(text + "\n", encoding="utf-8", errors="replace")


SUMMARY = (
    "net_total",
    "common_items",
    "grand_total",
    "weeks",
    "time_cost",
    "compared_total",
    "difference",
    "chance_cheapest",
    "mean",
    "p10",
    "p50",
    "p90",
    "unpriced_items",
    "carbon_t",
    "moulds",
    "share_of_volume",
    "share_of_value",
    "score",
)
CELL = ("quantity", "rate", "amount", "low", "high", "rate_source", "carbon_kg")
TIME = ("alternative", "storey", "stage", "trade", "quantity", "unit", "trade_days", "work_days", "wait_days")


def _summary(comparison: Comparison) -> Iterable[Sequence[object]]:
    for place, variant in enumerate(comparison.variants):
        total, spread = comparison.totals[place], comparison.risk.totals[place]
        yield (
            variant.name, total.net, total.common, total.grand, total.weeks, total.time_cost, total.compared,
            comparison.difference(place), comparison.risk.cheapest[place], spread.mean, spread.p10, spread.p50,
            spread.p90, total.unpriced, total.carbon_t, sum(row.moulds for row in variant.measurement.moulds),
            variant.share_of("volume"), variant.share_of("value"),
            comparison.scores[place].total if comparison.scores else None,
        )  # fmt: skip


def _cell(cell: object) -> tuple[object, ...]:
    return tuple(None if cell is None else getattr(cell, name) for name in CELL)


def _time(comparison: Comparison) -> Iterable[Sequence[object]]:
    stages = comparison.production.stages
    for variant in comparison.variants:
        for step in variant.programme.steps:
            stage = stages[step.stage]
            for task in step.tasks:
                trade = stage.trades[task.trade]
                yield (
                    variant.name,
                    step.storey,
                    stage.name,
                    trade.name,
                    task.quantity,
                    trade.unit,
                    task.days,
                    None,
                    None,
                )
            yield (
                variant.name,
                step.storey,
                stage.name,
                "together",
                None,
                "",
                None,
                step.work_days,
                step.wait_days,
            )


def summary_record(comparison: Comparison) -> dict[str, object]:
    """The comparison in short, as `--json` prints it."""
    alternatives = []
    for variant, row in zip(comparison.variants, _summary(comparison), strict=True):
        record: dict[str, object] = {
            "name": variant.name,
            "note": variant.note,
            "changes": list(variant.changes),
        }
        record.update(zip(SUMMARY, list(row)[1:], strict=True))
        alternatives.append(record)
    return {
        **{
            key: comparison.record[key]
            for key in ("program", "version", "created", "title")
            if key in comparison.record
        },
        "currency": comparison.currency,
        "compared_to": comparison.variants[0].name,
        "alternatives": alternatives,
        "differing_items": len(comparison.lines),
        "common_items": comparison.common_items,
        "draws": comparison.risk.draws,
        "seed": comparison.risk.seed,
        "findings": [
            {"severity": f.severity, "kind": f.kind, "global_id": f.global_id, "message": f.message}
            for f in comparison.findings
        ],
        "models": comparison.record.get("models", []),
        "inputs": comparison.record.get("inputs", []),
        "seconds": comparison.record.get("seconds", {}),
    }


def _write(path: Path, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    with path.open("w", encoding="utf-8", errors="replace", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\r\n")
        writer.writerow(columns)
        writer.writerows([_shown(value) for value in row] for row in rows)


def _shown(value: object) -> str:
    """A field: empty for what is not known, the shortest text that gives the same number back."""
    if value is None:
        return ""
    return repr(float(value)) if isinstance(value, float) else str(value)
