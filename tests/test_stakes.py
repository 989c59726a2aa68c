"""What hangs on findings: quantities, money of the bill, and the question to the designer for every kind."""

from pathlib import Path

import pytest
from msgspec.structs import replace
from pricing_rows import items_of

from takeoff import pipeline
from takeoff.findings import Finding, InputError
from takeoff.measuring.records import JointRow, MeasuredPart, Measurement
from takeoff.measuring.stakes import with_stakes
from takeoff.outputs.finding_groups import group_findings
from takeoff.pricing.records import Bill, Dimension, Item, Section
from takeoff.pricing.stakes import stakes_of, with_money
from takeoff.questions import OFFICE, asked, load_questions
from takeoff.settings import Settings

SAMPLE = Path(__file__).resolve().parents[1] / "sample_models" / "archive-ifc4.ifc"


def finding(
    kind: str, global_id: str, worth: float | None = None, unit: str = "", model: str = "m"
) -> Finding:
    return Finding("warning", kind, model, global_id, "words", worth=worth, worth_unit=unit)


def part(global_id: str, volume: float, **more: object) -> MeasuredPart:
    return MeasuredPart(
        "m", global_id, 1, "IfcWall", "W", "", "", "G", "wall", "", "cast-in-place", "", "", "",
        net_volume_m3=volume, **more,
    )  # fmt: skip


def small_bill() -> tuple[Measurement, Bill]:
    """Two walls of 4 and 6 m3 at 100 a m3; the first has 20 m2 of form at 30 and 200 kg of steel at 2."""
    from takeoff.measuring.records import FormworkRow, ReinforcementRow

    measurement = Measurement(
        parts=(part("a", 4.0, reinforcement_kg=200.0), part("b", 6.0), part("c", 0.0)),
        formwork=(FormworkRow("m", "a", 1, "wall", "G", "wall-side", "plane", "", None, 20.0, None),),
        reinforcement=(
            ReinforcementRow("m", "a", 1, "wall", "G", "allowance", "bar", None, 200.0, 0.0, 0.0, ""),
        ),
    )
    items = (
        Item("concrete.wall", "A1", "Walls", "", "m3", 10.0, 100.0, 1000.0, source="parts"),
        Item("formwork.wall", "B1", "Walls", "", "m2", 20.0, 30.0, 600.0, source="formwork"),
        Item("reinforcement.wall", "C1", "Walls", "", "t", 0.2, 2000.0, 400.0, source="reinforcement"),
        Item("open", "D1", "Walls", "", "m2", 5.0, None, None, source="surfaces"),
    )
    rows = (("concrete.wall", "a", 4.0), ("concrete.wall", "b", 6.0), ("formwork.wall", "a", 20.0))
    rows += (("reinforcement.wall", "a", 0.2), ("open", "a", 5.0))
    dimensions = tuple(Dimension(item, "m", name, 1, "G", "", quantity) for item, name, quantity in rows)
    return measurement, Bill((Section("A", "All", items),), dimensions, 2000.0, (), 2000.0, "", (), ())


@pytest.mark.parametrize(
    ("told", "money"),
    [
        (finding("overlap-resolved", "a", 1.0, "m3"), 100.0),  # a quarter of the wall, its concrete alone
        (finding("method-assumed", "a", 4.0, "m3"), 1400.0),  # all of it: 400 + 600 + 400
        (finding("declared-volume-differs", "b", 50.0, "m3"), 600.0),  # never more than the element costs
        (finding("seat-assumed", "a", 0.5, "m2"), 15.0),  # 0.5 m2 x 30
        (finding("seat-assumed", "b", 0.5, "m2"), 15.0),  # no form of its own: at the model's mean price
        (finding("reinforcement-partial", "a", 50.0, "kg"), 100.0),
        (finding("reinforcement-by-allowance", "", 200.0, "kg"), 400.0),
        (finding("voids-left-in", "", 1.0, "m3"), 100.0),
        (finding("piece-not-divided", "b", 15.0, "t"), 600.0),
        (finding("mark-made", "", 7.0, "pieces"), None),
        (finding("parse-faults", ""), None),
        (finding("overlap-resolved", "gone", 1.0, "m3"), None),
        (finding("item-unpriced", "", 5.0, "m2", model=""), None),
        (finding("duplicate", "c", 2.0, "m3"), 200.0),  # counted elsewhere: at the model's mean price
    ],
)
def test_money_that_hangs_on_a_finding(told: Finding, money: float | None) -> None:
    (priced,) = with_money([told], stakes_of(*small_bill()))
    assert priced.money == (None if money is None else pytest.approx(money, abs=0.005))


