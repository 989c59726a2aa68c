"""Comparisons as a whole: nothing out of nothing, both ways round, and what is written."""

import csv
import json
from pathlib import Path

import openpyxl
import pytest
from alternatives_model import compared, one_change, write_house
from click.testing import CliRunner
from test_outputs_recalculation import OFFICE, assert_same, recalculated

from takeoff.cli import main
from takeoff.outputs.comparison.book import SHEETS, write_comparison
from takeoff.outputs.comparison.quantities import quantity_rows
from takeoff.outputs.comparison.tables import write_comparison_tables
from takeoff.pricing.comparison import Comparison
from takeoff.templates import template_path

ALTERNATIVES = """
break_even = ["precast.supply.wall.*"]
[[driver]]
name = "Steel"
items = ["reinforcement.*", "precast.reinforcement.*"]
correlation = 0.8

[[alternative]]
name = "Precast wall"
note = "the wall as a panel"
[[alternative.change]]
select = { name = "Wall" }
method = "precast"
[[alternative.rate]]
item = "precast.supply.wall.*"
unit = "m3"
rate = 500
low = 450
high = 640
source = "a quotation"

[[alternative]]
name = "Solid floor"
[[alternative.change]]
select = { name = "Plank*" }
cast_with = { name = "Topping" }
because = "no crane"
"""


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_house(tmp_path_factory.mktemp("house") / "house.ifc")


@pytest.fixture(scope="module")
def comparison(house: Path, tmp_path_factory: pytest.TempPathFactory) -> Comparison:
    carbon = template_path("carbon.csv")
    return compared(house, tmp_path_factory.mktemp("compared"), ALTERNATIVES, carbon=carbon)


def test_the_base_with_itself_is_zero_everywhere(house: Path, tmp_path: Path) -> None:
    """An alternative that makes what is cast in place cast in place is the base."""
    text = 'select = { role = "*" }\nexcept = { method = ["precast", "tilt-up"] }\nmethod = "cast-in-place"'
    result = compared(house, tmp_path, one_change(text))
    assert result.lines == ()
    assert result.common_items > 20
    assert result.difference(1) == 0.0
    first, second = result.totals
    assert second == first
    assert second.time_cost == 0.0
    spread = result.risk.differences[1]
    assert (spread.mean, spread.deviation, spread.p10, spread.p50, spread.p90) == (0.0,) * 5
    assert result.risk.cheapest == (0.5, 0.5)
    assert result.swings == ()
    assert result.break_evens == ()
    for _, (before, after) in quantity_rows(result):
        assert after == before
    assert result.findings == ()


def test_swapping_base_and_alternative_negates_every_difference(
    comparison: Comparison, house: Path, tmp_path: Path
) -> None:
    swapped = compared(house, tmp_path, ALTERNATIVES, base="precast wall", carbon=template_path("carbon.csv"))
    names = [variant.name for variant in swapped.variants]
    assert names == ["Precast wall", "As modelled", "Solid floor"]
    there, back = names.index("As modelled"), 1
    assert swapped.difference(there) == -comparison.difference(back)
    assert comparison.difference(back) != 0.0
    lines = {line.key: line for line in swapped.lines}
    for line in comparison.lines:
        other = lines[line.key]
        assert other.difference(there) == -line.difference(back)
        assert (other.cells[0], other.cells[1]) == (line.cells[1], line.cells[0])
    own = {(s.kind, s.name): s for s in comparison.swings if s.alternative == back}
    for swing in (s for s in swapped.swings if s.alternative == there):
        twin = own.pop((swing.kind, swing.name))
        assert (swing.at_low, swing.at_high) == pytest.approx((-twin.at_low, -twin.at_high))
    assert not own
    ahead, behind = comparison.risk.differences[back], swapped.risk.differences[there]
    assert behind.mean == pytest.approx(-ahead.mean)
    assert (behind.p10, behind.p90) == pytest.approx((-ahead.p90, -ahead.p10))
    assert sorted(swapped.risk.cheapest) == pytest.approx(sorted(comparison.risk.cheapest))
    # The rate at which two alternatives meet is the same from both sides.
    meet = [{b.name: b.rate for b in c.break_evens if b.alternative == 1} for c in (comparison, swapped)]
    assert meet[0]["precast.supply.wall.*"] == pytest.approx(meet[1]["precast.supply.wall.*"])


