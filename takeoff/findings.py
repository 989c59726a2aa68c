"""Findings: what a person must look at, and what was assumed meanwhile."""

from typing import Literal

from msgspec import Struct

Severity = Literal["error", "warning", "note"]


class Finding(Struct, frozen=True, eq=False):
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
    money: float | None = None
    ask: str = ""

    def __eq__(self, other: object) -> bool:
        """Whether both say the same of the same; what it costs and whom to ask is put on later."""
        return isinstance(other, Finding) and self._said() == other._said()

    def __hash__(self) -> int:
        return hash(self._said())

    def _said(self) -> tuple[object, ...]:
        return (
            self.severity, self.kind, self.model, self.global_id, self.message, self.assumed, self.worth,
            self.worth_unit,
        )  # fmt: skip


class InputError(Exception):
    """Something the user gave cannot be used: the text is one line saying what, where and what to do."""


class NothingToMeasure(InputError):
    """The files can be read, but hold no concrete: an answer, where InputError is otherwise a fault."""
