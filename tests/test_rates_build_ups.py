"""Rates built up of resources, rates and resources as workbooks, and every message of a broken file."""

from datetime import date
from pathlib import Path

import openpyxl
import pytest
from pricing_rows import HEADER, items_of, shipped_bill, small_building, write

from takeoff.findings import InputError
from takeoff.pricing.bill import make_bill
from takeoff.pricing.markups import load_markups
from takeoff.pricing.rates import RateBook, load_rates
from takeoff.pricing.resources import ResourceBook, load_resources
from takeoff.pricing.sections import load_sections
from takeoff.templates import template_path

BUILT = HEADER.strip() + ",description,currency,resource,per_unit,waste_percent\n"
RESOURCES = """resource,kind,unit,price,low,high,source,date,note
placer,labour,h,34,30,40,quote,2026-01-31,
fixer,labour,h,37.25,,,,,
pump,plant,h,118,,,,,
mix,material,m3,132.40,120,150,quote,,
crane,subcontract,nr,500,,,,,
"""


def resources(folder: Path, text: str = RESOURCES) -> ResourceBook:
    return load_resources(write(folder, "resources.csv", text), "units")


def book(folder: Path, *rows: str) -> RateBook:
    return load_rates(write(folder, "rates.csv", BUILT + "\n".join(rows) + "\n"), resources(folder), "units")


def test_a_build_up_is_labour_plant_material_with_waste_and_subcontract(tmp_path: Path) -> None:
    rows = (
        "concrete.wall.*,m3,,,,own,,,,,,,",
        ",h,,,,,,,,,placer,0.85,",
        ",h,,,,,,,,,pump,0.06,",
        ",m3,,,,,,,,,Mix,1,4",
        ",,,,,,,by the piece,,,crane,0.02,",
    )
    (rate,) = book(tmp_path, *rows).rates
    # 0.85 x 34 + 0.06 x 118 + 1.04 x 132.40 + 0.02 x 500 = 28.90 + 7.08 + 137.696 + 10.00
    assert rate.rate == 183.68
    # 0.85 x 30 + 7.08 + 1.04 x 120 + 10 and 0.85 x 40 + 7.08 + 1.04 x 150 + 10
    assert (rate.low, rate.high) == (167.38, 207.08)
    assert rate.build_up is not None
    assert [line.resource.kind for line in rate.build_up.components] == [
        "labour",
        "plant",
        "material",
        "subcontract",
    ]


def test_a_rate_of_its_own_low_and_high_keeps_them(tmp_path: Path) -> None:
    (rate,) = book(tmp_path, "concrete.*,m3,,10,99,,,,,,,,", ",h,,,,,,,,,fixer,1,").rates
    assert (rate.rate, rate.low, rate.high) == (37.25, 10.0, 99.0)


def test_a_description_stands_in_place_of_the_composed_one(tmp_path: Path) -> None:
    rates = book(tmp_path, "concrete.wall.*,m3,190,,,,,,Walls of the archive,,,,", "*,m3,1,,,,,,,,,,")
    plan, markups = load_sections(template_path("sections.toml")), load_markups(template_path("markups.toml"))
    bill = make_bill(small_building(), _only(rates, plan), plan, markups)
    walls = [item for item in items_of(bill).values() if item.key.startswith("concrete.wall")]
    assert {item.description for item in walls} == {"Walls of the archive"}
    others = [item for item in items_of(bill).values() if item.key.startswith("concrete.foundation")]
    assert all(item.description.startswith("Concrete") for item in others)


def _only(rates: RateBook, plan: object) -> RateBook:
    """The rates without the pattern for all, which fits items in other units."""
    del plan
    return RateBook(rates.file, tuple(rate for rate in rates.rates if rate.item != "*"))


def test_shipped_build_ups_price_the_bill_and_name_their_items() -> None:
    bill = shipped_bill(small_building())
    priced = {built.rate.item: built for built in bill.build_ups}
    assert "concrete.wall.*" in priced
    items = items_of(bill)
    for built in bill.build_ups:
        assert built.rate.build_up is not None
        assert built.rate.rate == built.rate.build_up.rate
        for key in built.items:
            assert items[key].rate == built.rate.rate


def test_prices_typed_elsewhere_price_the_build_ups_again(tmp_path: Path) -> None:
    rates = book(tmp_path, "concrete.*,m3,,,,,,,,,,,", ",h,,,,,,,,,placer,2,", "formwork.*,m2,5,,,,,,,,,,")
    again = rates.at_prices({"placer": 50.0})
    assert [rate.rate for rate in again.rates] == [100.0, 5.0]
    assert [rate.rate for rate in rates.rates] == [68.0, 5.0]


