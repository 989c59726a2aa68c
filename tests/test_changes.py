"""What a revision did: by element, item and reason, between measurements, folders and bills."""

import csv
from collections.abc import Mapping
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner
from msgspec.structs import replace
from outputs_sample import RUN
from pricing_rows import MODEL, form, part, small_building, steel
from test_outputs_recalculation import OFFICE, assert_same, recalculated

from takeoff.billing import load_billing
from takeoff.cli import main
from takeoff.findings import InputError
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.records import Measurement
from takeoff.measuring.whereabouts import Place
from takeoff.outputs.changes.book import write_changes
from takeoff.outputs.changes.tables import write_change_tables
from takeoff.outputs.places import places_in
from takeoff.outputs.run_folders import read_run_folder
from takeoff.outputs.tables import write_tables
from takeoff.outputs.workbook import write_workbook
from takeoff.outputs.workbook.previous.side import read_bill
from takeoff.outputs.workbook.words import load_words
from takeoff.pricing.change_records import Changes, Side
from takeoff.pricing.changes import check_sides, find_changes
from takeoff.pricing.markups import apply_markups, load_markups
from takeoff.pricing.money import exact_sum
from takeoff.pricing.records import Bill
from takeoff.settings import Settings
from takeoff.sides import side_of
from takeoff.templates import template_path

WALLS = "concrete.wall.cast-in-place.c30-37.150-300"


def price(measurement: Measurement, rates: Path | None = None, units: str = "metric") -> Bill:
    return load_billing(Settings(rates=rates, units=units)).price(measurement)


def side(
    measurement: Measurement,
    name: str = "old",
    places: Mapping[ElementKey, Place] | None = None,
    convention: str = "net a1",
    rates: Path | None = None,
    units: str = "metric",
) -> Side:
    return side_of(name, measurement, places or {}, price(measurement, rates, units), convention)


def edit(measurement: Measurement, **changed: Mapping[str, object]) -> Measurement:
    """The measurement with fields of some parts changed, by GlobalId."""
    return replace(
        measurement,
        parts=tuple(replace(row, **changed.get(row.global_id, {})) for row in measurement.parts),  # type: ignore[arg-type]
    )


def assert_adds_up(changes: Changes) -> None:
    """Money of the lines, by item and in all, is the difference of the amounts to the cent."""
    for item in changes.items:
        lines = [line.money for line in changes.lines if line.item == item.key]
        assert exact_sum(lines) == pytest.approx(item.money, abs=1e-9)
        assert exact_sum(item.by_reason.values()) == pytest.approx(item.money, abs=1e-9)
    totals = [exact_sum(item.amount or 0 for item in s.items.values()) for s in (changes.new, changes.old)]
    assert exact_sum(line.money for line in changes.lines) == pytest.approx(totals[0] - totals[1], abs=1e-6)


def test_nothing_changed_is_nothing() -> None:
    changes = find_changes(side(small_building()), side(small_building(), "new"))
    assert (changes.elements, changes.items, changes.lines, changes.by_reason) == ((), (), (), {})
    assert changes.unchanged == 9


