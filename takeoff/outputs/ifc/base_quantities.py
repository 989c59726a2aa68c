"""Names of the IFC standard's base quantities, by class and schema, and which measured figure each one holds."""

from collections.abc import Iterator
from typing import Any

from msgspec import Struct

from takeoff.measuring.element_figures import ElementFigures
from takeoff.reading.facts import QuantityKind

OWN_SET = "Takeoff_Quantities"
"""Quantities that the standard has no name for; sets of one's own may not begin with `Qto_`."""


class Quantity(Struct, frozen=True):
    """A quantity to be written, in m, m2, m3 or kg."""

    name: str
    kind: QuantityKind
    value: float


_BODY = (
    ("GrossVolume", "volume", "gross_volume"),
    ("NetVolume", "volume", "net_volume"),
    ("NetWeight", "weight", "weight"),
)
_WALL = (
    ("Length", "length", "length"),
    ("Width", "length", "thickness"),
    ("Height", "length", "height"),
    ("GrossSideArea", "area", "face_gross"),
    ("NetSideArea", "area", "face_net"),
    *_BODY,
)
# `Width` is the thickness of a slab and `Depth` its shorter side: so the standard words it.
_SLAB = (
    ("Width", "length", "thickness"),
    ("Length", "length", "length"),
    ("Depth", "length", "width"),
    ("GrossArea", "area", "face_gross"),
    ("NetArea", "area", "face_net"),
    *_BODY,
)
_COLUMN = (
    ("Length", "length", "length"),
    ("CrossSectionArea", "area", "section"),
    ("OuterSurfaceArea", "area", "girth_area"),
    *_BODY,
)
_BEAM = (("Length", "length", "length"), *_BODY)
_FOOTING = (
    ("Length", "length", "length"),
    ("Width", "length", "width"),
    ("Height", "length", "height"),
    *_BODY,
)
_PLATE = (
    ("Width", "length", "thickness"),
    ("GrossArea", "area", "face_gross"),
    ("NetArea", "area", "face_net"),
    *_BODY,
)
_VOLUMES = _BODY[:2]

# Classes as the standard's quantity sets apply to them; a class that stands in none of them has only our own set.
_SETS: dict[str, tuple[str, tuple[tuple[str, str, str], ...]]] = {
    "IfcWall": ("Qto_WallBaseQuantities", _WALL),
    "IfcSlab": ("Qto_SlabBaseQuantities", _SLAB),
    "IfcColumn": ("Qto_ColumnBaseQuantities", _COLUMN),
    "IfcBeam": ("Qto_BeamBaseQuantities", _BEAM),
    "IfcMember": ("Qto_MemberBaseQuantities", _BODY),
    "IfcFooting": ("Qto_FootingBaseQuantities", _FOOTING),
    "IfcPile": ("Qto_PileBaseQuantities", _COLUMN),
    "IfcPlate": ("Qto_PlateBaseQuantities", _PLATE),
    "IfcStairFlight": ("Qto_StairFlightBaseQuantities", _VOLUMES),
    "IfcRampFlight": ("Qto_RampFlightBaseQuantities", _VOLUMES),
}
_ROLE_OF_FACES = {"IfcWall": "wall", "IfcSlab": "slab", "IfcPlate": "slab"}
_OWN = (
    ("ConcreteGrossVolume", "volume", "gross_volume"),
    ("ConcreteNetVolume", "volume", "net_volume"),
    ("OverlapVolume", "volume", "overlap_volume"),
    ("ConcreteWeight", "weight", "weight"),
    ("FormworkArea", "area", "formwork"),
    ("ReinforcementWeight", "weight", "reinforcement"),
)


def base_quantities(figures: ElementFigures, entity: Any, schema: str) -> tuple[str, tuple[Quantity, ...]]:
    """Name of the standard set for an element and what goes into it; nothing where there is no such set.

    IFC2X3 calls every set `BaseQuantities`. The standard's figures are of the whole element, so an element
    with parts that are no concrete gets none, and neither does one that is the same thing once more.
    """
    known = next((name for name in _SETS if entity.is_a(name)), None)
    if known is None or not figures.whole or not figures.net_volume:
        return "", ()
    set_name, names = _SETS[known]
    if _ROLE_OF_FACES.get(known, figures.plan.role) != figures.plan.role:
        # Sizes and faces were measured by another role (a wall that is a foundation): other meanings.
        names = _BODY
    found = tuple(_filled(names, figures))
    return (set_name if schema != "IFC2X3" else "BaseQuantities"), found


def own_quantities(figures: ElementFigures) -> tuple[Quantity, ...]:
    """What goes into our own set: the figures of the concrete alone."""
    return tuple(_filled(_OWN, figures))


def _filled(names: tuple[tuple[str, str, str], ...], figures: ElementFigures) -> Iterator[Quantity]:
    for name, kind, field in names:
        value = getattr(figures, field)
        if value is not None and value >= 0.0:
            yield Quantity(name, kind, float(value))  # type: ignore[arg-type]
