"""A run with its score by a scheme of points, where the settings name one."""

from typing import TYPE_CHECKING, Any

from msgspec.structs import replace

from takeoff.runs import Run
from takeoff.settings import Settings

if TYPE_CHECKING:
    from takeoff.pricing.schemes import Scheme
    from takeoff.pricing.scoring import BonusScore, PartScore, Score


def scheme_of(settings: Settings) -> "Scheme | None":
    """The scheme that the settings name, read before anything is measured. Raises InputError where it is wrong."""
    if settings.scoring is None:
        return None
    from takeoff.pricing.schemes import load_scheme

    return load_scheme(settings.file("scoring"))


def with_score(run: Run, scheme: "Scheme | None", settings: Settings) -> Run:
    """The run with its score, the score's findings and its entry in the record; the run itself without a scheme."""
    if scheme is None:
        return run
    from takeoff.pricing.scoring import make_score
    from takeoff.questions import asked, load_questions

    score = make_score(run.measurement, scheme, run.bill)
    score = replace(score, findings=asked(score.findings, load_questions(settings.file("questions"))))
    measured = replace(
        run.measured,
        measurement=replace(run.measurement, findings=(*run.measurement.findings, *score.findings)),
    )
    kinds = dict(run.record["counts"]["findings"])
    for finding in score.findings:
        kinds[finding.kind] = kinds.get(finding.kind, 0) + 1
    counts = {**run.record["counts"], "findings": dict(sorted(kinds.items()))}
    record = {**run.record, "counts": counts, "score": score_record(score)}
    return replace(run, measured=measured, score=score, record=record)


def score_record(score: "Score") -> dict[str, Any]:
    """What the record of a run says of a score: the points of each part and bonus, and the sums with their caps."""
    shown: list[PartScore | BonusScore] = [*score.parts, *score.bonuses]
    return {
        "scheme": score.name,
        "notice": score.notice,
        "file": score.file,
        "parts": [
            {"code": entry.code, "title": entry.title, "measure": entry.measure, "share": entry.share,
             "points": entry.points}
            for entry in shown
        ],
        "parts_points": score.part_points,
        "bonus_points": score.bonus_points,
        "points": score.total,
        "most": score.most,
    }  # fmt: skip
