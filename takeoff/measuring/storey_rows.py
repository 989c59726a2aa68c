"""Storeys with floors: their heights, floor areas and outlines, and which of them are alike."""

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np
import shapely

from takeoff.geometry import planar
from takeoff.measuring.bodies import Body
from takeoff.measuring.piece_records import StoreyRow
from takeoff.reading.facts import Storey
from takeoff.told import Quantity, told

SAME_LEVEL = 0.05
"""Storeys of several models within this, m, are one."""
SAME_HEIGHT = 0.005
"""Storey heights within this, m, are one."""
SAME_OUTLINE = 0.01
"""Floor outlines are alike that differ in less than this share of their area."""
REACHING = 0.8
"""Walls and columns of at least this share of a storey's height reach its ceiling."""
A_FLOOR = 0.10
"""Storeys with less than this share of the largest floor are landings, not floors."""


def storey_rows(
    bodies: Sequence[Body],
    outlines: Sequence[shapely.Geometry],
    storeys: Mapping[str, Sequence[Storey]],
) -> tuple[StoreyRow, ...]:
    """A row for each storey with a floor, from the lowest up. `outlines` are the plans of the bodies, m.

    Floor area is that of all slabs of a storey seen from above: toppings on planks count once. The height is
    that to the next storey with a floor; that of the last to the level above it, where its walls or columns reach
    up to there (its ceiling is filed with it).
    """
    levels = {
        (model, storey.name): storey.elevation for model, listed in storeys.items() for storey in listed
    }
    plans: dict[tuple[str, str], list[shapely.Geometry]] = defaultdict(list)
    tallest: dict[tuple[str, str], float] = defaultdict(float)
    for body, outline in zip(bodies, outlines, strict=True):
        key = (body.key[0], body.storey)
        if body.concrete and body.role == "slab" and key in levels and not outline.is_empty:
            plans[key].append(outline)
        elif body.concrete and body.role in ("wall", "column"):
            low, high = body.mesh.box()[:, 2].tolist()
            tallest[key] = max(tallest[key], high - low)
    merged: list[tuple[float, str, str, list[shapely.Geometry]]] = []
    for (model, name), shapes in sorted(plans.items(), key=lambda entry: (levels[entry[0]], entry[0])):
        level = levels[model, name]
        if merged and level - merged[-1][0] < SAME_LEVEL:
            merged[-1][3].extend(shapes)
        else:
            merged.append((level, model, name, list(shapes)))
    floors = [
        (level, model, name, planar.union_all(shapes, grid_size=1e-5))
        for level, model, name, shapes in merged
    ]
    largest = max((float(floor.area) for *_, floor in floors), default=0.0)
    floors = [entry for entry in floors if entry[3].area >= A_FLOOR * largest]
    alike = _alike([floor for *_, floor in floors])
    rows = []
    for place, (level, model, name, floor) in enumerate(floors):
        height = (
            floors[place + 1][0] - level
            if place + 1 < len(floors)
            else _last_height(level, model, levels, tallest[model, name])
        )
        rows.append(
            StoreyRow(
                model, name, level, height, float(floor.area), float(floor.length),
                "" if height is None else _height_group(height),
                alike[place],
            )
        )  # fmt: skip
    return tuple(rows)


def _last_height(
    level: float, model: str, levels: Mapping[tuple[str, str], float], tallest: float
) -> float | None:
    """Height of the last storey with a floor, None where its walls and columns do not reach the level above."""
    above = (
        other - level for (own, _), other in levels.items() if own == model and other > level + SAME_LEVEL
    )
    height = min(above, default=None)
    return height if height is not None and REACHING * height <= tallest <= height + SAME_LEVEL else None


def _height_group(height: float) -> str:
    return told("{}", Quantity(round(height / SAME_HEIGHT) * SAME_HEIGHT, "m", size=True))


def _alike(floors: Sequence[shapely.Geometry]) -> list[str]:
    """A letter for each outline, the same for those that cover each other when shifted and turned."""
    kinds: list[shapely.Geometry] = []
    letters = []
    for floor in floors:
        kind = next((n for n, other in enumerate(kinds) if same_outline(floor, other)), None)
        if kind is None:
            kind = len(kinds)
            kinds.append(floor)
        letters.append(_letters(kind))
    return letters


def _letters(number: int) -> str:
    """A, B, ... Z, AA, AB, ..."""
    text = ""
    number += 1
    while number:
        number, place = divmod(number - 1, 26)
        text = chr(ord("A") + place) + text
    return text


def same_outline(one: shapely.Geometry, other: shapely.Geometry) -> bool:
    """Whether two outlines cover each other within `SAME_OUTLINE` when shifted and turned."""
    area = max(float(one.area), float(other.area))
    if area <= 0 or abs(float(one.area) - float(other.area)) > SAME_OUTLINE * area:
        return False
    first, second = _centred(one), _centred(other)
    start = _angle(first) - _angle(second)
    for turn in (0.0, *(start + quarter * np.pi / 2.0 for quarter in range(4))):
        cosine, sine = np.cos(turn), np.sin(turn)
        moved = shapely.transform(second, lambda p, c=cosine, s=sine: p @ np.array([[c, s], [-s, c]]))
        if shapely.symmetric_difference(first, moved).area <= SAME_OUTLINE * area:
            return True
    return False


def _centred(shape: shapely.Geometry) -> shapely.Geometry:
    middle = shapely.get_coordinates(shapely.centroid(shape))[0]
    return shapely.transform(shape, lambda points: points - middle)


def _angle(shape: shapely.Geometry) -> float:
    """Direction of the longer side of the rectangle around a shape."""
    corners = shapely.get_coordinates(shapely.oriented_envelope(shape))
    sides = np.diff(corners[:3], axis=0)
    long = sides[int(np.argmax(np.linalg.norm(sides, axis=1)))]
    return float(np.arctan2(long[1], long[0]))
