"""Many small models: the time of each, and what an unchanged one costs. By hand:

    python -m tests.bench_nightly FOLDER [MODELS]

Prints JSON lines. The first night measures all, the second finds all unchanged, the third one changed.
"""

import json
import resource
import shutil
import statistics
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from nightly_nights import Nights, write_wall

from takeoff.nightly.job import NightlyJob
from takeoff.nightly.workers import LocalWorkers

AT_ONCE = 2


def tell(**figures: object) -> None:
    print(json.dumps(figures), flush=True)


def cpu() -> float:
    """Seconds of this process and of those that it started and waited for."""
    own, children = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return own.ru_utime + own.ru_stime + children.ru_utime + children.ru_stime


def night(nights: Nights, number: float, what: str, models: int) -> float:
    """A pass with its report, timed."""
    began, worked = time.perf_counter(), cpu()
    finished, report = nights.night(number)
    seconds, work = time.perf_counter() - began, cpu() - worked
    assert finished is not None
    assert report is not None
    tell(
        night=what, models=models, measured=finished.measured, unchanged=finished.unchanged, failed=finished.failed,
        seconds=round(seconds, 2), seconds_per_model=round(seconds / models, 5), cpu_per_model=round(work / models, 5),
        memory_mb=resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024,
        history_mb=round((nights.out / "history.sqlite").stat().st_size / 2**20, 1),
    )  # fmt: skip
    return seconds


def main() -> None:
    """The nights, and the median overhead of an unchanged model over five passes."""
    root, count = Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1000
    shutil.rmtree(root, ignore_errors=True)
    nights = Nights(
        root, NightlyJob(settle_seconds=0, models_at_once=AT_ONCE), crew=lambda: LocalWorkers(AT_ONCE)
    )
    for number in range(count):
        write_wall(
            nights.folder / f"block-{number // 50:03d}" / f"wall-{number:04d}.ifc", 1.0 + number / 100.0
        )
    night(nights, 0, "all new", count)
    unchanged = [night(nights, 1 + number, "all unchanged", count) for number in range(5)]
    write_wall(nights.folder / "block-000" / "wall-0000.ifc", 50.0)
    night(nights, 7, "one changed", count)
    tell(overhead_per_unchanged_model_ms=round(statistics.median(unchanged) / count * 1000, 3))


if __name__ == "__main__":
    main()
