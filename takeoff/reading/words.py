"""The few words by which the reader tells concrete from what is cast into it, and a proxy's role.

Only for what the class of an element doesn't say: proxies, parts of a bodyless element, and things embedded
in a unit. How an element is made is decided later, by the user's rules. Texts are compared in the spelling of
`plain`: small letters, no accents.
"""

import re
import unicodedata
from functools import lru_cache
from typing import Literal

Substance = Literal["concrete", "other", "unknown", ""]

_SPELLING = str.maketrans({"ø": "o", "æ": "ae", "ß": "ss", "œ": "oe", "đ": "d", "ł": "l"})


@lru_cache(maxsize=65536)
def plain(text: str) -> str:
    """A text in small letters without accents: `Béton précontraint` becomes `beton precontraint`."""
    folded = unicodedata.normalize("NFKD", text.casefold().translate(_SPELLING))
    return "".join(c for c in folded if not unicodedata.combining(c))


@lru_cache(maxsize=65536)
def key(text: str) -> str:
    """A property's name without case, accents, spaces and signs: `Net volume` becomes `netvolume`."""
    return "".join(c for c in plain(text) if c.isalnum())


_REBAR = re.compile(
    r"\brebars?\b|rebar_|reinforc(ing|ement)\b|betonstahl|betonstaal|betonstal\b|bewehrung|wapening|armierung"
    r"|armering|harjateras|raudoit|ferraillage|acier d'armature|armatures?\b|armadura|armatura"
    r"|\b(feb|fe|bst|b)\s?[45][05]0[abcs]?\b|\bcorrugado"
)
"""Reinforcing steel: bars, fabric, and the grades B500, BSt 500, FeB 500."""

_NOT_CONCRETE = re.compile(
    # Concrete by name only: blocks, aerated concrete, tiles, and what serves concreting.
    r"concrete (masonry|block|brick|tile|roof|paver)|masonry|\bblocks?\b|gasbeton|gasconcrete"
    r"|cellenbeton|porenbeton"
    r"|cellulaire|cellular|aerated|aircrete|celular|cellulare|aerato|lattbetong|porebeton|kevytbetoni|siporex"
    r"|betonst(ein|een|en)|betonwerkstein|betonziegel|dachstein|betonblok|betongblock|betonipaasto"
    r"|(mixer|mischer|pump|pumpe)\b|formwork|schalung|bekisting|coffrage|encofrado|cassaforma"
    # Other substances.
    r"|\bsteel|stahl|\bstaal|\bacier|\bacero|\bacciai|\baco\b|\bstal\b|\bteras|\bmetal|aluminium|aluminum|\binox"
    r"|insul|\bisol|daemm|damm\w*|\beps\b|\bxps\b|\bpur\b|\bpir\b|polystyr|mineral ?wool|styropor|eristys"
    r"|\bwood|timber|\bholz|\bhout|\bbois\b|madera|legno|madeira|\btra\b|\btrae\b|\btre\b|\bpuu\b|plywood"
    r"|\bpvc\b|\bpe\b|\bhdpe\b|plastic|kunststo|plastique|rubber|gummi|neopre|caoutchouc"
    r"|glas\b|\bglass|\bverre|gypsum|gips|platre|plaster|stucco|bitum|asphalt"
    r"|\bbrick|ziegel|baksteen|brique|ladrillo|laterizio|tijolo|\btegel|kalkzand|kalksand|metselwerk|mauerwerk|klinker"
    r"|\bair\b|\bluft|\blucht|\bvoid\b|\bsand\b|gravel|\bkies\b|grind\b|\bsoil\b|\bgrond\b|membrane|folie|\bfoil"
    r"|mortar|mortel|\bgrout|screed|estrich"
)

_CONCRETE = re.compile(
    r"concrete|beton|\bconc\b|hormigon|calcestruzzo|\bcls\b|\bbetao\b|\bl?c\s?\d{2,3}\s?/\s?\d{2,3}\b|\bc\d{2}\b"
)

