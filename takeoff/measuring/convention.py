"""The convention: every choice that a surveyor may argue about, read from a data file."""

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, field_validator

from takeoff.data_files import checked_table, read_toml
from takeoff.findings import InputError

Role = Literal["foundation", "slab", "column", "wall", "beam", "stair"]
Positive = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Units = Literal["metric", "imperial"]

# In an imperial file bands and rounding stand under these keys. The factor turns a figure of the metric key
# into the unit of the imperial one (international foot and inch, exactly 0.3048 m and 25.4 mm).
_IMPERIAL_BANDS = {
    "height_to_soffit_m": ("height_to_soffit_ft", 1 / 0.3048),
    "slab_thickness_mm": ("slab_thickness_in", 1 / 25.4),
    "wall_thickness_mm": ("wall_thickness_in", 1 / 25.4),
    "edge_depth_mm": ("edge_depth_in", 1 / 25.4),
    "beam_depth_mm": ("beam_depth_in", 1 / 25.4),
    "column_girth_mm": ("column_girth_in", 1 / 25.4),
    "foundation_depth_mm": ("foundation_depth_in", 1 / 25.4),
    "hole_area_m2": ("hole_area_ft2", 1 / 0.3048**2),
}
_IMPERIAL_ROUNDING = {"m3": "yd3", "m2": "ft2", "m": "ft", "t": "ton"}


class Limits(tuple[float, ...]):
    """Upper limits of bands, ascending, as the file states them; `factor` turns a figure into their unit."""

    factor: float = 1.0

    def times(self, factor: float) -> "Limits":
        """The same limits for figures that `factor` turns into their unit."""
        limits = Limits(self)
        limits.factor = factor
        return limits

    def of_figures(self) -> tuple[float, ...]:
        """The limits in the unit of the figures."""
        return tuple(limit / self.factor for limit in self)


def _limits(value: Any) -> Limits:
    if isinstance(value, Limits):
        return value
    if not isinstance(value, list | tuple) or not all(
        isinstance(step, int | float) and not isinstance(step, bool) for step in value
    ):
        raise ValueError("must be a list of numbers")
    if any(b <= a for a, b in pairwise(value)) or not all(0 < step < float("inf") for step in value):
        raise ValueError("must be positive and ascending")
    return Limits(float(step) for step in value)