def test_rates_and_resources_as_workbooks_are_the_same(tmp_path: Path) -> None:
    rows = (
        "concrete.wall.*,m3,,,,own,2026-01-31,,,,,,",
        ",h,,,,,,,,,placer,0.85,",
        ",m3,,,,,,,,,mix,1,4",
        "formwork.*,m2,58.5,50,70,quote,,plain,,,,,",
    )
    expected = book(tmp_path, *rows)
    for name, sheet, text in (
        ("rates.xlsx", "Rates", BUILT + "\n".join(rows)),
        ("resources.xlsx", "Resources", RESOURCES),
    ):
        made = openpyxl.Workbook()
        made.active.title = "First"
        tab = made.create_sheet(sheet)
        tab.append(["# a comment", "anywhere"])
        for line in text.strip().splitlines():
            tab.append([_typed(cell) for cell in line.split(",")])
        made.save(tmp_path / name)
    found = load_rates(tmp_path / "rates.xlsx", load_resources(tmp_path / "resources.xlsx"), "units")
    assert [(rate.item, rate.unit, rate.rate, rate.low, rate.high, rate.date) for rate in found.rates] == [
        (rate.item, rate.unit, rate.rate, rate.low, rate.high, rate.date) for rate in expected.rates
    ]


def _typed(cell: str) -> object:
    if cell == "2026-01-31":
        return date(2026, 1, 31)
    try:
        return float(cell) if cell else None
    except ValueError:
        return cell


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        ([",h,,,,,,,,,placer,1,"], "line 2: resource `placer` stands before any item"),
        (
            ["concrete.*,m3,5,,,,,,,,,,", ",h,,,,,,,,,placer,1,"],
            "line 3: `concrete.*` has a rate in line 2 and a build-up under it",
        ),
        (["concrete.*,m3,,,,,,,,,,,", ",h,,,,,,,,,nobody,1,"], "line 3: resource `nobody` is not in"),
        (["concrete.*,m3,,,,,,,,,,,", ",day,,,,,,,,,placer,1,"], "line 3: unit day of `placer` does not fit"),
        (["concrete.*,m3,,,,,,,,,,,", ",h,9,,,,,,,,placer,1,"], "line 3: rate 9 beside a resource"),
        (["concrete.*,m3,,,,,,,,,,,", ",h,,,,,,,,,placer,,"], "line 3: say in `per_unit` how much"),
        (["concrete.*,m3,,,,,,,,,,,", ",h,,,,,,,,,placer,0,"], "line 3: say in `per_unit` how much"),
        (["concrete.*,m3,,,,,,,,,,,", ",h,,,,,,,,,placer,-1,"], "line 3: per_unit -1 is negative"),
        (["concrete.*,m3,,,,,,,,,,,", ",h,,,,,,,,,placer,x,"], "line 3: per_unit `x` is not a number"),
        (["concrete.*,m3,,,,,,,,,,,", ",h,,,,,,,,,placer,1,5"], "line 3: waste belongs to materials"),
        (["concrete.*,m3,,,,,,,,,,,", ",m3,,,,,,,,,mix,1,101"], "line 3: waste_percent 101 is above 100"),
        (["concrete.*,m3,,,,,,,,,placer,,"], "line 2: resource `placer` beside an item"),
        (["concrete.*,m3,,,,,,,,,,2,"], "line 2: per_unit `2` beside an item"),
        (["concrete.*,m3,5,,,,,,,EUR,,,"], "line 2: the price is in EUR and the bill in units (markups)"),
        (["concrete.*,m3,€ 5,,,,,,,,,,"], "line 2: rate `€ 5` holds a currency beside the number"),
        (["concrete.*,m3,5 EUR,,,,,,,,,,"], "line 2: rate `5 EUR` holds a currency beside the number"),
        (
            ["concrete.*,m3,,,3,,,,,,,,", ",h,,,,,,,,,placer,1,"],
            "line 2: high 3 is below the build-up's rate 34",
        ),
    ],
)
def test_faults_in_build_ups_name_file_line_and_what_is_wrong(
    tmp_path: Path, rows: list[str], told: str
) -> None:
    with pytest.raises(InputError) as fault:
        book(tmp_path, *rows)
    assert str(fault.value).startswith(f"{tmp_path / 'rates.csv'}, {told}")
    assert "\n" not in str(fault.value)