_REINFORCED = re.compile(
    r"reinforced concrete|stahlbeton|gewapend beton|beton (arme|gewapend)|hormigon armado"
    r"|(calcestruzzo|cls|cemento) armato|betao armado|armerad betong|armert betong|armeret beton|terasbetoni"
    r"|spannbeton|prestressed|calcestruzzo precompresso|staalvezelbeton|stahlfaserbeton|faserbeton"
    r"|steel ?fib(re|er)"
)
"""Words in which the name of another substance is part of a kind of concrete."""

DECKING = re.compile(
    r"(metal|steel|composite|floor|roof) ?deck(ing)?\b|\bdecking\b|profiled (steel )?(sheet|deck)"
    r"|trapezoidal sheet"
    r"|trapez(blech|profil)|profilblech|staalplaat|geprofileerde (staal)?plaat|bac acier|bac collaborant"
    r"|lamiera grecata|chapa (colaborante|grecada)|chapa trapezoidal|trapetsplat|profilplat|profilplate"
    r"|korrugeret|poimulevy|verbundblech|corrugated (steel|sheet|metal)"
)
"""Sheets that stay under a slab as its form."""

_ROLE_WORDS = {
    "foundation": (
        "foundation footing pilecap pile piles fundament fundering grundung pfahl poer paal semelle "
        "fondation pieu zapata cimentacion cimiento pilote encepado plinto fondazione fundacao sapata "
        "estaca antura perustus paalu funderingsbalk strook"
    ),
    "stair": (
        "stair stairs staircase flight treppe treppenlauf podest trap trappen bordes escalier escalera "
        "scala escada trappa trapp trappe porras portaat"
    ),
    "column": (
        "column columns pillar pier stutze stuetze pfeiler kolom poteau columna pilar pilastro colonna "
        "pelare soyle sojle pilari"
    ),
    "beam": (
        "beam beams girder lintel balken trager traeger unterzug uberzug sturz balk ligger latei poutre "
        "linteau viga dintel trave architrave bjalke bjelke bjaelke palkki"
    ),
    "slab": (
        "slab slabs floor raft plank topping decke bodenplatte platte vloer plaat breedplaat kanaalplaat "
        "dalle plancher radier losa forjado solera soletta solaio platea laje bjalklag platta dekke daek "
        "laatta balcony balkon balcon balcone"
    ),
    "wall": (
        "wall walls parapet upstand wand waende wande attika brustung muur opstand mur voile acrotere "
        "muro parete parede vagg vegg vaeg seina"
    ),
}
"""Words for the six roles. A word matches a whole word of the text, or its end (`Fertigteilwand`) from 4
letters."""

_ROLES = tuple((role, tuple(words.split())) for role, words in _ROLE_WORDS.items())


@lru_cache(maxsize=65536)
def is_rebar(text: str) -> bool:
    """Whether a material's name plainly is reinforcing steel (and not reinforced concrete)."""
    simple = plain(text).replace("_", " ")
    return bool(_REBAR.search(simple)) and not _CONCRETE.search(re.sub(r"betonsta\w*", "", simple))


@lru_cache(maxsize=65536)
def substance(text: str) -> Substance:
    """What a material's or element's name says: concrete, plainly something else, unknown, or nothing at
    all."""
    simple = plain(text).strip()
    if not simple:
        return ""
    if is_rebar(text):
        return "other"
    simple = simple.replace("_", " ")
    without = _REINFORCED.sub(" concrete ", simple)
    if _NOT_CONCRETE.search(without):
        return "other"
    return "concrete" if _CONCRETE.search(without) else "unknown"


@lru_cache(maxsize=65536)
def named_role(text: str) -> str:
    """The role that a name tells by itself in one of eleven languages, empty if it tells none."""
    for word in reversed(re.findall(r"[a-z]+", plain(text))):
        for role, stems in _ROLES:
            if word in stems:
                return role
    for word in reversed(re.findall(r"[a-z]+", plain(text))):
        for role, stems in _ROLES:
            if any(len(stem) >= 4 and word.endswith(stem) for stem in stems):
                return role
    return ""
