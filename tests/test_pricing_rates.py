from pathlib import Path

import pytest
from pricing_rows import HEADER, write

from takeoff.findings import InputError
from takeoff.pricing.rates import RateBook, load_rates


def book(folder: Path, *rows: str) -> RateBook:
    return load_rates(write(folder, "rates.csv", HEADER + "\n".join(rows) + "\n"))


def rate_of(rates: RateBook, key: str, unit: str = "m3") -> float | None:
    found = rates.find(key, unit)
    return found.rate if found else None


def test_reads_rates_with_comments_and_blank_lines(tmp_path: Path) -> None:
    text = (
        "# ours\n\n"
        + HEADER
        + '# walls\nconcrete.wall.*,m3,190.5,170,230,"quote 7, north",2026-02-01,firm\n\n'
    )
    path = write(tmp_path, "rates.csv", "\ufeff" + text)
    (rate,) = load_rates(path).rates
    assert (rate.rate, rate.low, rate.high, rate.line) == (190.5, 170.0, 230.0, 5)
    assert (rate.source, rate.date, rate.note) == ("quote 7, north", "2026-02-01", "firm")


def test_most_specific_row_wins_whatever_the_order(tmp_path: Path) -> None:
    rows = [
        "*,m3,1,,,,,",
        "concrete.*,m3,2,,,,,",
        "concrete.wall.*,m3,3,,,,,",
        "concrete.wall.*.c3*.*,m3,4,,,,,",
        "concrete.wall.*.c30*.*,m3,5,,,,,",
        "concrete.wall.*.c30-37.*,m3,6,,,,,",
        "concrete.wall.cast-in-place.c30-37.*,m3,7,,,,,",
        "concrete.wall.cast-in-place.c30-37.150-300,m3,8,,,,,",
    ]
    for order in (rows, rows[::-1]):
        rates = book(tmp_path, *order)
        assert rate_of(rates, "concrete.wall.cast-in-place.c30-37.150-300") == 8
        assert rate_of(rates, "concrete.wall.cast-in-place.c30-37.to-150") == 7
        assert rate_of(rates, "concrete.wall.other.c30-37.to-150") == 6
        assert rate_of(rates, "concrete.wall.other.c30-40.to-150") == 5
        assert rate_of(rates, "concrete.wall.other.c35-45.to-150") == 4
        assert rate_of(rates, "concrete.wall.other.c50-60.to-150") == 3
        assert rate_of(rates, "concrete.slab.other") == 2
        assert rate_of(rates, "precast.supply.wall") == 1


def test_a_star_stays_in_its_segment_unless_it_is_the_last(tmp_path: Path) -> None:
    rates = book(tmp_path, "concrete.*.c30-37,m3,1,,,,,", "precast.supply*,m3,2,,,,,")
    assert rate_of(rates, "concrete.wall.c30-37") == 1
    assert rate_of(rates, "concrete.wall.cast.c30-37") is None
    assert rate_of(rates, "precast.supply.wall") is None
    assert rate_of(book(tmp_path, "tilt-up.bed.*,m2,3,,,,,"), "tilt-up.bed", "m2") == 3


def test_an_exact_key_beats_the_pattern_that_ends_in_a_star(tmp_path: Path) -> None:
    rates = book(tmp_path, "tilt-up.bed,m2,1,,,,,", "tilt-up.bed.*,m2,2,,,,,")
    assert rate_of(rates, "tilt-up.bed", "m2") == 1


def test_a_tie_with_different_rates_names_both_lines(tmp_path: Path) -> None:
    rates = book(tmp_path, "concrete.wall.*,m3,1,,,,,", "concrete.*.c30-37,m3,2,,,,,")
    with pytest.raises(
        InputError, match=r"rates\.csv, lines 2 and 3: `concrete\.wall\.\*` and .* concrete\.wall\.c30-37 "
    ):
        rates.find("concrete.wall.c30-37", "m3")
    same = book(tmp_path, "concrete.wall.*,m3,1,,,,,", "concrete.*.c30-37,m3,1,,,,,")
    assert rate_of(same, "concrete.wall.c30-37") == 1


def test_a_rate_for_another_unit_is_an_error(tmp_path: Path) -> None:
    rates = book(tmp_path, "reinforcement.*,kg,2,,,,,")
    with pytest.raises(
        InputError, match=r"rates\.csv, line 2: unit kg .* reinforcement\.wall, which is measured in t"
    ):
        rates.find("reinforcement.wall", "t")


def test_items_that_want_to_be_named_are_not_priced_by_an_open_pattern(tmp_path: Path) -> None:
    rates = book(tmp_path, "*,m3,1,,,,,", "*.concrete.*,m3,2,,,,,", "un*.concrete.*,m3,3,,,,,")
    assert rates.find("unresolved.concrete.wall", "m3", named_only=True) is None
    rates = book(tmp_path, "*,m3,1,,,,,", "unresolved.concrete.*,m3,4,,,,,")
    found = rates.find("unresolved.concrete.wall", "m3", named_only=True)
    assert found is not None
    assert found.rate == 4


