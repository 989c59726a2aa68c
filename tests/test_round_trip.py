"""What people type into a bill is carried through a revision of the model: nothing is lost, nothing counted twice."""

import shutil
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner
from msgspec.structs import replace
from openpyxl.comments import Comment
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet
from outputs_sample import RUN
from pricing_rows import items_of, part, small_building, steel
from test_outputs_recalculation import OFFICE, assert_same, recalculated

from takeoff.cli import main
from takeoff.findings import InputError
from takeoff.measuring.records import Measurement
from takeoff.outputs.workbook import write_workbook
from takeoff.outputs.workbook.look import Look, shipped_look
from takeoff.outputs.workbook.previous.book import read_previous
from takeoff.outputs.workbook.untouched import require_untouched
from takeoff.pricing.bill import make_bill
from takeoff.pricing.choices import Choices
from takeoff.pricing.markups import load_markups
from takeoff.pricing.rates import load_rates
from takeoff.pricing.records import Bill, Item
from takeoff.pricing.sections import load_sections
from takeoff.pricing.typed import TypedBill
from takeoff.templates import template_path

FOOTING = "concrete.foundation.cast-in-place.c30-37.300-600"
WALLS = "concrete.wall.cast-in-place.c30-37.150-300"
TOPPING = "formwork.slab-edge.plane.to-250"
FINISH = "finish.top.slab.to-3_5"


def bill_of(measurement: Measurement, earlier: TypedBill | None = None, **choices: object) -> Bill:
    return make_bill(
        measurement,
        load_rates(template_path("rates.csv")),
        load_sections(template_path("sections.toml")),
        load_markups(template_path("markups.toml")),
        Choices(**choices),  # type: ignore[arg-type]
        earlier,
    )


def revised() -> Measurement:
    """The building with a longer wall, without its footing, with a column that was not there."""
    first = small_building()
    parts = [row for row in first.parts if row.global_id != "footing"]
    parts = [replace(row, net_volume_m3=4.5) if row.global_id == "wall2" else row for row in parts]
    column = part("column", "column", "cast-in-place", 0.75, size_band="1000-1600")
    return replace(
        first,
        parts=(*parts, column),
        formwork=tuple(row for row in first.formwork if row.global_id != "footing"),
        surfaces=tuple(row for row in first.surfaces if row.global_id != "footing"),
        reinforcement=(
            *(row for row in first.reinforcement if row.global_id != "footing"),
            steel("column", "column", 90.0),
        ),
    )


def headings(sheet: Worksheet) -> dict[str, int]:
    return {str(cell.value): cell.column for cell in sheet[4] if cell.value}


def rows(sheet: Worksheet, heading: str = "Item key") -> dict[str, int]:
    """Row of each item by its key, the first where several rows have it."""
    column = headings(sheet)[heading]
    found: dict[str, int] = {}
    for number in range(5, sheet.max_row + 1):
        if value := sheet.cell(number, column).value:
            found.setdefault(str(value), number)
    return found


def put(sheet: Worksheet, row: int, **values: object) -> None:
    """Type values under headings, `_` for a blank in a heading."""
    places = headings(sheet)
    for name, value in values.items():
        sheet.cell(row, places[name.replace("_", " ")]).value = value  # type: ignore[assignment]


