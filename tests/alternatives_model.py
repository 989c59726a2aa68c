"""A small model for tests of alternatives, and comparisons of it from a few lines of TOML."""

from collections import defaultdict
from pathlib import Path
from typing import Any

from build import Model, rectangle

from takeoff.compare_job import Choice
from takeoff.comparing import compare
from takeoff.measuring.records import Measurement
from takeoff.pricing.comparison import Comparison, Variant
from takeoff.settings import Settings

PRECAST = "Precast concrete C40/50"
CAST = "Concrete C30/37 cast in place"
TILT_UP = "Tilt-up concrete C30/37"


def write_house(path: Path) -> Path:
    """One storey: ground slab, a wall with a window, a column, planks with topping on a ledge of wall, panels.

    Heights in metres: ground slab -0.30 to 0, walls and column 0 to 3.00, planks 3.00 to 3.06, topping to 3.20.
    The wall is 5.00 x 0.30 along y = 0 and carries the floor; three planks of 2.00 x 3.85 lie from y = 0 to 3.85
    with the topping of 6.00 x 3.85 on them; the column of 0.30 x 0.30 stands under the floor. Two tilt-up panels
    of 3.00 x 0.20, 3.00 high, stand far away, 20 mm apart.
    """
    m = Model("IFC4")
    m.storey("Ground floor", 0.0)
    m.slab(
        rectangle(-1, -1, 7, 5),
        0.3,
        -0.3,
        name="Ground slab",
        PredefinedType="BASESLAB",
        material=CAST,
        made=None,
    )
    wall = m.wall((0.5, 0.15), (5.5, 0.15), 0.3, 3.0, name="Wall", Tag="W1", material=CAST, made=None)
    m.box_void(wall, (2.0, -0.3, 1.0), (3.0, 0.3, 2.0), name="Window")
    m.column((3.0, 3.0), 0.3, 0.3, 3.0, name="Column", material=CAST, made=None)
    for i in range(3):
        m.slab(
            rectangle(2.0 * i, 0, 2.0 * i + 2.0, 3.85), 0.06, 3.0, name=f"Plank {i + 1}", material=PRECAST,
            made=None, PredefinedType="FLOOR",
        )  # fmt: skip
    m.slab(
        rectangle(0, 0, 6, 3.85), 0.14, 3.06, name="Topping", material=CAST, made=None, PredefinedType="FLOOR"
    )
    m.slab(
        rectangle(20, -1, 28, 2), 0.3, -0.3, name="Base", PredefinedType="BASESLAB", material=CAST, made=None
    )
    for i, x in enumerate((21.0, 24.02)):
        m.wall((x, 0.1), (x + 3.0, 0.1), 0.2, 3.0, name=f"Panel {i + 1}", material=TILT_UP, made=None)
    return m.save(path)


def compared(model: Path, folder: Path, text: str, **choice: Any) -> Comparison:
    """The comparison of a model with the alternatives that `text` (TOML) describes."""
    file = folder / "alternatives.toml"
    file.write_text(text, encoding="utf-8")
    comparison, _ = compare([model], Settings(processes=1), Choice(file, **choice))
    return comparison


def one_change(change: str, more: str = "") -> str:
    """An alternatives file with one alternative of one change."""
    return f'[[alternative]]\nname = "Other"\n{more}\n[[alternative.change]]\n{change}\n'


def formed(variant: Variant, name: str = "") -> dict[str, float]:
    """Formwork by category, of one element by its name or of all."""
    ids = {part.global_id for part in variant.measurement.parts if not name or part.name == name}
    sums: dict[str, float] = defaultdict(float)
    for row in variant.measurement.formwork:
        if row.global_id in ids:
            sums[row.category] += row.area_m2
    return dict(sums)


def volume(variant: Variant, name: str, method: str = "") -> float:
    """Net volume of an element's parts, of one method or of all."""
    return sum(
        part.net_volume_m3 or 0.0
        for part in variant.measurement.parts
        if part.name == name and (not method or part.method == method)
    )


def joints(measurement: Measurement, name: str) -> dict[str, float]:
    """Lengths of joints (areas of those that are cast on) by kind, in which an element takes part."""
    ids = {part.global_id for part in measurement.parts if part.name == name}
    sums: dict[str, float] = defaultdict(float)
    for row in measurement.joints:
        if row.global_id in ids or row.other_id in ids:
            sums[row.kind] += row.area_m2 if row.kind in ("topping", "cast-on") else row.length_m
    return dict(sums)
