import pytest

from takeoff.pricing.words import compose_key, field_words, natural_order, pattern_fault, render, slug


@pytest.mark.parametrize(
    ("text", "segment"),
    [
        ("C30/37", "c30-37"),
        ("cast-in-place", "cast-in-place"),
        ("over 450", "over-450"),
        ("3-4.5", "3-4_5"),
        ("Béton armé", "beton-arme"),
        ("混凝土", "混凝土"),
        ("  ", "none"),
        ("=1+1", "1-1"),
        ("a.b", "a-b"),  # a dot in a name must not make a new segment
    ],
)
def test_segments(text: str, segment: str) -> None:
    assert slug(text) == segment


def test_keys_drop_empty_fields_at_the_end_only() -> None:
    assert compose_key("concrete", ("wall", "cast-in-place", "", "150-300")) == (
        "concrete.wall.cast-in-place.none.150-300"
    )
    assert compose_key("concrete", ("stair", "cast-in-place", "C30/37", "")) == (
        "concrete.stair.cast-in-place.c30-37"
    )
    assert compose_key("tilt-up.bed", ()) == "tilt-up.bed"


def test_bracketed_stretches_fall_away_without_words() -> None:
    pattern = "in {role}[ {size_band} mm thick][, {finish}], placed"
    assert (
        render(pattern, {"role": "walls", "size_band": "150 to 300"})
        == "In walls 150 to 300 mm thick, placed"
    )
    assert render(pattern, {"role": "walls", "finish": "fair"}) == "In walls, fair, placed"


def test_text_of_a_model_is_never_read_as_a_pattern() -> None:
    assert render("of {material}[ {name}]", {"material": "{name} [x]", "name": "n"}) == "Of {name} [x] n"


@pytest.mark.parametrize("pattern", ["in [walls", "in walls]", "a [b [c]]", "{Role}", "{role", "{}"])
def test_broken_patterns_are_told(pattern: str) -> None:
    assert pattern_fault(pattern)


def test_words_of_fields() -> None:
    tables = (
        {"role": {"wall": "retaining walls"}},
        {"role": {"wall": "walls", "": "members"}, "finish": {"*": "{} face"}},
    )
    assert field_words("role", "wall", tables) == "retaining walls"
    assert field_words("role", "", tables) == "members"
    assert field_words("role", "beam", tables) == "beam"
    assert field_words("finish", "fair", tables) == "fair face"
    assert field_words("finish", "", tables) == ""
    assert field_words("size_band", "150-300", tables) == "150 to 300"
    assert field_words("height_band", "to 3", tables) == "up to 3"
    assert field_words("name", "150-300", tables) == "150-300"


def test_bands_sort_by_their_numbers() -> None:
    bands = ["over 1000", "250-500", "to 250", "500-1000", "", "other"]
    assert sorted(bands, key=natural_order) == ["", "to 250", "250-500", "500-1000", "over 1000", "other"]
