"""Scores by a scheme: every figure of the working recomputed by hand, and the sheet recomputed from its formulas."""

import csv
import json
import re
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner
from msgspec.structs import replace
from pricing_rows import MODEL, part, piece

from takeoff.cli import main
from takeoff.findings import InputError
from takeoff.measuring.piece_records import RepetitionRow
from takeoff.measuring.records import Measurement
from takeoff.pricing.counted import CONCRETE
from takeoff.pricing.records import Dimension, Item
from takeoff.pricing.schemes import load_scheme
from takeoff.pricing.scoring import make_score
from takeoff.pricing.values import item_values
from takeoff.templates import template_path

EXAMPLE = template_path("scoring/example.toml")


def building() -> Measurement:
    """Floors 60 m2 of planks, 30 of hollow core, 110 cast. Walls 10 m twin, 5 m tilt-up, 25 m cast. Two precast
    columns, one cast, one cast beam. Volumes: 6 + 6 + 22, twin 3 + 6 cast core, 4, 10; columns 0.5 each, beam 1.5."""
    parts = (
        part("pl", "slab", "precast", 6.0, name="Plank floor", plan_area_m2=60.0),
        part("hc", "slab", "precast", 6.0, subrole="HOLLOWCORE", plan_area_m2=30.0),
        part("cs", "slab", "cast-in-place", 22.0, plan_area_m2=110.0),
        part("tw", "wall", "precast", 1.5, length_m=10.0),
        part("tw", "wall", "cast-in-place", 6.0, part=2, length_m=10.0),
        part("tw", "wall", "precast", 1.5, part=3, length_m=10.0),
        part("tu", "wall", "tilt-up", 4.0, length_m=5.0),
        part("cw", "wall", "cast-in-place", 10.0, length_m=25.0),
        part("c1", "column", "precast", 0.5),
        part("c2", "column", "precast", 0.5),
        part("c3", "column", "cast-in-place", 0.5),
        part("b1", "beam", "cast-in-place", 1.5),
        part("un", "wall", "unresolved", 2.0, length_m=4.0),
    )
    pieces = tuple(
        piece(name, role, method, (3.0, 1.0, 0.2), parts=parts_text)
        for name, role, method, parts_text in (
            ("pl", "slab", "precast", "pl/1"),
            ("hc", "slab", "precast", "hc/1"),
            ("tw", "wall", "precast", "tw/1; tw/3"),
            ("tu", "wall", "tilt-up", "tu/1"),
            ("c1", "column", "precast", "c1/1"),
            ("c2", "column", "precast", "c2/1"),
        )
    )
    repetition = (
        RepetitionRow("pieces in groups of 5 or more", "", "nr", 8.0, 10.0, "W-1 8 times"),
        RepetitionRow("storey height", "", "m2", 160.0, 200.0, "3.000 m 2 times"),
        RepetitionRow("floor outline", "", "m2", 100.0, 200.0, "A 2 times"),
    )
    return Measurement(parts=parts, pieces=pieces, repetition=repetition)


def test_the_working_by_hand() -> None:
    score = make_score(building(), load_scheme(EXAMPLE))
    by_code = {entry.code: entry for entry in score.parts}
    lines = {
        (entry.code, line.system): (line.quantity, line.weight)
        for entry in score.parts
        for line in entry.lines
    }
    assert lines["A", "plank floor"] == (60.0, 0.7)
    assert lines["A", "hollow-core floor"] == (30.0, 1.0)
    assert lines["A", "cast in place"] == (110.0, 0.0)
    # (60 x 0.7 + 30) / 200 = 0.36 of 30 points
    assert by_code["A"].share == pytest.approx(0.36)
    assert by_code["A"].points == pytest.approx(10.8)
    # (10 x 0.8 + 5 x 0.6) / 40 = 0.275 of 30; the unresolved wall is left out
    assert lines["B", "twin wall"] == (10.0, 0.8)
    assert by_code["B"].points == pytest.approx(8.25)
    # 2 of 4 members, of 20
    assert by_code["C"].points == pytest.approx(10.0)
    # 6 + 6 + 3 + 4 x 0.8 + 1 = 19.2 of 60 m3, of 10
    assert by_code["D"].quantity == pytest.approx(60.0)
    assert by_code["D"].points == pytest.approx(3.2)
    assert score.part_points == pytest.approx(32.25)
    # 80 % of the pieces: 4; 80 % of the floor area: 2; half of the outlines: none
    assert [bonus.points for bonus in score.bonuses] == [4.0, 2.0, 0.0]
    assert score.total == pytest.approx(38.25)
    assert "no certificate" in score.notice
    assert {finding.kind for finding in score.findings} == {"score-without-unresolved"}


