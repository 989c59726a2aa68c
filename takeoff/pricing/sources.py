"""What the tables of a measurement offer to bill items: fields to choose and split by, and measures.

The catalogue is what `sections.toml` is checked against; `entries.py` fills it.
"""

from msgspec import Struct

UNITS = ("m3", "m2", "m", "t", "kg", "nr")

COMMON_FIELDS = (
    "model", "storey", "role", "subrole", "method", "strength_class", "size_band", "material", "name",
    "type_name", "mark", "bearing", "ground", "setting",
)  # fmt: skip
"""Fields that every row has: those of its part, the row's own role and storey where it has them.

`bearing` is `ground` for a part that lies on the ground, `units` for one cast on precast or tilt-up units; `ground`
is `below` for what lies below ground, a part that reaches out of it being measured in two.
`setting` is `small` for what belongs to a unit that is set by hand or with small plant, `crane` for other units.
"""

SUMMARY_FIELDS = ("pieces", "largest", "heaviest")
"""What a description may say of all rows of the item together: pieces, largest size, heaviest weight in t."""


class Source(Struct, frozen=True):
    """One table: its own text `fields`, its `figures` that a band can be made of, its `measures` by unit."""

    fields: tuple[str, ...]
    figures: tuple[str, ...]
    measures: dict[str, tuple[str, ...]]


SOURCES = {
    "parts": Source(
        (),
        ("thickness_m", "weight_t", "length_m", "height_m"),
        {
            "volume": ("m3",),
            "weight": ("t", "kg"),
            "plan_area": ("m2",),
            "side_area": ("m2",),
            "length": ("m",),
            "count": ("nr",),
        },
    ),
    "formwork": Source(
        ("category", "shape", "band", "height_band", "place", "finish", "measure"),
        ("height_to_soffit_m", "depth_m", "slope_deg", "radius_m"),
        {"area": ("m2",), "length": ("m",)},
    ),
    "surfaces": Source(
        ("state", "other_method", "measure"), ("slope_deg",), {"area": ("m2",), "length": ("m",)}
    ),
    "holes": Source(("band",), ("area_m2",), {"count": ("nr",), "area": ("m2",), "girth": ("m",)}),
    "reinforcement": Source(("basis", "kind", "diameter"), (), {"mass": ("t", "kg")}),
    "pieces": Source(
        ("group", "mould"),
        ("length_m", "width_m", "thickness_m", "weight_t"),
        {
            "volume": ("m3",),
            "weight": ("t", "kg"),
            "count": ("nr",),
            "face_area": ("m2",),
            "outline_area": ("m2",),
            "edge_length": ("m",),
            "length": ("m",),
            "connections": ("nr",),
            "inserts": ("nr",),
            "braces": ("nr",),
        },
    ),
    "moulds": Source(
        ("mould",),
        ("length_m", "width_m", "thickness_m"),
        {"count": ("nr",), "changes": ("nr",), "area": ("m2",)},
    ),
    "envelope": Source(("kind",), (), {"area": ("m2",), "length": ("m",)}),
    "pours": Source((), (), {"length": ("m",), "area": ("m2",), "count": ("nr",)}),
    "joints": Source(
        ("joint", "other_method", "other_role"),
        ("gap_m",),
        {
            "length": ("m",),
            "area": ("m2",),
            "grout_volume": ("m3",),
            "sealant": ("m",),
            "connections": ("nr",),
        },
    ),
}
