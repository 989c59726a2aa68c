"""The Python interface, tables of every sheet, the list of rates, and the workbook's look and words."""

import doctest
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import ClassVar

import openpyxl
import pandas as pd
import pytest
from click.testing import CliRunner
from msgspec.structs import replace
from outputs_sample import RUN, sample_bill, sample_measurement
from pricing_rows import shipped_bill, small_building, write
from test_changes import sample_changes

import takeoff
from takeoff import api
from takeoff.cli import main
from takeoff.findings import InputError
from takeoff.measuring.records import Measurement
from takeoff.outputs.changes.book import STATUSES, write_changes
from takeoff.outputs.frames import bill_frames, measurement_frames, write_frames
from takeoff.outputs.rate_lists import write_rate_list
from takeoff.outputs.workbook import write_workbook
from takeoff.outputs.workbook.look import load_look
from takeoff.outputs.workbook.words import Words, load_words
from takeoff.pricing.change_records import REASONS
from takeoff.pricing.rate_lists import MISSING, list_rates
from takeoff.pricing.rates import load_rates
from takeoff.templates import template_path

CHECKOUT = Path(__file__).parent.parent
MODEL = CHECKOUT / "sample_models" / "archive-ifc4.ifc"


@pytest.fixture
def _in_checkout() -> Iterator[None]:
    before = Path.cwd()
    os.chdir(CHECKOUT)
    yield
    os.chdir(before)


@pytest.mark.usefixtures("_in_checkout")
def test_the_examples_of_the_documentation_run() -> None:
    tried = doctest.testmod(api)
    assert tried.attempted >= 7
    assert tried.failed == 0


def test_the_interface_is_lazy() -> None:
    code = "import sys, takeoff; assert 'pandas' not in sys.modules; takeoff.measure; "
    code += "assert 'takeoff.api' in sys.modules"
    subprocess.run([sys.executable, "-c", code], check=True, cwd=CHECKOUT)
    with pytest.raises(AttributeError, match="has no attribute 'nothing'"):
        takeoff.nothing  # noqa: B018


def test_settings_and_models_are_checked() -> None:
    with pytest.raises(takeoff.InputError, match="setting `colour` is not known; choose of job, allowances"):
        takeoff.measure(MODEL, colour="red")
    with pytest.raises(takeoff.InputError, match="no model was given"):
        takeoff.bill([])


def test_a_bill_is_written_and_read_back_as_previous(tmp_path: Path) -> None:
    priced = takeoff.bill([MODEL])
    priced.write(tmp_path / "a.xlsx")
    again = takeoff.bill(MODEL, previous=tmp_path / "a.xlsx")
    assert again.grand_total == priced.grand_total
    assert again.items["mark"].eq("").all()
    measured = takeoff.measure(MODEL)
    assert measured.elements["net_volume_m3"].sum() == pytest.approx(
        priced.tables["elements"]["net_volume_m3"].sum()
    )


def test_tables_are_those_of_the_sheets() -> None:
    bill = shipped_bill(small_building())
    frames = bill_frames(small_building(), bill, RUN)
    sheets = [
        "summary",
        "bill",
        "dimensions",
        "elements",
        "formwork",
        "reinforcement",
        "pieces",
        "prefabrication",
    ]
    assert list(frames)[:10] == [*sheets, "findings", "basis"]
    assert frames["dimensions"].groupby("item")["quantity"].sum().round(6).to_dict() == pytest.approx(
        frames["bill"].set_index("key")["quantity"].to_dict(), abs=1e-6
    )
    summary = frames["summary"].set_index("title")["amount"]
    assert (summary["Net total"], summary["Grand total"]) == (bill.net_total, bill.grand_total)
    assert frames["elements"]["net_volume_m3"].dtype == "float64"
    assert frames["elements"]["part"].dtype == "int64"
    empty = measurement_frames(Measurement())
    assert empty["elements"].empty
    assert list(empty["elements"].columns) == list(frames["elements"].columns)


