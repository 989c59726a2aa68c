"""Text made safe for cells and page headings."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from outputs_sample import HOSTILE

from takeoff.outputs.text import CELL_LIMIT, CUT_MARK, cell_text, heading_text, starts_like_formula

# Any text with the control characters and lone surrogates that damaged models carry.
TEXTS = st.text(st.characters(codec=None))


@given(TEXTS)
def test_a_cell_holds_what_xml_allows_and_once_is_enough(text: str) -> None:
    shown = cell_text(text)
    assert all(c in "\t\n" or ord(c) >= 0x20 for c in shown)
    assert not any(0xD800 <= ord(c) <= 0xDFFF or c in "\ufffe\uffff" for c in shown)
    assert cell_text(shown) == shown


@given(st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E)))
def test_plain_text_stays_as_it_is(text: str) -> None:
    assert cell_text(text) == text


@pytest.mark.parametrize("letter", ["x", "é", "😀"])
def test_a_long_text_is_cut_at_the_limit_with_a_mark(letter: str) -> None:
    shown = cell_text(letter * 40_000)
    units = len(shown.encode("utf-16-le")) // 2
    assert shown.endswith(CUT_MARK)
    assert CELL_LIMIT - 1 <= units <= CELL_LIMIT
    assert set(shown.removesuffix(CUT_MARK)) == {letter}


def test_the_longest_text_that_fits_is_not_cut() -> None:
    assert cell_text("y" * CELL_LIMIT) == "y" * CELL_LIMIT
    assert cell_text("😀" * (CELL_LIMIT // 2)) == "😀" * (CELL_LIMIT // 2)


def test_texts_that_an_edit_would_turn_into_formulas_are_known() -> None:
    told = {text for text in HOSTILE if starts_like_formula(text)}
    assert told == set(HOSTILE) - {"http://example.org", "{=1}"}
    assert not starts_like_formula("a=1")


def test_a_page_heading_is_one_short_line_without_codes() -> None:
    assert heading_text("Archive & yard\n&P") == "Archive && yard &&P"
    assert heading_text("z" * 200) == "z" * 87 + "..."
