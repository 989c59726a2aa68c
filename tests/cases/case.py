"""What a case is, the model that holds many of them side by side, and the figures read back from a run.

Answers are keyed by of whom (a role, a method, an element's name, `name#part`, `role@storey`) and then by
figure: `gross` `net` `overlap` (m3), `parts` (rows), a formwork category (m2; `category:curved`,
`category:opening`, `category@height`, `category height-band` and `category of band` narrow it; `soffit` is any
soffit), `category-length of band` (m), `formwork` (m2, all of it), a state of unformed surface (`free` `ground`
`seated` `permanent-formwork`, m2), `holes` (number), `hole-area` (m2).

For each role in the answers the formwork must be the sum of the categories given, so that whatever is not
listed is known to be nothing.
"""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from build import Model

from takeoff.measuring.plan import METHODS, ROLES
from takeoff.measuring.records import MeasuredPart, Measurement

Answers = Mapping[str, Mapping[str, float]]

FLAT = 1e-4
"""Relative tolerance for flat-faced work (0.01 %)."""

CURVED = 1e-3
"""Relative tolerance for curved work (0.1 %)."""

CATEGORIES = (
    "top-slope",
    "wall-side",
    "wall-end",
    "column-side",
    "beam-side",
    "slab-edge",
    "foundation-side",
    "stair-side",
    "stair-riser",
    "slab-soffit",
    "beam-soffit",
    "stair-soffit",
    "soffit",
    "opening-reveal",
)

PITCH = 60.0
"""Distance in metres between the origins of two cases: no case sees another."""


@dataclass(frozen=True, slots=True)
class Case:
    """A thing to build, what must come out, and which findings must be made.

    `findings` pairs a word that the kind of a finding must contain with the names of the elements on any one
    of which it may stand. `unformed` names roles whose formwork is left open. `known`
    says what is known to be wrong still: the case must then fail, so that a repair is noticed.
    """

    name: str
    build: Callable[["CaseModel"], object]
    answers: Answers
    findings: tuple[tuple[str, tuple[str, ...]], ...] = ()
    tolerance: float = FLAT
    unformed: tuple[str, ...] = ()
    known: str = ""


class CaseModel(Model):
    """A model in which cases stand on a grid; it remembers which element belongs to which case."""

    def __init__(self, *args: Any, **words: Any) -> None:
        super().__init__(*args, **words)
        self.origin = (0.0, 0.0, 0.0)
        self.members: dict[str, str] = {}
        self._case = ""
        self.storey("Basement", -3.0)
        self.storey("Level 2", 6.0)
        self.storey("Level 1", 3.0)
        self.storey("Level 0", 0.0)

    def add(self, case: Case, index: int = 0) -> None:
        """Build a case on its place of the grid."""
        self.origin = (PITCH * (index % 8), PITCH * (index // 8), 0.0)
        self._case = case.name
        self.into("Level 0")
        case.build(self)

    def product(
        self, ifc_class: str, *items: Any, at: Sequence[float] = (0.0, 0.0, 0.0), **words: Any
    ) -> Any:
        """As the model's own, at the case's place."""
        moved = tuple(a + b for a, b in zip(at, self.origin, strict=True))
        element = super().product(ifc_class, *items, at=moved, **words)
        self.members[element.GlobalId] = self._case
        return element


def _add_part(sums: dict[tuple[str, str], float], part: MeasuredPart) -> None:
    figures = {
        "gross": part.gross_volume_m3,
        "net": part.net_volume_m3,
        "overlap": part.overlap_volume_m3,
        "formwork": part.formwork_m2,
        "parts": 1,
    }
    for of in (
        part.role,
        part.method,
        part.name,
        f"{part.name}#{part.part}",
        f"{part.role}@{part.storey}",
    ):
        for figure, value in figures.items():
            sums[of, figure] += value or 0.0


def totals(measurement: Measurement, members: set[str]) -> dict[tuple[str, str], float]:
    """{(of, figure): total} over the elements with these GlobalIds."""
    sums: dict[tuple[str, str], float] = defaultdict(float)
    names = {}
    for part in measurement.parts:
        if part.global_id in members:
            names[part.global_id] = part.name
            _add_part(sums, part)
    for row in measurement.formwork:
        if row.global_id not in members:
            continue
        figures = [row.category, "formed"]
        if row.category.endswith("-soffit"):
            figures.append("soffit")
        if row.shape == "curved":
            figures.append(f"{row.category}:curved")
        if row.place:
            figures.append(f"{row.category}:{row.place}")
        if row.band:
            figures.append(f"{row.category} of {row.band}")
            for of in (row.role, names[row.global_id]):
                sums[of, f"{row.category}-length of {row.band}"] += row.length_m or 0.0
        if row.height_to_soffit_m is not None:
            figures.append(f"{row.category}@{row.height_to_soffit_m:.2f}")
            figures.append(f"{row.category} {row.height_band}")
        for of in (row.role, names[row.global_id], f"{row.role}@{row.storey}"):
            for figure in figures:
                sums[of, figure] += row.area_m2
    for surface in measurement.surfaces:
        if surface.global_id in members:
            for of in (surface.role, names[surface.global_id]):
                sums[of, surface.state] += surface.area_m2
    for hole in measurement.holes:
        if hole.global_id in members:
            for of in (hole.role, names[hole.global_id]):
                sums[of, "holes"] += 1
                sums[of, "hole-area"] += hole.area_m2
    return sums


def faults(case: Case, measurement: Measurement, members: Mapping[str, str]) -> list[str]:
    """What is wrong with a run for this case, one line each; empty when all answers are met."""
    mine = {global_id for global_id, name in members.items() if name == case.name}
    got = totals(measurement, mine)
    found = []
    for of, figures in case.answers.items():
        for figure, wanted in figures.items():
            if abs(got[of, figure] - wanted) > case.tolerance * max(abs(wanted), 0.1):
                found.append(f"{of} {figure}: want {wanted:.7g}, got {got[of, figure]:.7g}")
        if of in ROLES and of not in case.unformed:
            wanted = sum(value for key, value in figures.items() if key in CATEGORIES)
            if abs(got[of, "formed"] - wanted) > case.tolerance * max(wanted, 0.1):
                rows = {key[1]: round(got[key], 6) for key in got if key[0] == of and key[1] in CATEGORIES}
                found.append(f"{of}: want {wanted:.7g} formed in all, got {got[of, 'formed']:.7g} in {rows}")
    measured = {part.role for part in measurement.parts if part.global_id in mine and part.net_volume_m3}
    found += [
        f"{role}: measured, but not in the answers"
        for role in sorted(measured - set(case.answers) - set(case.unformed))
    ]
    methods = {part.method for part in measurement.parts if part.global_id in mine}
    found += [f"{method}: no such method" for method in sorted(methods - set(METHODS))]
    names = {part.global_id: part.name for part in measurement.parts}
    kinds = [(item, names.get(item.global_id, "")) for item in measurement.findings if item.global_id in mine]
    for word, of in case.findings:
        if not any(word in item.kind and name in of for item, name in kinds):
            found.append(
                f"no finding of a kind with '{word}' on {' or '.join(of)}: {[k.kind for k, _ in kinds]}"
            )
    if not case.findings:
        found += [f"error on {name}: {item.message}" for item, name in kinds if item.severity == "error"]
    return found
