"""A priced run as compact tables: what the history keeps of it, plain enough to travel between machines."""

import json
import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from takeoff.findings import InputError
from takeoff.outputs.places import FIGURES as PLACE_FIGURES
from takeoff.outputs.places import place_figures
from takeoff.outputs.text import cell_text

if TYPE_CHECKING:
    from takeoff.pipeline import Run

TEXT_LIMIT = 1000
"""Longest text that is kept of a name or message, in characters."""

COLUMNS: dict[str, dict[str, type]] = {
    "elements": {
        "model": str, "global_id": str, "part": int, "lump": int, "ifc_class": str, "name": str,
        "type_name": str, "mark": str, "storey": str, "role": str, "method": str, "material": str,
        "strength_class": str, "gross_volume_m3": float, "net_volume_m3": float, "formwork_m2": float,
        "reinforcement_kg": float, "weight_t": float, "condition": str, "length_m": float, "width_m": float,
        "height_m": float,
    },
    "places": {"model": str, "global_id": str, **dict.fromkeys(PLACE_FIGURES, float)},
    "quantities": {
        "role": str, "method": str, "storey": str, "measure": str, "unit": str, "value": float,
    },
    "items": {
        "key": str, "number": str, "section": str, "description": str, "unit": str, "quantity": float,
        "rate": float, "amount": float,
    },
    "money": {"kind": str, "line": str, "amount": float},
    "shares": {
        "grouped_by": str, "group_name": str, "measure": str, "unit": str, "prefabricated": float,
        "total": float,
    },
    "findings": {
        "severity": str, "kind": str, "model": str, "global_id": str, "message": str, "assumed": str,
        "worth": float, "worth_unit": str,
    },
}  # fmt: skip
"""Columns by table with their types; figures in m, m3, m2, kg, t and the bill's currency, None: not known."""

FORGETTABLE = ("elements", "places", "findings")
"""Tables that old versions lose: what is large and of use only against the version after."""

TOTALS: dict[str, type] = {
    "elements": int, "parts": int, "pieces": int, "net_volume_m3": float, "gross_volume_m3": float,
    "formwork_m2": float, "reinforcement_kg": float, "weight_t": float, "net_total": float,
    "grand_total": float, "currency": str, "unpriced_items": int, "errors": int, "warnings": int,
    "notes": int, "share_volume": float, "share_value": float, "seconds": float, "units": str,
}  # fmt: skip
"""Figures of a whole version. Shares are of volume and of value, between 0 and 1; `units` are those of its bill."""

_MEASURES = (
    ("net volume", "m3", "net_volume_m3"),
    ("gross volume", "m3", "gross_volume_m3"),
    ("formwork", "m2", "formwork_m2"),
    ("reinforcement", "kg", "reinforcement_kg"),
    ("weight", "t", "weight_t"),
)

Row = Sequence[Any]


class Tables(Struct, frozen=True):
    """Totals by name, and rows by table in the order of COLUMNS."""

    totals: Mapping[str, Any]
    rows: Mapping[str, Sequence[Row]]

    def records(self, table: str) -> list[dict[str, Any]]:
        """The rows of a table by column name."""
        names = tuple(COLUMNS[table])
        return [dict(zip(names, row, strict=True)) for row in self.rows[table]]

    def text(self) -> str:
        """As JSON."""
        return json.dumps({"totals": self.totals, "rows": self.rows}, ensure_ascii=False, allow_nan=False)


def read_tables(text: str) -> Tables:
    """Tables from their JSON. Raises InputError when columns or types are not those of this program."""
    try:
        data = json.loads(text)
        totals = {name: _checked(data["totals"][name], kind) for name, kind in TOTALS.items()}
        rows = {
            table: [
                tuple(_checked(value, kind) for value, kind in zip(row, columns.values(), strict=True))
                for row in data["rows"][table]
            ]
            for table, columns in COLUMNS.items()
        }
    except (ValueError, KeyError, TypeError) as fault:
        raise InputError(f"the tables that came back are faulty ({fault}); run again") from fault
    return Tables(totals, rows)


