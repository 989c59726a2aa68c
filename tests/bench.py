"""Benchmark: `python -m tests.bench [MODEL...] [--runs N] [--sizes 1000,10000,50000]`, JSON lines on stdout.

For each model, side by side in one go: the floor, `measure` cold, `measure` warm and `bill` warm, each as a whole
process. The floor is what the geometry library's own iterator takes for the same concrete elements, in one process
with two threads, buffers copied to numpy. Then made towers of several sizes, and the exponents by which time and
memory grow from the smallest to the largest.

Each line has the medians of wall and processor seconds (the children's included) and the peak memory: the largest
single process (`peak_mb`) and, from a run of its own, all processes together (`peak_together_mb`).
"""

import argparse
import json
import math
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import psutil

from tests.tower import write_tower

ROOT = Path(__file__).resolve().parents[1]

TAKEOFF = [sys.executable, "-c", "from takeoff.cli import main; main()"]

FLOOR = """
import sys, ifcopenshell, ifcopenshell.geom, numpy
model = ifcopenshell.open(sys.argv[1])
wanted = [model.by_guid(key) for key in open(sys.argv[2]).read().split()]
iterator = ifcopenshell.geom.iterator(ifcopenshell.geom.settings(), model, 2, include=wanted)
count, more = 0, iterator.initialize()
while more:
    shape = iterator.get().geometry
    vertices = numpy.frombuffer(shape.verts_buffer, dtype=numpy.float64).copy()
    faces = numpy.frombuffer(shape.faces_buffer, dtype=numpy.int32).copy()
    count, more = count + 1, iterator.next()
print(count)
"""
"""The floor as a program: a model, and a file with the GlobalIds of its concrete elements."""

LOOK_SECONDS = 0.05


@dataclass(frozen=True, slots=True)
class Cost:
    """What one process and its children took."""

    seconds: float
    cpu_seconds: float
    peak_mb: float
    peak_together_mb: float


def run(command: Sequence[str], cache: Path, watched: bool = False) -> Cost:
    """Run a command with a cache folder of its own. Raises RuntimeError when it fails.

    Memory of all processes together is known of a run that is watched only, which is slowed by that.
    """
    environment = {**os.environ, "XDG_CACHE_HOME": str(cache), "PYTHONPATH": str(ROOT)}
    # An installed program is compiled once, whatever the shell of whoever runs this says of working copies.
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    environment["PYTHONPYCACHEPREFIX"] = str(Path(tempfile.gettempdir()) / f"bench-bytecode-{os.getuid()}")
    began = time.perf_counter()
    with tempfile.TemporaryFile() as errors:
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=errors, env=environment)
        together = _watch(process) if watched else 0.0
        _, status, usage = os.wait4(process.pid, 0)
        seconds = time.perf_counter() - began
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode:
            errors.seek(0)
            raise RuntimeError(f"{command[:4]}: {errors.read().decode(errors='replace')[-500:]}")
    peak = usage.ru_maxrss / 1024.0
    return Cost(seconds, usage.ru_utime + usage.ru_stime, peak, max(peak, together))


def _watch(process: "subprocess.Popen[bytes]") -> float:
    """Most memory, MB, that a process and its children held together while they ran; shared pages count once."""
    most = 0.0
    try:
        root = psutil.Process(process.pid)
        while root.status() != psutil.STATUS_ZOMBIE:
            held = 0
            for member in (root, *root.children(recursive=True)):
                try:
                    held += member.memory_full_info().pss
                except psutil.Error:
                    continue
            most = max(most, held / 2**20)
            time.sleep(LOOK_SECONDS)
    except psutil.NoSuchProcess:
        pass
    return most


def concrete_ids(out: Path) -> list[str]:
    """GlobalIds of the elements that `measure` found to be concrete, from its tables."""
    import csv

    with (out / "elements.csv").open(encoding="utf-8", newline="") as stream:
        rows = [row for row in csv.DictReader(stream) if row["method"] != "not-concrete"]
    return list(dict.fromkeys(row["global_id"] for row in rows))


def bench(model: Path, runs: int, work: Path, with_floor: bool = True) -> dict[str, object]:
    """The four figures of one model, `runs` times each, taken in turn so that a busy moment hits all alike."""
    out = work / "out"
    warm = work / "warm"
    measure = [*TAKEOFF, "measure", str(model), "--out", str(out), "-q"]
    bill = [*TAKEOFF, "bill", str(model), "--out", str(work / "bill.xlsx"), "-q"]
    run(measure, warm)
    run(bill, warm)
    ids = concrete_ids(out)
    listed = work / "ids.txt"
    listed.write_text("\n".join(ids), encoding="utf-8")
    floor = [sys.executable, "-c", FLOOR, str(model), str(listed)]
    costs: dict[str, list[Cost]] = {}
    turns = {"cold": [*measure, "--no-cache"], "warm": measure, "bill_warm": bill}
    if with_floor:
        turns = {"floor": floor, **turns}
    for _ in range(runs):
        for name, command in turns.items():
            costs.setdefault(name, []).append(run(command, warm))
    together = {name: run(command, warm, watched=True).peak_together_mb for name, command in turns.items()}
    line: dict[str, object] = {"model": model.name, "elements": len(ids), "runs": runs}
    line |= {
        name: asdict(_median(found)) | {"peak_together_mb": together[name]} for name, found in costs.items()
    }
    if with_floor:
        base = _median(costs["floor"])
        for name in ("cold", "warm", "bill_warm"):
            own = _median(costs[name])
            line[f"{name}_to_floor"] = round(own.seconds / base.seconds, 3)
            line[f"{name}_to_floor_cpu"] = round(own.cpu_seconds / base.cpu_seconds, 3)
    return line


def _median(costs: Sequence[Cost]) -> Cost:
    names = ("seconds", "cpu_seconds", "peak_mb", "peak_together_mb")
    return Cost(*(round(statistics.median(getattr(cost, name) for cost in costs), 3) for name in names))


def _growth(lines: Sequence[dict], name: str, figure: str) -> float:
    """Exponent by which a figure grows with the number of elements, from the smallest model to the largest."""
    first, last = lines[0], lines[-1]
    return round(
        math.log(last[name][figure] / first[name][figure]) / math.log(last["elements"] / first["elements"]), 3
    )


def main() -> None:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("models", nargs="*", type=Path)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--sizes", default="1000,10000,50000", help="elements of the made towers, 0 for none")
    given = parser.parse_args()
    start = [run([*TAKEOFF, "--help"], Path(tempfile.gettempdir())) for _ in range(given.runs)]
    print(json.dumps({"help": asdict(_median(start))}), flush=True)
    with tempfile.TemporaryDirectory(prefix="bench-") as folder:
        for number, model in enumerate(given.models):
            work = Path(folder) / str(number)
            work.mkdir()
            print(json.dumps(bench(model, given.runs, work)), flush=True)
        lines = []
        for size in [int(text) for text in given.sizes.split(",") if int(text)]:
            work = Path(folder) / f"tower{size}"
            work.mkdir()
            path = work / f"tower-{size}.ifc"
            write_tower(path, size)
            runs = given.runs if size <= 10_000 else max(1, given.runs // 3)
            lines.append(bench(path, runs, work))
            print(json.dumps(lines[-1]), flush=True)
        if len(lines) > 1:
            growth = {
                f"{name}_{figure}": _growth(lines, name, figure)
                for name in ("floor", "cold", "warm")
                for figure in ("seconds", "cpu_seconds", "peak_together_mb")
            }
            print(json.dumps({"growth_exponents": growth}), flush=True)


if __name__ == "__main__":
    main()
