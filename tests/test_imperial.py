"""Bills in yards, feet and pounds: figures against the exact factors, bands, words, pages."""

import re
import zipfile
from pathlib import Path

import openpyxl
import pytest
from outputs_sample import RUN
from pricing_rows import items_of, small_building, write

from takeoff.billing import load_billing
from takeoff.findings import InputError
from takeoff.measuring.convention import band, load_convention
from takeoff.outputs.summary import summary_lines
from takeoff.outputs.unit_view import shown_in
from takeoff.outputs.workbook import write_workbook
from takeoff.pipeline import bill
from takeoff.pricing.records import Bill
from takeoff.pricing.schemes import load_scheme
from takeoff.pricing.scoring import make_score
from takeoff.pricing.unit_systems import IMPERIAL, SIXTEENTH, feet_and_inches, metres_of, unit_system
from takeoff.settings import Settings, load_settings
from takeoff.templates import template_path

ROOT = Path(__file__).resolve().parents[1]
YARD, FOOT, POUND = 0.9144, 0.3048, 0.45359237


def bill_in(units: str) -> Bill:
    return load_billing(Settings(units=units)).price(small_building(), ("Ground",))


@pytest.mark.parametrize(
    ("metres", "shown"),
    [
        (6.0, "19'-8 1/4\""),
        (0.3048, "1'-0\""),
        (0.2, '7 7/8"'),
        (0.0254 / 16, '1/16"'),
        (0.0254 / 33, '0"'),
        (0.3048 - 0.0254 / 64, "1'-0\""),
        (3.6576 + 0.0254 * 3.5, "12'-3 1/2\""),
        (-0.1, '-3 15/16"'),
        (2.75, "9'-0 1/4\""),
    ],
)
def test_sizes_in_feet_and_inches_to_a_sixteenth(metres: float, shown: str) -> None:
    assert feet_and_inches(metres) == shown
    back = metres_of(shown)
    assert back is not None
    assert abs(back - metres) <= SIXTEENTH / 2 + 1e-12


@pytest.mark.parametrize("text", ["", '"', "19'-8", "19'-\"", '8 1/0"', "6.000 m", 'wall 3" thick'])
def test_what_is_no_size_in_feet_and_inches(text: str) -> None:
    assert metres_of(text) is None


def test_factors_are_those_of_the_yard_and_the_pound() -> None:
    assert IMPERIAL.factor("m3") == pytest.approx(1 / YARD**3, rel=1e-15)
    assert IMPERIAL.factor("m2") == pytest.approx(1 / FOOT**2, rel=1e-15)
    assert IMPERIAL.factor("t") == pytest.approx(1000 / POUND / 2000, rel=1e-15)
    with pytest.raises(InputError, match="units `cubits`: not known; choose metric or imperial"):
        unit_system("cubits")


def test_quantities_are_the_metric_ones_in_other_units() -> None:
    """By unit over the whole bill, since bands divide the items elsewhere."""
    sums: dict[str, dict[str, float]] = {}
    for units in ("metric", "imperial"):
        bill = bill_in(units)
        items = items_of(bill)
        sums[units] = {}
        for row in bill.dimensions:
            unit = items[row.item].unit
            sums[units][unit] = sums[units].get(unit, 0.0) + row.quantity
    factors = {"m3": ("yd3", 1 / YARD**3), "m2": ("ft2", 1 / FOOT**2), "m": ("ft", 1 / FOOT)}
    factors |= {"t": ("ton", 1000 / POUND / 2000), "nr": ("nr", 1.0)}
    assert set(sums["metric"]) <= set(factors)
    for unit, (name, factor) in factors.items():
        assert sums["imperial"][name] == pytest.approx(sums["metric"][unit] * factor, abs=2e-5)


def test_keys_bands_and_words_are_imperial() -> None:
    items = items_of(bill_in("imperial"))
    texts = " ".join(item.description for key, item in items.items() if not key.endswith(".bar.12"))
    assert not re.search(r"\d (mm|m|m2|m3|t)\b", texts)
    delivery = next(item for key, item in items.items() if key.startswith("precast.delivery"))
    assert delivery.unit == "ton"
    assert "short tons" in delivery.description
    assert all(item.rate is not None for key, item in items.items() if not key.startswith("unresolved"))


def test_bands_of_the_imperial_convention_are_round_feet_and_inches() -> None:
    bands = load_convention(template_path("conventions/imperial.toml")).bands
    assert band(bands.wall_thickness_mm, 12 * 25.4) == "6-12"
    assert band(bands.wall_thickness_mm, 12.1 * 25.4) == "12-18"
    assert band(bands.height_to_soffit_m, 10 * FOOT) == "to 10"
    assert band(bands.hole_area_m2, 60 * FOOT**2) == "over 50"