def test_sheets_that_are_not_always_there_are_tables_too(tmp_path: Path) -> None:
    """Every sheet of the workbook is a table or several, with the pieces, the score and what was kept."""
    first = takeoff.bill(MODEL, scoring="example")
    first.write(tmp_path / "a.xlsx")
    book = openpyxl.load_workbook(tmp_path / "a.xlsx")
    book["Elements"]["C7"].value = "a level of our own"
    book.save(tmp_path / "b.xlsx")
    priced = takeoff.bill(MODEL, scoring="example", previous=tmp_path / "b.xlsx")
    priced.write(tmp_path / "c.xlsx")
    names = {
        name.lower().replace(" ", "-") for name in openpyxl.load_workbook(tmp_path / "c.xlsx").sheetnames
    }
    assert {"kept", "score", "score-quantities", "declared", "resources"} <= names
    assert names - {"handling"} <= set(priced.tables)
    assert {"lifts", "casting", "loads", "moulds", "bearings", "repetition", "joints"} <= set(priced.tables)
    assert "a level of our own" in set(priced.tables["kept"]["text"])
    assert len(priced.tables["joints"]) == len(priced.measurement.joints)
    assert priced.score is not None
    assert priced.tables["score"]["points"].iloc[-1] == priced.score.total
    write_frames(tmp_path / "csv", priced.tables, priced.record)
    assert {path.stem for path in (tmp_path / "csv").glob("*.csv")} == set(priced.tables)
    pytest.importorskip("pyarrow", reason="pyarrow is not installed (extra `parquet`)")
    write_frames(tmp_path / "parquet", priced.tables, priced.record, "parquet")


def test_a_bill_is_written_in_the_look_and_words_of_its_settings(tmp_path: Path) -> None:
    words = write(tmp_path, "words.toml", '[words]\n"Quantity" = "Menge"\n')
    takeoff.bill(MODEL, words=words).write(tmp_path / "a.xlsx")
    assert openpyxl.load_workbook(tmp_path / "a.xlsx")["Bill"]["D4"].value == "Menge"


def test_every_sheet_as_csv_and_parquet(tmp_path: Path) -> None:
    frames = bill_frames(small_building(), shipped_bill(small_building()), RUN)
    write_frames(tmp_path / "csv", frames, RUN)
    write_frames(tmp_path / "comma", frames, RUN, decimal=",")
    for name, frame in frames.items():
        blanks = {column: [""] for column in frame.select_dtypes("number")}
        found = pd.read_csv(tmp_path / "csv" / f"{name}.csv", keep_default_na=False, na_values=blanks)
        pd.testing.assert_frame_equal(found, frame, check_dtype=False)
    text = (tmp_path / "comma" / "summary.csv").read_text(encoding="utf-8")
    assert text.splitlines()[0] == "kind;code;title;percent;of;amount;currency"
    assert ";12,0;" in text
    pytest.importorskip("pyarrow", reason="pyarrow is not installed (extra `parquet`)")
    write_frames(tmp_path / "parquet", frames, RUN, "parquet")
    for name, frame in frames.items():
        pd.testing.assert_frame_equal(
            pd.read_parquet(tmp_path / "parquet" / f"{name}.parquet"), frame, check_dtype=False
        )


def test_parquet_without_its_library_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(
        InputError, match=r"Parquet files need the library pyarrow; install it with: pip install"
    ):
        write_frames(tmp_path / "p", {}, RUN, "parquet")
    assert not (tmp_path / "p").exists()