def edit(book: Workbook) -> None:
    """What a surveyor does: rates, words, notes, own items, own dimensions, own sheet, percentages, prices."""
    bill = book["Bill"]
    lines = rows(bill)
    put(bill, lines[FOOTING], Rate=171.5, Notes="firm to June")
    put(bill, lines[WALLS], Rate="=180*1.05", Description="Walls as agreed on site", Low_rate=150)
    bill.cell(lines[TOPPING], headings(bill)["Description"]).comment = Comment("ask the engineer", "QS")
    bill.cell(lines[FINISH], bill.max_column + 2).value = "scribbled far to the right"
    for values in (
        {"Description": "Provisional items", "Notes": "head of a group"},
        {
            "No.": "P1",
            "Description": "Pumping ground water",
            "Unit": "h",
            "Quantity": "=2*12.5",
            "Rate": 41.1,
        },
        {"No.": "P2", "Description": "Crack injection", "Amount": 2500},
        {"No.": "P3", "Description": "Extra pit", "Unit": "m3", "Item key": "hand.pit", "Rate": 300},
    ):
        lines = rows(bill)
        after = max(lines[WALLS], *(r for r in range(5, bill.max_row) if _is_hand(bill, r)), 0) + 1
        bill.insert_rows(after)
        for name, value in values.items():
            bill.cell(after, headings(bill)[name]).value = value  # type: ignore[assignment]
    dimensions = book["Dimensions"]
    end = dimensions.max_row
    put(dimensions, end + 1, Location="Pit", Times=2, Quantity=1.5, Item_key="hand.pit")
    put(dimensions, end + 2, Location="Wall by the door", Quantity=0.8, Item_key=WALLS, Note="not modelled")
    put(dimensions, end + 3, Location="Footing of the pump", Quantity=0.4, Item_key=FOOTING)
    put(dimensions, rows(dimensions)[WALLS], Note="measured twice?")
    summary = book["Summary"]
    for number in range(1, summary.max_row):
        if summary.cell(number, 2).value == "Contingency":
            summary.cell(number, 3).value = 7.5
    put(book["Resources"], rows(book["Resources"], "Resource")["concretor"], Price=36.5)
    book["Elements"].cell(6, 70).value = "see drawing 12"
    own = book.create_sheet("My checks")
    own["A1"], own["B1"], own["B2"], own["B3"] = "span", 7.2, "=B1*2", "=Bill!F6"


def _is_hand(sheet: Worksheet, row: int) -> bool:
    return str(sheet.cell(row, headings(sheet)["Description"]).value or "").startswith(
        ("Provisional", "Pumping", "Crack", "Extra")
    )


@pytest.fixture(scope="module")
def edited(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("bills") / "edited.xlsx"
    write_workbook(path, small_building(), bill_of(small_building()), RUN)
    book = openpyxl.load_workbook(path)
    edit(book)
    time.sleep(1.1)  # a workbook tells when it was saved to the second
    book.save(path)
    return path


def hand_lines(bill: Bill) -> dict[str, Item]:
    return {item.description: item for section in bill.sections for item in section.items if item.by_hand}


def assert_nothing_lost(bill: Bill, typed: TypedBill) -> None:
    """Everything that `edit` typed stands in the bill of the revision."""
    items = items_of(bill)
    walls = items[WALLS]
    assert (walls.rate, walls.description, walls.low) == (189.0, "Walls as agreed on site", 150.0)
    assert "rate =180*1.05" in walls.note
    # 4.5 + 2.7 as measured now and 0.8 by hand.
    assert walls.quantity == pytest.approx(8.0)
    assert walls.amount == 1512.0
    assert items[TOPPING].note == "comment: ask the engineer"
    assert items[FINISH].note == "scribbled far to the right"
    hand = hand_lines(bill)
    assert list(hand) == ["Provisional items", "Pumping ground water", "Crack injection", "Extra pit"]
    assert (hand["Provisional items"].by_hand, hand["Provisional items"].note) == ("text", "head of a group")
    assert (hand["Pumping ground water"].quantity, hand["Pumping ground water"].amount) == (25.0, 1027.5)
    assert hand["Crack injection"].amount == 2500.0
    assert (hand["Extra pit"].quantity, hand["Extra pit"].amount) == (1.5, 450.0)
    section = next(section for section in bill.sections if hand["Crack injection"] in section.items)
    keys = [item.key or item.description for item in section.items]
    assert keys[keys.index(WALLS) + 1 : keys.index(WALLS) + 5] == [
        "Provisional items",
        "Pumping ground water",
        "Crack injection",
        "hand.pit",
    ]
    assert bill.earlier is not None
    (footing,) = [item for item in bill.earlier.vanished if item.key == FOOTING]
    assert (footing.rate, footing.note) == (171.5, "firm to June")
    assert {"rate", "note"} <= footing.typed
    told = {(text.sheet, text.text) for text in bill.earlier.kept}
    assert ("Dimensions", "measured twice?") in told
    assert ("Elements", "see drawing 12") in told
    assert ("My checks", "=Bill!F6") in told
    assert any("Footing of the pump" in text and "0.4" in text for _, text in told)
    assert {markup.name: markup.percent for markup in bill.markups}["Contingency"] == 7.5
    built = {line.resource.name: line.resource for p in bill.build_ups for line in p.rate.build_up.components}  # type: ignore[union-attr]
    assert built["concretor"].price == 36.5
    (own,) = typed.sheets
    assert own.cells[0, 1] == 7.2
    assert own.cells[1, 1] == "=B1*2"


def test_an_edited_bill_is_carried_through_a_revision(edited: Path, tmp_path: Path) -> None:
    typed = read_previous(edited)
    bill = bill_of(revised(), typed)
    assert_nothing_lost(bill, typed)
    kinds = {finding.kind for finding in bill.findings}
    assert {"items-new", "item-vanished", "typed-text-kept"} <= kinds
    new = {item.key for item in items_of(bill).values() if item.mark == "new"}
    assert any(key.startswith("concrete.column.") for key in new)
    assert not any(key.startswith("concrete.wall.") for key in new)


def test_it_is_all_there_after_two_more_runs(edited: Path, tmp_path: Path) -> None:
    typed = read_previous(edited)
    for number in range(2):
        bill = bill_of(revised(), typed)
        path = tmp_path / f"run{number}.xlsx"
        write_workbook(path, revised(), bill, RUN)
        typed = read_previous(path)
    assert_nothing_lost(bill_of(revised(), typed), typed)


def test_what_had_vanished_comes_back_with_its_rate(edited: Path, tmp_path: Path) -> None:
    bill = bill_of(revised(), read_previous(edited))
    write_workbook(tmp_path / "without.xlsx", revised(), bill, RUN)
    again = bill_of(small_building(), read_previous(tmp_path / "without.xlsx"))
    footing = items_of(again)[FOOTING]
    assert (footing.rate, footing.note) == (171.5, "firm to June")
    assert footing.mark.startswith("back again")


@pytest.mark.skipif(OFFICE is None, reason="LibreOffice is not installed")
def test_a_bill_that_libreoffice_saved_is_read_the_same(edited: Path, tmp_path: Path) -> None:
    subprocess.run(
        [str(OFFICE), f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}", "--headless", "--convert-to",
         "xlsx", "--outdir", str(tmp_path / "saved"), str(edited)],
        check=True, capture_output=True, timeout=300,
    )  # fmt: skip
    saved = read_previous(tmp_path / "saved" / edited.name)
    assert_nothing_lost(bill_of(revised(), saved), saved)
    first = read_previous(edited)
    assert saved.items == first.items
    assert saved.hand_dimensions == first.hand_dimensions
    assert (saved.percents, saved.prices) == (first.percents, first.prices)


