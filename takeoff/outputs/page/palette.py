"""Colours of the page. Told apart by people of all kinds of colour vision; a test simulates the common ones.

The categorical colours are the eight of Okabe and Ito, "Color Universal Design" (2008). The ramp of the
storeys is our own: it climbs evenly in lightness from blue to yellow, two hues that red-green blindness keeps.
"""

from collections.abc import Sequence

ORANGE, SKY, GREEN, YELLOW = "#E69F00", "#56B4E9", "#009E73", "#F0E442"
BLUE, VERMILION, PURPLE, GREY = "#0072B2", "#D55E00", "#CC79A7", "#B4BAC0"

METHODS = {
    "cast-in-place": BLUE,
    "precast": ORANGE,
    "tilt-up": GREEN,
    "unresolved": PURPLE,
    "not-concrete": GREY,
}
ROLES = {
    "wall": BLUE,
    "slab": SKY,
    "column": VERMILION,
    "beam": GREEN,
    "foundation": YELLOW,
    "stair": PURPLE,
}
SEVERITIES = {"error": VERMILION, "warning": YELLOW, "note": SKY, "": GREY}
STATES = {
    "formed": VERMILION,
    "contact": BLUE,
    "permanent-formwork": SKY,
    "free": YELLOW,
    "ground": GREEN,
    "against-ground": "#5B4636",
    "seated": PURPLE,
    "not-formed": GREY,
}

REPETITION = {
    "made once": "#1F3B73",
    "made 2 to 4 times": "#3F78C0",
    "made 5 to 9 times": "#5FBFC9",
    "made 10 to 19 times": "#D9C13C",
    "made 20 times and more": "#FFF6BF",
    "": "#8D8D8D",
}
"""How often the shape of a piece repeats, up the same way from blue to yellow; grey for what is no piece."""

_RAMP = ("#1F3B73", "#3E6C9A", "#7397A0", "#B0B58A", "#E8D25C", "#FFF3A6")


def storey_colours(count: int) -> list[str]:
    """`count` colours along the ramp, the lowest storey the darkest."""
    if count <= 1:
        return [BLUE] * count
    return [_along(_RAMP, place / (count - 1)) for place in range(count)]


def _along(stops: Sequence[str], share: float) -> str:
    position = share * (len(stops) - 1)
    first = min(int(position), len(stops) - 2)
    part = position - first
    low, high = rgb(stops[first]), rgb(stops[first + 1])
    mixed = (round(a + (b - a) * part) for a, b in zip(low, high, strict=True))
    return "#" + "".join(f"{value:02X}" for value in mixed)


def rgb(colour: str) -> tuple[int, int, int]:
    """Red, green and blue of a colour such as `#0072B2`, 0 to 255."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)
