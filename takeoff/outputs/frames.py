"""The sheets of a bill as pandas tables, and these as folders of CSV or Parquet files."""

from collections.abc import Iterable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec import Struct
from msgspec.structs import asdict, fields

from takeoff.findings import Finding, InputError
from takeoff.measuring.records import Measurement
from takeoff.outputs.files import write_folder_whole
from takeoff.outputs.run_record import FILE_NAME, is_run_folder, run_text
from takeoff.outputs.tables import TABLES, table_columns
from takeoff.outputs.unit_view import findings_shown_in, score_shown_in, shown_in
from takeoff.outputs.workbook.basis import basis_lines
from takeoff.outputs.workbook.kept import kept_rows
from takeoff.pricing.records import Bill, Dimension, ShareRow
from takeoff.pricing.unit_systems import METRIC, UnitSystem, unit_system

if TYPE_CHECKING:
    import pandas as pd

    from takeoff.pricing.scoring import Score

ITEM_COLUMNS = (
    "number", "section", "description", "unit", "quantity", "rate", "amount", "rate_source", "low", "high", "key",
    "role", "method", "note", "mark", "by_hand",
)  # fmt: skip


def measurement_frames(measurement: Measurement, system: UnitSystem = METRIC) -> "dict[str, pd.DataFrame]":
    """Every table of a measurement by its name (`elements`, `formwork`, ...), as `measure` writes them.

    In another system than the metric one the unit in a column's name is that system's.
    """
    shown = shown_in(measurement, system)
    return {
        name.removesuffix(".csv"): _records(record, getattr(shown, where), system)
        for name, record, where in TABLES
    }


HANDLING = ("lifts", "casting", "loads", "moulds", "bearings", "panels")
"""Tables that stand below one another on the sheet Handling."""
BELOW_SHARES = ("repetition", "joints")
"""Tables that stand below the shares on the sheet Prefabrication."""
KEPT_COLUMNS = (
    "what", "sheet", "place", "column", "text", "unit", "quantity", "rate", "amount", "notes", "typed", "number",
    "section", "low", "high",
)  # fmt: skip


def bill_frames(
    measurement: Measurement, bill: Bill, record: Mapping[str, object], score: "Score | None" = None
) -> "dict[str, pd.DataFrame]":
    """Every sheet of the workbook by its name in small letters, with figures in place of formulas.

    A sheet of several tables is a table for each: those of Handling and Prefabrication have names of their own.
    """
    import pandas as pd

    system = unit_system(bill.units)
    measured = measurement_frames(measurement, system)
    items = [
        {name: getattr(item, name) for name in ITEM_COLUMNS}
        for section in bill.sections
        for item in section.items
    ]
    of_score = score.findings if score is not None else ()
    findings = tuple(dict.fromkeys((*measurement.findings, *bill.findings, *of_score)))
    built = [
        {
            "item": priced.rate.item, "unit": priced.rate.unit, "rate": priced.rate.rate,
            "resource": line.resource.name, "kind": line.resource.kind,
            "resource_unit": line.resource.unit, "per_unit": line.per_unit, "waste_percent": line.waste_percent,
            "price": line.resource.price,
            "amount": float(line.amount(line.resource.price)),
        }
        for priced in bill.build_ups
        for line in (priced.rate.build_up.components if priced.rate.build_up else ())
    ]  # fmt: skip
    frames = {
        "summary": _summary(bill),
        "bill": pd.DataFrame(items, columns=list(ITEM_COLUMNS)),
        "dimensions": _records(Dimension, bill.dimensions, METRIC),
        **{name: measured[name] for name in ("elements", "formwork", "reinforcement", "pieces")},
        "prefabrication": _shares(bill.shares),
        "findings": _records(Finding, findings_shown_in(findings, system), METRIC),
        "basis": pd.DataFrame(basis_lines(bill, record), columns=["topic", "text", "source"]),
    }
    if built:
        frames["build-ups"] = pd.DataFrame(built)
        frames["resources"] = _resources(bill)
    if bill.earlier is not None and (bill.earlier.vanished or bill.earlier.kept):
        frames["kept"] = pd.DataFrame(kept_rows(bill.earlier), columns=list(KEPT_COLUMNS))
    further = [*BELOW_SHARES, *HANDLING] if measurement.pieces else []
    further += ["declared"] if measurement.declared else []
    frames |= {name: measured[name] for name in further}
    if score is not None:
        from takeoff.outputs.score_tables import COLUMNS, working

        shown = score_shown_in(score, system)
        frames["score"] = pd.DataFrame(working(shown), columns=list(COLUMNS))
        frames["score-quantities"] = pd.DataFrame(map(asdict, shown.sources))
    return frames


