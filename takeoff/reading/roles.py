"""Roles: what class, predefined type, the whole it belongs to and its proportions say an element is."""

from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from takeoff.reading.attributes import attribute, clean
from takeoff.reading.places import Placements
from takeoff.reading.shapes import axis_lean, extents
from takeoff.reading.words import named_role

Kind = Literal[
    "wall",
    "slab",
    "column",
    "beam",
    "foundation",
    "stair",
    "flight",
    "ramp",
    "ramp-flight",
    "roof",
    "member",
    "plate",
    "part",
    "proxy",
    "covering",
    "assembly",
]

KINDS: dict[str, Kind] = {
    "IfcWall": "wall",
    "IfcWallStandardCase": "wall",
    "IfcWallElementedCase": "wall",
    "IfcSlab": "slab",
    "IfcSlabStandardCase": "slab",
    "IfcSlabElementedCase": "slab",
    "IfcColumn": "column",
    "IfcColumnStandardCase": "column",
    "IfcBeam": "beam",
    "IfcBeamStandardCase": "beam",
    "IfcFooting": "foundation",
    "IfcPile": "foundation",
    "IfcDeepFoundation": "foundation",
    "IfcCaissonFoundation": "foundation",
    "IfcStair": "stair",
    "IfcStairFlight": "flight",
    "IfcRamp": "ramp",
    "IfcRampFlight": "ramp-flight",
    "IfcRoof": "roof",
    "IfcMember": "member",
    "IfcMemberStandardCase": "member",
    "IfcPlate": "plate",
    "IfcPlateStandardCase": "plate",
    "IfcBuildingElementPart": "part",
    "IfcBuildingElementProxy": "proxy",
    "IfcBuiltElement": "proxy",
    "IfcChimney": "proxy",
    "IfcShadingDevice": "proxy",
    "IfcCivilElement": "proxy",
    "IfcPavement": "proxy",
    "IfcKerb": "proxy",
    "IfcCourse": "proxy",
    "IfcCovering": "covering",
    "IfcElementAssembly": "assembly",
}
"""The classes that are looked at. All else (doors, spaces, railings, services) is no concrete work."""

PIECES: frozenset[str] = frozenset(
    (
        "wall",
        "slab",
        "column",
        "beam",
        "foundation",
        "stair",
        "flight",
        "ramp",
        "ramp-flight",
        "roof",
        "member",
        "plate",
    )
)
"""Kinds whose class alone says that it is an element of a building's structure."""

WHOLES: frozenset[str] = frozenset(("stair", "ramp", "roof", "assembly"))
"""Kinds that are a frame around pieces, each an element of its own, unless they have a body or no such
pieces."""

SKIPPED_WHOLES = (
    "IfcCurtainWall",
    "IfcRailing",
    "IfcDoor",
    "IfcWindow",
    "IfcFurnishingElement",
    "IfcDistributionElement",
)
"""What belongs to these is no element of the structure, whatever its class."""

_NO_TYPE = {"", "NOTDEFINED", "STANDARD"}

_UPRIGHT_DEG = 30.0
"""A member that leans less than this from the vertical is a column, in keeping with the limit for sides."""

_CLASS_SUBROLES = {
    "IfcPile": "PILE",
    "IfcCaissonFoundation": "CAISSON_FOUNDATION",
    "IfcChimney": "CHIMNEY",
    "IfcPavement": "PAVEMENT",
    "IfcKerb": "KERB",
}
_KIND_SUBROLES = {
    "flight": "FLIGHT",
    "ramp": "RAMP",
    "ramp-flight": "RAMP_FLIGHT",
    "roof": "ROOF",
    "member": "MEMBER",
    "plate": "PLATE",
}
_UPRIGHT_MEMBERS = {"POST", "STUD"}
_LYING_MEMBERS = {"RAFTER", "PURLIN", "COLLAR", "CHORD", "STRINGER"}
_FLAT_SLAB, _SQUAT, _SLENDER = 0.4, 4.0, 2.0


