"""The workbook as a file: sheets, formulas with their values, safe text, look, and that it appears whole."""

import os
from collections.abc import Iterator
from pathlib import Path

import openpyxl
import pytest
from msgspec.structs import replace
from openpyxl.cell import Cell
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet
from outputs_sample import HOSTILE, RUN, part, sample_bill, sample_measurement

from takeoff.findings import Finding, InputError
from takeoff.measuring.records import Measurement
from takeoff.outputs.text import starts_like_formula
from takeoff.outputs.workbook import sheet as sheet_module
from takeoff.outputs.workbook import write_workbook
from takeoff.pricing.records import Bill, Dimension

SHEETS = [
    "Summary",
    "Bill",
    "Dimensions",
    "Elements",
    "Formwork",
    "Reinforcement",
    "Pieces",
    "Prefabrication",
    "Findings",
    "Basis",
]
EMPTY_BILL = Bill((), (), 0.0, (), 0.0, "", (), ())


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    measurement = sample_measurement()
    file = tmp_path_factory.mktemp("workbook") / "bill.xlsx"
    write_workbook(file, measurement, sample_bill(measurement), RUN)
    return file


@pytest.fixture(scope="module")
def formulas(path: Path) -> Workbook:
    return openpyxl.load_workbook(path)


@pytest.fixture(scope="module")
def values(path: Path) -> Workbook:
    return openpyxl.load_workbook(path, data_only=True)


def cells(book: Workbook) -> Iterator[Cell]:
    for sheet in book.worksheets:
        for row in sheet.iter_rows():
            yield from (cell for cell in row if cell.value is not None)


def row_of(sheet: Worksheet, text: str, column: int = 2) -> int:
    """The first row whose cell in `column` begins with `text`."""
    return next(
        n for n in range(1, sheet.max_row + 1) if str(sheet.cell(n, column).value or "").startswith(text)
    )


def column_of(sheet: Worksheet, heading: str, row: int = 4) -> int:
    return next(cell.column for cell in sheet[row] if cell.value == heading)


def test_sheets_stand_in_order(formulas: Workbook) -> None:
    assert formulas.sheetnames == [*SHEETS, "Handling", "Declared"]


def test_quantities_and_amounts_are_live_and_show_their_values(formulas: Workbook, values: Workbook) -> None:
    bill = sample_bill(sample_measurement())
    live, shown = formulas["Bill"], values["Bill"]
    items = [item for section in bill.sections for item in section.items]
    rows = {shown.cell(n, 13).value: n for n in range(5, shown.max_row + 1) if shown.cell(n, 13).value}
    assert list(rows) == [item.key for item in items]
    for item in items:
        n = rows[item.key]
        assert live.cell(n, 4).value == f"=ROUND(SUMIFS(Dimensions!$H:$H,Dimensions!$N:$N,$M{n}),6)"
        assert live.cell(n, 6).value == f'=IF(ISNUMBER(E{n}),ROUND(D{n}*E{n},2),"no rate")'
        assert shown.cell(n, 4).value == item.quantity
        assert shown.cell(n, 5).value == item.rate
        assert shown.cell(n, 6).value == ("no rate" if item.amount is None else item.amount)
        assert (shown.cell(n, 1).value, shown.cell(n, 3).value) == (item.number, item.unit)


def test_totals_are_formulas_with_the_engine_s_values(formulas: Workbook, values: Workbook) -> None:
    bill = sample_bill(sample_measurement())
    live, shown = formulas["Summary"], values["Summary"]
    lines = {"Concrete cast": bill.sections[0].total, "Formwork": bill.sections[1].total}
    lines |= {"Precast and": bill.sections[2].total, "Net total": bill.net_total}
    lines |= {markup.name: markup.amount for markup in bill.markups}
    lines["Grand total"] = bill.grand_total
    for name, value in lines.items():
        n = row_of(shown, name)
        assert shown.cell(n, 5).value == value
        assert str(live.cell(n, 5).value).startswith("=")
    assert "Nothing in it" not in {cell.value for cell in cells(values)}
    tax, net = row_of(shown, "Tax"), row_of(shown, "Net total")
    assert live.cell(tax, 4).value == f"=SUM(E{net}:E{tax - 1})"
    assert live.cell(row_of(shown, "Contingency"), 4).value == f"=E{net}"
    assert shown.cell(row_of(shown, "Grand total"), 4).value == "units"