@pytest.mark.skipif(OFFICE is None, reason="LibreOffice is not installed")
def test_the_revised_bill_calculates_to_the_cent(edited: Path, tmp_path: Path) -> None:
    typed = read_previous(edited)
    # No program has calculated the person's sheet yet: its value is not known here.
    (own,) = typed.sheets
    typed = replace(typed, sheets=(replace(own, stored={(1, 1): 14.4}),))
    write_workbook(tmp_path / "revised.xlsx", revised(), bill_of(revised(), typed), RUN)
    shown = recalculated(tmp_path / "revised.xlsx", tmp_path)
    assert shown["My checks"]["B2"].value == 14.4
    assert assert_same(tmp_path / "revised.xlsx", shown) > 100


def test_a_bill_that_nobody_touched_says_nothing(tmp_path: Path) -> None:
    write_workbook(tmp_path / "a.xlsx", small_building(), bill_of(small_building()), RUN)
    typed = read_previous(tmp_path / "a.xlsx")
    assert not any(item.typed for item in typed.items.values())
    assert (typed.hand_items, typed.hand_dimensions, typed.percents, typed.kept, typed.sheets) == (
        (),
        (),
        {},
        (),
        (),
    )
    plain = bill_of(small_building())
    again = bill_of(small_building(), typed)
    assert again.grand_total == plain.grand_total
    assert again.sections == plain.sections


@pytest.mark.parametrize("arrange", ["element", "storey"])
def test_typed_rates_follow_into_another_arrangement(edited: Path, arrange: str) -> None:
    bill = bill_of(revised(), read_previous(edited), arrange=arrange, storeys=("Ground",))
    walls = [item for item in items_of(bill).values() if item.rate_key == WALLS]
    assert [item.rate for item in walls] == [189.0]
    assert [item.amount for item in hand_lines(bill).values()] == [0.0, 1027.5, 2500.0, 450.0]


