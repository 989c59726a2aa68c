"""Moulds: families of pieces that one adjustable mould makes, of one cross-section and other lengths.

Openings and recesses are boxed out in the mould and do not make another one; a rim, a nib or a string does.
"""

from collections.abc import Mapping

from takeoff.measuring.piece_sizes import PieceSizes

SECTION = 0.002
"""Difference of cross-sections, as a share, that side forms take up."""


def mould_families(sizes: Mapping[int, PieceSizes], initial: str) -> dict[int, str]:
    """The family of each shape by its number: width and thickness in mm, and the section where it is no rectangle.

    Families are named by their figures, so that an added shape does not rename the others.
    """
    families: dict[int, str] = {}
    for number, size in sizes.items():
        width, thickness = round(size.width * 1e3), round(size.thickness * 1e3)
        name = f"{initial} {width}x{thickness}"
        if abs(size.profile - size.width * size.thickness) > SECTION * size.width * size.thickness:
            name += f" ({size.profile * 1e4:.0f} cm2)"
        families[number] = name
    return families
