"""Helpers for tests of what is handed back: equal tables, a validator's complaints, models with new GlobalIds."""

from collections import Counter
from pathlib import Path
from typing import Any

import ifcopenshell
import ifcopenshell.guid
import ifcopenshell.validate

from takeoff.measuring.records import Measurement

SAMPLES = Path(__file__).parents[1] / "sample_models"
TABLES = ("parts", "formwork", "surfaces", "holes", "reinforcement", "pieces", "joints", "envelope")
# Where the model says more than before, the words of the evidence change, and so does what it declares.
_OTHER_WORDS = ("model", "other_model", "evidence", "declared_volume_m3")


def differences(one: Measurement, other: Measurement) -> list[str]:
    """What differs in the figures and decisions of two measurements, one line each; floats to 1e-9."""
    found = []
    for table in TABLES:
        rows, others = getattr(one, table), getattr(other, table)
        if len(rows) != len(others):
            found.append(f"{table}: {len(rows)} and {len(others)} rows")
        for row, again in zip(rows, others, strict=False):
            for name in row.__struct_fields__:
                a, b = getattr(row, name), getattr(again, name)
                same = a == b or (
                    isinstance(a, float) and isinstance(b, float) and abs(a - b) <= 1e-9 * max(1.0, abs(a))
                )
                if not same and name not in _OTHER_WORDS:
                    found.append(f"{table} {row.global_id} {name}: {a} and {b}")
    return found


def complaints(path: Path) -> Counter[str]:
    """What the library's validator has against a file, with its EXPRESS rules: each rule, and how often."""
    logger = ifcopenshell.validate.json_logger()
    ifcopenshell.validate.validate(str(path), logger, express_rules=True)
    # The validator leaves the library's log in JSON, which the reader does not expect.
    ifcopenshell.ifcopenshell_wrapper.set_log_format_text()
    return Counter(
        f"{entry.get('attribute') or entry.get('type')}: {str(entry.get('message')).splitlines()[0]}"
        for entry in logger.statements
    )


def renew_ids(source: Path, target: Path) -> dict[str, str]:
    """Write a model with another GlobalId on every object; old to new."""
    model: Any = ifcopenshell.open(source)
    renewed = {}
    for root in model.by_type("IfcRoot"):
        old = root.GlobalId
        root.GlobalId = ifcopenshell.guid.new()
        renewed[old] = root.GlobalId
    model.write(str(target))
    return renewed