@pytest.mark.parametrize(
    ("row", "told"),
    [
        (",labour,h,5,,,,,", "line 2: a resource needs a name"),
        ("a,worker,h,5,,,,,", "line 2: kind `worker` is not one of labour, plant, material, subcontract"),
        ("a,labour,day,5,,,,,", "line 2: labour is priced by the hour; unit `day` must be h"),
        ("a,plant,,5,,,,,", "line 2: resource `a` has no unit"),
        ("a,plant,h,,,,,,", "line 2: resource `a` has no price"),
        ("a,plant,h,-5,,,,,", "line 2: price -5 is negative"),
        ("a,plant,h,x,,,,,", "line 2: price `x` is not a number"),
        ("a,plant,h,5,6,,,,", "line 2: low 6 is above the price 5"),
        ("a,plant,h,5,,4,,,", "line 2: high 4 is below the price 5"),
        ("a,plant,h,5,,,,yesterday,", "line 2: date `yesterday` is not a date"),
        ("a,plant,h,5,,,,,\nA,plant,h,6,,,,,", "line 3: resource `a` is given twice, first in line 2"),
        ("a,plant,h,5", "line 2: 4 columns, expected 9"),
    ],
)
def test_faults_in_resources_name_file_line_and_what_is_wrong(tmp_path: Path, row: str, told: str) -> None:
    with pytest.raises(InputError) as fault:
        resources(tmp_path, RESOURCES.splitlines()[0] + "\n" + row + "\n")
    assert str(fault.value).startswith(f"{tmp_path / 'resources.csv'}, {told}")


def test_resources_in_another_currency_are_refused(tmp_path: Path) -> None:
    header = "resource,kind,unit,price,low,high,source,date,note,currency\n"
    with pytest.raises(InputError, match=r"line 2: the price is in USD and the bill in units"):
        resources(tmp_path, header + "a,plant,h,5,,,,,,USD\n")


@pytest.mark.parametrize(
    ("header", "told"),
    [
        (HEADER.strip() + ",cost", "column 9 `cost` is not known; expected item,unit,rate"),
        (HEADER.strip() + ",currency,currency", "column `currency` is there twice"),
        ("resource,kind,unit,price,low,high,source,date", "column 1 is `resource` where `item` belongs"),
    ],
)
def test_a_wrong_header_names_the_column(tmp_path: Path, header: str, told: str) -> None:
    with pytest.raises(InputError) as fault:
        load_rates(write(tmp_path, "rates.csv", header + "\n"))
    assert str(fault.value).startswith(f"{tmp_path / 'rates.csv'}, line 1: {told}")


def test_faults_in_workbooks_name_sheet_and_line(tmp_path: Path) -> None:
    path = tmp_path / "rates.xlsx"
    made = openpyxl.Workbook()
    made.active.append(HEADER.strip().split(","))
    made.active.append(["concrete.*", "m3", "five"])
    made.save(path)
    with pytest.raises(InputError, match=r"rates\.xlsx, sheet Sheet, line 2: rate `five` is not a number"):
        load_rates(path)
    made.active.cell(2, 3).value = "=2+3"
    made.save(path)
    with pytest.raises(InputError, match=r"line 2: a formula without a stored value; open the file"):
        load_rates(path)
    path.write_text("item,unit", encoding="utf-8")
    with pytest.raises(InputError, match=r"rates\.xlsx: not a readable workbook"):
        load_rates(path)
    with pytest.raises(InputError, match=r"nowhere\.xlsx: the rates cannot be read: No such file"):
        load_rates(tmp_path / "nowhere.xlsx")


def test_a_sheet_is_found_by_its_name_and_merged_cells_are_told(tmp_path: Path) -> None:
    path = tmp_path / "rates.xlsx"
    made = openpyxl.Workbook()
    made.active.append(["a cover"])
    sheet = made.create_sheet("RATES")
    sheet.append(HEADER.strip().split(","))
    sheet.append(["concrete.*", "m3", 5])
    made.save(path)
    assert [rate.rate for rate in load_rates(path).rates] == [5.0]
    sheet.append(["concrete.*", "m3", 6])
    sheet.merge_cells("A2:A3")
    made.save(path)
    with pytest.raises(InputError, match=r"sheet RATES, line 3: `item` is empty \(of merged cells only"):
        load_rates(path)