Steps = Annotated[Limits, PlainValidator(_limits)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Overlaps(_Table):
    """Who keeps shared space."""

    keep: tuple[Role, ...]
    twin: Literal["first", "last"]
    twin_percent: Annotated[float, Field(gt=50, le=100)]
    rest_percent: Annotated[float, Field(ge=0, lt=50)]

    @field_validator("keep")
    @classmethod
    def _each_once(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        if sorted(value) != sorted(("foundation", "slab", "column", "wall", "beam", "stair")):
            raise ValueError("must name each of the six roles once")
        return value


class Contacts(_Table):
    """When faces touch and whom that relieves."""

    gap_mm: Positive
    relieve: Literal["both", "later"]
    joint_mm: Positive
    ask_to_mm: Positive = 80.0
    shell_mm: Positive
    close_mm: Positive


class Slopes(_Table):
    """Limits between tops, top slopes and sides, degrees."""

    free_below_deg: Annotated[float, Field(ge=0, le=90)]
    side_within_deg: Annotated[float, Field(ge=0, le=90)]

    def limits(self) -> list[float]:
        """Degrees above level at which a face becomes another: soffit, side, top slope, free; ascending."""
        return sorted({-self.side_within_deg, self.side_within_deg, 90.0 - self.free_below_deg})


class Voids(_Table):
    """Voids that stay in the quantity up to a size."""

    leave_in_concrete_m3: Positive
    leave_in_formwork_m2: Positive
    leave_in_floor_m2: Positive


class Ground(_Table):
    """Words by which slabs on the ground, blinding and terrain are known, and what is told of the ground level."""

    slab_words: tuple[str, ...]
    clear_mm: Positive
    blinding_words: tuple[str, ...]
    terrain_words: tuple[str, ...]
    terrain_reach_mm: Positive
    sheets_apart_mm: Positive
    levels_differ_mm: Positive


class Soffits(_Table):
    """What a soffit needs under it."""

    least_height_m: Positive


class Pours(_Table):
    """Largest pours; 0 for no limit."""

    wall_length_m: Positive
    slab_volume_m3: Positive


class Bands(_Table):
    """Upper limits of bands, ascending; in an imperial file the keys end in _ft, _in and _ft2."""

    height_to_soffit_m: Steps
    slab_thickness_mm: Steps
    wall_thickness_mm: Steps
    edge_depth_mm: Steps
    beam_depth_mm: Steps
    column_girth_mm: Steps
    foundation_depth_mm: Steps
    hole_area_m2: Steps


class Edges(_Table):
    """How edges are billed."""

    measure: Literal["area", "length"]


class Reveals(_Table):
    """Whether opening reveals are an item of their own."""

    apart: bool


Counted = Literal["length", "out", "in"]


class Narrow(_Table):
    """Strips up to a width, 0 for none, and what becomes of them: by length, out, or in with the rest by area."""

    formwork_mm: Positive
    formwork: Counted
    reveal_mm: Positive
    reveal: Counted
    finish_mm: Positive
    finish: Counted


class Rounding(_Table):
    """Decimal places of bill quantities by unit; in an imperial file the keys are yd3, ft2, ft and ton."""

    m3: Annotated[int, Field(ge=0, le=6)]
    m2: Annotated[int, Field(ge=0, le=6)]
    m: Annotated[int, Field(ge=0, le=6)]
    t: Annotated[int, Field(ge=0, le=6)]


class Convention(_Table):
    """All measuring choices; see the comments in templates/conventions/net.toml."""

    name: str
    description: str
    overlaps: Overlaps
    contacts: Contacts
    slopes: Slopes
    voids: Voids
    ground: Ground
    pours: Pours
    soffits: Soffits
    bands: Bands
    edges: Edges
    reveals: Reveals
    narrow: Narrow
    rounding: Rounding
    units: Units = "metric"


def load_convention(path: Path) -> Convention:
    """Read and check a convention file. Raises InputError with the place and the fault."""
    content = read_toml(path)
    if content.get("units") == "imperial":
        try:
            content = _metric_keys(content)
        except InputError as fault:
            raise InputError(f"{path}: {fault}") from fault
    return checked_table(path, content, Convention)


def _metric_keys(content: dict[str, Any]) -> dict[str, Any]:
    """An imperial file under the metric keys, its limits with the factors that belong to them."""
    content = dict(content)
    if isinstance(bands := content.get("bands"), dict):
        _refuse(bands, _IMPERIAL_BANDS, "bands")
        listed = {name: (metric, factor) for metric, (name, factor) in _IMPERIAL_BANDS.items()}
        moved: dict[str, Any] = {}
        for name, value in bands.items():
            metric, factor = listed.get(name, (name, 1.0))
            try:
                moved[metric] = _limits(value).times(factor)
            except ValueError:
                moved[metric] = value
        content["bands"] = moved
    if isinstance(rounding := content.get("rounding"), dict):
        _refuse(rounding, _IMPERIAL_ROUNDING, "rounding")
        named = {name: metric for metric, name in _IMPERIAL_ROUNDING.items()}
        content["rounding"] = {named.get(name, name): value for name, value in rounding.items()}
    return content


def band_key(convention: "Convention", name: str) -> str:
    """The key under which the convention's file has a band."""
    return _IMPERIAL_BANDS[name][0] if convention.units == "imperial" else name


def _refuse(table: Mapping[str, Any], metric: Mapping[str, Any], where: str) -> None:
    for name in table:
        if name in metric:
            right = metric[name] if isinstance(metric[name], str) else metric[name][0]
            raise InputError(f"{where}.{name}: the file says imperial units; write {right}")


def band(limits: Sequence[float], value: float, slack: float = 1e-6) -> str:
    """Words of the band in which a value falls: `to 150`, `150-300`, `over 450`.

    A value at a limit belongs to the band below it; `slack` (relative) keeps rounding noise from deciding.
    """
    if not limits:
        return ""
    value *= limits.factor if isinstance(limits, Limits) else 1.0
    place = bisect_left(limits, value * (1.0 - slack) - 1e-9)
    if place == 0:
        return f"to {limits[0]:g}"
    if place == len(limits):
        return f"over {limits[-1]:g}"
    return f"{limits[place - 1]:g}-{limits[place]:g}"
