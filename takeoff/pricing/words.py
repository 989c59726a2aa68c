"""Text of items: keys made of field values, and descriptions made of patterns.

A description pattern holds `{field}` where the words of a field go. A stretch in square brackets is left
out as a whole when one of its fields has no words: `in walls[ {size_band} mm thick]`.
"""

import re
import unicodedata
from collections.abc import Mapping, Sequence
from functools import lru_cache

EMPTY_SEGMENT = "none"

_FIELD = re.compile(r"\{([a-z_]+)\}")
_STRETCH = re.compile(r"\[([^\[\]]*)\]")
_NUMBER = re.compile(r"\d+(?:\.\d+)?")


@lru_cache(maxsize=1 << 14)  # the same few words are asked for by every row of rates and every row measured
def slug(value: str) -> str:
    """One segment of a key: lower case, accents dropped, a decimal point as `_`, anything else as `-`."""
    plain = "".join(
        letter for letter in unicodedata.normalize("NFKD", value) if not unicodedata.combining(letter)
    )
    plain = re.sub(r"(?<=\d)\.(?=\d)", "_", plain.casefold())
    return re.sub(r"[^\w]+", "-", plain).strip("-") or EMPTY_SEGMENT


def compose_key(prefix: str, values: Sequence[str]) -> str:
    """The key of an item; empty fields at its end are dropped, those before another one read `none`."""
    last = max((place for place, value in enumerate(values, 1) if value), default=0)
    return ".".join([prefix, *(slug(value) for value in values[:last])])


def pattern_fields(pattern: str) -> list[str]:
    """The fields a description pattern names, in order."""
    return _FIELD.findall(pattern)


def pattern_fault(pattern: str) -> str:
    """What is wrong with a description pattern's brackets, empty when nothing is."""
    rest = _STRETCH.sub(lambda found: found.group(1), pattern)
    if "[" in rest or "]" in rest:
        return "square brackets must come in pairs and not inside one another"
    rest = _FIELD.sub("", rest)
    if "{" in rest or "}" in rest:
        return "a field is written {name}, in lower-case letters and underscores"
    return ""


def render(pattern: str, words: Mapping[str, str]) -> str:
    """A description: `pattern` with `words` of its fields, bracketed stretches without words dropped.

    Values come from models, so they are put in last and never read as a pattern themselves.
    """

    def stretch(found: re.Match[str]) -> str:
        inner = found.group(1)
        return inner if all(words.get(name) for name in pattern_fields(inner)) else ""

    shown = _FIELD.sub(lambda found: words.get(found.group(1), ""), _STRETCH.sub(stretch, pattern))
    shown = re.sub(r"\s+", " ", shown).strip()
    return shown[:1].upper() + shown[1:]


def field_words(field: str, value: str, tables: Sequence[Mapping[str, Mapping[str, str]]]) -> str:
    """The words for a field's value: from the first table that has them, else the value itself.

    A table may give `*` for any value that is not empty, with `{}` where the value goes. Bands, in fields
    whose names end so, read "up to 150", "150 to 300", "over 450".
    """
    shown = _band_words(value) if field.endswith("band") else value
    for table in tables:
        words = table.get(field, {})
        if value in words:
            return words[value]
        if value and "*" in words:
            return words["*"].replace("{}", shown)
    return shown


def _band_words(value: str) -> str:
    return re.sub(r"(?<=\d)-(?=\d)", " to ", re.sub(r"^to (?=\d)", "up to ", value))


def natural_order(value: str) -> tuple[float, int, str]:
    """Sorts bands and sizes by their numbers: `to 150`, `150-300`, `over 300`, then plain words."""
    found = _NUMBER.search(value)
    if not value:
        return (-1.0, 0, "")
    if found is None:
        return (float("inf"), 0, value)
    rank = -1 if value.startswith("to ") else 1 if value.startswith("over") else 0
    return (float(found.group()), rank, value)
