"""Measured records shown in other units: for outputs only, the figures no longer fit the names of their fields."""

import dataclasses
from collections.abc import Hashable, Iterable
from functools import cache
from typing import Any, TypeVar

from takeoff.findings import Finding
from takeoff.measuring.records import Measurement
from takeoff.pricing.unit_systems import METRIC, UnitSystem

Record = TypeVar("Record")
_SUFFIXES = ("m3", "m2", "m", "t", "kg")
_TABLES = (
    "parts", "formwork", "surfaces", "holes", "reinforcement", "pieces", "joints", "bearings", "loads", "lifts",
    "casting", "panels", "storeys",
)  # fmt: skip


def shown_in(measurement: Measurement, system: UnitSystem) -> Measurement:
    """The measurement with every figure in m, m2, m3, kg and t turned into the units of `system`."""
    if system is METRIC:
        return measurement
    tables: Any = {name: tuple(_converted(getattr(measurement, name), system)) for name in _TABLES}
    return dataclasses.replace(
        measurement, **tables, findings=findings_shown_in(measurement.findings, system)
    )


def findings_shown_in(findings: Iterable[Finding], system: UnitSystem) -> tuple[Finding, ...]:
    """The findings with what is at stake in the units of `system`; their words stay as they are."""
    return tuple(
        dataclasses.replace(
            finding,
            worth=finding.worth * system.factor(finding.worth_unit),
            worth_unit=system.unit(finding.worth_unit),
        )
        if finding.worth is not None
        else finding
        for finding in findings
    )


@cache
def _figures(record: Hashable) -> tuple[tuple[str, str], ...]:
    """Fields of a record that hold a figure with a unit, and the unit."""
    named = ((field.name, field.name.rpartition("_")[2]) for field in dataclasses.fields(record))  # type: ignore[arg-type]
    return tuple((name, unit) for name, unit in named if unit in _SUFFIXES and "_" in name)


def _converted(rows: Iterable[Record], system: UnitSystem) -> Iterable[Record]:
    for row in rows:
        changed = {
            name: value * system.factor(unit)
            for name, unit in _figures(type(row))  # type: ignore[arg-type]
            if (value := getattr(row, name)) is not None
        }
        yield dataclasses.replace(row, **changed) if changed else row  # type: ignore[type-var]
