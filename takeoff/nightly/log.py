"""What a run says while it works: lines for people, or JSON lines for machines."""

import json
import sys
from datetime import UTC, datetime
from typing import Any, TextIO

from takeoff.nightly.names import escaped

LEVELS = ("info", "warning", "error")


class Log:
    """One line an event on `stream` (standard error). `quiet` leaves only warnings and errors."""

    def __init__(self, as_json: bool = False, quiet: bool = False, stream: TextIO | None = None) -> None:
        self.as_json = as_json
        self._quiet = quiet
        self._stream = stream or sys.stderr

    def __call__(self, level: str, event: str, message: str, **fields: Any) -> None:
        """Say what happened: a stable short name, words, and figures. Never a secret."""
        if self._quiet and level == "info":
            return
        if self.as_json:
            record = {"time": datetime.now(UTC).isoformat(timespec="milliseconds"), "level": level,
                      "event": event, "message": message, **fields}  # fmt: skip
            line = json.dumps(record, ensure_ascii=True, default=str)
        else:
            line = f"takeoff: {'' if level == 'info' else level + ': '}{escaped(message)}"
        print(line, file=self._stream, flush=True)