def test_rows_may_be_sorted_columns_put_between_and_items_copied(tmp_path: Path) -> None:
    write_workbook(tmp_path / "a.xlsx", small_building(), bill_of(small_building()), RUN)
    book = openpyxl.load_workbook(tmp_path / "a.xlsx")
    bill = book["Bill"]
    lines = rows(bill)
    put(bill, lines[WALLS], Rate=199)
    copy = bill.max_row + 2
    for column in range(1, bill.max_column + 1):
        bill.cell(copy, column).value = bill.cell(lines[WALLS], column).value
    put(bill, copy, Description="Walls of the annexe", Quantity=3)
    bill.insert_cols(3)
    bill.cell(4, 3).value = "Cost code"
    bill.cell(lines[WALLS], 3).value = "W-07"
    elements = book["Elements"]
    wide = elements.max_column
    for column in range(1, wide + 1):
        one, other = elements.cell(5, column), elements.cell(6, column)
        one.value, other.value = other.value, one.value
    book.save(tmp_path / "b.xlsx")
    typed = read_previous(tmp_path / "b.xlsx")
    assert typed.items[WALLS].rate == 199.0
    assert typed.items[WALLS].typed == {"rate", "note"}
    assert typed.items[WALLS].note == "Cost code: W-07"
    assert [item.key for item in typed.items.values() if item.typed] == [WALLS]
    (hand,) = typed.hand_items
    assert (hand.description, hand.quantity, hand.rate, hand.key) == ("Walls of the annexe", 3.0, 199.0, "")
    assert [text for text in typed.kept if text.sheet == "Elements"] == []


def _typed(change: Callable[[Workbook], None], folder: Path) -> dict[str, Item]:
    """The items of a new bill after `change` was done to an earlier one, in which WALLS was priced at 201."""
    write_workbook(folder / "a.xlsx", small_building(), bill_of(small_building()), RUN)
    book = openpyxl.load_workbook(folder / "a.xlsx")
    put(book["Bill"], rows(book["Bill"])[WALLS], Rate=201, Notes="firm")
    change(book)
    book.save(folder / "b.xlsx")
    made = bill_of(small_building(), read_previous(folder / "b.xlsx"))
    write_workbook(folder / "c.xlsx", small_building(), made, RUN)
    return items_of(made)


def _move(sheet: Worksheet, heading: str, to: int) -> None:
    """Move a column by its heading, as cutting and inserting it does."""
    place = headings(sheet)[heading]
    values = [sheet.cell(row, place).value for row in range(1, sheet.max_row + 1)]
    sheet.delete_cols(place)
    sheet.insert_cols(to)
    for row, value in enumerate(values, 1):
        sheet.cell(row, to).value = value


@pytest.mark.parametrize(
    "change",
    [
        lambda sheet: sheet.delete_cols(headings(sheet)["Dimension rows"]),
        lambda sheet: sheet.delete_cols(headings(sheet)["Unit"]),
        lambda sheet: sheet.delete_cols(headings(sheet)["Item key"]),
        lambda sheet: _move(sheet, "Notes", 3),
        lambda sheet: _move(sheet, "Rate", 2),
        lambda sheet: (sheet.insert_cols(3, 2), _move(sheet, "Description", 1)),
        lambda sheet: (sheet.delete_cols(headings(sheet)["Quantity"]), sheet.insert_rows(1, 3)),
    ],
)
def test_columns_may_be_moved_and_deleted(tmp_path: Path, change: Callable[[Worksheet], object]) -> None:
    made = _typed(lambda book: change(book["Bill"]) and None, tmp_path)
    before = items_of(bill_of(small_building()))
    assert (made[WALLS].rate, made[WALLS].note) == (201.0, "firm")
    others = {key: item.rate for key, item in made.items() if key != WALLS}
    assert others == {key: item.rate for key, item in before.items() if key != WALLS}


@pytest.mark.parametrize(
    ("written", "rate", "note"),
    [
        ("201.50", 201.5, "firm"),
        (" 180 ", 180.0, "firm"),
        ("included", None, "firm; rate: included"),
        ("1.250,50", None, "firm; rate: 1.250,50"),
        ("='Elsewhere'!B2", None, "firm; rate: ='Elsewhere'!B2"),
        (None, None, "firm"),
    ],
)
def test_what_stands_in_place_of_a_rate(
    tmp_path: Path, written: str | None, rate: float | None, note: str
) -> None:
    """A figure stored as text is one; words leave the item without a rate, and never with that of the file."""
    made = _typed(lambda book: put(book["Bill"], rows(book["Bill"])[WALLS], Rate=written), tmp_path)
    assert (made[WALLS].rate, made[WALLS].note) == (rate, note)
    again = items_of(bill_of(small_building(), read_previous(tmp_path / "c.xlsx")))
    assert (again[WALLS].rate, again[WALLS].note) == (rate, note)


