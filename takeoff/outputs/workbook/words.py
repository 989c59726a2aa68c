"""The words of the workbook from a data file: English is shipped, an office puts its own language beside it."""

import re
from collections.abc import Mapping
from pathlib import Path

from msgspec import Struct, field
from msgspec.structs import replace

from takeoff.data_files import read_toml
from takeoff.findings import InputError
from takeoff.pricing.unit_systems import METRIC, UnitSystem
from takeoff.templates import template_path

SHOWN_UNITS = ("m3", "m2", "mm", "m", "t", "kg")
"""Units that headings speak of, by their metric names."""
_FIELD = re.compile(r"\{(\w+)\}")


class Words(Struct, frozen=True):
    """Headings and sentences by their English text, unit names, and the signs in numbers within texts."""

    texts: Mapping[str, str] = field(default_factory=dict)
    decimal: str = "."
    thousands: str = ","
    units: Mapping[str, str] = field(default_factory=dict)
    """Unit words of headings by metric word, where the bill is imperial: `m3` reads `yd3`."""

    def __call__(self, text: str, **values: object) -> str:
        """The words for an English text, `{name}` in them replaced by values."""
        said = self.texts.get(text, "") or text
        for metric, shown in self.units.items():
            # Diameters stay those of the bars in the model.
            said = re.sub(rf"(?<![\w/])(?<!Diameter ){re.escape(metric)}(?!\w)", shown, said)
        return _FIELD.sub(
            lambda found: self.number(values[found[1]]) if found[1] in values else found[0], said
        )

    def number(self, value: object) -> str:
        """A value as text; whole numbers with signs between thousands."""
        if isinstance(value, bool) or not isinstance(value, int | float):
            return str(value)
        shown = f"{value:,}" if isinstance(value, int) else f"{value:,.3f}"
        whole, dot, part = shown.partition(".")
        return whole.replace(",", self.thousands) + (self.decimal + part if dot else "")


def words_in(words: Words, system: UnitSystem) -> Words:
    """The words with the units of `system` in the headings that speak of one."""
    if system is METRIC:
        return words
    units = {name: system.words[name] if name == "mm" else system.unit(name) for name in SHOWN_UNITS}
    return replace(words, units=units)


def load_words(path: Path) -> Words:
    """Words from a TOML file: `decimal`, `thousands`, and the table `words` of English texts and their like.

    Raises InputError for a file that cannot be read, a text that no sheet has, and one that lacks a `{name}` of
    the English text or has another one.
    """
    content = read_toml(path)
    known = read_toml(template_path("words-english.toml")).get("words", {})
    texts = content.get("words", {})
    if not isinstance(texts, dict) or not all(isinstance(text, str) for text in texts.values()):
        raise InputError(f"{path}: words: must be a table of English texts and what stands for them")
    for english, text in texts.items():
        if english not in known:
            raise InputError(f'{path}: words: "{english}" is no text of the workbook; see words-english.toml')
        if text and set(_FIELD.findall(text)) != set(_FIELD.findall(english)):
            raise InputError(f'{path}: words: "{text}" must have the same names in braces as "{english}"')
    for key in content:
        if key not in ("decimal", "thousands", "words"):
            raise InputError(f"{path}: `{key}` is not known; a words file holds decimal, thousands and words")
    signs = {name: content.get(name, default) for name, default in (("decimal", "."), ("thousands", ","))}
    for name, sign in signs.items():
        if not isinstance(sign, str) or len(sign) > 1 or (name == "decimal" and not sign):
            raise InputError(f"{path}: {name} must be one character")
    if signs["decimal"] == signs["thousands"]:
        raise InputError(f"{path}: decimal and thousands are the same sign")
    return Words(texts, signs["decimal"], signs["thousands"])
