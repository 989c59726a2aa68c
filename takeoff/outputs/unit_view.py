"""Measured records shown in other units: for outputs only, the figures no longer fit the names of their fields."""

from collections.abc import Iterable
from functools import cache
from typing import TYPE_CHECKING, Any, TypeVar

from msgspec import Struct
from msgspec.structs import fields, replace

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
    return replace(
        measurement,
        **tables,
        findings=findings_shown_in(measurement.findings, system),
        declared=tuple(_declared(row, system) for row in measurement.declared),
        conventions=tuple(
            replace(
                row,
                without_value=row.without_value * system.factor(row.unit),
                with_value=row.with_value * system.factor(row.unit),
                unit=system.unit(row.unit),
            )
            for row in measurement.conventions
        ),
        repetition=tuple(
            replace(
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
    return replace(
        score,
        parts=tuple(
            replace(
                part,
                unit=system.unit(part.unit),
                lines=tuple(
                    replace(line, quantity=line.quantity * factors[part.code]) for line in part.lines
                ),
            )
            for part in score.parts
        ),
        bonuses=tuple(
            replace(
                bonus,
                unit=system.unit(bonus.unit),
                repeated=bonus.repeated * system.factor(bonus.unit),
                total=bonus.total * system.factor(bonus.unit),
            )
            for bonus in score.bonuses
        ),
        sources=tuple(
            replace(source, quantity=source.quantity * factors[source.code]) for source in score.sources
        ),
        findings=findings_shown_in(score.findings, system),
    )


def findings_shown_in(findings: Iterable[Finding], system: UnitSystem) -> tuple[Finding, ...]:
    """The findings with what is at stake, and the quantities in their words, in the units of `system`."""
    if system is METRIC:
        return tuple(findings)
    return tuple(
        replace(
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
    return replace(
        row,
        declared=row.declared * factor,
        measured=row.measured * factor,
        cause=in_units(row.cause, system),
    )


@cache
def _figures(record: type[Struct]) -> tuple[tuple[str, str], ...]:
    """Fields of a record that hold a figure with a unit, and the unit."""
    named = ((name, name.rpartition("_")[2]) for name in record.__struct_fields__)
    return tuple((name, unit) for name, unit in named if unit in _SUFFIXES and "_" in name)


@cache
def _texts(record: type[Struct]) -> tuple[str, ...]:
    """Fields of a record that hold a text."""
    return tuple(field.name for field in fields(record) if field.type is str)


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
        yield replace(row, **changed) if changed else row  # type: ignore[type-var]