def test_items_without_a_rate_stand_out(formulas: Workbook, values: Workbook) -> None:
    words = "(incomplete: 1 item without a rate)"
    shown = values["Summary"]
    assert shown["A4"].value == "Incomplete: 1 item without a rate, not in the totals."
    for name in ("Concrete cast", "Net total", "Grand total"):
        assert str(shown.cell(row_of(shown, name), 2).value).endswith(words)
    assert words not in str(shown.cell(row_of(shown, "Formwork"), 2).value)
    assert words in str(values["Bill"].cell(row_of(values["Bill"], "Total of section 1"), 2).value)
    rules = [rule for group in formulas["Bill"].conditional_formatting for rule in group.rules]
    assert [rule.formula for rule in rules] == [['$F5="no rate"']]
    assert rules[0].dxf.fill.bgColor.rgb not in (None, "00000000")


def test_a_complete_bill_says_so(tmp_path: Path) -> None:
    measurement = sample_measurement()
    bill = sample_bill(measurement)
    priced = replace(bill, sections=bill.sections[1:], unpriced=())
    write_workbook(tmp_path / "b.xlsx", measurement, priced, RUN)
    shown = openpyxl.load_workbook(tmp_path / "b.xlsx", data_only=True)
    assert shown["Summary"]["A4"].value == "Every item has a rate."
    assert not [cell for cell in cells(shown) if "incomplete" in str(cell.value)]


def test_every_dimension_names_item_element_storey_and_quantity(formulas: Workbook, values: Workbook) -> None:
    bill = sample_bill(sample_measurement())
    live, shown = formulas["Dimensions"], values["Dimensions"]
    read = sorted((row[13], row[10], row[2], row[7]) for row in shown.iter_rows(min_row=5, values_only=True))
    assert read == sorted((d.item, d.global_id, d.storey, d.quantity) for d in bill.dimensions)
    regular = next(n for n in range(5, shown.max_row + 1) if shown.cell(n, 5).value)
    assert live.cell(regular, 8).value == f"=ROUND(PRODUCT(D{regular}:G{regular}),6)"
    assert shown.cell(regular, 8).value == 9.6
    assert [shown.cell(regular, n).value for n in range(4, 8)] == [1, 8, 0.3, 4]


def test_a_product_that_is_not_the_quantity_is_stated(tmp_path: Path) -> None:
    row = Dimension("k", "m", "g", 1, "s", "l", 2.0, 1.0, 1.0, 1.999999, None)
    write_workbook(tmp_path / "b.xlsx", Measurement(), replace(EMPTY_BILL, dimensions=(row,)), {})
    assert openpyxl.load_workbook(tmp_path / "b.xlsx")["Dimensions"]["H5"].value == 2.0


def test_items_lead_to_their_dimensions(formulas: Workbook, values: Workbook) -> None:
    shown = values["Bill"]
    for n in range(5, shown.max_row + 1):
        if shown.cell(n, 11).value:
            sheet, _, cell = formulas["Bill"].cell(n, 1).hyperlink.location.partition("!")
            target = values[sheet.strip("'")][cell]
            assert target.value == shown.cell(n, 1).value
            assert values["Dimensions"].cell(target.row - 1, 1).value != target.value


def workbook_saying(text: str, path: Path) -> Workbook:
    """The sample with `text` wherever a model or a data file has a say."""
    row = part(
        "wall1", "wall", "precast", 1.0, name=text, mark=text, storey=text, type_name=text, evidence=text
    )
    row = replace(row, material=text, strength_class=text, condition=text, model=text, global_id=text)
    sample = sample_bill(sample_measurement())
    item = replace(sample.sections[0].items[0], description=text, rate_source=text, number=text)
    section = replace(sample.sections[0], code=text, title=text, items=(item,))
    dimension = replace(
        sample.dimensions[0], location=text, storey=text, note=text, global_id=text, model=text
    )
    bill = replace(sample, sections=(section,), dimensions=(dimension,), currency=text)
    bill = replace(bill, markups=tuple(replace(markup, name=text) for markup in bill.markups), findings=())
    bill = replace(bill, basis=((text, text, text),))
    measurement = replace(
        sample_measurement(),
        parts=(row,),
        findings=(Finding("error", text, text, text, text, text, 1.0, text),),
    )
    pieces = tuple(replace(piece, mark=text, repetition_group=text) for piece in measurement.pieces)
    joints = tuple(replace(joint, kind=text, storey=text) for joint in measurement.joints)
    measurement = replace(measurement, pieces=pieces, joints=joints)
    run = {**RUN, "title": text, "models": [{"name": text, "schema": text, "sha256": text}]}
    write_workbook(path, measurement, bill, run)
    return openpyxl.load_workbook(path)


