"""Items by trade, element and storey; edges, reveals and rounding by the convention; all of it recalculated."""

import subprocess
from itertools import product
from pathlib import Path

import openpyxl
import pytest
from msgspec.structs import replace
from outputs_sample import RUN
from pricing_rows import form, items_of, part, small_building
from test_outputs_recalculation import OFFICE, assert_same

from takeoff.billing import load_billing
from takeoff.findings import InputError
from takeoff.measuring.convention import load_convention
from takeoff.measuring.records import Measurement
from takeoff.outputs.workbook import write_workbook
from takeoff.pricing.choices import Choices, choices_of
from takeoff.pricing.money import exact_sum
from takeoff.pricing.records import Bill
from takeoff.settings import Settings
from takeoff.templates import template_path

STOREYS = ("Cellar", "Ground", "Roof")


def two_storeys() -> Measurement:
    first = small_building()
    parts = tuple(replace(row, storey="Cellar") if row.global_id == "footing" else row for row in first.parts)
    walls = (part("high", "wall", "cast-in-place", 1.234567, storey="Roof", size_band="150-300"),)
    return replace(
        first,
        parts=(*parts, *walls),
        formwork=(*first.formwork, form("high", "wall", "wall-side", 12.345678, storey="Roof")),
    )


def bill_by(arrange: str, units: str = "metric") -> Bill:
    return load_billing(Settings(arrange=arrange, units=units)).price(two_storeys(), STOREYS)


def test_every_dimension_is_in_every_arrangement() -> None:
    rows = [
        sorted(
            (row.item.partition("@")[0], row.global_id, row.quantity) for row in bill_by(arrange).dimensions
        )
        for arrange in ("trade", "element", "storey")
    ]
    assert rows[0] == rows[1] == rows[2]


def test_sections_are_trades_elements_or_storeys_in_their_order() -> None:
    titles = {
        arrange: [section.title for section in bill_by(arrange).sections]
        for arrange in ("trade", "element", "storey")
    }
    assert titles["trade"][:3] == ["Cast-in-place concrete", "Formwork", "Reinforcement"]
    assert titles["element"][:3] == ["Foundations", "Slabs", "Walls"]
    assert titles["storey"][:3] == ["Cellar", "Ground", "Roof"]
    assert titles["element"][-1] == titles["storey"][-1] == "Unresolved elements, not priced"


def test_items_keep_their_rates_and_numbers_follow_the_section() -> None:
    by_trade = items_of(bill_by("trade"))
    bill = bill_by("storey")
    for section in bill.sections:
        for number, item in enumerate(section.items, 1):
            assert item.number == f"{section.code}.{number}"
            assert item.rate == by_trade[item.rate_key].rate
    walls = [
        item
        for item in items_of(bill).values()
        if item.rate_key == "concrete.wall.cast-in-place.c30-37.150-300"
    ]
    assert [(item.key.partition("@")[2], item.quantity) for item in walls] == [
        ("ground", 5.7),
        ("roof", 1.235),
    ]


def test_an_element_s_own_items_keep_their_keys() -> None:
    """Where the key names the role already, rates typed by key fit in either arrangement."""
    items = items_of(bill_by("element"))
    assert "concrete.wall.cast-in-place.c30-37.150-300" in items
    assert "tilt-up.bed@wall" in items


def test_another_arrangement_is_refused() -> None:
    with pytest.raises(InputError, match="arrangement `colour`: not known; choose trade, element, storey"):
        choices_of(load_convention(template_path("conventions/net.toml")), arrange="colour")


def with_choices(measurement: Measurement, **choices: object) -> Bill:
    billing = load_billing(Settings())
    return replace(billing, choices=Choices(**choices)).price(measurement)  # type: ignore[arg-type]