def test_an_own_rate_holds_in_its_alternative_only(comparison: Comparison) -> None:
    line = next(line for line in comparison.lines if line.key.startswith("precast.supply.wall"))
    assert [None if cell is None else cell.rate for cell in line.cells] == [None, 500.0, None]
    cell = line.cells[1]
    assert cell is not None
    assert cell.rate_source == "alternatives.toml, Precast wall, rate 1: a quotation"


def test_time_and_site_cost_follow(comparison: Comparison) -> None:
    production = comparison.production
    for place, variant in enumerate(comparison.variants):
        days = sum(step.work_days + step.wait_days for step in variant.programme.steps)
        assert variant.programme.weeks == pytest.approx(days / production.days_a_week)
        weeks = variant.programme.weeks - comparison.variants[0].programme.weeks
        cost = round(weeks * production.site_cost_a_week.likely, 2)
        assert comparison.totals[place].time_cost == pytest.approx(cost, abs=0.011)
        assert comparison.totals[place].compared == pytest.approx(
            comparison.totals[place].grand + cost, abs=0.011
        )


def test_the_cost_model_gives_the_bill_at_the_likely_figures(comparison: Comparison) -> None:
    totals = comparison.model.totals(comparison.model.likely[None, :])[0]
    for place, total in enumerate(comparison.totals):
        # Amounts and markups are to the cent, one by one.
        assert totals[place] == pytest.approx(total.compared, abs=0.5)


def test_carbon_is_quantity_times_factor(comparison: Comparison) -> None:
    line = next(line for line in comparison.lines if line.key.startswith("concrete.wall"))
    cell = line.cells[0]
    assert cell is not None
    assert (cell.carbon_factor, cell.carbon_kg) == (300.0, pytest.approx(4.2 * 300.0))
    before, after = comparison.totals[0].carbon_t, comparison.totals[1].carbon_t
    assert before is not None
    assert after is not None
    pairs = [line.cells[:2] for line in comparison.lines]
    moved = sum(
        (now.carbon_kg or 0.0 if now else 0.0) - (was.carbon_kg or 0.0 if was else 0.0) for was, now in pairs
    )
    assert after - before == pytest.approx(moved / 1000.0)


def test_the_workbook_has_its_sheets_and_text_stays_text(comparison: Comparison, tmp_path: Path) -> None:
    file = tmp_path / "comparison.xlsx"
    write_comparison(file, comparison)
    book = openpyxl.load_workbook(file)
    assert tuple(book.sheetnames) == SHEETS
    assert book["Summary"]._charts
    assert book["Sensitivity"]._charts
    words = {str(cell.value) for row in book["Basis"].iter_rows() for cell in row}
    assert any("no programme of works" in text for text in words)
    assert any("competent, licensed people" in text for text in words)
    assert any(
        text.startswith("Solid floor: name Plank*: cast in one with name Topping (no crane)")
        for text in words
    )


@pytest.mark.skipif(OFFICE is None, reason="LibreOffice is not installed")
def test_another_program_calculates_the_same(comparison: Comparison, tmp_path: Path) -> None:
    file = tmp_path / "comparison.xlsx"
    write_comparison(file, comparison)
    assert assert_same(file, recalculated(file, tmp_path)) > 500