@pytest.mark.parametrize("text", HOSTILE)
def test_text_of_a_model_never_becomes_a_formula_or_link(tmp_path: Path, text: str) -> None:
    plain = workbook_saying("plain words", tmp_path / "plain.xlsx")
    hostile = workbook_saying(text, tmp_path / "hostile.xlsx")
    live = [
        [(cell.parent.title, cell.coordinate, cell.value) for cell in cells(book) if cell.data_type == "f"]
        for book in (plain, hostile)
    ]
    assert live[0] == live[1]
    places = [(cell.parent.title, cell.coordinate) for cell in cells(plain) if cell.value == "plain words"]
    assert len(places) > 50
    for sheet, place in places:
        cell = hostile[sheet][place]
        assert (cell.value, cell.data_type) == (text, "s")
        assert bool(cell.quotePrefix) == starts_like_formula(text)
    links = [cell.hyperlink for cell in cells(hostile) if cell.hyperlink]
    assert [link.target for link in links] == [None] * len(links)


def test_forbidden_characters_go_and_long_text_is_cut(values: Workbook) -> None:
    shown = values["Elements"]
    names = {cell.value for cell in shown["B"]}
    assert "bad name" in names
    (long,) = (name for name in names if str(name).startswith("xxx"))
    assert len(long) == 32_767
    assert long.endswith("[cut: too long for a cell]")


def test_figures_that_are_no_numbers_stay_empty(tmp_path: Path) -> None:
    rows = (part("wall1", "wall", "precast", float("nan")), part("wall2", "wall", "precast", 2.0))
    write_workbook(tmp_path / "b.xlsx", Measurement(parts=rows), EMPTY_BILL, {})
    shown = openpyxl.load_workbook(tmp_path / "b.xlsx", data_only=True)["Elements"]
    column = column_of(shown, "Net m3")
    assert [shown.cell(n, column).value for n in (5, 6)] == [None, 2.0]


def test_shares_are_live_where_elements_hold_the_figures(formulas: Workbook, values: Workbook) -> None:
    live, shown = formulas["Prefabrication"], values["Prefabrication"]
    rows = {(shown.cell(n, 1).value, shown.cell(n, 2).value, shown.cell(n, 3).value): n for n in range(5, 12)}
    whole = rows["all", None, "volume"]
    assert (shown.cell(whole, 5).value, shown.cell(whole, 6).value) == (14.607407, 84.330864)
    assert shown.cell(whole, 7).value == pytest.approx(14.607407 / 84.330864)
    assert str(live.cell(whole, 5).value).count("SUMIFS(Elements!") == 2
    assert str(live.cell(rows["all", None, "volume with unresolved"], 6).value).count("SUMIFS(") == 4
    assert f"$B{rows['role', 'wall', 'volume']}" in str(live.cell(rows["role", "wall", "volume"], 5).value)
    assert live.cell(rows["storey", "01", "volume"], 6).value == 9.6
    assert live.cell(whole, 7).value == f'=IF(F{whole}>0,E{whole}/F{whole},"")'


def test_a_chart_of_the_share_stands_on_both_sheets(formulas: Workbook) -> None:
    for name in ("Summary", "Prefabrication"):
        (chart,) = formulas[name]._charts
        assert chart.anchor._from.row >= 4
        ranges = [series.val.numRef.f for series in chart.series]
        assert ranges == ["Prefabrication!$G$5:$G$7", "Prefabrication!$H$5:$H$7"]
        assert chart.series[0].cat.strRef.f == "Prefabrication!$C$5:$C$7"
        assert [point.v for point in chart.series[0].cat.strRef.strCache.pt] == ["volume", "pieces", "value"]


