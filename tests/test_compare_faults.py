"""Faults in alternatives: one clear line each, and nothing written."""

from pathlib import Path

import pytest
from alternatives_model import compared, one_change, write_house
from click.testing import CliRunner

from takeoff.cli import main
from takeoff.compare_job import Choice, load_choice
from takeoff.findings import InputError

WALL = 'select = { name = "Wall" }\n'


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_house(tmp_path_factory.mktemp("house") / "house.ifc")


FAULTS = {
    "matches nothing": (
        one_change('select = { storey = "Attic" }\nmethod = "precast"'),
        r"alternative 'Other', change 1 \(storey Attic\): matches no element: none has storey Attic",
    ),
    "no element fits all": (
        one_change('select = { role = "column", name = "Wall" }\nmethod = "precast"'),
        "matches no element: no element fits all of it",
    ),
    "except leaves nothing": (
        one_change(WALL + 'except = { role = "wall" }\nmethod = "precast"'),
        "except leaves nothing of the selection",
    ),
    "unknown GlobalId": (
        one_change('select = { global_id = "0123456789012345678901" }\nmethod = "precast"'),
        "no element has the GlobalId 0123456789012345678901",
    ),
    "claimed twice": (
        one_change(
            WALL
            + 'method = "precast"\n[[alternative.change]]\nselect = { role = "wall" }\nmethod = "tilt-up"'
        ),
        r"change 2 \(role wall\): Wall \([^)]{22}\) is claimed by change 1 too; leave it out of one",
    ),
    "cast with a changed one": (
        one_change(
            'select = { name = "Plank*" }\ncast_with = { name = "Topping" }\n'
            '[[alternative.change]]\nselect = { name = "Topping" }\nthickness_mm = 200'
        ),
        r"Topping \([^)]{22}\) is to be cast with others and is claimed by another change too",
    ),
    "touches nothing": (
        one_change('select = { name = "Panel*" }\ncast_with = { name = "Topping" }'),
        r"Panel 1 \([^)]{22}\) touches no element of cast_with \(name Topping\)",
    ),
    "unknown method": (
        one_change(WALL + 'method = "prefab"'),
        r"alternative 1 \(Other\), change 1, method: 'prefab' is not known; it may be 'cast-in-place'",
    ),
    "unknown key": (one_change(WALL + 'methods = "precast"'), r"change 1, methods: is not known"),
    "unknown field": (one_change('select = { nam = "W" }\nomit = true'), r"select\.nam: is not known"),
    "unknown role": (
        one_change('select = { role = "wal" }\nomit = true'),
        "role 'wal' is none of wall, slab",
    ),
    "empty selection": (one_change("select = {}\nomit = true"), "says nothing"),
    "changes nothing": (one_change(WALL), "changes nothing; give method, layers"),
    "two outcomes": (
        one_change(WALL + 'method = "precast"\nomit = true'),
        "method and omit do not go together",
    ),
    "range out of order": (
        one_change(
            WALL + 'method = "precast"',
            '[[alternative.rate]]\nitem = "x"\nunit = "m3"\nrate = 5\nlow = 6\nsource = "s"',
        ),
        r"rate 1: low, rate, high have to rise, found 6, 5, 5",
    ),
    "allowance out of order": (
        one_change(
            WALL + 'method = "precast"',
            '[[alternative.allowance]]\nrole = "wall"\nunit = "kg/m3"\nlow = 9\nlikely = 8\nhigh = 10\nsource = "s"',
        ),
        "allowance 1: low, likely, high have to rise, found 9, 8, 10",
    ),
    "unit of a rate": (
        one_change(
            WALL + 'method = "precast"',
            '[[alternative.rate]]\nitem = "x"\nunit = "mile"\nrate = 5\nsource = "s"',
        ),
        r"rate 1 \(x\): unit `mile` is not one of",
    ),
    "a rates file that is not there": (
        one_change(WALL + 'method = "precast"', 'rates = "nowhere.csv"'),
        r"nowhere\.csv: .*cannot be read",
    ),
    "panelling": (
        one_change(WALL + 'method = "precast"', "[alternative.panelling.walls]\nmost_length = 5"),
        "panelling: 'walls' is none of wall, tilt-up, slab",
    ),
    "thickness of a column": (
        one_change('select = { role = "column" }\nthickness_mm = 200'),
        "thickness_mm does not fit a column; give width_mm or depth_mm",
    ),
    "no room for a layer": (
        one_change(
            WALL + 'layers = [{ method = "precast", thickness_mm = 200 }, { method = "cast-in-place" }, '
            '{ method = "precast", thickness_mm = 100 }]'
        ),
        r"is 0\.300 m thick, and layers of 0\.300 m leave nothing",
    ),
    "layers all alike": (
        one_change(WALL + 'layers = [{ method = "precast", thickness_mm = 60 }, { method = "precast" }]'),
        "all layers are precast",
    ),
    "a name twice": (
        one_change(WALL + "omit = true") + one_change(WALL + "omit = true"),
        "the name 'Other' is used twice",
    ),
    "driver of nothing": (
        '[[driver]]\nname = "Gold"\nitems = ["gold.*"]\n' + one_change(WALL + 'method = "precast"'),
        r"driver 'Gold': no price in doubt fits gold",
    ),
    "break-even of nothing": (
        'break_even = ["gold.*"]\n' + one_change(WALL + 'method = "precast"'),
        r"break-even of 'gold\.\*': no priced item has this key",
    ),
    "no TOML": ("[[alternative]\n", "is no valid TOML"),
    "no alternative": ('base = "x"\n', "alternative: is missing"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_is_one_clear_line(fault: str, house: Path, tmp_path: Path) -> None:
    text, told = FAULTS[fault]
    with pytest.raises(InputError, match=told) as caught:
        compared(house, tmp_path, text)
    assert "\n" not in str(caught.value)
    assert (
        "alternatives.toml" in str(caught.value)
        or "nowhere.csv" in str(caught.value)
        or fault.startswith(("driver", "thickness"))
    )


def test_nothing_is_written_and_the_exit_code_is_1(house: Path, tmp_path: Path) -> None:
    file = tmp_path / "alternatives.toml"
    file.write_text(FAULTS["claimed twice"][0], encoding="utf-8")
    out = tmp_path / "comparison.xlsx"
    args = [
        "compare",
        str(house),
        "--alternatives",
        str(file),
        "--out",
        str(out),
        "--csv",
        str(tmp_path / "csv"),
    ]
    done = CliRunner().invoke(main, [*args, "--processes", "1"])
    assert done.exit_code == 1
    assert done.stderr.count("\n") == 1
    assert sorted(path.name for path in tmp_path.iterdir()) == ["alternatives.toml"]


def test_usage(house: Path, tmp_path: Path) -> None:
    file = tmp_path / "alternatives.toml"
    file.write_text(one_change(WALL + "omit = true"), encoding="utf-8")
    run = CliRunner()
    done = run.invoke(
        main, ["compare", str(house), "--alternatives", str(file), "--out", str(tmp_path / "x.csv")]
    )
    assert done.exit_code == 2
    done = run.invoke(
        main, ["bill", str(house), "--alternatives", str(file), "--out", str(tmp_path / "x.xlsx")]
    )
    assert done.exit_code == 2
    done = run.invoke(
        main,
        [
            "bill",
            str(house),
            "--alternatives",
            str(file),
            "--alternative",
            "None",
            "--out",
            str(tmp_path / "x.xlsx"),
        ],
    )
    assert done.exit_code == 1
    assert "no alternative is called 'None'; there are Other" in done.stderr


def test_a_job_file_may_name_everything_and_flags_win(house: Path, tmp_path: Path) -> None:
    (tmp_path / "alternatives.toml").write_text(one_change(WALL + 'method = "precast"'), encoding="utf-8")
    job = tmp_path / "job.toml"
    job.write_text(
        'paper = "letter"\n[compare]\nalternatives = "alternatives.toml"\nseed = 5\nbase = "Other"\n', "utf-8"
    )
    choice = load_choice(job, {"seed": None, "base": "As modelled", "break_even": ()})
    assert choice == Choice(tmp_path / "alternatives.toml", base="As modelled", seed=5)
    args = ["compare", str(house), "--job", str(job), "--out", str(tmp_path / "x.xlsx"), "--processes", "1"]
    assert CliRunner().invoke(main, args).exit_code == 0
    for line, told in (
        ("draws = 3", "compare.draws: input should be"),
        ("drawz = 3", "compare.drawz: is not known"),
    ):
        job.write_text(f"[compare]\n{line}\n", encoding="utf-8")
        with pytest.raises(InputError, match=told):
            load_choice(job, {})
    with pytest.raises(InputError, match="no alternatives are named"):
        load_choice(None, {})
