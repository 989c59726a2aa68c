"""The working of a score as two CSV tables: points by part and system, and every quantity behind them."""

import csv
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from msgspec.structs import astuple

from takeoff.pricing.scoring import Score, ScoreSource

WORKING = "score.csv"
QUANTITIES = "score-quantities.csv"
COLUMNS = (
    "code", "title", "measure", "system", "quantity", "unit", "weight", "weighted", "share", "points_of", "points",
    "basis",
)  # fmt: skip


def write_score_tables(folder: Path, score: Score) -> None:
    """Write both tables into a folder that is there."""
    _write(folder / WORKING, COLUMNS, working(score))
    _write(folder / QUANTITIES, ScoreSource.__struct_fields__, (astuple(source) for source in score.sources))


def working(score: Score) -> Iterator[Sequence[object]]:
    """A row for each part and bonus, under each part its systems, at the end the sums as capped."""
    for part in score.parts:
        weighted = sum(line.weighted for line in part.lines)
        yield (
            part.code, part.title, part.measure, "", part.quantity, part.unit, None, weighted, part.share,
            part.available, part.points, part.basis,
        )  # fmt: skip
        for line in part.lines:
            yield (
                part.code, "", "", line.system, line.quantity, part.unit, line.weight, line.weighted,
                None, None, None, "",
            )  # fmt: skip
    for bonus in score.bonuses:
        most = max(points for _, points in bonus.steps)
        yield (
            bonus.code, bonus.title, bonus.measure, "", bonus.total, bonus.unit, None, bonus.repeated, bonus.share,
            most, bonus.points, "",
        )  # fmt: skip
    for title, most, points in (
        ("Parts together", score.most_parts, score.part_points),
        ("Bonuses together", score.most_bonus, score.bonus_points),
        (f"Score by {score.name}", score.most, score.total),
    ):
        yield ("", title, "", "", None, "", None, None, None, most, points, "")


def _write(path: Path, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    with path.open("w", encoding="utf-8", errors="replace", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\r\n")
        writer.writerow(columns)
        writer.writerows(["" if value is None else value for value in row] for row in rows)