def test_each_reason_is_told_apart() -> None:
    first = small_building()
    longer = edit(
        first,
        wall1={"strength_class": "C40/50"},
        wall2={"net_volume_m3": 4.5, "gross_volume_m3": 4.5, "length_m": 7.5},
        panel={"method": "precast"},
    )
    forms = [
        replace(row, area_m2=25.0) if row.category == "wall-side" and row.global_id == "wall1" else row
        for row in longer.formwork
    ]
    new = replace(
        longer,
        parts=(
            *(row for row in longer.parts if row.global_id != "footing"),
            part("col", "column", "cast-in-place", 0.8),
        ),
        formwork=(
            *(row for row in forms if row.global_id != "footing"),
            form("col", "column", "column-side", 5.0),
        ),
        surfaces=tuple(row for row in longer.surfaces if row.global_id != "footing"),
        reinforcement=tuple(
            replace(row, mass_kg=200.0) if row.global_id == "topping" else row
            for row in longer.reinforcement
            if row.global_id != "footing"
        ),
    )
    new = edit(new, topping={"reinforcement_kg": 200.0})
    old = edit(first, topping={"reinforcement_kg": 160.0})
    changes = find_changes(side(old), side(new, "new"))
    reasons = {change.name: change.reason for change in changes.elements}
    assert reasons["foundation footing"] == "removed"
    assert reasons["column col"] == "added"
    assert reasons["wall wall1"] == "material"
    assert reasons["wall wall2"] == "dimension"
    assert reasons["wall panel"] == "method"
    assert reasons["slab topping"] == "reinforcement"
    told = {change.name: change.what for change in changes.elements}
    assert told["wall wall2"] == "length 5.000 m to 7.500 m; gross volume 3.000 m3 to 4.500 m3"
    assert told["wall panel"] == "method tilt-up to precast"
    assert_adds_up(changes)
    moved = {
        line.item: line for line in changes.lines if line.new == (MODEL, "wall1") and "concrete" in line.item
    }
    assert {key: (line.old_quantity, line.new_quantity) for key, line in moved.items()} == {
        WALLS: (2.7, 0.0),
        WALLS.replace("c30-37", "c40-50"): (0.0, 2.7),
    }
    (wall2,) = [line for line in changes.lines if line.item == WALLS and line.new == (MODEL, "wall2")]
    rate = changes.old.items[WALLS].rate
    assert rate is not None
    assert wall2.money == round(1.5 * rate, 2)


def test_what_only_the_surroundings_or_the_convention_did() -> None:
    first = small_building()
    less = replace(
        first,
        formwork=tuple(
            replace(row, area_m2=20.0) if row.global_id == "wall2" and row.category == "wall-side" else row
            for row in first.formwork
        ),
    )
    for convention, reason in (("net a1", "surroundings"), ("own b2", "convention")):
        changes = find_changes(side(first), side(less, "new", convention=convention))
        assert {line.reason for line in changes.lines} == {reason}
        assert changes.by_reason == {reason: exact_sum(line.money for line in changes.lines)}
        assert_adds_up(changes)


def test_a_rate_that_changed_is_money_without_quantity(tmp_path: Path) -> None:
    dearer = tmp_path / "rates.csv"
    text = template_path("rates.csv").read_text(encoding="utf-8")
    dearer.write_text(text.replace("finish.top.*.to-3_5,m2,8.00,7.04", "finish.top.*.to-3_5,m2,8.50,7.04"))
    changes = find_changes(side(small_building()), side(small_building(), "new", rates=dearer))
    assert [(line.item, line.reason, line.money) for line in changes.lines] == [
        ("finish.top.slab.to-3_5", "rate", 10.0)
    ]
    assert changes.elements == ()
    assert_adds_up(changes)


def test_renewed_ids_are_found_by_shape_and_place() -> None:
    first = small_building()
    places = {
        (MODEL, row.global_id): Place((n * 10.0, 0.0, 0.0), (n * 10.0 + 5, 0.2 + n / 10, 3.0))
        for n, row in enumerate(first.parts)
    }
    renamed = replace(
        first, **{
            name: tuple(replace(row, global_id=f"new-{row.global_id}") for row in getattr(first, name))
            for name in ("parts", "formwork", "surfaces", "holes", "reinforcement")
        },
    )  # fmt: skip
    fresh = {(model, f"new-{global_id}"): place for (model, global_id), place in places.items()}
    changes = find_changes(side(first, places=places), side(renamed, "new", fresh))
    assert (changes.matching.added, changes.matching.removed) == ((), ())
    assert len(changes.matching.renewed) == 9
    assert sum(finding.kind == "element-matched" for finding in changes.findings) == 9


def renewed(first: Measurement, shared: Mapping[str, str]) -> Changes:
    """The building again with other GlobalIds, dimensions of `shared` elements filed under their partners."""
    places = {
        (MODEL, row.global_id): Place((n * 10.0, 0.0, 0.0), (n * 10.0 + 5, 0.2 + n / 10, 3.0))
        for n, row in enumerate(first.parts)
    }
    old = side(first, places=places)
    new = replace(
        old,
        name="new",
        parts=tuple(replace(row, global_id=f"new-{row.global_id}") for row in old.parts),
        places={(model, f"new-{global_id}"): place for (model, global_id), place in places.items()},
        dimensions=tuple(
            replace(row, global_id=f"new-{shared.get(row.global_id, row.global_id)}")
            for row in old.dimensions
        ),
    )
    return find_changes(old, new)


