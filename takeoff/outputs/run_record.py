"""run.json: what a run read, decided and took, for people who must trust or repeat it."""

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from msgspec import Struct
from msgspec.structs import asdict

PROGRAM = "takeoff"
FILE_NAME = "run.json"


def run_text(run: Mapping[str, object]) -> str:
    """The run's record as JSON text; records become objects and figures that are no numbers become null."""
    return json.dumps(plain(run), ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def is_run_folder(folder: Path) -> bool:
    """Whether the folder holds the record of an earlier run of this program."""
    try:
        record = json.loads((folder / FILE_NAME).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(record, dict) and record.get("program") == PROGRAM


def plain(value: object) -> Any:
    """The value made of dict, list, str, int, float, bool and None only."""
    if value is None or isinstance(value, str | bool):
        return value
    if isinstance(value, int):
        return int(value)
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, Struct):
        return plain(asdict(value))
    if isinstance(value, set | frozenset):
        return [plain(item) for item in sorted(value, key=str)]
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    item = getattr(value, "item", None)
    return plain(item()) if callable(item) else str(value)
