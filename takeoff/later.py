"""Values that are made when first asked for."""

from collections.abc import Callable
from typing import Generic, TypeVar

Value = TypeVar("Value")


class Later(Generic[Value]):
    """A value that costs too much to be made before somebody asks for it; it is made once."""

    def __init__(self, make: Callable[[], Value]) -> None:
        self._make: Callable[[], Value] | None = make
        self._value: Value

    @classmethod
    def of(cls, value: Value) -> "Later[Value]":
        """A value that is there already."""
        return cls(lambda: value)

    @property
    def value(self) -> Value:
        """The value. Raises what making it raises."""
        if self._make is not None:
            self._value = self._make()
            self._make = None
        return self._value
