"""Pieces of a face that is formed, by what drives their price: depth of an edge, height to a soffit, narrow strips."""

from collections.abc import Mapping, Sequence

from msgspec import Struct
from msgspec.structs import replace

from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.bodies import Body
from takeoff.measuring.convention import Convention, band
from takeoff.measuring.dimensions import Dimensions
from takeoff.measuring.relief import Relief
from takeoff.measuring.remains import Remains, Strip
from takeoff.measuring.soffits import Below, Outlook

SLIVER = 1e-3
"""Share of a soffit below which a different height under it is not told apart."""
STRIPS = ("slab-edge", "foundation-side", "beam-side", "stair-riser")
"""Categories of which each connected piece has its own depth and length."""


class View(Struct, frozen=True, eq=False):
    """What all `bodies` are measured by: `below` the soffits' floors, `strips` the pieces of edges, both by row.

    `area` m2, what is `left` of it, `slope` degrees, `shape` and `radius` m of every surface stand here as plain
    values: read one by one, an array costs ten times as much.
    """

    surfaces: Surfaces
    bodies: Sequence[Body]
    relief: Relief
    remains: Remains
    below: Mapping[int, Outlook]
    strips: Mapping[int, list[Strip]]
    convention: Convention
    area: Mapping[int, float]
    left: Mapping[int, float]
    slope: Mapping[int, float]
    shape: Mapping[int, str]
    radius: Mapping[int, float | None]


class Piece(Struct, frozen=True):
    """Part of a face: `area` m2, `length` m, `height` m to what lies below a soffit, `depth` m of an edge.

    `part` is the place of the connected piece of the face that an edge is of.
    """

    area: float
    length: float
    height: float | None
    band: str
    depth: float
    narrow: bool = False
    part: int = 0


def with_filled(pieces: list[Piece], filled: float) -> list[Piece]:
    """The pieces of a face with the area of holes that stay in added to the largest."""
    if not filled or not pieces:
        return pieces
    main = max(pieces, key=lambda piece: piece.area)
    return [replace(piece, area=piece.area + filled) if piece is main else piece for piece in pieces]


def depth_limits(convention: Convention, category: str) -> tuple[float, ...]:
    """Depths, m, at which an edge of this category is divided: none where its band is not of its own depth."""
    bands = convention.bands
    if category == "slab-edge":
        limits = bands.edge_depth_mm
    elif category == "foundation-side":
        limits = bands.foundation_depth_mm
    else:
        return ()
    return tuple(limit / 1e3 for limit in limits.of_figures())


def split_face(view: View, row: int, area: float, category: str, dimensions: Dimensions) -> list[Piece]:
    """Divide what remains of a face (`area` m2) by what drives its price: depth of an edge, height to a soffit."""
    bands = view.convention.bands
    if category.endswith("soffit"):
        if category == "slab-soffit":
            text = band(bands.slab_thickness_mm, dimensions.thickness * 1e3)
        elif category == "beam-soffit":
            text = band(bands.beam_depth_mm, dimensions.thickness * 1e3)
        else:
            text = ""
        below = view.below[row].below if row in view.below else (Below(1.0, None),)
        return [Piece(area * entry.share, 0.0, entry.height, text, 0.0) for entry in _without_slivers(below)]
    if category in STRIPS:
        pieces = []
        for strip in view.strips[row]:
            depth = strip.depth
            text = ""
            if category == "slab-edge":
                text = band(bands.edge_depth_mm, depth * 1e3)
            elif category == "foundation-side":
                text = band(bands.foundation_depth_mm, depth * 1e3)
            elif category == "beam-side":
                text = band(bands.beam_depth_mm, dimensions.thickness * 1e3)
            pieces.append(Piece(strip.area, strip.length, None, text, depth, part=strip.part))
        return pieces
    text = ""
    if category == "column-side":
        text = band(bands.column_girth_mm, dimensions.outline.length * 1e3)
    return [Piece(area, 0.0, None, text, 0.0)]


def _without_slivers(below: Sequence[Below]) -> list[Below]:
    """Shares too small to prop for themselves go to the largest."""
    main = max(below, key=lambda entry: entry.share)
    kept = [entry for entry in below if entry is main or entry.share > SLIVER]
    rest = 1.0 - sum(entry.share for entry in kept)
    return [Below(entry.share + rest, entry.height) if entry is main else entry for entry in kept]