@pytest.mark.skipif(OFFICE is None, reason="LibreOffice is not installed")
def test_a_rate_that_somebody_types_moves_the_totals_of_its_alternative(
    comparison: Comparison, tmp_path: Path
) -> None:
    file = tmp_path / "comparison.xlsx"
    write_comparison(file, comparison)
    book = openpyxl.load_workbook(file)
    sheet = book["Differences"]
    heads = [cell.value for cell in sheet[4]]
    key = heads.index("Item key") + 1
    row = next(
        r for r in range(5, sheet.max_row) if str(sheet.cell(r, key).value).startswith("precast.supply.wall")
    )
    rate = next(c for c in range(1, key) if sheet.cell(row, c).value == 500)
    sheet.cell(row, rate).value = 600
    book.save(file)
    typed = recalculated(file, tmp_path)["Summary"]
    row = next(r for r in range(1, 40) if typed.cell(r, 1).value == "Grand total")
    extra = typed.cell(row, 4).value - comparison.totals[1].grand
    assert extra == pytest.approx(4.2 * 100 * comparison.model.factor, abs=0.03)
    assert typed.cell(row, 3).value == pytest.approx(comparison.totals[0].grand)


def test_tables_hold_the_same_figures(comparison: Comparison, tmp_path: Path) -> None:
    folder = tmp_path / "tables"
    write_comparison_tables(folder, comparison)
    with (folder / "differences.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == len(comparison.lines) * 3
    told = sum(float(row["difference"]) for row in rows if row["alternative"] == "Solid floor")
    assert told == pytest.approx(comparison.totals[2].net - comparison.totals[0].net, abs=1e-6)
    record = json.loads((folder / "comparison.json").read_text(encoding="utf-8"))
    assert [entry["difference"] for entry in record["alternatives"]] == [
        comparison.difference(i) for i in range(3)
    ]
    assert {path.name for path in folder.iterdir()} >= {
        "time.csv",
        "sensitivity.csv",
        "pieces.csv",
        "quantities.csv",
    }
    write_comparison_tables(folder, comparison)  # over its own
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "thesis.txt").write_text("mine", encoding="utf-8")
    from takeoff.findings import InputError

    with pytest.raises(InputError, match="holds other files"):
        write_comparison_tables(tmp_path / "other", comparison)


def test_the_command_and_the_bill_of_a_named_alternative_agree(house: Path, tmp_path: Path) -> None:
    file = tmp_path / "alternatives.toml"
    file.write_text(ALTERNATIVES, encoding="utf-8")
    out, bill = tmp_path / "comparison.xlsx", tmp_path / "bill.xlsx"
    args = [
        "compare",
        str(house),
        "--alternatives",
        str(file),
        "--out",
        str(out),
        "--processes",
        "1",
        "--json",
    ]
    done = CliRunner().invoke(main, args)
    assert done.exit_code == 0, done.output
    record = json.loads(done.stdout)
    assert out.is_file()
    args = [
        "bill",
        str(house),
        "--alternatives",
        str(file),
        "--alternative",
        "solid FLOOR",
        "--out",
        str(bill),
    ]
    done = CliRunner().invoke(main, [*args, "--processes", "1", "--json"])
    assert done.exit_code == 0, done.output
    billed = json.loads(done.stdout)
    solid = next(entry for entry in record["alternatives"] if entry["name"] == "Solid floor")
    assert billed["totals"]["grand_total"] == solid["grand_total"]
    assert billed["alternative"] == "Solid floor"
    words = {str(cell.value) for row in openpyxl.load_workbook(bill)["Basis"].iter_rows() for cell in row}
    assert any("cast in one with name Topping" in text for text in words)


def test_the_sample_alternatives_run(tmp_path: Path) -> None:
    folder = Path(__file__).resolve().parents[1] / "sample_models"
    out = tmp_path / "comparison.xlsx"
    args = ["compare", str(folder / "archive-ifc4.ifc"), "--alternatives", str(folder / "alternatives.toml")]
    done = CliRunner().invoke(main, [*args, "--out", str(out), "--json"])
    assert done.exit_code == 0, done.output
    names = [entry["name"] for entry in json.loads(done.stdout)["alternatives"]]
    assert names == ["As modelled", "Twin-wall basement", "Cast gables"]
