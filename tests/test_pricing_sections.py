from pathlib import Path

import pytest
from pricing_rows import write

from takeoff.findings import InputError
from takeoff.pricing.markups import load_markups
from takeoff.pricing.sections import load_sections
from takeoff.templates import template_path

ITEM = """
[[section]]
code = "A"
title = "Concrete"
[[section.item]]
key = "concrete"
from = "parts"
measure = "volume"
unit = "m3"
where = { role = "wall" }
split = ["role", "size_band"]
text = "Concrete in {role}[ {size_band} mm]"
"""


def test_the_shipped_plan_loads_with_sections_in_order() -> None:
    plan = load_sections(template_path("sections.toml"))
    assert [section.code for section in plan.sections] == [
        "A",
        "B",
        "C",
        "D",
        "E",
        "F",
        "G",
        "H",
        "J",
        "K",
        "U",
    ]
    assert plan.file.endswith("sections.toml")


def test_a_small_plan_loads(tmp_path: Path) -> None:
    plan = load_sections(write(tmp_path, "s.toml", ITEM))
    (rule,) = plan.sections[0].items
    assert rule.where == {"role": ("wall",)}
    assert rule.makes("concrete.wall.150-300")
    assert not rule.makes("concreted.wall")


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('unit = "m3"', 'unit = "m4"', "section 1 (Concrete), item 1, unit: `m4` is not one of m3, m2"),
        (
            'unit = "m3"',
            'unit = "m2"',
            "section 1 (Concrete), item 1 (concrete): unit m2 does not fit: volume",
        ),
        ('unit = "m3"', 'units = "m3"', "section 1 (Concrete), item 1, unit: is missing"),
        (
            '"volume"',
            '"bulk"',
            "section 1 (Concrete), item 1 (concrete): measure `bulk` is not one of volume",
        ),
        ('"parts"', '"walls"', "section 1 (Concrete), item 1, from: `walls` is not one of parts"),
        ("{ role", "{ rolle", "section 1 (Concrete), item 1 (concrete), where: `rolle` is not one of"),
        ('["role",', '["state",', "section 1 (Concrete), item 1 (concrete), split: `state` is not one of"),
        ("in {role}", "in {storey}", "section 1 (Concrete), item 1 (concrete), text (fields of split"),
        ("mm]", "mm", "section 1 (Concrete), item 1, text: square brackets"),
        ('key = "concrete"', 'key = "Con crete"', "section 1 (Concrete), item 1, key: a key is written"),
        ('key = "concrete"', 'key = "concrete.*"', "section 1 (Concrete), item 1, key: a key is written"),
        ('code = "A"', 'code = ""', "section 1 (Concrete), code: "),
        ("[[section.item]]", "[[section.thing]]", "section 1 (Concrete), item: is missing"),
        ('[[section]]\ncode = "A"', '[section]\ncode = "A"', "section: "),
        ('code = "A"', 'code = "A', "is no valid TOML"),
    ],
)
def test_faults_name_file_and_place(tmp_path: Path, old: str, new: str, told: str) -> None:
    assert old in ITEM
    path = write(tmp_path, "s.toml", ITEM.replace(old, new, 1))
    with pytest.raises(InputError) as fault:
        load_sections(path)
    assert str(fault.value).startswith(f"{path}: {told}")
    assert "\n" not in str(fault.value)


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ('add = { by = "basis", percent = { x = 1 }, text = "t" }', "add: by (a field of split): `basis`"),
        ('allow = { number = 2, because = "b" }', "unit m3 does not fit: an allowance is counted in nr"),
        ("surprise = 1", "item 1, surprise: is not known"),
        ('allow = { number = -2, because = "b" }', "allow"),
        ("\n[bands.role]\nfigure = 'weight_t'\nsteps = [1]", "bands, role: a field of this name exists"),
        ("\n[bands.b]\nfigure = 'mood'\nsteps = [1]", "bands, b: figure `mood` is not one of"),
        ("\n[bands.b]\nfigure = 'weight_t'\nsteps = [2, 1]", "bands, b: steps must ascend"),
        (
            "\n[[left_out]]\nfrom = 'joints'\nwhere = {x = 'y'}\nbecause = 'z'",
            "left_out 1, where: `x` is not one",
        ),
        ("\n[[section]]\ncode = 'A'\ntitle = 'T'\nitem = []", "section 2 (T), item: "),
        (ITEM, "section 2 (Concrete): code A is used twice"),
    ],
)
def test_faults_between_tables(tmp_path: Path, more: str, told: str) -> None:
    path = write(tmp_path, "s.toml", ITEM + more)
    with pytest.raises(InputError) as fault:
        load_sections(path)
    assert told in str(fault.value)
    assert str(fault.value).startswith(f"{path}: ")


def test_unreadable_plan(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read \\(No such file"):
        load_sections(tmp_path / "none.toml")


def test_shipped_markups() -> None:
    plan = load_markups(template_path("markups.toml"))
    assert plan.currency == "units"
    assert all(rule.source == "example value" for rule in plan.markup)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "currency: is missing"),
        ("currency = ''", "currency: string should have"),
        (
            "currency = 'x'\n[[markup]]\nname = 'a'\npercent = 'ten'\non = 'net'",
            "markup 1 (a), percent: input should be",
        ),
        (
            "currency = 'x'\n[[markup]]\nname = 'a'\npercent = 1\non = 'gross'",
            "markup 1 (a), on: 'gross' is not known; it may be 'net' or 'running'",
        ),
        (
            "currency = 'x'\n[[markup]]\nname = 'a'\npercent = 200\non = 'net'",
            "markup 1 (a), percent: input should be",
        ),
        (
            "currency = 'x'\n[[markup]]\nname = 'a'\npercent = nan\non = 'net'",
            "markup 1 (a), percent: input should be",
        ),
        ("currency = ", "is no valid TOML"),
    ],
)
def test_faults_of_markups(tmp_path: Path, text: str, told: str) -> None:
    path = write(tmp_path, "m.toml", text)
    with pytest.raises(InputError) as fault:
        load_markups(path)
    assert str(fault.value).startswith(f"{path}: {told}")
