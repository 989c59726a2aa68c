"""Patterns of names with `*`, `?` and `[...]`, whatever the case, asked of many texts."""

import re
from collections.abc import Iterable
from fnmatch import translate
from functools import lru_cache

_WILD = re.compile(r"[*?\[]")


def fits_any(patterns: tuple[str, ...], texts: Iterable[str]) -> bool:
    """Whether one of the texts, empty ones left out, fits one of the patterns."""
    within, expression = _reading(patterns)
    for text in texts:
        if text:
            low = text.casefold()
            for word in within:
                if word in low:
                    return True
            if expression is not None and expression.match(low):
                return True
    return False


@lru_cache(maxsize=256)
def _reading(patterns: tuple[str, ...]) -> tuple[tuple[str, ...], re.Pattern[str] | None]:
    """Words of patterns of the form `*word*`, which are looked for as they stand, and one expression for the rest."""
    low = [pattern.casefold() for pattern in patterns]
    plain = {p for p in low if len(p) > 2 and p[0] == p[-1] == "*" and not _WILD.search(p[1:-1])}
    rest = [p for p in low if p not in plain]
    return tuple(p[1:-1] for p in plain), re.compile("|".join(map(translate, rest))) if rest else None
