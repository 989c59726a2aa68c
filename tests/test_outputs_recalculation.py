"""The workbook recalculated by an independent program: no error, every formula as the engine said."""

import random
import shutil
import subprocess
from pathlib import Path

import openpyxl
import pytest
from msgspec.structs import replace
from openpyxl.workbook import Workbook
from outputs_sample import RUN, make_item, sample_bill, sample_markups, sample_measurement

from takeoff.outputs.workbook import write_workbook
from takeoff.pricing.money import amount, exact_sum, round_quantity
from takeoff.pricing.records import Bill, Dimension, Section

OFFICE = shutil.which("soffice") or shutil.which("libreoffice")

pytestmark = pytest.mark.skipif(OFFICE is None, reason="LibreOffice is not installed")


def recalculated(path: Path, scratch: Path) -> Workbook:
    """The workbook as LibreOffice saves it after calculating everything, with values in place of formulas."""
    assert OFFICE is not None
    # Values that the file carries are taken away, so that whatever is read afterwards was calculated.
    emptied = scratch / f"emptied-{path.name}"
    openpyxl.load_workbook(path).save(emptied)
    profile = (scratch / "profile").as_uri()
    subprocess.run(
        [OFFICE, f"-env:UserInstallation={profile}", "--headless", "--convert-to", "xlsx", "--outdir",
         str(scratch / "calculated"), str(emptied)],
        check=True, capture_output=True, timeout=300,
    )  # fmt: skip
    return openpyxl.load_workbook(scratch / "calculated" / emptied.name, data_only=True)


def assert_same(written: Path, calculated: Workbook) -> int:
    """Every formula's value as written equals the calculated one; returns how many there are."""
    formulas = openpyxl.load_workbook(written)
    stated = openpyxl.load_workbook(written, data_only=True)
    count = 0
    for sheet in formulas.worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                found = calculated[sheet.title][cell.coordinate].value
                assert not str(found).startswith("#"), f"{sheet.title}!{cell.coordinate}: {found}"
                if cell.data_type != "f":
                    continue
                count += 1
                expected = stated[sheet.title][cell.coordinate].value
                where = f"{sheet.title}!{cell.coordinate} {cell.value}: {found!r}, stated {expected!r}"
                if isinstance(expected, str) or expected is None:
                    assert (found or "") == (expected or ""), where
                elif cell.number_format.startswith("#,##0.00_0"):
                    assert round(found, 6) == round(expected, 6), where
                else:
                    assert found == pytest.approx(expected, rel=1e-9, abs=1e-9), where
    return count


def test_the_sample_calculates_to_what_it_states(tmp_path: Path) -> None:
    measurement = sample_measurement()
    file = tmp_path / "bill.xlsx"
    write_workbook(file, measurement, sample_bill(measurement), RUN)
    assert assert_same(file, recalculated(file, tmp_path)) > 100


def test_many_amounts_round_to_the_same_cent(tmp_path: Path) -> None:
    """Rates and quantities that end on half a cent, and sums of many awkward decimals, item by item."""
    chance = random.Random(20310304)
    dimensions: list[Dimension] = []
    items = []
    for n in range(400):
        key = f"concrete.wall.made-{n}"
        if n % 2:
            quantities = [round_quantity(chance.uniform(0, 60)) for _ in range(chance.randint(1, 12))]
            rate = round(chance.uniform(0.01, 2000), chance.choice([0, 2, 3, 4]))
        else:
            # An odd number of hundredths times a rate that ends on half: exactly half a cent over.
            quantities = [round_quantity(chance.randrange(1, 9_999, 2) / 100)]
            rate = chance.randint(0, 500) + 0.5
        dimensions += [Dimension(key, "m", f"id{n}", 1, "01", "wall", quantity) for quantity in quantities]
        items.append(make_item(key, f"1.{n}", "1", "m3", dimensions[-len(quantities) :], rate))
    section = Section("1", "Concrete", tuple(items))
    net = exact_sum((section.total,))
    markups, grand = sample_markups(net)
    bill = Bill((section,), tuple(dimensions), net, markups, grand, "units", (), ())
    file = tmp_path / "many.xlsx"
    write_workbook(file, replace(sample_measurement(), findings=()), bill, RUN)
    assert sum(round(item.quantity * item.rate * 1000) % 10 == 5 for item in items if item.rate) > 150
    assert assert_same(file, recalculated(file, tmp_path)) > 1_200


def test_a_rate_typed_in_and_a_dimension_added_carry_to_the_grand_total(tmp_path: Path) -> None:
    measurement = sample_measurement()
    bill = sample_bill(measurement)
    file = tmp_path / "typed.xlsx"
    write_workbook(file, measurement, bill, RUN)
    book = openpyxl.load_workbook(file)
    sheet = book["Bill"]
    row = next(n for n in range(5, sheet.max_row) if sheet.cell(n, 13).value == "concrete.wall.unresolved")
    sheet.cell(row, 5).value = 250.0
    added = book["Dimensions"].max_row + 1
    book["Dimensions"].cell(added, 8).value = 1.7
    book["Dimensions"].cell(added, 14).value = "concrete.wall.unresolved"
    book.save(file)

    shown = recalculated(file, tmp_path)
    net = exact_sum((bill.net_total, amount(5.0, 250.0)))
    _, grand = sample_markups(net)
    summary = shown["Summary"]
    totals = {str(summary.cell(n, 2).value): summary.cell(n, 5).value for n in range(1, summary.max_row + 1)}
    assert shown["Bill"].cell(row, 4).value == pytest.approx(5.0)
    assert shown["Bill"].cell(row, 6).value == 1250.0
    assert shown["Bill"].cell(row, 7).value == 2
    assert round(totals["Net total"], 6) == net
    assert round(totals["Grand total"], 6) == grand
    assert summary["A4"].value == "Every item has a rate."