def test_what_elements_share_may_stand_under_any_of_them_where_ids_were_renewed() -> None:
    changes = renewed(small_building(), {"wall1": "wall2", "wall2": "wall1"})
    assert (changes.elements, changes.items, changes.lines) == ((), (), ())
    assert changes.unchanged == 9
    (told,) = [finding for finding in changes.findings if finding.kind == "lines-refiled"]
    assert told.severity == "note"


def test_an_element_that_is_not_counted_any_more_says_so() -> None:
    nothing = {
        "net_volume_m3": None, "gross_volume_m3": None, "length_m": None, "width_m": None, "height_m": None,
        "formwork_m2": None, "reinforcement_kg": None, "condition": "the same body as W2",
    }  # fmt: skip
    changes = find_changes(
        side(small_building()), side(edit(small_building(), wall2=nothing), "new", convention="net a1")
    )
    (wall,) = [change for change in changes.elements if change.name == "wall wall2"]
    assert (wall.reason, wall.what) == (
        "surroundings",
        "counted before, not counted (the same body as W2) now",
    )


def test_the_workbook_is_in_the_units_and_words_of_the_bills(tmp_path: Path) -> None:
    first = small_building()
    second = edit(first, wall2={"net_volume_m3": 4.5, "gross_volume_m3": 4.5, "length_m": 7.5})
    changes = find_changes(side(first, units="imperial"), side(second, "new", units="imperial"))
    words = tmp_path / "words.toml"
    words.write_text('[words]\n"dimension" = "Abmessung"\n"changed" = "anders"\n"Reason" = "Grund"\n')
    write_changes(tmp_path / "c.xlsx", changes, {}, None, load_words(words))
    book = openpyxl.load_workbook(tmp_path / "c.xlsx", data_only=True)
    sheet = book["Elements"]
    cells = {str(head.value): cell.value for head, cell in zip(sheet[4], sheet[5], strict=True)}
    assert cells["What differs"] == "length 16'-4 7/8\" to 24'-7 1/4\"; gross volume 3.924 yd3 to 5.886 yd3"
    assert (cells["Status"], cells["Grund"]) == ("anders", "Abmessung")
    assert cells["New net yd3"] - cells["Old net yd3"] == pytest.approx(1.5 / 0.9144**3)
    texts = [cell.value for sheet in book for row in sheet.iter_rows() for cell in row if cell.value]
    assert not [text for text in texts if str(text).endswith((" m", " m2", " m3", " kg"))]
    if OFFICE is not None:
        assert assert_same(tmp_path / "c.xlsx", recalculated(tmp_path / "c.xlsx", tmp_path)) > 20


def test_markups_typed_into_a_bill_are_in_the_grand_totals(tmp_path: Path) -> None:
    path = bill_file(tmp_path / "a.xlsx", small_building())
    book = openpyxl.load_workbook(path)
    sheet = book["Summary"]
    row = next(n for n in range(1, 60) if sheet.cell(n, 2).value == "Preliminaries")
    sheet.cell(row, 3).value = 15
    book.save(tmp_path / "b.xlsx")
    changes = find_changes(read_bill(path), read_bill(tmp_path / "b.xlsx"))
    bill = price(small_building())
    assert changes.old.grand_total == bill.grand_total
    plan = load_markups(template_path("markups.toml"))
    rules = [
        rule.model_copy(update={"percent": 15.0} if rule.name == "Preliminaries" else {})
        for rule in plan.markup
    ]
    expected = apply_markups(bill.net_total, plan.model_copy(update={"markup": tuple(rules)}))[1]
    assert changes.new.grand_total == expected
    write_changes(tmp_path / "c.xlsx", changes, {})
    shown = openpyxl.load_workbook(tmp_path / "c.xlsx", data_only=True)["Summary"]
    totals = {str(shown.cell(n, 2).value).partition(",")[0]: shown.cell(n, 5).value for n in range(5, 9)}
    assert totals["Net total of the items"] == 0
    assert totals["Markups on it"] == totals["Grand total"] == pytest.approx(expected - bill.grand_total)