def test_ground_words_are_the_same_in_all_conventions() -> None:
    grounds = [
        load_convention(path).ground for path in template_path("conventions/net.toml").parent.glob("*.toml")
    ]
    assert len(grounds) >= 3
    assert all(ground == grounds[0] for ground in grounds)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (
            ("slab_thickness_in", "slab_thickness_mm"),
            "bands.slab_thickness_mm: the file says imperial units; write",
        ),
        (("yd3 = 2", "m3 = 2"), "rounding.m3: the file says imperial units; write yd3"),
        (
            ("[6, 12, 18]", "[12, 6, 18]"),
            "bands.slab_thickness_mm: must be positive and ascending",
        ),
        (("[6, 12, 18]", '["6"]'), "bands.slab_thickness_mm: must be a list of numbers"),
    ],
)
def test_faults_in_an_imperial_convention(tmp_path: Path, change: tuple[str, str], told: str) -> None:
    text = template_path("conventions/imperial.toml").read_text(encoding="utf-8")
    path = write(tmp_path, "own.toml", text.replace(*change, 1))
    with pytest.raises(InputError) as fault:
        load_convention(path)
    assert str(fault.value).startswith(f"{path}: {told}")


def test_units_and_convention_must_agree() -> None:
    with pytest.raises(InputError, match="convention net: its bands are metric and the bill is imperial"):
        load_billing(Settings(units="imperial", convention=template_path("conventions/net.toml")))


def test_metric_rates_do_not_price_an_imperial_bill() -> None:
    billing = load_billing(Settings(units="imperial", rates=template_path("rates.csv")))
    with pytest.raises(InputError, match=r"rates\.csv, line \d+: unit m3 .* is measured in yd3"):
        billing.price(small_building())


def test_the_page_is_letter_unless_said_otherwise() -> None:
    assert Settings(units="imperial").paper == "letter"
    assert Settings().paper == "a4"
    assert load_settings(None, {"units": "imperial", "paper": "a4"}).paper == "a4"


def test_records_are_shown_in_the_units_of_the_bill() -> None:
    shown = shown_in(small_building(), IMPERIAL)
    assert shown.parts[0].net_volume_m3 == pytest.approx(6.0 / YARD**3)
    assert shown.pieces[0].length_m == pytest.approx(3.75 / FOOT)
    assert shown.reinforcement[0].mass_kg == pytest.approx(480 / POUND)
    assert shown.reinforcement[1].diameter_mm == 12.0


def test_the_workbook_is_imperial_throughout(tmp_path: Path) -> None:
    path = tmp_path / "imperial.xlsx"
    write_workbook(path, small_building(), bill_in("imperial"), {**RUN, "paper": "letter"})
    book = openpyxl.load_workbook(path, data_only=True)
    headings = [str(cell.value) for sheet in book.worksheets for cell in sheet[4] if cell.value]
    written = [text for text in headings if not text.startswith("~")]
    assert [text for text in written if re.search(r"\b(m|m2|m3|kg|mm)$", text)] == ["Diameter mm"]
    assert {"Net yd3", "Form ft2", "Steel lb"} <= set(written)
    elements = book["Elements"]
    length = next(cell.column for cell in elements[4] if cell.value == "Length ft")
    assert elements.cell(5, length).value == "19'-8 1/4\""
    dimensions = book["Dimensions"]
    notes = [row[9].value for row in dimensions.iter_rows(min_row=5)]
    assert any(str(note).startswith("19'-8 1/4\" x 6'-6 3/4\" x 1'-7 11/16\"") for note in notes)
    live = openpyxl.load_workbook(path)["Dimensions"]
    assert any("/27" in str(row[7].value) for row in live.iter_rows(min_row=5))
    with zipfile.ZipFile(path) as package:
        pages = [package.read(name).decode() for name in package.namelist() if "worksheets/sheet" in name]
    assert all('paperSize="1"' in page or "paperSize" not in page for page in pages)


def test_no_text_of_a_whole_imperial_bill_speaks_in_metric(tmp_path: Path) -> None:
    """Findings, notes, allowances, checks and the working of the score, on every sheet, and the closing words.

    Diameters stay those of the bars in the model."""
    settings = Settings(units="imperial", scoring=Path("example"), cache=False)
    run = bill([ROOT / "sample_models" / "archive-ifc2x3.ifc"], settings)
    assert run.bill is not None
    score = make_score(run.measurement, load_scheme(settings.file("scoring")), run.bill)
    path = tmp_path / "imperial.xlsx"
    write_workbook(path, run.measurement, run.bill, run.record, score=score)
    texts = [
        cell.value
        for sheet in openpyxl.load_workbook(path, data_only=True)
        for row in sheet.iter_rows()
        for cell in row
        if isinstance(cell.value, str) and not cell.value.startswith("~")
    ]
    texts += summary_lines(run.measurement, run.bill, all_kinds=True)
    spoken = re.compile(r"(?<![\w/])\d[\d.,]* ?(m|mm|m2|m3|t|kg)(?![\w$])|\b(kg/m[23]|m2|m3|kg|mm)\b")
    metric = {text for text in texts if spoken.search(re.sub(r"(?i)bars?, \d+ mm|diameter mm", "", text))}
    assert metric == set()
    assert any("lb/yd3" in text for text in texts)
    assert any("short tons" in text for text in texts)
