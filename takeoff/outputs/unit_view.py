"""Measured records shown in other units: for outputs only, the figures no longer fit the names of their fields."""

import dataclasses
from collections.abc import Hashable, Iterable
from functools import cache
from typing import TYPE_CHECKING, Any, TypeVar

from takeoff.findings import Finding
from takeoff.measuring.causes import BASE
from takeoff.measuring.records import DeclaredRow, Measurement
from takeoff.pricing.unit_systems import METRIC, UnitSystem
from takeoff.told import Told, in_units

if TYPE_CHECKING:
    from takeoff.pricing.scoring import Score

Record = TypeVar("Record")
_SUFFIXES = ("m3", "m2", "m", "t", "kg")
_TABLES = (
    "parts", "formwork", "surfaces", "holes", "reinforcement", "pieces", "joints", "bearings", "loads", "lifts",
    "casting", "panels", "storeys", "envelope", "pours", "moulds",
)  # fmt: skip


def shown_in(measurement: Measurement, system: UnitSystem) -> Measurement:
    """The measurement with every figure in m, m2, m3, kg and t turned into the units of `system`."""
    if system is METRIC:
        return measurement
    tables: Any = {name: tuple(_converted(getattr(measurement, name), system)) for name in _TABLES}
    return dataclasses.replace(
        measurement,
        **tables,
        findings=findings_shown_in(measurement.findings, system),
        declared=tuple(_declared(row, system) for row in measurement.declared),
        conventions=tuple(
            dataclasses.replace(
                row,
                without_value=row.without_value * system.factor(row.unit),
                with_value=row.with_value * system.factor(row.unit),
                unit=system.unit(row.unit),
            )
            for row in measurement.conventions
        ),
        repetition=tuple(
            dataclasses.replace(
                row,
                repeated=row.repeated * system.factor(row.unit),
                total=row.total * system.factor(row.unit),
                unit=system.unit(row.unit),
            )
            for row in measurement.repetition
        ),
    )


def score_shown_in(score: "Score", system: UnitSystem) -> "Score":
    """The working of a score with its quantities in the units of `system`; shares and points stay what they are."""
    if system is METRIC:
        return score
    factors = {part.code: system.factor(part.unit) for part in score.parts}
    return dataclasses.replace(
        score,
        parts=tuple(
            dataclasses.replace(
                part,
                unit=system.unit(part.unit),
                lines=tuple(
                    dataclasses.replace(line, quantity=line.quantity * factors[part.code])
                    for line in part.lines
                ),
            )
            for part in score.parts
        ),
        bonuses=tuple(
            dataclasses.replace(
                bonus,
                unit=system.unit(bonus.unit),
                repeated=bonus.repeated * system.factor(bonus.unit),
                total=bonus.total * system.factor(bonus.unit),
            )
            for bonus in score.bonuses
        ),
        sources=tuple(
            dataclasses.replace(source, quantity=source.quantity * factors[source.code])
            for source in score.sources
        ),
        findings=findings_shown_in(score.findings, system),
    )


def findings_shown_in(findings: Iterable[Finding], system: UnitSystem) -> tuple[Finding, ...]:
    """The findings with what is at stake, and the quantities in their words, in the units of `system`."""
    if system is METRIC:
        return tuple(findings)
    return tuple(
        dataclasses.replace(
            finding,
            message=in_units(finding.message, system),
            assumed=in_units(finding.assumed, system),
            worth=None if finding.worth is None else finding.worth * system.factor(finding.worth_unit),
            worth_unit=system.unit(finding.worth_unit),
        )
        for finding in findings
    )


def _declared(row: DeclaredRow, system: UnitSystem) -> DeclaredRow:
    """A declared quantity and its measured one, whose unit is that of its kind."""
    factor = system.factor(BASE[row.kind])
    return dataclasses.replace(
        row,
        declared=row.declared * factor,
        measured=row.measured * factor,
        cause=in_units(row.cause, system),
    )


@cache
def _figures(record: Hashable) -> tuple[tuple[str, str], ...]:
    """Fields of a record that hold a figure with a unit, and the unit."""
    named = ((field.name, field.name.rpartition("_")[2]) for field in dataclasses.fields(record))  # type: ignore[arg-type]
    return tuple((name, unit) for name, unit in named if unit in _SUFFIXES and "_" in name)


@cache
def _texts(record: Hashable) -> tuple[str, ...]:
    """Fields of a record that hold a text."""
    return tuple(field.name for field in dataclasses.fields(record) if field.type in (str, "str"))  # type: ignore[arg-type]


def _converted(rows: Iterable[Record], system: UnitSystem) -> Iterable[Record]:
    for row in rows:
        changed: dict[str, Any] = {
            name: value * system.factor(unit)
            for name, unit in _figures(type(row))  # type: ignore[arg-type]
            if (value := getattr(row, name)) is not None
        }
        for name in _texts(type(row)):  # type: ignore[arg-type]
            if type(text := getattr(row, name)) is Told:
                changed[name] = text.in_units(system)
        yield dataclasses.replace(row, **changed) if changed else row  # type: ignore[type-var]