def test_repetition_and_joints_are_listed(values: Workbook) -> None:
    shown = values["Prefabrication"]
    first = row_of(shown, "Repetition", 1) + 2
    listed = [[shown.cell(n, c).value for c in (1, 4, 10)] for n in (first, first + 1)]
    assert listed == [["S1", 4, None], ["S2", 2, "S1"]]
    assert shown.cell(first + 2, 1).value == "2 shapes"
    assert shown.cell(first + 2, 9).value == pytest.approx(6 * 3.0864195)
    joints = row_of(shown, "Joints", 1) + 2
    assert [shown.cell(joints, c).value for c in range(1, 6)] == ["slab", "Upper", 1, 6, 1.2]


def test_declared_quantities_stand_beside_the_measured_ones(formulas: Workbook, values: Workbook) -> None:
    """The sample declares 9.0 m3 where 9.6 were measured."""
    live, shown = formulas["Declared"], values["Declared"]
    assert str(shown["A2"].value).startswith(
        "No declared volume could be compared. 1 declared quantity, 1 differs."
    )
    cells = {
        str(head.value): (shown.cell(5, head.column).value, live.cell(5, head.column).value)
        for head in shown[4]
    }
    assert [cells[name][0] for name in ("Agrees", "Quantity", "Unit", "Declared", "Measured")] == [
        "no", "volume", "m3", 9.0, 9.6,
    ]  # fmt: skip
    assert cells["Difference"] == (pytest.approx(-0.6), "=H5-I5")
    assert cells["Declared to measured"] == (pytest.approx(0.9375), '=IF(I5=0,"",H5/I5)')
    assert cells["Declared as"][0] == "Set.NetVolume"


def test_findings_are_grouped_the_gravest_and_most_valuable_first(
    formulas: Workbook, values: Workbook
) -> None:
    shown = values["Findings"]
    listed = [[shown.cell(n, c).value for c in range(1, 6)] for n in range(5, 10)]
    assert listed == [
        ["error", "not-measured", 1, None, None],
        ["warning", "ratio-unusual", 2, 85.9, "m2"],
        ["warning", "material-missing", 1, 3.3, "m3"],
        ["warning", "item-unpriced", 1, None, None],
        ["note", "method-assumed", 1, 9.6, "m3"],
    ]
    start = row_of(shown, "Every finding", 1) + 2
    messages = [shown.cell(n, 7).value for n in range(start, shown.max_row + 1)]
    assert messages[:3] == ["=The body is not closed", "Much formwork", "Little formwork"]
    assert len(messages) == 6
    assert str(formulas["Findings"]["C6"].value).startswith("=COUNTIFS(")


def test_a_finding_of_both_stages_counts_once(tmp_path: Path) -> None:
    finding = Finding("note", "twice", "m", "g", "the same")
    write_workbook(
        tmp_path / "b.xlsx",
        Measurement(findings=(finding,)),
        replace(EMPTY_BILL, findings=(finding,)),
        {},
    )
    shown = openpyxl.load_workbook(tmp_path / "b.xlsx", data_only=True)["Findings"]
    assert shown["C5"].value == 1


def test_the_basis_names_models_files_and_care_once(values: Workbook) -> None:
    texts = [str(cell.value) for cell in cells(values)]
    assert sum("competent, licensed people" in text for text in texts) == 1
    basis = [str(cell.value) for row in values["Basis"].iter_rows() for cell in row if cell.value]
    for text in (
        "SHA-256\n" + "ab" * 32,
        "SHA-256\n" + "cd" * 32,
        "IFC4, 7 elements",
        "net.toml",
        "rates.csv",
        "Reinforced concrete 2,500 kg/m3",
        "9 of 12 rates used",
        "2031-03-04 05:06 UTC",
        "takeoff 0.1.0",
    ):
        assert text in basis


