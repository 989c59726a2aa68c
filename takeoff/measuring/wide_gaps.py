"""Gaps wider than a joint may be, across which pieces face each other: nothing is measured there, which is told."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence

import shapely

from takeoff.findings import Finding
from takeoff.geometry import planar
from takeoff.geometry.contacts import ROUNDING
from takeoff.measuring.dimensions import rectangle_sides
from takeoff.measuring.patches import Patch, PatchKey
from takeoff.told import Quantity, counted, told

NARROW = 0.60
"""Strips wider than this, m, are faces before each other (a cavity), not the sides of a joint."""
SHORTEST = 0.05
"""Strips shorter than this, m, are not told."""
OPEN = 0.5
"""Share of a strip that nothing else fills from which the gap counts as open."""

Patches = dict[PatchKey, list[Patch]]


def split_by_width(patches: Mapping[PatchKey, Sequence[Patch]], reach: float) -> tuple[Patches, Patches]:
    """The patches of joints, up to `reach` m wide, and those of wider gaps."""
    joints: Patches = {}
    wide: Patches = {}
    for key, own in patches.items():
        for patch in own:
            (joints if patch.gap <= reach + ROUNDING else wide).setdefault(key, []).append(patch)
    return joints, wide


def gap_findings(joints: Patches, wide: Patches, reach: float) -> list[Finding]:
    """One warning a model for all pairs that face each other across more than `reach` m and have no joint.

    Left out are gaps that something else fills, such as concrete cast between two panels, and faces before each other
    that are too broad for a joint.
    """
    filled: dict[int, list[shapely.Geometry]] = defaultdict(list)
    for own in joints.values():
        for patch in own:
            filled[patch.row].append(patch.polygon)
            filled[patch.other_row].append(patch.opposite)
    found: dict[str, list[tuple[PatchKey, float, float]]] = defaultdict(list)
    for key, own in wide.items():
        strips = [] if key in joints else [length for patch in own for length in _open_strips(patch, filled)]
        if strips:
            found[key[0][0]].append((key, min(patch.gap for patch in own), sum(strips)))
    return [_finding(model, pairs, reach) for model, pairs in sorted(found.items())]


def _open_strips(patch: Patch, filled: Mapping[int, Sequence[shapely.Geometry]]) -> list[float]:
    """Lengths, m, of the strips of a patch that are narrow and that nothing else fills."""
    rest = patch.polygon
    for row, shape in ((patch.row, patch.polygon), (patch.other_row, patch.opposite)):
        if row in filled:
            left = planar.difference(shape, planar.union_all(filled[row]))
            if left.area < OPEN * shape.area:
                return []
            rest = left if row == patch.row else rest
    sides = [rectangle_sides(part) for part in shapely.get_parts(rest) if part.area > 1e-7]
    return [long for long, short in sides if long >= SHORTEST and short <= NARROW]


def _finding(model: str, pairs: Sequence[tuple[PatchKey, float, float]], reach: float) -> Finding:
    widths = sorted(gap for _, gap, _ in pairs)
    length = sum(long for _, _, long in pairs)
    kinds = Counter(key[2] for key, _, _ in pairs)
    narrowest = min(pairs, key=lambda pair: (round(pair[1], 4), pair[0]))
    across = Quantity(widths[0] * 1e3, "mm", ".0f", size=True)
    wide = told("{}", across) if widths[-1] - widths[0] < 5e-4 else told(
        "{} to {}", Quantity(widths[0] * 1e3, "mm", ".0f", bare=True, size=True),
        Quantity(widths[-1] * 1e3, "mm", ".0f", size=True),
    )  # fmt: skip
    return Finding(
        "warning", "gap-over-joint-width", model, narrowest[0][0][1],
        told(
            "{} of pieces ({}) face each other across {} for {}, more than the {} that a joint of the convention may "
            "be wide: ask whether these are joints or bearings",
            counted(len(pairs), "pair"), ", ".join(f"{number} {kind}" for kind, number in sorted(kinds.items())),
            wide, Quantity(length, "m", ".1f"), Quantity(reach * 1e3, "mm", "g", size=True),
        ),
        "neither joint nor bearing measured there", length, "m",
    )  # fmt: skip
