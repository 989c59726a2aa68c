"""Which declared quantities speak of the whole element, and in which sense.

Exporters write dozens of figures under like names (volume of a skin, of the holes, conditional areas), so
only names that plainly mean the whole element are taken, in any set; areas and lengths only from standard
sets.
"""

import re
from typing import Literal

from takeoff.reading.facts import Declared
from takeoff.reading.words import key

Sense = Literal["net", "plain", "gross"]

_VOLUMES: dict[Sense, str] = {
    "net": (
        "netvolume volumenet nettovolumen nettovolume nettoinhoud volumenneto volumenetto volumeliquido "
        "nettovolym nettovolum nettorumfang nettotilavuus netconcretevolume"
    ),
    "plain": (
        "volume concretevolume volumen betonvolumen betonvolume inhoud volym volum rumfang tilavuus "
        "volumebeton volumedebeton"
    ),
    "gross": (
        "grossvolume volumebrut bruttovolumen brutovolume brutoinhoud volumenbruto volumelordo volumebruto "
        "bruttovolym bruttovolum bruttorumfang bruttotilavuus grossconcretevolume"
    ),
}
_WEIGHTS: dict[Sense, str] = {
    "net": "netweight nettogewicht pesoneto pesonetto nettomasse",
    "plain": "weight mass gewicht masse massa poids peso vikt vekt vaegt paino totalweight gesamtgewicht",
    "gross": "grossweight bruttogewicht brutogewicht pesobruto pesolordo",
}
_SENSES = {
    kind: {name: sense for sense, names in table.items() for name in names.split()}
    for kind, table in (("volume", _VOLUMES), ("weight", _WEIGHTS))
}
_STANDARD_SET = re.compile(r"(Qto_\w*)?BaseQuantities", re.IGNORECASE)
_STANDARD = {
    ("slab", "area"): {"netarea": "net", "grossarea": "gross"},
    ("wall", "area"): {"netsidearea": "net", "grosssidearea": "gross"},
    ("wall", "length"): {"length": "plain"},
    ("beam", "length"): {"length": "plain"},
}
"""IFC base quantities whose meaning is one that is measured, by role and kind."""


def is_standard_set(set_name: str) -> bool:
    """Whether a set bears the name that IFC gives to base quantities."""
    return _STANDARD_SET.fullmatch(set_name.strip()) is not None


def sense_of(declared: Declared, role: str) -> str | None:
    """`net`, `plain` or `gross` for a quantity that can be compared, None for any other."""
    name = key(declared.name)
    if declared.kind in _SENSES:
        return _SENSES[declared.kind].get(name)
    if is_standard_set(declared.set_name):
        return _STANDARD.get((role, declared.kind), {}).get(name)
    return None