def test_records_have_all_their_fields(values: Workbook) -> None:
    measurement = sample_measurement()
    for name, rows in (
        ("Elements", measurement.parts),
        ("Formwork", measurement.formwork),
        ("Reinforcement", measurement.reinforcement),
        ("Pieces", measurement.pieces),
    ):
        shown = values[name]
        headings = [cell.value for cell in shown[4] if not str(cell.value).startswith("~")]
        assert len(headings) == len(set(headings)) == len(rows[0].__struct_fields__)
        assert shown.max_row == 4 + len(rows)
    elements = values["Elements"]
    net = column_of(elements, "Net m3")
    assert elements.cell(3, net).value == pytest.approx(
        sum(row.net_volume_m3 or 0 for row in measurement.parts)
    )


def test_sheets_are_set_up_for_reading_and_printing(formulas: Workbook) -> None:
    for sheet in formulas.worksheets:
        assert sheet.page_setup.orientation == "landscape"
        assert sheet.page_setup.paperSize == 9
        # Summary is one page; the others are as long as they are.
        pages = sheet.page_setup.fitToWidth or 1, sheet.page_setup.fitToHeight
        assert pages == (1, None if sheet.title == "Summary" else 0)
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert "&P" in sheet.oddFooter.right.text
        assert sheet.print_area
        if sheet.title not in ("Summary", "Prefabrication", "Handling"):  # several tables each
            assert sheet.freeze_panes == "A5"
            assert sheet.print_title_rows == "$4:$4"
        if sheet.title not in ("Summary", "Basis", "Handling"):
            assert sheet.auto_filter.ref
    assert formulas.calculation.fullCalcOnLoad


def test_the_title_heads_every_page_with_its_ampersand(formulas: Workbook) -> None:
    for sheet in formulas.worksheets:
        assert "Archive && reading room, structure" in (sheet.oddHeader.left.text or "")


@pytest.mark.parametrize(("given", "code"), [("letter", 1), ("A4", 9), ("napkin", 9)])
def test_paper_is_the_run_s_choice(tmp_path: Path, given: str, code: int) -> None:
    write_workbook(tmp_path / "b.xlsx", Measurement(), EMPTY_BILL, {**RUN, "paper": given})
    book = openpyxl.load_workbook(tmp_path / "b.xlsx")
    assert {sheet.page_setup.paperSize for sheet in book.worksheets} == {code}


def test_columns_are_as_wide_as_what_they_hold(formulas: Workbook, values: Workbook) -> None:
    sheet = formulas["Elements"]
    for cell in values["Elements"][5]:
        if isinstance(cell.value, str) and len(cell.value) <= 20:
            assert sheet.column_dimensions[cell.column_letter].width >= len(cell.value) * 0.95


def test_nothing_measured_gives_a_workbook_that_says_so(tmp_path: Path) -> None:
    write_workbook(tmp_path / "b.xlsx", Measurement(), EMPTY_BILL, {})
    book = openpyxl.load_workbook(tmp_path / "b.xlsx", data_only=True)
    assert book.sheetnames == SHEETS
    assert book["Pieces"]["A5"].value == "No precast or tilt-up pieces."
    assert book["Findings"]["A5"].value == "Nothing to look at."
    assert book["Summary"].cell(row_of(book["Summary"], "Grand total"), 5).value == 0


def test_places_that_cannot_be_a_file_are_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is a folder"):
        write_workbook(tmp_path, Measurement(), EMPTY_BILL, RUN)
    with pytest.raises(InputError, match="there is no folder"):
        write_workbook(tmp_path / "missing" / "b.xlsx", Measurement(), EMPTY_BILL, RUN)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="no /proc to stand for a place without rights")
def test_a_place_without_rights_is_named() -> None:
    with pytest.raises(InputError, match=r"/proc/takeoff\.xlsx"):
        write_workbook(Path("/proc/takeoff.xlsx"), Measurement(), EMPTY_BILL, RUN)


def test_a_fault_leaves_the_earlier_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "b.xlsx"
    file.write_bytes(b"earlier")
    monkeypatch.setattr(sheet_module, "ROW_LIMIT", 10)
    with pytest.raises(InputError, match="rows are more than a sheet holds"):
        write_workbook(file, sample_measurement(), EMPTY_BILL, RUN)
    monkeypatch.undo()

    def full(source: Path, target: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(InputError, match="No space left"):
        write_workbook(file, sample_measurement(), EMPTY_BILL, RUN)
    assert file.read_bytes() == b"earlier"
    assert [entry.name for entry in tmp_path.iterdir()] == ["b.xlsx"]