@pytest.mark.parametrize(("by_volume", "money"), [(True, 10.0), (False, None)])
def test_only_grout_hangs_on_how_wide_a_joint_is(by_volume: bool, money: float | None) -> None:
    joint = JointRow("m", "a", 1, "b", 1, "slab", 2.0, 10.0, 0.01, "G", grout_m3=0.2)
    grout = Item("grout", "E1", "Joints", "", "m3", 0.2, 100.0, 20.0, source="joints")
    tops = Item("tops", "E2", "Joints", "", "m2", 100.0, 3.0, 300.0, source="joints")
    items = (grout, tops) if by_volume else (tops,)
    dimensions = tuple(Dimension(item.key, "m", "a", 1, "G", "", item.quantity) for item in items)
    bill = Bill((Section("E", "Joints", items),), dimensions, 0.0, (), 0.0, "", (), ())
    told = finding("joint-drawn-closed", "", 0.1, "m3")
    (priced,) = with_money([told], stakes_of(Measurement(joints=(joint,)), bill))
    assert priced.money == (None if money is None else pytest.approx(money))


def test_what_is_at_stake_is_the_element_where_nothing_nearer_is_known() -> None:
    measurement, _ = small_bill()
    told = (
        finding("material-missing", "b"),
        finding("reinforcement-ratio-unusual", "a"),
        finding("overlap-resolved", "a", 0.5, "m3"),
        finding("parse-faults", ""),
        finding("material-missing", "gone"),
    )
    found = with_stakes(replace(measurement, findings=told))
    assert [(one.worth, one.worth_unit) for one in found] == [
        (6.0, "m3"), (200.0, "kg"), (0.5, "m3"), (None, ""), (None, ""),
    ]  # fmt: skip


def test_the_dearest_stands_first_and_one_element_counts_once() -> None:
    told = [
        replace(finding("b-kind", "a", 9.0, "m3"), money=10.0),
        replace(finding("a-kind", "a", 1.0, "m3"), money=50.0),
        replace(finding("a-kind", "a", 1.0, "m3"), money=70.0),
        replace(finding("a-kind", "b", 1.0, "m3"), money=5.0),
    ]
    kinds = group_findings(told)
    assert [(kind.kind, kind.money) for kind in kinds] == [("a-kind", 75.0), ("b-kind", 10.0)]
    assert [one.money for one in kinds[0].findings] == [70.0, 50.0, 5.0]


def test_a_whole_bill_says_worth_money_and_question() -> None:
    run = pipeline.bill([SAMPLE], Settings(cache=False))
    assert run.bill is not None
    found = {one.kind: one for one in (*run.measurement.findings, *run.bill.findings)}
    assert all(one.ask for one in found.values())
    examples = found["rates-are-examples"]
    assert examples.ask.startswith(OFFICE)
    priced = sum(i.amount or 0.0 for i in items_of(run.bill).values() if "example" in i.rate_source)
    assert examples.money == pytest.approx(priced, abs=0.01)
    assumed = found["method-assumed"]
    volume = sum(p.net_volume_m3 or 0.0 for p in run.measurement.parts if p.global_id == assumed.global_id)
    assert (assumed.worth, assumed.worth_unit) == (pytest.approx(volume), "m3")
    rates = {key: item.rate for key, item in items_of(run.bill).items()}
    own = [row for row in run.bill.dimensions if row.global_id == assumed.global_id]
    assert assumed.money == pytest.approx(
        sum(row.quantity * (rates[row.item] or 0.0) for row in own), abs=0.01
    )


def test_questions_of_an_office(tmp_path: Path) -> None:
    own = tmp_path / "fragen.toml"
    own.write_text('method-assumed = "Wie wird das Bauteil hergestellt?"\n', encoding="utf-8")
    questions = load_questions(own)
    assert questions["method-assumed"] == "Wie wird das Bauteil hergestellt?"
    assert questions["duplicate"] == "Which of the two is to be built?"
    (told,) = asked([finding("method-assumed", "a")], questions)
    assert told.ask == "Wie wird das Bauteil hergestellt?"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('methods-assumed = "How?"', "`methods-assumed` is no kind of finding"),
        ("method-assumed = 3", "method-assumed: must be a question in quotes"),
        ('method-assumed = "How', "is no valid TOML"),
    ],
)
def test_faults_of_a_file_of_questions(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "questions.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=f"questions.toml: {said}"):
        load_questions(path)