def tables_of(run: "Run", seconds: float) -> Tables:
    """The tables of a priced run that took `seconds`."""
    assert run.bill is not None
    from takeoff.measuring.whereabouts import places_of

    measurement, bill = run.measurement, run.bill
    places = places_of(run.measured.bodies, run.origin)
    findings = tuple(dict.fromkeys((*measurement.findings, *bill.findings)))
    items = [(section, item) for section in bill.sections for item in section.items]
    money = [("section", f"{section.code} {section.title}", section.total) for section in bill.sections]
    money.append(("net", "Net total", bill.net_total))
    money += [("markup", f"{markup.name} {markup.percent:g} %", markup.amount) for markup in bill.markups]
    money.append(("grand", "Grand total", bill.grand_total))
    rows: dict[str, Iterable[Row]] = {
        "elements": ([getattr(part, name) for name in COLUMNS["elements"]] for part in measurement.parts),
        "places": ((*key, *place_figures(place)) for key, place in places.items()),
        "quantities": _quantities(measurement.parts),
        "items": (
            (item.key, item.number, f"{section.code} {section.title}", item.description, item.unit,
             item.quantity, item.rate, item.amount)
            for section, item in items
        ),
        "money": money,
        "shares": ((s.by, s.group, s.measure, s.unit, s.prefabricated, s.total) for s in bill.shares),
        "findings": ([getattr(finding, name) for name in COLUMNS["findings"]] for finding in findings),
    }  # fmt: skip
    severities = [finding.severity for finding in findings]
    whole = {row.measure: row.share for row in bill.shares if row.by == "all"}
    record = run.record["totals"]
    totals = {
        "elements": len({(part.model, part.global_id) for part in measurement.parts}),
        "parts": len(measurement.parts),
        "pieces": len(measurement.pieces),
        **{name: record[name] for name in (
            "net_volume_m3", "gross_volume_m3", "formwork_m2", "reinforcement_kg", "weight_t",
        )},
        "net_total": bill.net_total,
        "grand_total": bill.grand_total,
        "currency": bill.currency,
        "unpriced_items": len(bill.unpriced),
        "errors": severities.count("error"),
        "warnings": severities.count("warning"),
        "notes": severities.count("note"),
        "share_volume": whole.get("volume"),
        "share_value": whole.get("value"),
        "seconds": seconds,
        "units": bill.units,
    }  # fmt: skip
    return Tables(
        {name: _kept(totals[name], kind) for name, kind in TOTALS.items()},
        {
            table: [
                tuple(_kept(value, kind) for value, kind in zip(row, COLUMNS[table].values(), strict=True))
                for row in own
            ]
            for table, own in rows.items()
        },
    )


def _quantities(parts: Iterable[Any]) -> list[Row]:
    """Sums by role, method and storey; the number of parts counts as a measure too."""
    sums: dict[tuple[str, str, str, str, str], list[float]] = defaultdict(list)
    for part in parts:
        if part.method == "not-concrete":
            continue
        place = (part.role, part.method, part.storey)
        sums[*place, "parts", "nr"].append(1.0)
        for measure, unit, name in _MEASURES:
            value = getattr(part, name)
            if value is not None:
                sums[*place, measure, unit].append(value)
    return [(*key, math.fsum(values)) for key, values in sorted(sums.items())]


def _kept(value: Any, kind: type) -> Any:
    """The value as it is stored: texts without characters that a database refuses, and not without end."""
    if kind is str:
        return cell_text("" if value is None else value)[:TEXT_LIMIT]
    if value is None or (kind is float and not math.isfinite(value)):
        return None
    return kind(value)


def _checked(value: Any, kind: type) -> Any:
    if value is None and kind is not str:
        return None
    if kind is float and isinstance(value, int) and not isinstance(value, bool):
        return float(value)
    if type(value) is not kind:
        raise TypeError(f"{type(value).__name__} for {kind.__name__}")
    return _kept(value, kind)
