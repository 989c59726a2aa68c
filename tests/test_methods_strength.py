"""Strength classes found in texts and values."""

import pytest

from takeoff.measuring.strength import strength_class, strength_in_text


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("CONCRETE/C45/55", "C45/55"),
        ("Beton C 20/25, XC1", "C20/25"),
        ("beton c30/37", "C30/37"),
        ("Concrete C30 / 37", "C30/37"),
        ("LC25/28 D1.6", "LC25/28"),
        ("CONCRETE/C53/65", "C53/65"),
        ("Concrete_C35", "C35"),
        ("Beton B25", "B25"),
        ("Betong K40", "K40"),
        ("Concrete M25", "M25"),
        ("HA-25/B/20/IIa", "HA-25"),
        ("calcestruzzo Rck=37", "Rck 37"),
        ("Concrete, 4,000 psi", "4000 psi"),
        ("4 ksi concrete", "4000 psi"),
        ("f'c = 4000", "4000 psi"),
        ("fc' 28", "28 MPa"),
        ("Concrete 30 MPa", "30 MPa"),
        ("Concrete", ""),
        ("Concrete 240", ""),
        ("C200/100", ""),
        ("STEEL/S235JR", ""),
        ("Betonstahl B500", ""),
        ("Leichtbeton 102890359", ""),
        ("C37/30", ""),
        ("MC30/37x", ""),
    ],
)
def test_in_text(text: str, wanted: str) -> None:
    assert strength_in_text(text) == wanted


@pytest.mark.parametrize(
    ("value", "wanted"),
    [
        ("C20/25", "C20/25"),
        ("N32", "N32"),
        ("S40", "S40"),
        ("30", "30 MPa"),
        (30, "30 MPa"),
        (37.5, "37.5 MPa"),
        (3.0e7, "30 MPa"),
        ("4,000", "4000 psi"),
        (1, ""),
        (True, ""),
        ("XC1", ""),
        ("-", ""),
    ],
)
def test_in_values(value: str | float | bool, wanted: str) -> None:
    assert strength_class([], [value]) == wanted


def test_the_material_goes_before_the_property() -> None:
    assert strength_class(["Concrete C30/37"], ["C20/25"]) == "C30/37"
    assert strength_class(["Concrete"], ["", "C20/25"]) == "C20/25"
    assert strength_class(["Concrete"], []) == ""
