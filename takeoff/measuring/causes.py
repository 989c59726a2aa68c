"""The likely cause why a declared quantity is not the measured one."""

from collections.abc import Sequence

from msgspec import Struct

FACTORS: dict[str, tuple[tuple[float, str], ...]] = {
    "volume": (
        (1e9, "mm3"),
        (1e6, "cm3"),
        (1e3, "litres"),
        (35.314667, "ft3"),
        (61023.744, "in3"),
        (1.3079506, "yd3"),
    ),
    "area": ((1e6, "mm2"), (1e4, "cm2"), (10.763910, "ft2"), (1550.0031, "in2")),
    "length": ((1e3, "mm"), (1e2, "cm"), (3.2808399, "ft"), (39.370079, "in")),
    "weight": ((1e3, "g"), (2.2046226, "lb"), (1e-3, "t"), (9.80665, "N"), (9.80665e-3, "kN")),
}
"""How many of a unit make m3, m2, m or kg: exact by definition (foot 0.3048 m, pound 0.45359237 kg)."""
BASE = {"volume": "m3", "area": "m2", "length": "m", "weight": "kg"}
UNIT_TOLERANCE = 5e-3
WEIGHT_TOLERANCE = 0.08
"""Wider, since a weight is measured by an assumed density; narrow enough to tell pounds from twice."""
MOST_TIMES = 50
EXPLAINED = 0.5
"""Another meaning explains a difference when it leaves no more than this part of it."""


class Reference(Struct, frozen=True):
    """A measured figure that a declared one might mean; `cause` says what it would show if it does."""

    value: float
    cause: str


NO_CAUSE = "no simple cause: a cut lost at export, or another rule of measuring"
SMALL_CAUSE = (
    "no simple cause, but small: a chamfer or a notch left out, curves reckoned in chords, rounded sizes"
)
SAME_SHARE = "the same share on {} pieces of this kind: stated from another section than the one drawn"
SHARE_TOLERANCE = 5e-4
"""How near ratios of one kind lie that follow from one other section."""
LEAST_ALIKE = 3
"""This many pieces of one kind with one ratio are no chance."""
OTHER_SIZE = 1.01
"""Pieces of one kind prove a section only where their volumes differ by more than this."""


def likely_cause(kind: str, declared: float, measured: float, references: Sequence[Reference]) -> str:
    """The likely cause in a few words: another meaning (`references`, within 0.5 %), another unit, counted
    several times, else that none was found."""
    for reference in references:
        explains = abs(declared - reference.value) <= EXPLAINED * abs(declared - measured)
        if reference.value > 0 and explains and abs(declared / reference.value - 1.0) <= UNIT_TOLERANCE:
            return reference.cause
    ratio = declared / measured
    near = WEIGHT_TOLERANCE if kind == "weight" else UNIT_TOLERANCE
    for factor, unit in FACTORS[kind]:
        if abs(ratio / factor - 1.0) <= near:
            return f"another unit: it would be right in {unit}"
    for factor, unit in FACTORS[kind]:
        if abs(ratio * factor - 1.0) <= near:
            return f"another unit: written in {BASE[kind]} where the file says {unit}, or converted twice"
    times = round(ratio)
    if 2 <= times <= MOST_TIMES and abs(ratio / times - 1.0) <= UNIT_TOLERANCE:
        return f"counted {times} times"
    return NO_CAUSE


def is_rounded(declared: float, measured: float) -> bool:
    """Whether a declared figure is the measured one rounded to one, two or three decimals."""
    return any(abs(round(measured, digits) - declared) < 1e-9 for digits in (1, 2, 3))


def of_one_share(ratios: Sequence[float], volumes: Sequence[float]) -> list[int]:
    """How many of some pieces of one kind have the ratio of each, itself included; 0 where that proves nothing.

    It proves another section where the pieces differ in size; equal pieces have equal ratios anyway.
    """
    counts = []
    for ratio in ratios:
        alike = [k for k, other in enumerate(ratios) if abs(other / ratio - 1.0) <= SHARE_TOLERANCE]
        sizes = [volumes[k] for k in alike]
        proof = len(alike) >= LEAST_ALIKE and max(sizes) > OTHER_SIZE * min(sizes)
        counts.append(len(alike) if proof else 0)
    return counts
