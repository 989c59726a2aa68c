"""Narrow strips: pieces of faces that a convention measures by length, leaves out, or takes in with the rest."""

from collections.abc import Sequence

import numpy as np
import shapely
from msgspec import Struct
from msgspec.structs import replace

from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.convention import Convention
from takeoff.measuring.dimensions import strip_thickness
from takeoff.measuring.face_pieces import STRIPS, Piece
from takeoff.measuring.remains import NOISE, without_slits

ROUNDING = 1e-6
"""A strip is as narrow as the limit says when it is wider by less than this, m."""

BY_LENGTH = ("slab-edge", "foundation-side")
"""Edges that a convention may measure by length whatever their width: then none of them is a strip apart."""


class NarrowStrip(Struct, frozen=True):
    """A connected piece of a face: `area` m2, `length` m along it, and whether it is narrow."""

    area: float
    length: float
    narrow: bool


def limit_for(convention: Convention, category: str) -> tuple[float, str]:
    """Width in m up to which a strip of this category is narrow, and what becomes of it."""
    rules = convention.narrow
    if category == "free":
        return rules.finish_mm / 1e3, rules.finish
    if category == "opening-reveal":
        return rules.reveal_mm / 1e3, rules.reveal
    if convention.edges.measure == "length" and category in BY_LENGTH:
        return 0.0, "in"
    return rules.formwork_mm / 1e3, rules.formwork


def strips_of(surfaces: Surfaces, row: int, rest: shapely.Geometry, limit: float) -> list[NarrowStrip]:
    """The connected pieces of what is left of a face, in their order.

    The strips by which a kernel draws a face that curves in two ways are no strips of formwork: never narrow.
    """
    drawn = bool(surfaces.curved[row]) and surfaces.frame[row] >= 0
    strips = []
    shapes = np.full(1, rest, dtype=object)
    for part in shapely.get_parts(without_slits(surfaces, np.array([row]), shapes)):
        width = strip_thickness(part) if part.area > NOISE else 0.0
        if width > 0.0:
            narrow = not drawn and width <= limit + ROUNDING
            strips.append(NarrowStrip(float(part.area), float(part.area) / width, narrow))
    return strips


def told_apart(pieces: Sequence[Piece], category: str, strips: Sequence[NarrowStrip]) -> list[Piece]:
    """The pieces of a face with its narrow strips as pieces of their own."""
    if not any(strip.narrow for strip in strips):
        return list(pieces)
    if category in STRIPS and len({piece.part for piece in pieces}) == len(strips):
        whole = [(piece, strips[piece.part]) for piece in pieces]
        return [
            replace(piece, length=strip.length * piece.area / strip.area, narrow=True)
            if strip.narrow
            else piece
            for piece, strip in whole
        ]
    area = sum(strip.area for strip in strips if strip.narrow)
    length = sum(strip.length for strip in strips if strip.narrow)
    share = min(area / sum(strip.area for strip in strips), 1.0)
    found = []
    for piece in pieces:
        if share < 1.0:
            found.append(replace(piece, area=piece.area * (1.0 - share), length=piece.length * (1.0 - share)))
        part = piece.area / sum(one.area for one in pieces)
        found.append(replace(piece, area=piece.area * share, length=length * part, narrow=True))
    return found