def test_every_quantity_is_traced_to_its_elements() -> None:
    score = make_score(building(), load_scheme(EXAMPLE))
    for entry in score.parts:
        for line in entry.lines:
            behind = [s.quantity for s in score.sources if (s.code, s.system) == (entry.code, line.system)]
            assert sum(behind) == pytest.approx(line.quantity)
    floors = {source.global_id for source in score.sources if source.code == "A"}
    assert floors == {"pl", "hc", "cs"}


def scheme_with(folder: Path, *changes: tuple[str, str]):
    text = EXAMPLE.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path = folder / "scheme.toml"
    path.write_text(text, encoding="utf-8")
    return load_scheme(path)


def test_caps_and_least_shares(tmp_path: Path) -> None:
    scheme = scheme_with(
        tmp_path, ("parts = 90", "parts = 20"), ("bonus = 10", "bonus = 5"), ("most = 100", "most = 24"),
        ("least = 0.10", "least = 0.40"),
    )  # fmt: skip
    score = make_score(building(), scheme)
    assert next(entry for entry in score.parts if entry.code == "D").points == 0.0
    assert (score.part_points, score.bonus_points, score.total) == (20.0, 5.0, 24.0)


def test_a_part_may_measure_some_roles_only(tmp_path: Path) -> None:
    scheme = scheme_with(
        tmp_path,
        ('measure = "volume"\npoints = 10', 'measure = "volume"\nrole = ["wall", "column"]\npoints = 10'),
    )
    (entry,) = [entry for entry in make_score(building(), scheme).parts if entry.code == "D"]
    # 3 + 4 x 0.8 + 1 of 9 + 4 + 10 + 1.5
    assert entry.points == pytest.approx(10 * 7.2 / 24.5)


def test_an_empty_measure_scores_nothing_and_is_told() -> None:
    score = make_score(
        Measurement(parts=(part("w", "wall", "precast", 1.0, length_m=2.0),)), load_scheme(EXAMPLE)
    )
    assert next(entry for entry in score.parts if entry.code == "A").share is None
    assert score.total == pytest.approx(30.0 + 10.0)
    (told,) = [finding for finding in score.findings if finding.kind == "score-part-empty"]
    assert "A, C, R1, R2, R3" in told.message


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('measure = "floor area"', 'measure = "floors"', "part 1"),
        ('"plank floor" = 0.7, "*"', '"plank flor" = 0.7, "*"', "plank flor"),
        ('code = "B"', 'code = "a"', "code a stands twice"),
        ("steps = [[0.5, 2], [0.75, 4]]", "steps = [[0.75, 2], [0.5, 4]]", "ascend"),
        ('name = "tilt-up"', 'name = "Twin Wall"', "two systems"),
        ("most = 100", "most = -1", "most"),
    ],
)
def test_faults_of_a_scheme_are_named(tmp_path: Path, old: str, new: str, says: str) -> None:
    with pytest.raises(InputError, match=re.escape(says)) as caught:
        scheme_with(tmp_path, (old, new))
    assert "scheme.toml" in str(caught.value)