@pytest.mark.parametrize("suffix", [".csv", ".xlsx"])
def test_a_list_of_rates_is_filled_marked_and_read_back(tmp_path: Path, suffix: str) -> None:
    bill = shipped_bill(small_building())
    listed = list_rates(bill)
    path = tmp_path / f"rates{suffix}"
    write_rate_list(path, listed, "for a test")
    book = load_rates(path)
    items = {item.rate_key: item for section in bill.sections for item in section.items}
    assert [rate.item for rate in book.rates] == list(items)
    for rate in book.rates:
        assert (rate.rate, rate.unit) == (items[rate.item].rate, items[rate.item].unit)
        assert (rate.note == MISSING) == rate.item.startswith("unresolved")
    assert (listed.items, listed.missing) == (len(items), sum(item.rate is None for item in items.values()))
    assert any(rate.build_up for rate in book.rates)
    with pytest.raises(InputError, match="is there already and may hold rates that somebody typed"):
        write_rate_list(path, listed, "again")
    write_rate_list(path, listed, "again", overwrite=True)


def test_rates_are_csv_or_xlsx(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"rates are written as \.csv or \.xlsx"):
        write_rate_list(tmp_path / "rates.txt", list_rates(shipped_bill(small_building())), "x")


def test_the_rates_command(tmp_path: Path) -> None:
    run = CliRunner().invoke
    first = run(main, ["rates", str(MODEL), "--out", str(tmp_path / "r.xlsx"), "--strict"])
    assert first.exit_code == 3
    assert "of them missing" in first.output
    again = run(main, ["rates", str(MODEL), "--out", str(tmp_path / "r.xlsx")])
    assert again.exit_code == 1
    assert "--overwrite" in again.output
    # What the list lacks is filled in, and then nothing is missing.
    book = openpyxl.load_workbook(tmp_path / "r.xlsx")
    for row in book["Rates"].iter_rows(min_row=3):
        if row[7].value == MISSING:
            row[2].value = 12.5
    book.save(tmp_path / "full.xlsx")
    full = run(
        main,
        [
            "rates",
            str(MODEL),
            "--rates",
            str(tmp_path / "full.xlsx"),
            "--out",
            str(tmp_path / "s.csv"),
            "--strict",
        ],
    )
    assert full.exit_code == 0, full.output
    assert ", 0 of them missing" in full.output


class _Asked(Words):
    """Words that note what was asked for."""

    seen: ClassVar[set[str]] = set()

    def __call__(self, text: str, **values: object) -> str:
        self.seen.add(text)
        return Words.__call__(self, text, **values)


def test_all_words_of_the_workbook_are_in_the_data_file(tmp_path: Path) -> None:
    known = load_words(template_path("words-english.toml")).texts
    asked = _Asked()
    write_workbook(
        tmp_path / "a.xlsx", sample_measurement(), sample_bill(sample_measurement()), RUN, None, asked
    )
    write_workbook(tmp_path / "b.xlsx", small_building(), shipped_bill(small_building()), RUN, None, asked)
    changes = sample_changes()
    other = replace(changes, new=replace(changes.new, convention="own b2", grand_total=None))
    for name, found in (("c.xlsx", changes), ("d.xlsx", other)):
        write_changes(tmp_path / name, found, RUN, None, asked)
    _Asked.seen |= {*REASONS, *STATUSES}
    assert {text for text in _Asked.seen if text.strip()} - set(known) == set()
    assert all(english == text for english, text in known.items())


