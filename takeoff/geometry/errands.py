"""Errands: tasks of the overlap stage on their way to a worker and back."""

from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from takeoff.geometry.cutting import Answer, Task


class Errand(Struct, frozen=True, eq=False):
    """A task under a number."""

    key: int
    task: "Task"

    def failed(self, reason: str) -> "Done":
        """The answer when no worker survives it."""
        del reason  # the caller tells the overlap that is in doubt
        return Done(self.key, None)


class Done(Struct, frozen=True, eq=False):
    """The answer to the errand of this number, None where it could not be done."""

    key: int
    answer: "Answer | None"
