"""The level of the ground as a run records it; without the libraries that finding it takes."""

from msgspec import Struct


class GroundLevel(Struct, frozen=True):
    """`height` in metres above the models' zero, None where nothing tells; `source` in words for Basis.

    Over terrain it is the mean along what lies in the ground, of several levels the first; `lowest` and `highest`
    are then others than it.
    """

    height: float | None
    source: str
    lowest: float | None = None
    highest: float | None = None
