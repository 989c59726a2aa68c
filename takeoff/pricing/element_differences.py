"""What differs between an element as it was and as it is, in words, and the leading reason for it."""

import math
from collections.abc import Iterable, Sequence

from takeoff.measuring.records import MeasuredPart
from takeoff.measuring.whereabouts import Place
from takeoff.told import Quantity, joined, told

SAME = 1e-6
"""Relative difference up to which two measured figures are one."""
MOVED = 1e-3
"""Metres from which on an element counts as moved."""

_WORDS = (
    ("method", "method", "method"),
    ("material", "strength", "strength_class"),
    ("material", "material", "material"),
    ("dimension", "role", "role"),
)
_SIZES = (
    ("length_m", "length", "m"),
    ("width_m", "width", "m"),
    ("height_m", "height", "m"),
    ("gross_volume_m3", "gross volume", "m3"),
)


def differences(
    old: Sequence[MeasuredPart],
    new: Sequence[MeasuredPart],
    places: tuple[Place | None, Place | None],
    other: str,
    size_step: float = 0.0,
) -> tuple[str, str]:
    """The leading reason why an element differs, and all that differs; no words where nothing does.

    `other` is the reason where the element itself is the same: its surroundings, or the convention. Sizes are the
    same up to `size_step` metres a part.
    """
    if _counted(old) != _counted(new):
        return other, f"{_condition(old)} before, {_condition(new)} now"
    found: list[tuple[str, str]] = []
    for kind, name, field in _WORDS:
        was, now = (", ".join(dict.fromkeys(getattr(part, field) for part in parts)) for parts in (old, new))
        if was != now:
            found.append((kind, f"{name} {was or 'none'} to {now or 'none'}"))
    for field, name, unit in _SIZES:
        step = size_step * max(len(old), len(new)) if unit == "m" else 0.0
        found += _figures("dimension", name, old, new, field, unit, step)
    reason = found[0][0] if found else ""
    texts = [text for _, text in found]
    if moved := _moved(places):
        texts.append(moved)
    net = _figures(other, "net volume", old, new, "net_volume_m3", "m3")
    steel = [] if net else _figures("reinforcement", "reinforcement", old, new, "reinforcement_kg", "kg")
    for changes in (net if not reason else [], steel):
        texts += [text for _, text in changes]
        reason = reason or (changes[0][0] if changes else "")
    if not reason:
        formwork = _figures(other, "formwork", old, new, "formwork_m2", "m2")
        texts += [text for _, text in formwork]
    storeys = [", ".join(dict.fromkeys(part.storey for part in parts)) for parts in (old, new)]
    if storeys[0] != storeys[1]:
        texts.append(f"storey {storeys[0] or 'none'} to {storeys[1] or 'none'}")
    return reason or other, joined("; ", texts)


def summed(parts: Iterable[MeasuredPart], field: str) -> float:
    """The sum of a figure over parts, 0 where none has it."""
    return math.fsum(getattr(part, field) or 0.0 for part in parts)


def alike(was: float, now: float, step: float = 0.0) -> bool:
    """Whether two measured figures are one, at least one of them rounded to `step`."""
    return math.isclose(was, now, rel_tol=SAME, abs_tol=max(SAME, step))


def is_swallowed(parts: Sequence[MeasuredPart]) -> bool:
    """Whether nothing of an element is counted."""
    return not _counted(parts)


def _counted(parts: Sequence[MeasuredPart]) -> bool:
    return any(part.net_volume_m3 for part in parts)


def _condition(parts: Sequence[MeasuredPart]) -> str:
    """How an element stands: counted, or why not."""
    if _counted(parts):
        return "counted"
    why = next((part.condition for part in parts if part.condition), "")
    return f"not counted ({why})" if why else "not counted"


def _figures(
    kind: str,
    name: str,
    old: Sequence[MeasuredPart],
    new: Sequence[MeasuredPart],
    field: str,
    unit: str,
    step: float = 0.0,
) -> list[tuple[str, str]]:
    """The change of a figure with its kind, nothing where it is the same."""
    was, now = summed(old, field), summed(new, field)
    if alike(was, now, step):
        return []
    form = ".1f" if unit == "kg" else ".3f"
    size = unit == "m"
    before, after = (Quantity(value, unit, form, size=size) for value in (was, now))
    return [(kind, told(f"{name} {{}} to {{}}", before, after))]


def _moved(places: tuple[Place | None, Place | None]) -> str:
    before, after = places
    if before is None or after is None:
        return ""
    distance = math.dist(before.centre, after.centre)
    return told("moved by {}", Quantity(distance, "m", size=True)) if distance > MOVED else ""
