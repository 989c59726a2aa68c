"""Handling data: densities, what makes one piece, and the limits of road and crane.

The limits sort pieces for estimating. Lifting, bracing and transport are for competent, licensed people under
local codes; the data file carries the sentence that outputs repeat.
"""

import re
from collections.abc import Sequence
from functools import lru_cache
from math import ceil
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from takeoff.data_files import load_table
from takeoff.measuring.mould_rules import MouldRules
from takeoff.reading.words import plain
from takeoff.told import Quantity, joined, told

Positive = Annotated[float, Field(gt=0.0)]
EASE = 1e-5
"""Share by which a figure may pass its limit: one drawn to the limit is not exact in every unit and place."""


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Density(_Table):
    """Densities kg/m3 and the signs by which light concrete is known."""

    reinforced: Positive
    light: Positive
    light_classes: tuple[str, ...]
    light_words: tuple[str, ...]


class Unit(_Table):
    """When several bodies are one piece: lengths in metres, shares of the volume."""

    touch: Positive
    main_share: Annotated[float, Field(gt=0.0, lt=1.0)]
    leaf_gap: Positive
    leaf_thickness: Positive


class Road(_Table):
    """What a load may be, metres and tonnes."""

    length: Positive
    width: Positive
    height: Positive
    deck_height: Positive
    payload: Positive
    low_loader_height: Positive
    upright_roles: tuple[str, ...]


class Lift(_Table):
    """What a lift weighs beyond the piece, and the limit in tonnes by method."""

    rigging: Annotated[float, Field(ge=0.0)]
    dynamic_factor: Annotated[float, Field(ge=1.0)]
    limit: dict[str, Positive]


class Small(_Table):
    """Pieces up to this weight, t, are set by hand or with small plant."""

    weight: Annotated[float, Field(ge=0.0)]


class Loads(_Table):
    """How pieces are packed: metres, tonnes, and the order of roles in which they are set."""

    spacer: Annotated[float, Field(ge=0.0)]
    most_in_stack: Annotated[int, Field(ge=1)]
    overhang: Annotated[float, Field(ge=0.0)]
    upright_gap: Annotated[float, Field(ge=0.0)]
    rack: Annotated[float, Field(ge=0.0)]
    order: tuple[str, ...]


class Crane(_Table):
    """Where the crane stands (x, y of the model, m), the rings of the table, and its chart (radius m, t)."""

    position: tuple[float, float] | None = None
    rings: Annotated[tuple[Positive, ...], Field(min_length=1)]
    chart: tuple[tuple[Positive, Positive], ...] = ()

    def capacity_at(self, radius: float) -> float | None:
        """What the crane takes at a radius: the chart's figure for the next larger radius; 0 beyond it.

        A chart is not read between its figures, since capacities fall steeply. None without a chart.
        """
        if not self.chart:
            return None
        return max((tonnes for reach, tonnes in self.chart if within(radius, reach)), default=0.0)


class TiltUp(_Table):
    """Casting and handling of tilt-up panels: metres, m2, tonnes, shares and numbers."""

    margin: Annotated[float, Field(ge=0.0)]
    usable_floor: Annotated[float, Field(gt=0.0, le=1.0)]
    most_in_stack: Annotated[int, Field(ge=1)]
    most_height: Positive
    most_area: Positive
    most_slenderness: Positive
    insert_for: Positive
    least_inserts: Annotated[int, Field(ge=0)]
    brace_for: Positive
    least_braces: Annotated[int, Field(ge=0)]


