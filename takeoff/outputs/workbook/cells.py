"""What a cell can hold besides plain values."""

from msgspec import Struct


class Formula(Struct, frozen=True):
    """A live formula and the value that it has now, for readers that do not calculate."""

    text: str
    value: float | int | str


class Figure(Struct, frozen=True):
    """A figure of another kind than its column's, for columns that hold several units."""

    value: Formula | float | None
    kind: str
