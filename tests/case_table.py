"""The hand-computed cases as a table: answer, result, error. Run `python tests/case_table.py`."""

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from cases import CASES, CaseModel
from cases.case import totals

from takeoff.pipeline import measure


def main() -> None:
    """Measure every case once (IFC4, metres) and print each answer beside its result."""
    model = CaseModel("IFC4", "m", name="cases")
    for index, case in enumerate(CASES):
        model.add(case, index)
    with tempfile.TemporaryDirectory() as folder:
        measurement = measure([model.save(Path(folder) / "cases.ifc")]).measurement
    worst = 0.0
    count = 0
    print(f"{'case':<48} {'of':<16} {'figure':<20} {'answer':>12} {'result':>12} {'error':>9}")
    for case in CASES:
        mine = {global_id for global_id, name in model.members.items() if name == case.name}
        got = totals(measurement, mine)
        for of, figures in case.answers.items():
            for figure, answer in figures.items():
                error = abs(got[of, figure] - answer) / max(abs(answer), 0.1)
                worst, count = max(worst, error), count + 1
                print(
                    f"{case.name[:48]:<48} {of:<16} {figure:<20} {answer:12.5f} {got[of, figure]:12.5f} {error:9.1e}"
                )
    print(f"{count} answers of {len(CASES)} cases, largest error {worst:.1e}")


if __name__ == "__main__":
    main()
