"""Sentences whose quantities know their units: metric as they stand, in other units where an output asks.

A sentence is made once, where something is found, and read in many places. `told` makes a text in which every
quantity keeps its value and unit beside its words, so that an output can say it in yards or feet without
taking the words apart. A text that is put into another one by an f-string is metric for good: use `told`.
"""

from collections.abc import Iterable
from functools import lru_cache
from string import Formatter
from typing import Any, NamedTuple, Protocol


class Quantity(NamedTuple):
    """A value with its metric unit (m, mm, m2, m3, t, kg, or a ratio such as kg/m3) and its format in metric.

    `bare`: the unit is said elsewhere in the sentence. `size`: a length that is drawn or cut, which in feet is
    written with inches.
    """

    value: float
    unit: str
    form: str = ".3f"
    bare: bool = False
    size: bool = False

    def __str__(self) -> str:
        shown = format(self.value, self.form)
        return shown if self.bare else f"{shown} {self.unit}"


class System(Protocol):
    """Units that an output is written in."""

    def quantity(self, quantity: Quantity) -> str:
        """The quantity with its unit, as a person reads it."""


class Told(str):
    """A text that knows its quantities: to any reader it is its metric text."""

    __slots__ = ("parts",)
    parts: tuple[str | Quantity, ...]

    def __new__(cls, parts: Iterable[str | Quantity]) -> "Told":
        """The text of words and quantities in their order."""
        listed = tuple(parts)
        return cls.of(listed, "".join(map(str, listed)))

    @classmethod
    def of(cls, parts: tuple[str | Quantity, ...], text: str) -> "Told":
        """The text of `parts` that is known already."""
        made = super().__new__(cls, text)
        made.parts = parts
        return made

    def __reduce__(self) -> tuple[type["Told"], tuple[tuple[str | Quantity, ...]]]:
        return Told, (self.parts,)

    def in_units(self, system: System) -> str:
        """The text with its quantities in the units of `system`."""
        return "".join(part if isinstance(part, str) else system.quantity(part) for part in self.parts)


def told(pattern: str, *values: object, **named: object) -> str:
    """The pattern with its `{}` and `{name}` filled in; quantities among the values, and within texts among them,
    stay quantities. Values may contain braces."""
    parts: list[str | Quantity] = []
    texts: list[str] = []
    given = iter(values)
    measured = False
    for literal, name in _split(pattern):
        if literal:
            parts.append(literal)
            texts.append(literal)
        if name is not None:
            value = named[name] if name else next(given)
            if isinstance(value, Told):
                parts += value.parts
                texts.append(value)
                measured = True
                continue
            text = str(value)
            texts.append(text)
            if isinstance(value, Quantity):
                parts.append(value)
                measured = True
            else:
                parts.append(text)
    text = "".join(texts)
    return Told.of(tuple(parts), text) if measured else text


def joined(separator: str, texts: Iterable[object]) -> str:
    """Texts and quantities with a separator between them, like `str.join`."""
    listed = list(texts)
    return told(separator.join(["{}"] * len(listed)), *listed) if listed else ""


def in_units(text: Any, system: System) -> Any:
    """A value as it is, but a text that knows its quantities in the units of `system`."""
    return text.in_units(system) if isinstance(text, Told) else text


@lru_cache(maxsize=512)
def _split(pattern: str) -> tuple[tuple[str, str | None], ...]:
    """Stretches of a pattern, each with the name of the field that follows, None at the end."""
    return tuple((literal, name) for literal, name, _, _ in Formatter().parse(pattern))


def counted(number: int, one: str, several: str = "") -> str:
    """A number with its noun, and whatever else follows it: `1 piece`, `3 pieces`."""
    return f"{number} {one if number == 1 else several or one + 's'}"
