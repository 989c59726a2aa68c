"""What a cell can hold besides plain values."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Formula:
    """A live formula and the value that it has now, for readers that do not calculate."""

    text: str
    value: float | int | str


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure of another kind than its column's, for columns that hold several units."""

    value: Formula | float | None
    kind: str
