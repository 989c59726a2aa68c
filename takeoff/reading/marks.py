"""Marks: what is painted on a piece or written beside it on a drawing, told from exporters' own numbers."""

import re
from collections.abc import Mapping

from takeoff.reading.facts import PropertyValue
from takeoff.reading.words import key

_MARKS = (
    "piecemark",
    "partmark",
    "elementmark",
    "productmark",
    "mark",
    "positionnumber",
    "positionsnummer",
    "bauteilnummer",
    "elementnummer",
    "elementnumber",
    "merknummer",
    "merk",
    "repere",
    "littera",
    "marca",
    "marcaelemento",
    "castunitmark",
    "assemblymark",
    "assemblycastunitmark",
)
"""Names of properties that hold a mark, in rank: the piece's own before its unit's."""

_UNIT_MARKS = (
    "castunitmark",
    "assemblycastunitmark",
    "assemblymark",
    "piecemark",
    "mark",
    "merk",
    "positionnumber",
)
"""Names of properties that hold the mark of an assembly, in rank."""

_RANK = {name: rank for rank, name in enumerate(_MARKS)}
_UNIT_RANK = {name: rank for rank, name in enumerate(_UNIT_MARKS)}

_EXPORTERS = re.compile(
    r"\{?[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}\}?"
    r"|[0-9A-Za-z_$]{22}"
    r"|id[0-9a-f-]{20,}"
    r"|[0-9]{4,}|0x[0-9a-f]+|[0-9a-f]{6,}",
    re.IGNORECASE,
)
"""Tags that an exporter makes: GUIDs in either spelling, numbers of four digits and more, hexadecimal ids."""

LONGEST = 60


def find_mark(sets: Mapping[str, Mapping[str, PropertyValue]], tag: str, names: tuple[str, ...]) -> str:
    """The mark of an element: a property that is called so, else a tag that a person wrote, else the standard
    sets' `Reference` where it isn't just one of the element's `names` over again. Empty if there is none."""
    found = _best(sets, _RANK)
    if found:
        return found
    if tag and is_mark(tag):
        return tag.strip()
    for set_name, values in sets.items():
        reference = values.get("Reference")
        if set_name.startswith("Pset_") and set_name.endswith("Common") and isinstance(reference, str):
            text = reference.strip()
            if is_mark(text) and not any(text in name or name in text for name in names if name):
                return text
    return ""


def find_unit_mark(sets: Mapping[str, Mapping[str, PropertyValue]], tag: str) -> str:
    """The mark of an assembly: a property that is called so, else a tag that a person wrote."""
    return _best(sets, _UNIT_RANK) or (tag.strip() if is_mark(tag) else "")


def is_mark(text: str) -> bool:
    """Whether a tag is a person's: short, and no id or number of an exporter's."""
    text = text.strip()
    return bool(text) and len(text) <= LONGEST and not _EXPORTERS.fullmatch(text)


def _best(sets: Mapping[str, Mapping[str, PropertyValue]], ranks: Mapping[str, int]) -> str:
    best, best_rank = "", len(ranks)
    for values in sets.values():
        for name, value in values.items():
            rank = ranks.get(key(name), best_rank)
            if rank < best_rank and not isinstance(value, bool):
                text = f"{value:g}" if isinstance(value, float) else str(value).strip()
                if text and len(text) <= LONGEST:
                    best, best_rank = text, rank
    return best