def test_an_empty_rate_takes_an_item_out_of_a_wider_pattern(tmp_path: Path) -> None:
    rates = book(tmp_path, "concrete.*,m3,1,,,,,", "concrete.stair.*,m3,,,,,,ask")
    found = rates.find("concrete.stair.x", "m3")
    assert found is not None
    assert found.rate is None


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("concrete.*,m3,abc,,,,,", "line 2: rate `abc` is not a number"),
        ('concrete.*,m3,"1,200.50",,,,,', "line 2: rate `1,200.50` is not a number"),
        ("concrete.*,m3,nan,,,,,", "line 2: rate `nan` is not a number"),
        ("concrete.*,m3,Infinity,,,,,", "line 2: rate `Infinity` is not a number"),
        ("concrete.*,m3,1e999,,,,,", "line 2: rate `1e999` is too large"),
        ("concrete.*,m3,1_000,,,,,", "line 2: rate `1_000` is not a number"),
        ("concrete.*,m3,\u0661\u0662,,,,,", "line 2: rate `\u0661\u0662` is not a number"),
        ("concrete.*,m3,-5,,,,,", "line 2: rate -5 is negative"),
        ("concrete.*,m3,5,-1,,,,", "line 2: low -1 is negative"),
        ("concrete.*,m3,5,6,,,,", "line 2: low 6 is above the rate 5"),
        ("concrete.*,m3,5,,4,,,", "line 2: high 4 is below the rate 5"),
        ("concrete.*,m3,,5,4,,,", "line 2: low 5 is above high 4"),
        ("concrete.*,cubic,5,,,,,", "line 2: unit `cubic` is not one of m3, m2, m, t, kg, nr"),
        ("concrete.*,,5,,,,,", "line 2: unit `` is not one of"),
        (",m3,5,,,,,", "line 2: `item` is empty; give the item's key"),
        ("concrete..wall,m3,5,,,,,", "line 2: item `concrete..wall` is not a key"),
        ("concrete wall,m3,5,,,,,", "line 2: item `concrete wall` is not a key"),
        ("concrete.*,m3,5,,,,31.1.2026,", "line 2: date `31.1.2026` is not a date"),
        ("concrete.*,m3,5,,,,20260131,", "line 2: date `20260131` is not a date"),
        ("concrete.*,m3,5,,,,2026-02-30,", "line 2: date `2026-02-30` is not a date"),
        ("concrete.*,m3,5", "line 2: 3 columns, expected 8"),
        ("concrete.*,m3,1,2,,,,,", "line 2: 9 columns, expected 8"),
        ('concrete.*,m3,"5,,,,,', "line 2: not readable as CSV"),
        (
            "concrete.*,m3,5,,,,,\nCONCRETE.*,m3,6,,,,,",
            "line 3: item `concrete.*` is given twice, first in line 2",
        ),
    ],
)
def test_faults_name_file_line_and_what_is_wrong(tmp_path: Path, row: str, told: str) -> None:
    with pytest.raises(InputError) as fault:
        book(tmp_path, row)
    assert str(fault.value).startswith(f"{tmp_path / 'rates.csv'}, {told}")
    assert "\n" not in str(fault.value)


@pytest.mark.parametrize(
    ("header", "told"),
    [
        (
            "item,unit,price,low,high,source,date,note",
            "column 3 is `price` where `rate` belongs; expected item,unit,rate",
        ),
        ("item,unit,rate,low,high,source,date", "column `note` is missing; expected"),
        ("item,unit,rate,low,high,source,date,note,by", "column 9 `by` is not known; expected"),
        ("item;unit;rate;low;high;source;date;note", "columns are separated by semicolons"),
        ("item\tunit\trate\tlow", "columns are separated by tabs"),
        ("item|unit|rate|low", "columns are separated by bars"),
    ],
)
def test_a_wrong_header_names_the_column(tmp_path: Path, header: str, told: str) -> None:
    with pytest.raises(InputError) as fault:
        load_rates(write(tmp_path, "rates.csv", header + "\n"))
    assert str(fault.value).startswith(f"{tmp_path / 'rates.csv'}, line 1: {told}")


def test_unreadable_files(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"nowhere\.csv: the rates cannot be read: No such file"):
        load_rates(tmp_path / "nowhere.csv")
    with pytest.raises(InputError, match="the rates cannot be read: Is a directory"):
        load_rates(tmp_path)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", ": holds no line but comments; expected item,unit,rate"),
        (b"# nothing yet\r\n\r\n", ": holds no line but comments; expected item,unit,rate"),
        (HEADER.encode() + b"concrete.*,m3,1,,,\xe9,,\n", ", line 2: not UTF-8 text"),
        (HEADER.encode("utf-16"), ", line 1: not UTF-8 text"),
        (HEADER.encode("utf-16-le"), ", line 1: not UTF-8 text (zero bytes)"),
        (b"PK\x03\x04rest", ": is a workbook or packed file and no CSV; save the rates as .xlsx or as CSV"),
        (b"\xd0\xcf\x11\xe0rest", ": is a workbook of the old binary kind and no CSV"),
    ],
)
def test_files_that_are_no_table_of_text(tmp_path: Path, content: bytes, told: str) -> None:
    (tmp_path / "rates.csv").write_bytes(content)
    with pytest.raises(InputError) as fault:
        load_rates(tmp_path / "rates.csv")
    assert str(fault.value).startswith(f"{tmp_path / 'rates.csv'}{told}")
    assert "\n" not in str(fault.value)


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_marks_and_line_ends_of_any_system_read_the_same(tmp_path: Path, ends: str, mark: str) -> None:
    text = mark + HEADER + "concrete.*,m3,5,4,6,example value,2031-01-31,\n"
    (tmp_path / "rates.csv").write_bytes(text.replace("\n", ends).encode())
    (rate,) = load_rates(tmp_path / "rates.csv").rates
    assert (rate.item, rate.rate, rate.line, rate.date) == ("concrete.*", 5.0, 2, "2031-01-31")