def test_a_description_that_was_emptied_is_composed_again(tmp_path: Path) -> None:
    made = _typed(lambda book: put(book["Bill"], rows(book["Bill"])[WALLS], Description=None), tmp_path)
    assert made[WALLS].description == items_of(bill_of(small_building()))[WALLS].description


def test_a_note_that_looks_like_marks_is_a_note(tmp_path: Path) -> None:
    made = _typed(lambda book: put(book["Bill"], rows(book["Bill"])[WALLS], Notes="~item|x:...."), tmp_path)
    assert (made[WALLS].rate, made[WALLS].note) == (201.0, "~item|x:....")


@pytest.mark.parametrize("sheet", ["Bill", "Dimensions"])
def test_a_sheet_without_its_heading_row_is_refused(tmp_path: Path, sheet: str) -> None:
    with pytest.raises(InputError, match=f"the sheet {sheet} has lost its heading row") as fault:
        _typed(lambda book: book[sheet].delete_rows(4), tmp_path)
    assert "\n" not in str(fault.value)


def test_an_office_s_own_column_is_kept_in_its_place(tmp_path: Path) -> None:
    look = shipped_look()
    own = look.bill[0].model_copy(update={"name": "Trade code", "own": True})
    look = Look.model_validate({**look.model_dump(), "bill": [own, *look.bill]})
    write_workbook(tmp_path / "a.xlsx", small_building(), bill_of(small_building()), RUN, look)
    book = openpyxl.load_workbook(tmp_path / "a.xlsx")
    bill = book["Bill"]
    assert bill.cell(4, 1).value == "Trade code"
    put(bill, rows(bill)[WALLS], Trade_code="033000")
    book.save(tmp_path / "b.xlsx")
    for name in ("b.xlsx", "c.xlsx"):
        again = bill_of(revised(), read_previous(tmp_path / name))
        write_workbook(tmp_path / "c.xlsx", revised(), again, RUN, look)
        shown = openpyxl.load_workbook(tmp_path / "c.xlsx")["Bill"]
        assert shown.cell(rows(shown)[WALLS], 1).value == "033000"


def test_a_quantity_typed_over_is_told_and_the_measured_one_stands(tmp_path: Path) -> None:
    write_workbook(tmp_path / "a.xlsx", small_building(), bill_of(small_building()), RUN)
    book = openpyxl.load_workbook(tmp_path / "a.xlsx")
    put(book["Bill"], rows(book["Bill"])[WALLS], Quantity=99)
    book.save(tmp_path / "b.xlsx")
    bill = bill_of(small_building(), read_previous(tmp_path / "b.xlsx"))
    assert items_of(bill)[WALLS].quantity == pytest.approx(5.7)
    assert bill.earlier is not None
    assert [(text.place, text.heading, text.text) for text in bill.earlier.kept] == [
        (WALLS, "Quantity", "99")
    ]
    assert any(
        finding.kind == "typed-text-kept" and finding.severity == "warning" for finding in bill.findings
    )


def make_zip(path: Path) -> None:
    book = Workbook()
    book.save(path)


@pytest.mark.parametrize(
    ("make", "told"),
    [
        (lambda path: None, "cannot be read (No such file or directory)"),
        (lambda path: path.write_text("no workbook"), "is no workbook (.xlsx)"),
        (make_zip, "has no sheets Bill and Dimensions"),
    ],
)
def test_what_is_no_bill_is_refused(tmp_path: Path, make: Callable[[Path], object], told: str) -> None:
    make(tmp_path / "x.xlsx")
    with pytest.raises(InputError) as fault:
        read_previous(tmp_path / "x.xlsx")
    assert str(fault.value).startswith(f"{tmp_path / 'x.xlsx'}: {told}")


