"""The sheet Quantities: what is measured in each variant, side by side."""

from collections.abc import Iterator, Sequence

from xlsxwriter.utility import xl_col_to_name

from takeoff.measuring.plan import METHODS, ROLES
from takeoff.measuring.records import Measurement
from takeoff.outputs.workbook.cells import Figure, Formula
from takeoff.outputs.workbook.columns import Column
from takeoff.outputs.workbook.sheet import FIRST_ROW, Page, Sheet
from takeoff.outputs.workbook.styles import UNIT_KINDS
from takeoff.outputs.workbook.table import write_table
from takeoff.pricing.comparison import Comparison

Look = tuple[str, str, str]
"""What is measured, of what, and its unit."""

WHAT = (
    "Concrete",
    "Formwork",
    "Reinforcement",
    "Pieces",
    "Weight of pieces",
    "Joints",
    "Grout",
    "Surfaces",
    "Holes",
)
LEADING = (Column("What", widest=30), Column("Of what", widest=44), Column("Unit", narrowest=5))


def quantity_rows(comparison: Comparison) -> list[tuple[Look, tuple[float, ...]]]:
    """Measured totals by variant, metric, for everything that any variant has."""
    sums = [_totals(variant.measurement) for variant in comparison.variants]
    looks = sorted({look for own in sums for look in own}, key=_order)
    return [(look, tuple(own.get(look, 0.0) for own in sums)) for look in looks]


def write_quantities(sheet: Sheet, page: Page, comparison: Comparison) -> None:
    """Write the totals with the difference of each alternative to the first variant."""
    variants = comparison.variants
    columns = [*LEADING, Column(variants[0].name, "volume", narrowest=12)]
    for variant in variants[1:]:
        columns += [
            Column(variant.name, "volume", narrowest=12),
            Column("Difference", "volume", narrowest=11),
        ]
    rows = [
        _cells(row, look, figures)
        for row, (look, figures) in enumerate(quantity_rows(comparison), start=FIRST_ROW + 1)
    ]
    note = "Measured by one engine from one set of solids; metric units. Volumes are net of openings and overlaps."
    write_table(sheet, page, "Quantities", note, columns, rows, "Nothing was measured.")


def _cells(row: int, look: Look, figures: Sequence[float]) -> tuple[object, ...]:
    kind = UNIT_KINDS.get(look[2], "volume")
    first = xl_col_to_name(len(LEADING))
    cells: list[object] = [*look, Figure(figures[0], kind)]
    for place, figure in enumerate(figures[1:]):
        own = xl_col_to_name(len(LEADING) + 1 + 2 * place)
        cells.append(Figure(figure, kind))
        cells.append(Figure(Formula(f"={own}{row}-{first}{row}", figure - figures[0]), kind))
    return tuple(cells)


def _order(look: Look) -> tuple[int, int, int, str]:
    method, _, role = look[1].partition(" ")
    return (
        WHAT.index(look[0]),
        METHODS.index(method) if method in METHODS else len(METHODS),
        ROLES.index(role) if role in ROLES else len(ROLES),
        look[1],
    )


def _totals(measurement: Measurement) -> dict[Look, float]:
    sums: dict[Look, float] = {}
    for look, figure in _figures(measurement):
        if figure:
            sums[look] = sums.get(look, 0.0) + figure
    return sums


def _figures(measurement: Measurement) -> Iterator[tuple[Look, float]]:
    for part in measurement.parts:
        if part.method != "not-concrete":
            made = f"{part.method} {part.role}"
            yield ("Concrete", made, "m3"), part.net_volume_m3 or 0.0
            yield ("Reinforcement", made, "kg"), part.reinforcement_kg or 0.0
    for row in measurement.formwork:
        yield ("Formwork", row.category, "m2"), row.area_m2
    for piece in measurement.pieces:
        made = f"{piece.method} {piece.role}"
        yield ("Pieces", made, "nr"), 1.0
        yield ("Weight of pieces", made, "t"), piece.weight_t
    for joint in measurement.joints:
        if joint.kind in ("topping", "cast-on"):
            yield ("Joints", f"{joint.kind} (area)", "m2"), joint.area_m2
        else:
            yield ("Joints", joint.kind, "m"), joint.length_m
            yield ("Grout", joint.kind, "m3"), joint.grout_m3
    for surface in measurement.surfaces:
        yield ("Surfaces", f"{surface.state} {surface.role}", "m2"), surface.area_m2
    for hole in measurement.holes:
        yield ("Holes", f"through {hole.role}", "nr"), 1.0
