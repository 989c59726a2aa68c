"""A night killed again and again: each kill at a random moment, then a run to the end.

python -m nightly_kills FOLDER KILLS      (by hand; the tests call `killed_night`)
"""

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

from nightly_nights import copy_tree, history_state, output_state, write_wall

CODE = "import sys; sys.argv[0] = 'takeoff'; from takeoff.cli import main; main()"


def command(root: Path, *more: str) -> list[str]:
    """A run of the job in `root`, as a command of its own."""
    job = root / "job.toml"
    if not job.exists():
        job.write_text("[nightly]\nname = 'kills'\nsettle_seconds = 0\nmodels_at_once = 2\n")
    return [sys.executable, "-c", CODE, "nightly", str(root / "models"), "--out", str(root / "out"),
            "--job", str(job), "-q", *more]  # fmt: skip


def run_whole(root: Path) -> float:
    """Run to the end; the seconds that it took."""
    began = time.monotonic()
    done = subprocess.run(command(root), capture_output=True, text=True, timeout=600, check=False)
    assert done.returncode in (0, 3), done.stderr
    return time.monotonic() - began


def run_killed(root: Path, seconds: float) -> bool:
    """Run and kill after so many seconds; whether it still ran then."""
    process = subprocess.Popen(command(root), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    try:
        process.wait(seconds)
        return False
    except subprocess.TimeoutExpired:
        process.send_signal(signal.SIGKILL)
        return True
    finally:
        process.wait()


def first_night(folder: Path) -> None:
    """Models of the night before."""
    write_wall(folder / "wall-1.ifc", 3.0)
    write_wall(folder / "going.ifc", 1.0)
    write_wall(folder / "moving.ifc", 1.5)


def second_night(folder: Path) -> None:
    """The night that is killed: changed, new, precast, broken, removed, renamed."""
    write_wall(folder / "wall-1.ifc", 9.0)
    for number in range(2):
        write_wall(folder / "new" / f"wall-{number}.ifc", 4.0 + number, precast=number == 1)
    (folder / "broken.ifc").write_text("no model")
    (folder / "going.ifc").unlink()
    os.rename(folder / "moving.ifc", folder / "moved.ifc")


def states(root: Path) -> tuple[dict, dict]:
    """What a run leaves: history and outputs."""
    return history_state(f"sqlite:///{root / 'out' / 'history.sqlite'}"), output_state(root / "out")


def undisturbed(base: Path) -> tuple[Path, Path, float]:
    """A folder as it is before the second night, one as it is after, and the seconds that night took."""
    before, after = base / "before", base / "after"
    first_night(before / "models")
    run_whole(before)
    second_night(before / "models")
    copy_tree(before, after)
    return before, after, run_whole(after)


def killed_night(before: Path, root: Path, moments: list[float]) -> int:
    """The second night, killed at these moments one after the other, then run to the end; kills that hit."""
    copy_tree(before, root)
    hits = sum(run_killed(root, seconds) for seconds in moments)
    run_whole(root)
    return hits


def leftovers(root: Path) -> list[str]:
    """What no finished run may leave behind."""
    out = root / "out"
    return [str(path) for path in (out / ".work", out / ".nightly-run.json") if path.exists()]


def main() -> None:
    """So many nights as said, each killed once at a random moment, against an undisturbed one."""
    base, kills = Path(sys.argv[1]), int(sys.argv[2])
    shutil.rmtree(base, ignore_errors=True)
    before, after, seconds = undisturbed(base)
    expected = states(after)
    print(
        f"undisturbed: {seconds:.1f} s, {len(expected[0])} history entries, {len(expected[1])} outputs",
        flush=True,
    )
    chance = random.Random(20260302)
    wrong = hits = 0
    while hits < kills:
        root = base / f"kill-{hits}"
        moment = chance.uniform(0.2, seconds)
        if not killed_night(before, root, [moment]):
            # It was done already, for the machine had become quicker: look for moments before that.
            seconds = moment
            shutil.rmtree(root)
            continue
        hits += 1
        found = states(root)
        same = found == expected and not leftovers(root)
        wrong += not same
        print(f"killed after {moment:.2f} s: {'equal' if same else 'DIFFERENT'}", flush=True)
        if same:
            shutil.rmtree(root)
    print(f"{hits} kills hit a running night; {wrong} differ from the undisturbed one")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
