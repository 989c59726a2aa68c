"""Patterns of names: the same answers as asking each text for each pattern, whatever the pattern."""

from fnmatch import fnmatchcase

import pytest
from hypothesis import given
from hypothesis import strategies as st

from takeoff.measuring.name_patterns import fits_any

TEXT = st.text(alphabet="aB*?[]!.\n-ß", max_size=6)


@given(st.lists(TEXT, max_size=4), st.lists(TEXT, max_size=3))
def test_answers_are_those_of_each_pattern_and_text(patterns: list[str], texts: list[str]) -> None:
    wanted = any(
        fnmatchcase(text.casefold(), pattern.casefold()) for text in texts if text for pattern in patterns
    )
    assert fits_any(tuple(patterns), texts) == wanted


@pytest.mark.parametrize(
    ("patterns", "text", "fits"),
    [
        (("*lean concrete*",), "Lean Concrete C12/15", True),
        (("*lean*", "blinding ?0"), "Blinding 50", True),
        (("lean",), "lean concrete", False),
        (("*",), "anything", True),
        (("**",), "", False),
        ((), "anything", False),
    ],
)
def test_what_fits(patterns: tuple[str, ...], text: str, fits: bool) -> None:
    assert fits_any(patterns, (text,)) is fits