def kind_of(product: Any) -> Kind | None:
    """The kind of a product by its class, None for what is not looked at."""
    return KINDS.get(product.is_a())


def predefined_type(product: Any, kind: Any) -> tuple[str, str]:
    """(predefined type, object type text) of an element; its own, else its type's. A user-defined one is its
    text."""
    own = attribute(product, "PredefinedType") or attribute(product, "ShapeType") or ""
    text = clean(attribute(product, "ObjectType"))
    of_type = attribute(kind, "PredefinedType") or ""
    type_text = clean(attribute(kind, "ElementType"))
    chosen = own if own not in _NO_TYPE else of_type
    if chosen == "USERDEFINED":
        chosen = (text if own == "USERDEFINED" else type_text or text) or chosen
    return ("" if chosen in _NO_TYPE else chosen), text or type_text


def role_of(
    product: Any, kind: Kind, predefined: str, whole: Kind | None, placements: Placements
) -> tuple[str, str]:
    """(role, subrole) of a product of one of the kinds in PIECES, inside a `whole` (stair, ramp, roof) or
    not."""
    subrole = predefined or _CLASS_SUBROLES.get(product.is_a()) or _KIND_SUBROLES.get(kind, "")
    if product.is_a() == "IfcPile":
        subrole = "PILE"
    if whole == "stair" and kind in ("slab", "member", "plate", "flight"):
        inside = {"slab": "LANDING", "member": "STRINGER", "plate": "PLATE", "flight": "FLIGHT"}
        return "stair", inside[kind]
    if kind == "flight":
        return "stair", "FLIGHT"
    if kind in ("ramp", "ramp-flight"):
        return "slab", _KIND_SUBROLES[kind]
    if kind == "roof":
        return "slab", "ROOF"
    if kind == "slab":
        if whole == "ramp":
            return "slab", "LANDING"
        return "slab", predefined or ("ROOF" if whole == "roof" else "")
    if kind == "beam" and predefined == "HOLLOWCORE":
        return "slab", subrole
    if kind == "member":
        if predefined in _UPRIGHT_MEMBERS:
            return "column", subrole
        if predefined in _LYING_MEMBERS:
            return "beam", subrole
        lean = axis_lean(product, placements)
        return ("column" if lean is not None and lean < _UPRIGHT_DEG else "beam"), subrole
    if kind == "plate":
        sizes = extents(product, placements)
        return ("wall" if sizes is not None and int(np.argmin(sizes)) != 2 else "slab"), subrole
    return kind, subrole


def guessed_role(
    product: Any, texts: tuple[str, ...], predefined: str, whole: Kind | None, placements: Placements
) -> tuple[str, str, str]:
    """(role, subrole, why) of a proxy or part that is concrete: by its names, else by its proportions."""
    subrole = predefined if predefined.isupper() else ""
    subrole = subrole or _CLASS_SUBROLES.get(product.is_a(), "")
    if whole == "stair":
        return "stair", subrole, "belongs to a stair"
    for text in (*texts, predefined):
        role = named_role(text)
        if role:
            return role, subrole, f"called {text!r}"
    sizes = extents(product, placements)
    if sizes is None:
        return "slab", subrole, "neither name nor shape tells"
    return role_of_sizes(sizes), subrole, "by its proportions"


def role_of_sizes(sizes: NDArray[np.float64]) -> str:
    """The role that a block of extents (two in plan, height), metres (3,), most probably has."""
    small, large = sorted(float(s) for s in sizes[:2])
    height = float(sizes[2])
    if height <= _FLAT_SLAB * small:
        return "slab"
    if height >= _SLENDER * large and large <= _SQUAT * small:
        return "column"
    if large > _SQUAT * small:
        return "beam" if height <= _SQUAT * small else "wall"
    return "foundation"