def test_edges_by_length_within_their_depth_bands() -> None:
    deep = form(
        "footing", "foundation", "foundation-side", 30.0, band="over 1500", length_m=15.0, depth_m=2.0
    )
    measurement = replace(small_building(), formwork=(*small_building().formwork, deep))
    by_area, by_length = (items_of(with_choices(measurement, edges=edges)) for edges in ("area", "length"))
    assert by_area["formwork.slab-edge.plane.to-250"].quantity == 1.8
    assert "formwork.slab-edge.plane.to-250" not in by_length
    edge = by_length["formwork.by-length.slab-edge.plane.to-250"]
    assert (edge.quantity, edge.unit) == (18.0, "m")
    assert edge.rate is not None
    assert by_length["formwork.by-length.foundation-side.plane.300-600"].quantity == 16.0
    # Deeper than the last band a length says too little: by area there.
    assert by_length["formwork.foundation-side.plane.over-1500"].quantity == 30.0


def test_reveals_apart_or_with_the_walls() -> None:
    apart, together = (items_of(with_choices(small_building(), reveals_apart=flag)) for flag in (True, False))
    assert apart["formwork.opening-reveal.plane"].quantity == 0.8
    assert apart["formwork.wall-side.plane"].quantity == 58.0
    assert not any(key.startswith("formwork.opening-reveal") for key in together)
    assert together["formwork.wall-side.plane"].quantity == 58.8


def test_quantities_are_rounded_as_the_convention_says() -> None:
    convention = load_convention(template_path("conventions/voids-left-in.toml"))
    choices = choices_of(convention)
    assert [choices.digits_for(unit) for unit in ("m3", "m2", "m", "t", "kg", "nr")] == [2, 1, 1, 3, 0, 6]
    measurement = Measurement(
        parts=(part("a", "wall", "cast-in-place", 1.005), part("b", "wall", "cast-in-place", 2.0))
    )
    bill = with_choices(measurement, digits={"m3": 2})
    (item,) = [item for item in items_of(bill).values() if item.key.startswith("concrete")]
    # Half away from zero: the binary sum of 1.005 and 2 lies just under the half.
    assert item.quantity == 3.01
    assert item.amount == round(3.01 * (item.rate or 0), 2)
    assert (
        exact_sum(share.total for share in bill.shares if (share.by, share.measure) == ("all", "value"))
        == item.amount
    )


@pytest.fixture(scope="module")
def calculated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """All bills, calculated by one run of LibreOffice from files without stored values."""
    if OFFICE is None:
        pytest.skip("LibreOffice is not installed")
    folder = tmp_path_factory.mktemp("arrangements")
    emptied = folder / "emptied"
    emptied.mkdir()
    for arrange, units in product(("trade", "element", "storey"), ("metric", "imperial")):
        path = folder / f"{arrange}-{units}.xlsx"
        write_workbook(path, two_storeys(), bill_by(arrange, units), RUN)
        openpyxl.load_workbook(path).save(emptied / path.name)
    ties(folder)
    openpyxl.load_workbook(folder / "ties.xlsx").save(emptied / "ties.xlsx")
    subprocess.run(
        [OFFICE, f"-env:UserInstallation={(folder / 'profile').as_uri()}", "--headless", "--convert-to", "xlsx",
         "--outdir", str(folder / "calculated"), *map(str, sorted(emptied.glob("*.xlsx")))],
        check=True, capture_output=True, timeout=600,
    )  # fmt: skip
    return folder


def ties(folder: Path) -> None:
    """Quantities that end on half of the last decimal, in every digit that a binary sum may miss."""
    parts = tuple(
        part(f"w{n}-{m}", "wall", "cast-in-place", volume, strength_class=f"C{n}")
        for n in range(1, 120)
        for m, volume in enumerate((n + 0.1, 0.305 + n / 100, 1.0))
    )
    bill = with_choices(Measurement(parts=parts), digits={"m3": 2, "t": 3})
    halves = [item for item in items_of(bill).values() if item.key.startswith("concrete.wall")]
    assert len(halves) > 100
    write_workbook(folder / "ties.xlsx", Measurement(parts=parts), bill, RUN)


@pytest.mark.parametrize(
    "name",
    [*(f"{a}-{u}" for a, u in product(("trade", "element", "storey"), ("metric", "imperial"))), "ties"],
)
def test_libreoffice_calculates_what_the_engine_says(calculated: Path, name: str) -> None:
    book = openpyxl.load_workbook(calculated / "calculated" / f"{name}.xlsx", data_only=True)
    assert assert_same(calculated / f"{name}.xlsx", book) > 150
