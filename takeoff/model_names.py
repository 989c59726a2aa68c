"""Names by which the files of a run go in tables and messages."""

from collections import Counter
from collections.abc import Sequence
from pathlib import Path


def model_names(paths: Sequence[Path]) -> dict[Path, str]:
    """The name by which each file goes in all tables: its own, with its folder where two files share it."""
    counts = Counter(path.name for path in dict.fromkeys(paths))
    return {path: path.name if counts[path.name] == 1 else str(path) for path in dict.fromkeys(paths)}


def names_of(paths: Sequence[Path]) -> str:
    """File names for a message."""
    return ", ".join(path.name for path in paths)