class Handling(_Table):
    """The whole of a handling file."""

    caution: Annotated[str, Field(min_length=1)]
    density: Density
    unit: Unit
    road: Road
    lift: Lift
    small: Small
    loads: Loads
    crane: Crane
    tilt_up: TiltUp
    moulds: MouldRules = MouldRules()
    embedded: dict[str, tuple[str, ...]]

    def density_of(self, strength_class: str, material: str = "") -> float:
        """Density of a concrete, kg/m3, by strength class, else by words of its material."""
        light = strength_class.upper().startswith(self.density.light_classes)
        return (
            self.density.light
            if light or matches(material, self.density.light_words)
            else self.density.reinforced
        )

    def kind_of(self, *texts: str, form: str = "") -> str:
        """Kind of an embedded part by its texts (name, material), else by its form, else the first text that has a
        word."""
        for kind, words in self.embedded.items():
            if any(matches(text, words) for text in texts):
                return kind
        return form or next((text for text in texts if re.search(r"[^\W\d_]{2}", text)), "other part")

    def transport_check(
        self, method: str, role: str, length: float, width: float, thickness: float, weight: float
    ) -> str:
        """How a piece travels (`flat`, `upright on a low-loader`) or what is over; metres, tonnes."""
        if method == "tilt-up":
            return "cast on site, no road transport"
        road = self.road
        over: list[str] = []
        if not within(length, road.length):
            over.append(told("length {} of {}", _side(length), _side(road.length, "g")))
        flat = within(width, road.width) and within(thickness, road.height - road.deck_height)
        may_stand = role in road.upright_roles
        upright = may_stand and within(thickness, road.width) and within(width, road.low_loader_height)
        loaded = weight + (self.loads.rack if upright and not flat else 0.0)
        if not within(loaded, road.payload):
            weighs = "weight with rack" if loaded > weight else "weight"
            over.append(
                told("{} {} of {}", weighs, Quantity(loaded, "t", ".1f"), Quantity(road.payload, "t", "g"))
            )
        if not flat and not upright:
            standing = told(", {} upright", _side(road.low_loader_height, "g")) if may_stand else ""
            over.append(told("width {} of {} flat{}", _side(width), _side(road.width, "g"), standing))
        if over:
            return told("over: {}", joined(", ", over))
        return "flat" if flat else "upright on a low-loader"

    def lift_check(self, method: str, weight: float) -> str:
        """Lifting weight (piece, rigging, dynamic factor) against the limit for the method, in tonnes."""
        lifted = self.lifting_weight(weight)
        limit = self.lift.limit.get(method)
        weighs = Quantity(lifted, "t", ".1f")
        if limit is None:
            return told("lifting weight {}, no limit given", weighs)
        fits = "" if within(lifted, limit) else "over: "
        return told("{}lifting weight {} of {}", fits, weighs, Quantity(limit, "t", "g"))

    def lifting_weight(self, weight: float) -> float:
        """What the crane feels, t: the piece with rigging, times the dynamic factor."""
        return weight * (1.0 + self.lift.rigging) * self.lift.dynamic_factor

    def setting(self, weight: float) -> str:
        """How a piece is set: `small` by hand or with small plant, else `crane`."""
        return "small" if within(weight, self.small.weight) else "crane"


def within(figure: float, limit: float) -> bool:
    """Whether a figure keeps a limit."""
    return figure <= limit * (1.0 + EASE)


def number_of(whole: float, share: float, least: int = 0) -> int:
    """How many are needed where each takes `share`, and at least so many."""
    return max(least, ceil(whole / share * (1.0 - EASE)))


def _side(metres: float, form: str = ".2f") -> Quantity:
    return Quantity(metres, "m", form, size=True)


def load_handling(path: Path) -> Handling:
    """Read a handling file (TOML). Raises InputError naming the file, the entry and what is wrong with it."""
    return load_table(path, Handling)


def matches(text: str, words: Sequence[str]) -> bool:
    """Whether a text has one of the words; `*` in a word stands for any letters, digits or hyphens."""
    return bool(text) and bool(words) and _pattern(tuple(words)).search(plain(text)) is not None


@lru_cache(maxsize=256)
def _pattern(words: tuple[str, ...]) -> re.Pattern[str]:
    options = "|".join(re.escape(plain(word)).replace(r"\*", r"[\w-]*") for word in words)
    return re.compile(rf"(?<!\w)(?:{options})(?!\w)")
