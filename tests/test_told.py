"""Texts that know their quantities: metric to any reader, in feet and yards where an output asks."""

import json
import pickle

import pytest

from takeoff.pricing.unit_systems import IMPERIAL, METRIC
from takeoff.told import Quantity, Told, counted, in_units, joined, told


@pytest.mark.parametrize(
    ("quantity", "metric", "imperial"),
    [
        (Quantity(0.061, "m3"), "0.061 m3", "0.080 yd3"),
        (Quantity(20.0, "m2", ".2f"), "20.00 m2", "215.3 ft2"),
        (Quantity(32.3, "m", ".1f"), "32.3 m", "106.0 ft"),
        (Quantity(12.3, "m", ".2f", size=True), "12.30 m", "40'-4 1/4\""),
        (Quantity(20.0, "mm", "g", size=True), "20 mm", '13/16"'),
        (Quantity(20.0, "mm", "g", bare=True, size=True), "20", '13/16"'),
        (Quantity(85.0, "kg/m3", "g"), "85 kg/m3", "143.3 lb/yd3"),
        (Quantity(3.45, "m2/m3", ".3g"), "3.45 m2/m3", "28.39 ft2/yd3"),
        (Quantity(13345.0, "kg", ".0f"), "13345 kg", "29421 lb"),
        (Quantity(20.0, "t", "g"), "20 t", "22.05 short tons"),
        (Quantity(1500.0, "m2", "g"), "1500 m2", "16,150 ft2"),
        (Quantity(1.0, "pieces", "g"), "1 pieces", "1 pieces"),
    ],
)
def test_a_quantity_in_both_systems(quantity: Quantity, metric: str, imperial: str) -> None:
    """By the exact yard and pound: 0.061 / 0.9144^3, 20 / 0.3048^2, 85 kg/m3 x 0.9144^3 / 0.45359237."""
    assert str(quantity) == metric == METRIC.quantity(quantity)
    assert IMPERIAL.quantity(quantity) == imperial


def test_a_text_is_its_metric_words_to_any_reader_and_keeps_its_quantities() -> None:
    text = told("{} of {name} hang over", Quantity(1.5, "m2", ".1f"), name="slab {1}")
    assert text == "1.5 m2 of slab {1} hang over"
    assert isinstance(text, str)
    longer = told("{}: {}", "Wall", joined(", ", [text, "and more", Quantity(2.0, "m3", "g")]))
    assert longer == "Wall: 1.5 m2 of slab {1} hang over, and more, 2 m3"
    assert in_units(longer, IMPERIAL) == "Wall: 16 ft2 of slab {1} hang over, and more, 2.616 yd3"
    assert in_units(longer, METRIC) == longer
    again = pickle.loads(pickle.dumps(longer))
    assert type(again) is Told
    assert in_units(again, IMPERIAL) == in_units(longer, IMPERIAL)
    assert json.loads(json.dumps([longer])) == [str(longer)]
    assert hash(longer) == hash(str(longer))


def test_a_text_without_quantities_is_a_plain_one() -> None:
    assert type(told("{} and {}", "one", 2)) is str
    assert joined(", ", []) == ""
    assert in_units("5 m", IMPERIAL) == "5 m"
    assert in_units(None, IMPERIAL) is None


def test_numbers_go_with_their_nouns() -> None:
    assert [counted(n, "piece") for n in (0, 1, 2)] == ["0 pieces", "1 piece", "2 pieces"]
    assert counted(1, "item is", "items are") == "1 item is"
    assert counted(3, "item is", "items are") == "3 items are"
