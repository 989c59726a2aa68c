"""What the record of a run says of itself: when it was made, for whom, from which data files."""

import hashlib
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from takeoff import __version__
from takeoff.settings import Settings


def head_of(settings: Settings, models: Sequence[str]) -> dict[str, Any]:
    """The entries of a record that hang on the settings and the hour; `models` are the names of those measured.

    Raises OSError for a data file that cannot be read.
    """
    return {
        "program": "takeoff",
        "version": __version__,
        "created": datetime.now(UTC).isoformat(timespec="seconds"),
        "title": settings.title or ", ".join(Path(model).stem for model in models),
        "paper": settings.paper,
        "convention": {"name": settings.file("convention").stem, "file": settings.file("convention").name},
        "inputs": [
            {"what": what, "file": path.name, "sha256": hashlib.sha256(path.read_bytes()).hexdigest()}
            for what, path in settings.files().items()
        ],
    }
