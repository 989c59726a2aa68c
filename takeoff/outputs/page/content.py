"""What the page tells: tables of parts, items and findings, tied to each other by place."""

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from takeoff.measuring.records import MeasuredPart
from takeoff.outputs.finding_groups import group_findings
from takeoff.outputs.page.packing import clean, column
from takeoff.outputs.unit_view import findings_shown_in
from takeoff.pricing.unit_systems import METRIC, UnitSystem, unit_system
from takeoff.told import in_units

if TYPE_CHECKING:
    from takeoff.findings import Finding
    from takeoff.pipeline import Run
    from takeoff.pricing.records import Bill

PART_FIELDS = MeasuredPart.__struct_fields__
FORMWORK_FIELDS = (
    "category",
    "shape",
    "band",
    "height_to_soffit_m",
    "height_band",
    "area_m2",
    "length_m",
    "place",
)
STEEL_FIELDS = ("basis", "kind", "diameter_mm", "mass_kg", "low_kg", "high_kg", "note")
PIECE_FIELDS = (
    "mark", "length_m", "width_m", "thickness_m", "volume_m3", "weight_t", "openings",
    "repetition_group", "repetition_count", "mirror_of", "transport_check", "lift_check", "panel", "mould", "embedded",
)  # fmt: skip


class Places:
    """Where in the table of parts a part or an element stands."""

    def __init__(self, parts: Sequence[MeasuredPart]) -> None:
        self._part = {(part.model, part.global_id, part.part): n for n, part in enumerate(parts)}
        self._element: dict[tuple[str, str], list[int]] = {}
        self._identity: dict[str, int] = {}
        for n, part in enumerate(parts):
            self._element.setdefault((part.model, part.global_id), []).append(n)
            self._identity.setdefault(part.global_id, n)

    def part(self, model: str, global_id: str, part: int) -> int:
        """Place of a part, -1 where the table has no such row."""
        return self._part.get((model, global_id, part), -1)

    def element(self, model: str, global_id: str) -> list[int]:
        """Places of all parts of an element."""
        return self._element.get((model, global_id), [])

    def named(self, global_id: str) -> int:
        """Place of the first part of an element of whatever model, -1 for none."""
        return self._identity.get(global_id, -1)


def page_content(run: "Run") -> dict[str, Any]:
    """All tables of the page as plain values for JSON."""
    measurement = run.measurement
    places = Places(measurement.parts)
    system = system_of(run)
    findings = findings_shown_in(all_findings(run), system)
    return {
        "units": _units(system),
        "parts": {name: _column(measurement.parts, name, system) for name in PART_FIELDS},
        "storeys": storeys_in_order(run),
        "formwork": _of_parts(measurement.formwork, FORMWORK_FIELDS, places, system),
        "surfaces": _surfaces(run, places),
        "steel": _of_parts(measurement.reinforcement, STEEL_FIELDS, places, system),
        "pieces": _pieces(run, places, system),
        "panel_of_body": [],
        "divided": [],
        "items": _items(run.bill, places) if run.bill is not None else [],
        "currency": clean(run.bill.currency) if run.bill is not None else "",
        "findings": _findings(findings, places),
    }


def system_of(run: "Run") -> UnitSystem:
    """The units that the page is written in: those of the bill."""
    return unit_system(run.bill.units) if run.bill is not None else METRIC


def _units(system: UnitSystem) -> dict[str, Any]:
    """What the page needs to show its metric figures in other units."""
    metric = ("m3", "m2", "m", "t", "kg")
    return {
        "names": {unit: system.unit(unit) for unit in metric},
        "factors": {unit: system.factor(unit) for unit in metric},
        "feet": system is not METRIC,
    }


def _column(rows: Sequence[Any], name: str, system: UnitSystem) -> Any:
    """A column with its figures in metric units, and its texts in those of `system`."""
    return column([in_units(getattr(row, name), system) for row in rows])


def all_findings(run: "Run") -> "tuple[Finding, ...]":
    """Findings of measuring and of pricing, each once."""
    priced = run.bill.findings if run.bill is not None else ()
    return tuple(dict.fromkeys((*run.measurement.findings, *priced)))


def storeys_in_order(run: "Run") -> list[str]:
    """Names of the storeys that have parts, from below; those without a level last."""
    level: dict[str, float] = {}
    for model in run.models:
        for storey in model.storeys:
            level[storey.name] = min(level.get(storey.name, storey.elevation), storey.elevation)
    names = dict.fromkeys(part.storey for part in run.measurement.parts)
    return [clean(name) for name in sorted(names, key=lambda name: level.get(name, float("inf")))]


def _of_parts(
    rows: Sequence[Any], names: Sequence[str], places: Places, system: UnitSystem
) -> dict[str, Any]:
    """A table whose rows belong to parts: `part` is the place of each."""
    table: dict[str, Any] = {"part": [places.part(row.model, row.global_id, row.part) for row in rows]}
    for name in names:
        table[name] = _column(rows, name, system)
    return table


def _surfaces(run: "Run", places: Places) -> dict[str, Any]:
    """Surfaces without a form, summed by part, state and neighbour."""
    sums: dict[tuple[int, str, int], float] = {}
    for row in run.measurement.surfaces:
        other = places.named(row.other_id) if row.other_id else -1
        key = (places.part(row.model, row.global_id, row.part), row.state, other)
        sums[key] = sums.get(key, 0.0) + row.area_m2
    return {
        "part": [key[0] for key in sums],
        "state": column([key[1] for key in sums]),
        "other": [key[2] for key in sums],
        "area_m2": column(list(sums.values())),
    }


def _pieces(run: "Run", places: Places, system: UnitSystem) -> dict[str, Any]:
    """Pieces with the places of all parts that are lifted as one."""
    pieces = run.measurement.pieces
    table: dict[str, Any] = {"parts": [places.element(row.model, row.global_id) for row in pieces]}
    for name in PIECE_FIELDS:
        table[name] = _column(pieces, name, system)
    return table


def _items(bill: "Bill", places: Places) -> list[dict[str, Any]]:
    rows: dict[str, dict[int, float]] = {}
    for row in bill.dimensions:
        place = places.part(row.model, row.global_id, row.part)
        own = rows.setdefault(row.item, {})
        for found in [place] if place >= 0 else places.element(row.model, row.global_id)[:1]:
            own[found] = own.get(found, 0.0) + row.quantity
    return [
        {
            "key": clean(item.key),
            "number": clean(item.number),
            "description": clean(item.description),
            "unit": clean(item.unit),
            "rate": item.rate,
            "parts": list(rows.get(item.key, {})),
            "quantities": column([float(value) for value in rows.get(item.key, {}).values()]),
        }
        for section in bill.sections
        for item in section.items
    ]


def _findings(findings: "Iterable[Finding]", places: Places) -> list[dict[str, Any]]:
    """Kinds of findings in the order in which to look at them, each with its findings."""
    return [
        {
            "severity": kind.severity,
            "kind": kind.kind,
            "message": column([finding.message for finding in kind.findings]),
            "assumed": column([finding.assumed for finding in kind.findings]),
            "ask": column([finding.ask for finding in kind.findings]),
            "worth": column([_finite(finding.worth) for finding in kind.findings]),
            "worth_unit": column([finding.worth_unit for finding in kind.findings]),
            "money": column([finding.money for finding in kind.findings]),
            "global_id": column([finding.global_id for finding in kind.findings]),
            "model": column([finding.model for finding in kind.findings]),
            "parts": [places.element(finding.model, finding.global_id) for finding in kind.findings],
        }
        for kind in group_findings(findings)
    ]


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None