def test_an_imperial_bill_reads_back_its_sizes(tmp_path: Path) -> None:
    """Feet and inches are rounded to a sixteenth: that is no change, half an inch is."""
    first = small_building()
    longer = edit(first, wall1={"length_m": (first.parts[1].length_m or 0.0) + 0.0127})
    write_workbook(tmp_path / "a.xlsx", first, price(first, units="imperial"), RUN)
    old = read_bill(tmp_path / "a.xlsx")
    same = find_changes(old, replace(side(first, "new", units="imperial"), convention=old.convention))
    assert (same.elements, same.lines) == ((), ())
    moved = find_changes(old, replace(side(longer, "new", units="imperial"), convention=old.convention))
    assert [(change.name, change.reason) for change in moved.elements] == [("wall wall1", "dimension")]


def test_bills_in_two_arrangements_are_compared_without_their_groups() -> None:
    measurement = small_building()
    by_storey = load_billing(Settings(arrange="storey")).price(measurement, ("Ground", "Upper"))
    plain = side(measurement)
    grouped = replace(
        plain,
        name="new",
        items={
            item.key: item
            for section in by_storey.sections
            for item in section.items
        },
        dimensions=by_storey.dimensions,
    )  # fmt: skip
    assert any("@" in key for key in grouped.items)
    changes = find_changes(plain, grouped)
    assert changes.elements == ()
    assert {line.reason for line in changes.lines} <= {"rounding"}
    assert [finding.kind for finding in changes.findings if "arrang" in finding.kind] == [
        "arrangement-differs"
    ]
    assert_adds_up(changes)


def test_money_and_units_must_be_the_same() -> None:
    old, new = side(small_building()), side(small_building(), "new")
    with pytest.raises(InputError, match="old is in units and new in crowns; money cannot be compared"):
        check_sides(old, replace(new, currency="crowns"))
    with pytest.raises(InputError, match="old is metric and new imperial; write both in the same units"):
        check_sides(old, replace(new, units="imperial"))


def test_a_folder_read_back_is_the_measurement(tmp_path: Path) -> None:
    places = {(MODEL, "wall1"): Place((0.1, 0.2, 0.3), (1.0, 2.0, 3.0), (0.0, 0.1, 0.2), (0.3, 0.0, 1e-17))}
    measurement = replace(
        small_building(), reinforcement=(*small_building().reinforcement, steel("x", "wall", 1 / 3))
    )
    write_tables(tmp_path / "m", measurement, RUN, places)
    held = read_run_folder(tmp_path / "m")
    assert replace(held.measurement, counts={}) == measurement
    assert places_in(tmp_path / "m") == places


def test_what_is_no_folder_of_tables_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is no folder that takeoff measure wrote"):
        read_run_folder(tmp_path)
    write_tables(tmp_path / "m", small_building(), RUN)
    text = (tmp_path / "m" / "elements.csv").read_text(encoding="utf-8")
    (tmp_path / "m" / "elements.csv").write_text(text.replace(",6.0,", ",six,", 1), encoding="utf-8")
    with pytest.raises(InputError, match=r"elements\.csv, line 2, gross_volume_m3: `six` is not a number"):
        read_run_folder(tmp_path / "m")
    (tmp_path / "m" / "elements.csv").unlink()
    with pytest.raises(InputError, match=r"elements\.csv is missing"):
        read_run_folder(tmp_path / "m")


def bill_file(path: Path, measurement: Measurement) -> Path:
    run = {**RUN, "inputs": [{"what": "convention", "file": "net.toml", "sha256": "ab" * 32}]}
    write_workbook(path, measurement, price(measurement), run)
    return path


def test_two_bills_are_compared_as_their_measurements_are(tmp_path: Path) -> None:
    first = small_building()
    second = edit(first, wall2={"net_volume_m3": 4.5, "gross_volume_m3": 4.5, "length_m": 7.5})
    old, new = (read_bill(bill_file(tmp_path / f"{n}.xlsx", m)) for n, m in enumerate((first, second)))
    assert old.convention == "net " + "ab" * 32
    changes = find_changes(old, new)
    expected = find_changes(side(first), side(second, "new"))
    assert [(change.name, change.reason, change.money) for change in changes.elements] == [
        (change.name, change.reason, change.money) for change in expected.elements
    ]
    assert changes.by_reason == expected.by_reason
    assert_adds_up(changes)


