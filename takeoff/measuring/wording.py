"""Words in the texts of a model: normalised, split into tokens, and found by patterns.

A pattern is one or more words. `*` stands for any letters inside a word (`*beton*` finds "Stahlbetonwand"), a
lone `*` for one whole word or number, `#` for any number. Case, accents and punctuation do not count, a blank
in a pattern may be missing in the text ("hollow core" finds "Hollow-core" and "hollowcore"), and a text in
camel case is also read as its single words. Nothing here knows construction: the words are data.
"""

import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from itertools import pairwise, product

_LETTERS = {"ø": "o", "æ": "ae", "œ": "oe", "ð": "d", "đ": "d", "ł": "l", "þ": "th", "ı": "i"}
_SPELT_OUT = {"ä": "ae", "ö": "oe", "ü": "ue", "å": "aa", "ø": "oe"}
_DIGITS = re.compile(r"\d+")
_TOKEN = re.compile(r"[^\W\d_]+|\d+")
_PATTERN_TOKEN = re.compile(r"(?:[^\W\d_]|\*)+|\d+|#")
_AFTER_NUMBER = re.compile(r"(?<=[\d#])\*")  # "S355*": letters after a number are a word of their own anyway
_CAMEL = re.compile(r"(?<=[^\W\d_A-Z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])")
_NUMBER = "#"
_ANY = "*"


def fold(text: str) -> str:
    """`text` in lower case without accents: "Prédalle" and "PREDALLE" become "predalle"."""
    if text.isascii():
        return text.lower()
    lowered = "".join(_LETTERS.get(letter, letter) for letter in text.casefold())
    return "".join(c for c in unicodedata.normalize("NFKD", lowered) if not unicodedata.combining(c))


@lru_cache(maxsize=1 << 16)
def squeeze(text: str) -> str:
    """Letters, digits and `*` of `text`, folded: "beton kwaliteit" and "Betonkwaliteit" become one."""
    return "".join(c for c in fold(text) if c.isalnum() or c == _ANY)


def tokens(text: str) -> tuple[str, ...]:
    """Words and numbers of `text` in their order, folded; letters and digits are parted ("HEA180")."""
    return tuple(_TOKEN.findall(fold(text)))


def readings(text: str) -> tuple[tuple[str, ...], ...]:
    """The ways to read `text`: as it stands and, where it is written in camel case, word by word."""
    plain = tokens(text)
    if text.islower() or text.isupper():
        return (plain,)
    parted = tokens(_CAMEL.sub(" ", text))
    return (plain,) if parted == plain else (plain, parted)


@lru_cache(maxsize=1 << 14)
def phrases(pattern: str) -> tuple[tuple[str, ...], ...]:
    """All forms of `pattern`, each a tuple of word patterns: both spellings of umlauts, blanks left out.

    Raises ValueError where the pattern holds no word.
    """
    spellings = [fold(pattern)]
    if not pattern.isascii():
        spellings.append(fold(_spelt_out(pattern)))
    found: list[tuple[str, ...]] = []
    for spelling in dict.fromkeys(spellings):
        words = _PATTERN_TOKEN.findall(_AFTER_NUMBER.sub("", spelling))
        if words:
            found += dict.fromkeys(_joined(words))
    if not found:
        raise ValueError(f"the pattern {pattern!r} holds no word")
    return tuple(found)


def _spelt_out(pattern: str) -> str:
    return "".join(
        _SPELT_OUT.get(letter, letter) for letter in unicodedata.normalize("NFC", pattern.casefold())
    )


def _joined(words: Sequence[str]) -> Iterator[tuple[str, ...]]:
    """`words` with each choice of blanks left out.

    Single letters and numbers stay words of their own, and so does what an open end (`*`) parts from the next.
    """
    may_join = [
        _joinable(a) and _joinable(b) and not a.endswith(_ANY) and not b.startswith(_ANY)
        for a, b in pairwise(words)
    ]
    for choice in product(*((False, True) if may else (False,) for may in may_join)):
        form = [words[0]]
        for word, join in zip(words[1:], choice, strict=True):
            if join:
                form[-1] += word
            else:
                form.append(word)
        yield tuple(form)


def _joinable(word: str) -> bool:
    letters = word.replace(_ANY, "")
    return len(letters) >= 2 and letters.isalpha()


