"""Units that a bill is written in: metric, or imperial with yards, feet and inches.

Everything is measured in m, m2, m3, kg and t; these systems are for the edge. The factors are exact by the
international yard and pound agreement: 1 ft = 0.3048 m, 1 lb = 0.45359237 kg; a short ton is 2,000 lb.
"""

import re
from collections.abc import Mapping

from msgspec import Struct

from takeoff.findings import InputError
from takeoff.told import Quantity

FOOT = 0.3048
"""Metres of a foot."""
_POUND = 0.45359237
_SIXTEENTHS = 16
SIXTEENTH = FOOT / 12 / _SIXTEENTHS
"""Metres of the sixteenth of an inch to which sizes are written."""
_FEET = re.compile(r'(-?)(?:(\d+)\'-)?(\d+(?![\d/]))? ?(?:(\d+)/(\d+))?"')


class UnitSystem(Struct, frozen=True):
    """Names and factors by metric unit. `words` are what texts say for `{mm}`, `{m}`, `{m2}`, `{m3}`, `{t}`."""

    name: str
    units: Mapping[str, str]
    factors: Mapping[str, float]
    words: Mapping[str, str]

    def unit(self, metric: str) -> str:
        """The unit that stands for a metric one: `m3` is billed in `yd3`."""
        return self.units.get(metric, metric)

    def factor(self, metric: str) -> float:
        """What a figure in the metric unit, or in a ratio of two, is multiplied by."""
        over, _, under = metric.partition("/")
        return self.factors.get(over, 1.0) / (self.factors.get(under, 1.0) if under else 1.0)

    def word(self, metric: str) -> str:
        """What texts say for a metric unit or a ratio of two: `lb/yd3` for `kg/m3`."""
        over, _, under = metric.partition("/")
        return self.words.get(over, over) + (f"/{self.words.get(under, under)}" if under else "")

    def quantity(self, quantity: Quantity) -> str:
        """A quantity as texts say it."""
        if self.name == "metric":
            return str(quantity)
        if quantity.size:
            return feet_and_inches(quantity.value / (1000.0 if quantity.unit == "mm" else 1.0))
        value, form = quantity.value * self.factor(quantity.unit), quantity.form
        if form.endswith("g"):
            # A round figure in metric is none in other units: four digits say as much.
            shown = f"{float(f'{value:.4g}'):,.10g}"
        elif "." in form:
            shown = format(value, _fitting(form, quantity.unit))
        else:
            shown = format(value, form)
        return shown if quantity.bare else f"{shown} {self.word(quantity.unit)}"

    def show(self, value: float, metric: str, digits: int) -> str:
        """A figure with its unit, given in the metric one."""
        return f"{value * self.factor(metric):,.{digits}f} {self.word(metric)}"

    def size(self, metres: float, digits: int = 3) -> str:
        """A length as people write it: `6.000 m` or `19'-8 1/4"`."""
        return f"{metres:.{digits}f} m" if self.name == "metric" else feet_and_inches(metres)

    def sizes(self, metres: tuple[float, ...], digits: int = 3) -> str:
        """Sides of a body, the unit said once where it can be."""
        if self.name == "metric":
            return " x ".join(f"{side:.{digits}f}" for side in metres) + " m"
        return " x ".join(feet_and_inches(side) for side in metres)


METRIC = UnitSystem(
    "metric",
    {unit: unit for unit in ("m3", "m2", "m", "t", "kg", "nr")},
    {},
    {unit: unit for unit in ("mm", "m", "m2", "m3", "t", "kg")},
)
IMPERIAL = UnitSystem(
    "imperial",
    {"m3": "yd3", "m2": "ft2", "m": "ft", "t": "ton", "kg": "lb", "nr": "nr"},
    {
        "m3": 1 / (27 * FOOT**3),
        "m2": 1 / FOOT**2,
        "m": 1 / FOOT,
        "mm": 1 / 25.4,
        "t": 1000 / (2000 * _POUND),
        "kg": 1 / _POUND,
    },
    {"mm": "in", "m": "ft", "m2": "ft2", "m3": "yd3", "t": "short tons", "kg": "lb"},
)
SYSTEMS = {system.name: system for system in (METRIC, IMPERIAL)}


def _fitting(form: str, unit: str) -> str:
    """The format of a figure whose unit becomes ten times smaller (m2 to ft2): a decimal less."""
    head, _, rest = form.partition(".")
    digits = int(rest.rstrip("f"))
    return f"{head}.{max(0, digits - (unit == 'm2'))}f"


def unit_system(name: str) -> UnitSystem:
    """The system of that name. Raises InputError for another name."""
    if name not in SYSTEMS:
        raise InputError(f"units `{name}`: not known; choose {' or '.join(SYSTEMS)}")
    return SYSTEMS[name]


def feet_and_inches(metres: float) -> str:
    """A length to the nearest sixteenth of an inch: `19'-8 1/4"`, `9'-0 1/4"`, `7 7/8"`, `0"`."""
    parts = round(abs(metres) / FOOT * 12 * _SIXTEENTHS)
    feet, rest = divmod(parts, 12 * _SIXTEENTHS)
    inches, sixteenths = divmod(rest, _SIXTEENTHS)
    fraction = ""
    if sixteenths:
        over = _SIXTEENTHS
        while sixteenths % 2 == 0:
            sixteenths, over = sixteenths // 2, over // 2
        fraction = f"{sixteenths}/{over}"
    # After feet the inches are always said: 9'-0 1/4", not 9'-1/4".
    whole = str(inches) if inches or feet or not fraction else ""
    small = " ".join(filter(None, (whole, fraction)))
    sign = "-" if metres < 0 and parts else ""
    return f"{sign}{feet}'-{small}\"" if feet else f'{sign}{small}"'


def metres_of(text: str) -> float | None:
    """Metres of a length written by `feet_and_inches`, None for any other text."""
    found = _FEET.fullmatch(text.strip())
    if found is None:
        return None
    sign, feet, inches, over, under = found.groups()
    if inches is None and over is None:
        return None
    if under is not None and not int(under):
        return None
    small = int(inches or 0) + (int(over) / int(under) if over else 0.0)
    metres = (int(feet or 0) * 12 + small) * FOOT / 12
    return -metres if sign else metres