def calculated(book: openpyxl.Workbook) -> dict[str, float]:
    """Points by code and title, from the formulas of the sheet Score alone, by a small calculator of their kind."""
    sheet, quantities = book["Score"], book["Score quantities"]
    listed = [
        (quantities.cell(row, 1).value, float(quantities.cell(row, 2).value))
        for row in range(5, quantities.max_row + 1)
        if quantities.cell(row, 1).value
    ]
    known: dict[str, float] = {}

    def value(cell: str) -> float:
        if cell not in known:
            known[cell] = number(sheet[cell].value)
        return known[cell]

    def number(text: object) -> float:
        if not isinstance(text, str):
            return float(text or 0.0)
        assert text.startswith("=")
        body = text[1:]
        if found := re.fullmatch(
            r"SUMIFS\('Score quantities'!\$B:\$B,'Score quantities'!\$A:\$A,\"(.+)\"\)", body
        ):
            return sum(figure for key, figure in listed if key == found[1])
        body = re.sub(
            r"SUM\(([A-Z])(\d+):[A-Z](\d+)\)",
            lambda m: "(" + "+".join(f"{m[1]}{n}" for n in range(int(m[2]), int(m[3]) + 1)) + ")",
            body,
        )
        body = (
            re.sub(r"\bN\(", "(", body).replace('""', "0").replace("MIN(", "min(").replace("IF(", "choose(")
        )
        body = re.sub(r"\b([A-J])(\d+)\b", lambda m: f"value('{m[0]}')", body)
        body = re.sub(r"value\('D(\d+)'\)>0,", r"value('D\1')>0, lambda:", body)
        scope = {
            "value": value,
            "min": min,
            "choose": lambda yes, one, other: (one() if callable(one) else one) if yes else other,
        }
        return float(eval(body, {"__builtins__": {}, **scope}))

    result = {}
    for row in range(5, sheet.max_row + 1):
        code, title = sheet.cell(row, 1).value, sheet.cell(row, 2).value
        if (code or title) and sheet.cell(row, 10).value is not None:
            result[str(code or title)] = value(f"J{row}")
    return result


def test_the_sheets_formulas_give_the_same_points(tmp_path: Path) -> None:
    from outputs_sample import RUN, sample_bill

    from takeoff.outputs.workbook import write_workbook

    score = make_score(building(), load_scheme(EXAMPLE))
    bill = replace(sample_bill(building()), shares=())
    path = tmp_path / "bill.xlsx"
    write_workbook(path, building(), bill, RUN, score=score)
    book = openpyxl.load_workbook(path)
    shown = openpyxl.load_workbook(path, data_only=True)["Score"]
    assert book.sheetnames[-2:] == ["Score", "Score quantities"]
    assert "no certificate" in shown["A2"].value
    points = calculated(book)
    assert points["A"] == pytest.approx(10.8)
    assert points["B"] == pytest.approx(8.25)
    assert points["C"] == pytest.approx(10.0)
    assert points["D"] == pytest.approx(3.2)
    assert [points[code] for code in ("R1", "R2", "R3")] == [4.0, 2.0, 0.0]
    assert points["Score"] == pytest.approx(38.25)
    stored = {
        str(shown.cell(row, 1).value or shown.cell(row, 2).value): shown.cell(row, 10).value
        for row in range(5, shown.max_row + 1)
    }
    assert {key: stored[key] for key in points} == pytest.approx(points)


SAMPLE = Path(__file__).parents[1] / "sample_models" / "archive-ifc4.ifc"


def test_measuring_scores_too_with_its_working_as_tables(tmp_path: Path) -> None:
    """Without prices: the table of the working adds up by hand from its own rows, and run.json says the same."""
    given = ["measure", str(SAMPLE), "--scoring", "example", "--out", str(tmp_path / "out")]
    result = CliRunner().invoke(main, given)
    assert result.exit_code == 0, result.output
    with (tmp_path / "out" / "score.csv").open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    with (tmp_path / "out" / "score-quantities.csv").open(newline="") as stream:
        quantities = list(csv.DictReader(stream))
    points = 0.0
    for entry in (row for row in rows if row["code"] in ("A", "B", "C", "D") and not row["system"]):
        lines = [row for row in rows if row["code"] == entry["code"] and row["system"]]
        own = [float(row["quantity"]) for row in quantities if row["code"] == entry["code"]]
        assert sum(own) == pytest.approx(sum(float(line["quantity"]) for line in lines))
        share = sum(float(line["quantity"]) * float(line["weight"]) for line in lines) / sum(own)
        reached = share >= (0.10 if entry["code"] == "D" else 0.0)
        points += float(entry["points_of"]) * share * reached
    points += sum(float(row["points"]) for row in rows if row["code"].startswith("R"))
    record = json.loads((tmp_path / "out" / "run.json").read_text())["score"]
    assert float(rows[-1]["points"]) == pytest.approx(record["points"]) == pytest.approx(points)
    assert f"Score {points:,.2f} of 100 points" in result.output
    assert "no certificate" in record["notice"]