class _WordIndex:
    """Word patterns by number, found for a token without trying each of them."""

    def __init__(self) -> None:
        self._numbers: dict[str, int] = {}
        self._exact: dict[str, int] = {}
        self._starts: dict[str, int] = {}
        self._ends: dict[str, int] = {}
        self._within: list[tuple[str, int]] = []
        self._shapes: list[tuple[re.Pattern[str], int]] = []
        self._known: dict[str, frozenset[int]] = {}

    def add(self, word: str) -> int:
        """Number of the word pattern `word`, new or known."""
        if word in self._numbers:
            return self._numbers[word]
        number = self._numbers[word] = len(self._numbers)
        core = word.strip(_ANY)
        if word in (_ANY, _NUMBER) or _ANY not in word:
            self._exact[word] = number
        elif not core or _ANY in core:
            self._shapes.append((re.compile(".*".join(map(re.escape, word.split(_ANY)))), number))
        elif word.startswith(_ANY) and word.endswith(_ANY):
            self._within.append((core, number))
        elif word.endswith(_ANY):
            self._starts[core] = number
        else:
            self._ends[core] = number
        return number

    def numbers(self) -> frozenset[str]:
        """The numbers that stand in patterns."""
        return frozenset(word for word in self._exact if word.isdecimal())

    def find(self, token: str) -> frozenset[int]:
        """Numbers of all word patterns that fit `token`."""
        hits = self._known.get(token)
        if hits is None:
            hits = self._known[token] = frozenset(self._search(token))
        return hits

    def _search(self, token: str) -> Iterator[int]:
        for word in (token, _ANY, *((_NUMBER,) if token.isdecimal() else ())):
            if word in self._exact:
                yield self._exact[word]
        if token.isdecimal():
            return
        for cut in range(1, len(token) + 1):
            if token[:cut] in self._starts:
                yield self._starts[token[:cut]]
            if token[-cut:] in self._ends:
                yield self._ends[token[-cut:]]
        for core, number in self._within:
            if core in token:
                yield number
        for shape, number in self._shapes:
            if shape.fullmatch(token):
                yield number


class _Node:
    """A place in the tree of phrases: where it leads by the next word, and whom it serves if it ends here."""

    __slots__ = ("excepted_by", "next", "wanted_by")

    def __init__(self) -> None:
        self.next: dict[int, _Node] = {}
        self.wanted_by: list[int] = []
        self.excepted_by: list[int] = []


class Lexicon:
    """Groups of patterns, each with exceptions; `find` tells which groups a text speaks of.

    An exception covers its own words only: with the words "concrete" and the exception "concrete block", the
    text "concrete frame, concrete block infill" still speaks of concrete.
    """

    def __init__(self, groups: Iterable[tuple[Sequence[str], Sequence[str]]]) -> None:
        """`groups`: each a pair of patterns and exceptions. Raises ValueError for a pattern with no word."""
        self._words = _WordIndex()
        self._root = _Node()
        for group, (patterns, exceptions) in enumerate(groups):
            for form in _forms(patterns):
                self._node(form).wanted_by.append(group)
            for form in _forms(exceptions):
                self._node(form).excepted_by.append(group)
        self._told_numbers = self._words.numbers()
        self._known: dict[str, tuple[int, ...]] = {}

    def _node(self, form: tuple[str, ...]) -> _Node:
        node = self._root
        for word in form:
            node = node.next.setdefault(self._words.add(word), _Node())
        return node

    def find(self, text: str) -> tuple[int, ...]:
        """Numbers of the groups that `text` speaks of, ascending."""
        found = self._known.get(text)
        if found is None:
            # Numbers that no pattern names are all alike, so that "Wall 17" and "Wall 18" are read once.
            plain = _DIGITS.sub(self._plain_number, text)
            if plain not in self._known:
                groups: set[int] = set()
                for reading in readings(plain):
                    groups.update(self._read(reading))
                self._known[plain] = tuple(sorted(groups))
            found = self._known[text] = self._known[plain]
        return found

    def _plain_number(self, digits: re.Match[str]) -> str:
        return digits[0] if digits[0] in self._told_numbers else "0"

    def _read(self, reading: tuple[str, ...]) -> Iterator[int]:
        hits = [self._words.find(token) for token in reading]
        wanted: dict[int, list[tuple[int, int]]] = {}
        excepted: dict[int, list[tuple[int, int]]] = {}
        for start in range(len(hits)):
            ways = [(self._root, start)]
            while ways:
                node, place = ways.pop()
                for group in node.wanted_by:
                    wanted.setdefault(group, []).append((start, place))
                for group in node.excepted_by:
                    excepted.setdefault(group, []).append((start, place))
                if node.next and place < len(hits):
                    ways.extend((node.next[n], place + 1) for n in hits[place] if n in node.next)
        for group, spans in wanted.items():
            holes = excepted.get(group, ())
            if any(all(end <= h0 or start >= h1 for h0, h1 in holes) for start, end in spans):
                yield group


def _forms(patterns: Iterable[str]) -> Iterable[tuple[str, ...]]:
    """The forms of all patterns, each once."""
    return dict.fromkeys(form for pattern in patterns for form in phrases(pattern))