def test_a_bill_without_its_marks_is_refused(tmp_path: Path) -> None:
    write_workbook(tmp_path / "a.xlsx", small_building(), bill_of(small_building()), RUN)
    book = openpyxl.load_workbook(tmp_path / "a.xlsx")
    for sheet in book.worksheets:
        sheet.delete_cols(sheet.max_column)
    book.save(tmp_path / "b.xlsx")
    with pytest.raises(InputError, match="holds no bill items with their marks"):
        read_previous(tmp_path / "b.xlsx")


def test_another_currency_or_other_units_are_refused(edited: Path) -> None:
    typed = read_previous(edited)
    with pytest.raises(InputError, match="the earlier bill is in crowns and this one in units"):
        bill_of(revised(), replace(typed, currency="crowns"))
    with pytest.raises(InputError, match="the earlier bill is imperial and this one metric"):
        bill_of(revised(), replace(typed, units="imperial"))


def test_only_a_bill_that_nobody_saved_may_be_replaced(edited: Path, tmp_path: Path) -> None:
    write_workbook(tmp_path / "a.xlsx", small_building(), bill_of(small_building()), RUN)
    require_untouched(tmp_path / "a.xlsx")
    require_untouched(tmp_path / "not-there.xlsx")
    with pytest.raises(InputError, match="somebody has worked in this workbook since it was written"):
        require_untouched(edited)
    (tmp_path / "b.xlsx").write_text("letter")
    with pytest.raises(InputError, match="is there already and is no workbook"):
        require_untouched(tmp_path / "b.xlsx")
    shutil.copy(edited, tmp_path / "c.xlsx")
    with pytest.raises(InputError, match="give it as --previous"):
        require_untouched(tmp_path / "c.xlsx", "give it as --previous")


MODEL = Path(__file__).parent.parent / "sample_models" / "archive-ifc4.ifc"
ALTERNATIVES = MODEL.with_name("alternatives.toml")


@pytest.mark.parametrize("command", ["bill", "changes", "compare"])
def test_no_command_replaces_a_workbook_that_somebody_worked_in(
    command: str, edited: Path, tmp_path: Path
) -> None:
    out = Path(shutil.copy(edited, tmp_path / "out.xlsx"))
    held = out.read_bytes()
    more = {"changes": [str(MODEL)], "compare": ["--alternatives", str(ALTERNATIVES)]}.get(command, [])
    said = CliRunner().invoke(main, [command, str(MODEL), *more, "--out", str(out), "-q"])
    assert said.exit_code == 1
    assert "somebody has worked in this workbook" in said.output
    assert out.read_bytes() == held


def test_the_earlier_bill_is_replaced_only_when_asked(tmp_path: Path) -> None:
    out = tmp_path / "out.xlsx"
    write_workbook(out, small_building(), bill_of(small_building()), RUN)
    held = out.read_bytes()
    arguments = ["bill", str(MODEL), "--previous", str(out), "--out", str(tmp_path / "." / "out.xlsx"), "-q"]
    said = CliRunner().invoke(main, arguments)
    assert (said.exit_code, out.read_bytes()) == (1, held)
    assert "is what the run reads" in said.output
    compared = CliRunner().invoke(main, ["changes", str(out), str(MODEL), "--out", str(out)])
    assert (compared.exit_code, out.read_bytes()) == (1, held)
    assert CliRunner().invoke(main, [*arguments, "--overwrite"]).exit_code == 0
    assert out.read_bytes() != held


def test_what_was_typed_for_an_item_in_another_unit_is_kept_aside(tmp_path: Path) -> None:
    """Edges by area in one convention and by length in another: the rate fits no more, and is not lost."""
    write_workbook(tmp_path / "a.xlsx", small_building(), bill_of(small_building()), RUN)
    book = openpyxl.load_workbook(tmp_path / "a.xlsx")
    put(book["Bill"], rows(book["Bill"])[WALLS], Rate=201, Notes="firm")
    book.save(tmp_path / "b.xlsx")
    typed = read_previous(tmp_path / "b.xlsx")
    other = {key: replace(item, unit="m") if key == WALLS else item for key, item in typed.items.items()}
    bill = bill_of(small_building(), replace(typed, items=other))
    assert items_of(bill)[WALLS].mark == "unit was m"
    assert bill.earlier is not None
    kept = {(text.place, text.heading, text.text) for text in bill.earlier.kept}
    assert kept == {(WALLS, "rate by m", "201.0"), (WALLS, "note by m", "firm")}
    assert "typed-text-kept" in {finding.kind for finding in bill.findings}