def test_value_asks_for_a_bill(tmp_path: Path) -> None:
    scheme = scheme_with(tmp_path, ('measure = "volume"', 'measure = "value"'))
    found = make_score(building(), scheme).findings
    (told,) = [finding for finding in found if finding.kind == "score-without-prices"]
    assert "parts D of" in told.message
    assert all("parts D" not in finding.message for finding in found if finding.kind == "score-part-empty")


def test_the_value_in_a_score_is_the_bills_to_the_cent(tmp_path: Path) -> None:
    """Over the sample with shipped rates: the score's value is that of the share, the sum of the bill's items whose
    method is known, and every source is whole cents."""
    from takeoff import pipeline

    run = pipeline.bill([SAMPLE])
    scheme = scheme_with(tmp_path, ('measure = "volume"', 'measure = "value"'))
    score = make_score(run.measurement, scheme, run.bill)
    (entry,) = [entry for entry in score.parts if entry.measure == "value"]
    (share,) = [row for row in run.bill.shares if (row.measure, row.by) == ("value", "all")]
    assert entry.quantity == share.total > 100_000.0
    billed = [item for section in run.bill.sections for item in section.items if item.amount and item.method]
    assert share.total >= round(sum(item.amount for item in billed if item.method in CONCRETE), 2)
    own = [source.quantity for source in score.sources if source.code == entry.code]
    assert all(quantity == round(quantity, 2) for quantity in own)
    assert round(sum(own), 2) == share.total
    assert "as billed" in entry.basis
    weighed = [line for line in entry.lines if line.system not in ("cast in place",)]
    assert round(sum(line.quantity for line in weighed), 2) == share.prefabricated


def test_an_amount_is_shared_out_in_whole_cents() -> None:
    """100.00 to three equal parts: 33.34, 33.33, 33.33; a deduction likewise."""
    parts = tuple(part(name, "wall", "precast", 1.0) for name in "abc")
    rows = tuple(Dimension("k", MODEL, name, 1, "Ground", "", 1.0) for name in "abc")
    for amount in (100.0, -100.0):
        item = Item("k", "1", "", "", "m3", 3.0, amount / 3.0, amount, method="precast")
        values = item_values(Measurement(parts=parts), [item], rows)
        assert sorted(abs(float(value.amount)) for value in values) == [33.33, 33.33, 33.34]
        assert float(sum(value.amount for value in values)) == amount
    alone = item_values(Measurement(parts=parts), [item], ())
    assert [(value.part, float(value.amount)) for value in alone] == [(None, -100.0)]


def test_a_step_is_reached_but_for_rounding(tmp_path: Path) -> None:
    """Half of the area, measured with a little noise, reaches a step of 50 %, and in the sheet's formula too; a step of
    12.5 % is told as that."""
    scheme = scheme_with(tmp_path, ("steps = [[0.75, 2], [0.9, 3]]", "steps = [[0.125, 1], [0.5, 2]]"))
    for repeated, points in ((100.0 - 1e-8, 2.0), (99.9999, 1.0), (25.0 - 1e-9, 1.0), (24.999, 0.0)):
        rows = (RepetitionRow("storey height", "", "m2", repeated, 200.0, ""),)
        score = make_score(Measurement(parts=building().parts, repetition=rows), scheme)
        (bonus,) = [bonus for bonus in score.bonuses if bonus.measure == "storey height"]
        assert bonus.points == points
    from outputs_sample import RUN, sample_bill

    from takeoff.outputs.workbook import write_workbook

    path = tmp_path / "bill.xlsx"
    half = (RepetitionRow("storey height", "", "m2", 100.0 - 1e-8, 200.0, ""),)
    score = make_score(Measurement(parts=building().parts, repetition=half), scheme)
    write_workbook(path, building(), replace(sample_bill(building()), shares=()), RUN, score=score)
    book = openpyxl.load_workbook(path)
    assert calculated(book)[bonus.code] == 2.0
    assert any("1 from 12.5%, 2 from 50%" in str(cell.value) for cell in book["Score"]["C"])
