"""Where pages end: headings stay with what they head, sums with what they sum."""

import pytest

from takeoff.outputs.workbook.paging import MARGINS, PAPER_SIZES, SURE, USUAL_HEIGHT, page_breaks

ROOM = int(SURE * (PAPER_SIZES["a4"][1] - 72.0 * (MARGINS["top"] + MARGINS["bottom"])) // USUAL_HEIGHT)
"""Usual rows of a page at full size."""


def test_what_fits_has_no_breaks():
    assert page_breaks({}, [(0, ROOM - 1)], 500.0, "a4", None) == []
    assert page_breaks({}, [], 500.0, "a4", None) == []


@pytest.mark.parametrize("heading", [ROOM - 1, ROOM - 2])
def test_a_heading_goes_to_the_next_page_with_its_first_row(heading):
    kept = [(heading, ROOM)]
    assert page_breaks({}, kept, 500.0, "a4", None) == [heading]


def test_a_sum_takes_what_it_sums_along_and_chains_hold():
    # a section of one item: heading with item, item with sum
    assert page_breaks({}, [(ROOM - 2, ROOM - 1), (ROOM - 1, ROOM)], 500.0, "a4", None) == [ROOM - 2]


def test_pages_after_the_first_repeat_the_heading():
    last = 3 * ROOM
    assert page_breaks({}, [(last, last + 1)], 500.0, "a4", 0)[:2] == [ROOM, 2 * ROOM - 1]


def test_high_rows_and_wide_sheets_end_pages_sooner_and_later():
    tall = dict.fromkeys(range(500), 2 * USUAL_HEIGHT)
    assert page_breaks(tall, [(ROOM, ROOM + 1)], 500.0, "a4", None)[0] == ROOM // 2
    assert page_breaks({}, [(ROOM, ROOM + 1)], 2 * 769.9, "a4", None) == []


def test_a_group_higher_than_a_page_is_divided():
    assert page_breaks({}, [(0, 2 * ROOM)], 500.0, "a4", None) == [ROOM, 2 * ROOM]
