"""Errands: tasks of the overlap stage on their way to a worker and back."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from takeoff.geometry.cutting import Answer, Task


@dataclass(frozen=True, slots=True, eq=False)
class Errand:
    """A task under a number."""

    key: int
    task: "Task"

    def failed(self, reason: str) -> "Done":
        """The answer when no worker survives it."""
        del reason  # the caller tells the overlap that is in doubt
        return Done(self.key, None)


@dataclass(frozen=True, slots=True, eq=False)
class Done:
    """The answer to the errand of this number, None where it could not be done."""

    key: int
    answer: "Answer | None"
