"""The closing words for a terminal."""

from msgspec.structs import replace
from outputs_sample import part, sample_bill, sample_measurement, sample_shares

from takeoff.findings import Finding
from takeoff.measuring.records import Measurement
from takeoff.outputs.summary import WIDTH, summary_lines


def test_roles_methods_and_totals_are_told() -> None:
    lines = summary_lines(sample_measurement())
    table = [line.split() for line in lines[:5]]
    assert table == [
        ["Net", "m3", "cast-in-place", "precast", "tilt-up", "unresolved", "all"],
        ["wall", "9.600", "-", "7.200", "3.300", "20.100"],
        ["slab", "12.000", "7.407", "-", "-", "19.407"],
        ["foundation", "48.123", "-", "-", "-", "48.123"],
        ["all", "69.723", "7.407", "7.200", "3.300", "87.631"],
    ]
    assert "13 elements in 13 parts, 1 of them no concrete" in lines
    assert "Formwork 107.17 m2" in lines
    assert "Reinforcement 6.254 t" in lines
    assert "6 pieces to lift in 2 shapes, 18.52 t" in lines
    assert "1 part could not be measured" in lines
    assert not [line for line in lines if "total" in line]


def test_the_price_says_when_it_is_incomplete() -> None:
    measurement = sample_measurement()
    bill = sample_bill(measurement)
    lines = summary_lines(measurement, bill)
    price = next(line for line in lines if line.startswith("Net total"))
    assert price == f"Net total {bill.net_total:,.2f} units, grand total {bill.grand_total:,.2f} units"
    assert "INCOMPLETE: 1 item without a rate, not in the totals" in lines
    complete = summary_lines(measurement, replace(bill, unpriced=()))
    assert not [line for line in complete if "INCOMPLETE" in line]


def test_shares_come_with_or_without_a_bill() -> None:
    measurement = sample_measurement()
    shares = sample_shares(measurement)
    text = "\n".join(summary_lines(measurement, shares=shares))
    assert "17.3% of volume" in text
    assert "63.6% of pieces" in text
    assert "Prefabricated" not in "\n".join(summary_lines(measurement))


def test_the_foremost_findings_are_told_by_kind() -> None:
    lines = summary_lines(sample_measurement(), sample_bill(sample_measurement()))
    start = lines.index("To look at: 1 error, 4 warnings, 1 note")
    kinds = [line.split()[:3] for line in lines[start + 1 :]]
    assert kinds == [
        ["1", "error", "not-measured"],
        ["2", "warning", "ratio-unusual"],
        ["1", "warning", "material-missing"],
        ["1", "warning", "item-unpriced"],
        ["1", "note", "method-assumed"],
    ]
    more = tuple(Finding("note", f"kind-{n}", "m", "g", "text") for n in range(9))
    lines = summary_lines(Measurement(findings=more))
    assert lines[-1].strip() == "and 4 further kinds; all of them with -v"


def test_no_line_is_wider_than_a_terminal_nor_steers_it() -> None:
    wide = Finding("note", "kind-" + "long-" * 40 + "\x1b[31m", "m", "g", "text", worth=1e15, worth_unit="m3")
    parts = tuple(part(f"wall{n}", "wall", method, 1e9) for n, method in enumerate(("precast", "tilt-up")))
    measurement = replace(sample_measurement(), parts=parts, findings=(wide,))
    bill = replace(sample_bill(measurement), currency="a very long name of a currency " * 3)
    lines = summary_lines(measurement, bill)
    assert max(map(len, lines)) == WIDTH
    assert "\x1b" not in "".join(lines)


def test_nothing_measured_is_said() -> None:
    lines = summary_lines(Measurement())
    assert lines[0] == "No concrete was measured."
    assert lines[-1] == "Nothing to look at."


def test_what_hangs_on_a_kind_is_told_in_its_unit_and_in_money() -> None:
    measurement = sample_measurement()
    counted = Finding(
        "warning", "bearing-not-shown", "m", "g", "text", worth=1.0, worth_unit="pieces", money=12.5
    )
    measured = Finding("note", "method-assumed", "m", "g", "text", worth=1.25, worth_unit="m3", money=1234.5)
    findings = (counted, measured)
    bill = replace(sample_bill(measurement), findings=findings)
    lines = summary_lines(replace(measurement, findings=()), bill)
    assert "      1  warning bearing-not-shown (1 piece, 12.50 units)" in lines
    assert "      1  note    method-assumed (1.25 m3, 1,234.50 units)" in lines
    # without a bill no money is told
    unpriced = summary_lines(replace(measurement, findings=findings))
    assert "      1  note    method-assumed (1.25 m3)" in unpriced