def test_another_language_speaks_throughout(tmp_path: Path) -> None:
    text = 'decimal = ","\nthousands = "."\n[words]\n"Quantity" = "Menge"\n"no rate" = "kein Preis"\n'
    text += '"Incomplete: {count} item without a rate, not in the totals." = "Es fehlt {count} Preis."\n'
    text += (
        '"{elements} elements in {parts} parts, as measured; net is after openings, recesses and overlaps. '
    )
    text += (
        'Further columns stand to the right of the printed ones." = "{parts} Teile, {elements} Bauteile"\n'
    )
    words = load_words(write(tmp_path, "german.toml", text))
    write_workbook(
        tmp_path / "a.xlsx", sample_measurement(), sample_bill(sample_measurement()), RUN, None, words
    )
    book = openpyxl.load_workbook(tmp_path / "a.xlsx", data_only=True)
    assert book["Bill"]["D4"].value == book["Dimensions"]["H4"].value == "Menge"
    assert book["Summary"]["A4"].value == "Es fehlt 1 Preis."
    assert "kein Preis" in {cell.value for cell in book["Bill"]["F"]}
    assert book["Elements"]["A2"].value == "13 Teile, 13 Bauteile"
    assert words.number(1234567) == "1.234.567"
    assert words.number(1234.5) == "1.234,500"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('[words]\n"Quantitty" = "Menge"\n', 'words: "Quantitty" is no text of the workbook'),
        ('[words]\n"{count} shapes" = "Formen"\n', 'words: "Formen" must have the same names in braces'),
        ('[words]\n"Quantity" = 5\n', "words: must be a table of English texts"),
        ('decimal = ","\n', "decimal and thousands are the same sign"),
        ('decimal = ""\n', "decimal must be one character"),
        ("colour = 1\n", "`colour` is not known"),
        ("[words\n", "is no valid TOML"),
    ],
)
def test_faults_in_a_words_file(tmp_path: Path, text: str, told: str) -> None:
    path = write(tmp_path, "w.toml", text)
    with pytest.raises(InputError) as fault:
        load_words(path)
    assert str(fault.value).startswith(f"{path}: {told}")


def test_an_office_puts_its_head_fonts_and_columns_there(tmp_path: Path) -> None:
    text = template_path("look.toml").read_text(encoding="utf-8")
    text = text.replace('name = ""', 'name = "Office of the works"', 1).replace(
        "lines = []", 'lines = ["File 12"]'
    )
    text = text.replace('foot = ""', 'foot = "Draft"').replace(
        'name = "Arial"\nsize = 9', 'name = "Georgia"\nsize = 10'
    )
    text = text.replace('[[bill]]\nname = "unit"\n', "").replace(
        '[[bill]]\nname = "rate"\n', '[[bill]]\nname = "unit"\nheading = "U"\n[[bill]]\nname = "rate"\n'
    )
    look = load_look(write(tmp_path, "look.toml", text))
    write_workbook(tmp_path / "a.xlsx", small_building(), shipped_bill(small_building()), RUN, look)
    book = openpyxl.load_workbook(tmp_path / "a.xlsx")
    assert book["Summary"]["A3"].value == "Office of the works, File 12"
    bill = book["Bill"]
    assert [cell.value for cell in bill[4]][:5] == ["No.", "Description", "Quantity", "U", "Rate"]
    assert bill["A6"].font.name == "Georgia"
    assert "Office of the works" in bill.oddHeader.center.text
    assert bill.oddFooter.left.text.startswith("Draft")
    row = next(n for n in range(5, 40) if str(bill.cell(n, 13).value).startswith("concrete."))
    assert bill.cell(row, 6).value == f'=IF(ISNUMBER(E{row}),ROUND(C{row}*E{row},2),"no rate")'


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (
            ('name = "amount"', 'name = "sum"'),
            "bill: column `sum` is not known; an office's own needs own = true",
        ),
        (('name = "rows"', 'name = "unit"'), "bill: column `unit` is there twice"),
        (('[[bill]]\nname = "rows"\n', ""), "bill: column `rows` is missing"),
        (('name = "unit"', 'name = "unit"\nown = true'), "bill: column `unit` is one of the bill's own"),
        (
            ('name = "unit"', 'name = "unit"\nprinted = false'),
            "bill: column `quantity` is printed: it must stand before",
        ),
        (("#1F2A33", "dark"), "colours.ink: "),
        (("size = 9", "size = 90"), "font.size: "),
    ],
)
def test_faults_in_a_look(tmp_path: Path, change: tuple[str, str], told: str) -> None:
    text = template_path("look.toml").read_text(encoding="utf-8")
    assert change[0] in text
    path = write(tmp_path, "look.toml", text.replace(*change, 1))
    with pytest.raises(InputError) as fault:
        load_look(path)
    assert str(fault.value).startswith(f"{path}: {told}")
