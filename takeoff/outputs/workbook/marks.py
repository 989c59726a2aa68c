"""Marks of written cells, so that a later run can tell what a person typed.

Each row of each sheet ends in a hidden cell: the kind of the row and, for each column before it, four characters
made of the value that was written. Whatever does not match them any more was typed by somebody. The cell moves
with its row, so rows may be sorted and inserted.
"""

import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime, time
from functools import lru_cache
from zlib import crc32

from msgspec import Struct

BLANK = "...."
TYPED = "!!!!"
"""The mark of a cell that a person typed in an earlier run: it matches nothing, so it counts as typed again."""

_SEAL = re.compile(r"~([^:]*):((?:[0-9a-f]{4}|\.{4}|!{4})*)")


@lru_cache(maxsize=1 << 16, typed=True)
def mark(value: object) -> str:
    """The mark of a value: the same for a number however it is stored, and for text up to its white space."""
    if isinstance(value, bool):
        text = str(value)
    elif isinstance(value, int | float):
        text = f"{float(value):.9g}"
    elif isinstance(value, datetime | date | time):
        text = value.isoformat()
    elif value is None:
        return BLANK
    else:
        # Carriage returns and odd characters come back from files in several spellings.
        text = " ".join(re.sub(r"_x[0-9A-Fa-f]{4}_", " ", str(value)).split())
        if not text:
            return BLANK
    return f"{crc32(text.encode('utf-8', 'replace')) & 0xFFFF:04x}"


def formula_mark(formula: str) -> str:
    """The mark of a formula: the functions and sheets that it names, in order.

    Programs shift its rows and columns and respell it when they save, so that no more can be relied on.
    """
    plain = re.sub(r'"[^"]*"', "", formula).upper().replace("'", "").replace("_XLFN.", "")
    names = re.findall(r"[A-Z][A-Z0-9.]*(?=\()|[A-Z][A-Z \-]*(?=!)", plain)
    return f"{crc32(('=' + ' '.join(names)).encode()) & 0xFFFF:04x}"


class Seal(Struct, frozen=True):
    """What the hidden cell of a row says: its kind with further words, and the marks by column, as one text."""

    kind: str
    words: tuple[str, ...]
    text: str

    @property
    def marks(self) -> tuple[str, ...]:
        """The marks by column."""
        return tuple(self.text[at : at + 4] for at in range(0, len(self.text), 4))


def seal_text(kind: str, words: Sequence[str], marks: Mapping[int, str], columns: int) -> str:
    """The text of the hidden cell for the first `columns` columns."""
    told = "|".join((kind, *(word.replace("|", "/").replace(":", "/") for word in words)))
    return f"~{told}:" + "".join(marks.get(column, BLANK) for column in range(columns))


def read_seal(value: object) -> Seal | None:
    """The seal in a cell, None for any other value."""
    found = _SEAL.fullmatch(value) if isinstance(value, str) else None
    if found is None:
        return None
    kind, *words = found.group(1).split("|")
    return Seal(kind, tuple(words), found.group(2))
