"""Findings: what a person must look at, and what was assumed meanwhile."""

from dataclasses import dataclass, field
from typing import Literal

Severity = Literal["error", "warning", "note"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing the model did not say, said twice, or said wrongly.

    `kind` is a stable short name (`method-assumed`, `declared-volume-differs`, ...) by which findings are
    grouped; `message` says what and what to do; `assumed` what the tool went on with. `worth` is the
    quantity at stake in `worth_unit` (m3, m2, m, kg, pieces), None where no figure can be put on it;
    `money` what hangs on it in a bill. `ask` is the question to whoever designed the model.
    """

    severity: Severity
    kind: str
    model: str
    global_id: str
    message: str
    assumed: str = ""
    worth: float | None = None
    worth_unit: str = ""
    money: float | None = field(default=None, compare=False)
    ask: str = field(default="", compare=False)


class InputError(Exception):
    """Something the user gave cannot be used: the text is one line saying what, where and what to do."""


class NothingToMeasure(InputError):
    """The files can be read, but hold no concrete: an answer, where InputError is otherwise a fault."""