def _resources(bill: Bill) -> "pd.DataFrame":
    import pandas as pd

    used = {
        line.resource.name: line.resource
        for priced in bill.build_ups
        for line in (priced.rate.build_up.components if priced.rate.build_up else ())
    }
    names = ("kind", "unit", "price", "low", "high", "source", "date", "note")
    rows = [
        {"resource": name} | {key: getattr(resource, key) for key in names} for name, resource in used.items()
    ]
    return pd.DataFrame(rows, columns=["resource", *names]).astype({"low": "float64", "high": "float64"})


def write_frames(
    folder: Path,
    frames: "Mapping[str, pd.DataFrame]",
    record: Mapping[str, object],
    kind: str = "csv",
    decimal: str = ".",
) -> None:
    """Write each table as a file of its name, with run.json: all of them or none.

    `kind` is `csv` (UTF-8; with a decimal comma the columns are separated by semicolons) or `parquet`.

    Raises:
        InputError: the folder cannot be written or holds something else, or Parquet needs what is not installed.
    """
    if kind == "parquet":
        try:
            import pyarrow  # noqa: F401
        except ImportError as error:
            raise InputError(
                f'{folder}: Parquet files need the library pyarrow; install it with: pip install "takeoff[parquet]"'
            ) from error
    fill = partial(_fill, frames=frames, record=record, kind=kind, decimal=decimal)
    write_folder_whole(folder, fill, is_run_folder, FILE_NAME)


def _fill(
    folder: Path, frames: "Mapping[str, pd.DataFrame]", record: Mapping[str, object], kind: str, decimal: str
) -> None:
    for name, frame in frames.items():
        if kind == "parquet":
            frame.to_parquet(folder / f"{name}.parquet", engine="pyarrow", index=False)
        else:
            separator = ";" if decimal == "," else ","
            frame.to_csv(
                folder / f"{name}.csv",
                index=False,
                sep=separator,
                decimal=decimal,
                lineterminator="\r\n",
                errors="replace",
            )
    (folder / FILE_NAME).write_text(run_text(record), encoding="utf-8", errors="replace", newline="\n")


def _records(record: type[Struct], rows: Sequence[Any], system: UnitSystem) -> "pd.DataFrame":
    """A table of records of one kind. Texts are of pandas' text type, figures that may be unknown are floats."""
    import pandas as pd

    names = table_columns(record)
    columns: dict[str, Any] = {}
    kinds = {field.name: field.type for field in fields(record)}
    for name in names:
        values = [getattr(row, name) for row in rows]
        kind = str(kinds[name])
        if "float" in kind:
            columns[_named(name, system)] = pd.Series(values, dtype="float64")
        elif kind in ("<class 'int'>", "int"):
            columns[name] = pd.Series(values, dtype="int64")
        elif kind in ("<class 'bool'>", "bool"):
            columns[name] = pd.Series(values, dtype="bool")
        else:
            columns[name] = pd.Series(["" if value is None else str(value) for value in values], dtype="str")
    return pd.DataFrame(columns)


def _named(name: str, system: UnitSystem) -> str:
    """A column's name with the unit of the system: `net_volume_m3` becomes `net_volume_yd3`."""
    stem, _, unit = name.rpartition("_")
    return f"{stem}_{system.unit(unit)}" if stem and unit in system.units else name


def _summary(bill: Bill) -> "pd.DataFrame":
    import pandas as pd

    lines: list[tuple[object, ...]] = [
        ("section", section.code, section.title, None, None, section.total)
        for section in bill.sections
        if section.items
    ]
    lines.append(("total", "", "Net total", None, None, bill.net_total))
    lines += [
        ("markup", "", markup.name, markup.percent, markup.base, markup.amount) for markup in bill.markups
    ]
    lines.append(("total", "", "Grand total", None, None, bill.grand_total))
    frame = pd.DataFrame(lines, columns=["kind", "code", "title", "percent", "of", "amount"])
    frame["currency"] = bill.currency
    return frame.astype({"percent": "float64", "of": "float64", "amount": "float64"})


def _shares(shares: Iterable[ShareRow]) -> "pd.DataFrame":
    import pandas as pd

    columns = ["by", "group", "measure", "unit", "prefabricated", "total", "share"]
    return pd.DataFrame([[getattr(share, name) for name in columns] for share in shares], columns=columns)