def test_hand_work_in_a_bill_is_a_reason_of_its_own(tmp_path: Path) -> None:
    path = bill_file(tmp_path / "a.xlsx", small_building())
    book = openpyxl.load_workbook(path)
    sheet = book["Bill"]
    column = {cell.value: cell.column for cell in sheet[4]}
    row = next(n for n in range(5, sheet.max_row) if sheet.cell(n, column["Item key"]).value == WALLS)
    sheet.cell(row, column["Rate"]).value = 200
    for name, value in (("Description", "Pumping"), ("Unit", "h"), ("Quantity", 10), ("Rate", 50)):
        sheet.cell(sheet.max_row + (name == "Description"), column[name]).value = value
    dimensions = book["Dimensions"]
    dimensions.append([])
    end = dimensions.max_row + 1
    dimensions.cell(end, 8).value, dimensions.cell(end, 14).value = 2.0, WALLS
    book.save(tmp_path / "b.xlsx")
    changes = find_changes(read_bill(path), read_bill(tmp_path / "b.xlsx"))
    old_rate = changes.old.items[WALLS].rate
    assert old_rate is not None
    assert changes.by_reason["by hand"] == pytest.approx(500 + round(2 * old_rate, 2), abs=0.011)
    assert changes.by_reason["rate"] == pytest.approx((200 - old_rate) * 7.7, abs=0.011)
    assert_adds_up(changes)


def sample_changes() -> Changes:
    first = small_building()
    second = edit(first, wall2={"net_volume_m3": 4.567, "length_m": 7.5}, panel={"method": "precast"})
    return find_changes(side(first), side(second, "new"))


def test_the_tables_hold_every_change(tmp_path: Path) -> None:
    changes = sample_changes()
    write_change_tables(tmp_path / "c", changes, {"program": "takeoff"})
    found = {}
    for name in ("elements", "items", "lines"):
        with (tmp_path / "c" / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
            found[name] = list(csv.DictReader(stream))
    assert len(found["elements"]) == len(changes.elements) == 2
    assert len(found["items"]) == len(changes.items)
    money = [exact_sum(float(row["money"]) for row in found[name]) for name in ("items", "lines")]
    assert money[0] == pytest.approx(money[1])
    assert money[1] == pytest.approx(sum(changes.by_reason.values()))


@pytest.mark.skipif(OFFICE is None, reason="LibreOffice is not installed")
def test_the_workbook_calculates_to_what_it_says(tmp_path: Path) -> None:
    write_changes(tmp_path / "c.xlsx", sample_changes(), {"version": "0", "created": "2031-01-01"})
    book = recalculated(tmp_path / "c.xlsx", tmp_path)
    assert book.sheetnames == ["Summary", "Items", "Elements", "Lines", "Findings"]
    assert assert_same(tmp_path / "c.xlsx", book) > 60


def test_the_command_compares_a_model_with_its_folder(tmp_path: Path) -> None:
    """The real model, measured now and as an earlier run left it: the same, found unchanged."""
    model = Path(__file__).parent.parent / "sample_models" / "archive-ifc4.ifc"
    runner = CliRunner()
    first = runner.invoke(main, ["measure", str(model), "--out", str(tmp_path / "m"), "-q"])
    assert first.exit_code == 0, first.output
    arguments = [
        "changes",
        str(tmp_path / "m"),
        str(model),
        "--out",
        str(tmp_path / "c.xlsx"),
        "--csv",
        str(tmp_path / "csv"),
    ]
    second = runner.invoke(main, arguments)
    assert second.exit_code == 0, second.output
    assert "0 added, 0 removed, 0 changed, " in second.output
    assert (tmp_path / "csv" / "elements.csv").read_text().count("\n") == 1
    mixed = runner.invoke(
        main, ["changes", str(tmp_path / "m"), str(tmp_path), "--out", str(tmp_path / "d.xlsx")]
    )
    assert mixed.exit_code == 1
    assert "is no folder that takeoff measure wrote" in mixed.output
