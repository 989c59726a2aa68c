"""Draws the formwork rules for the documents from measured cases, so that the drawings stay true.

Run `python tests/drawings.py` to write takeoff/docs/drawings/*.svg; a test compares them with what it writes.
Bodies that touch are drawn apart, so that the faces in contact can be seen.
"""

import math
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from html import escape
from pathlib import Path

import numpy as np
from build import Model, rectangle

from takeoff import pipeline
from takeoff.outputs.page.faces import CURVED, FILLED, STATES, STEPS, Faces, make_faces
from takeoff.outputs.page.palette import STATES as COLOURS

FOLDER = Path(__file__).resolve().parents[1] / "takeoff" / "docs" / "drawings"
WIDE, HIGH = 860, 380
INK = "#1b242c"
STATE_WORDS = {
    "formed": "formed",
    "contact": "in contact, no form",
    "permanent-formwork": "on a form that stays",
    "against-ground": "cast against the ground, no form",
    "free": "free top, no form",
    "ground": "on the ground, no form",
    "seated": "assumed seated, no form",
    "not-formed": "precast, no form on site",
}
SUN = np.array([0.45, -0.6, 0.66])


@dataclass(frozen=True, slots=True)
class Drawing:
    """A case to draw: what to build, how far bodies are drawn apart (m, by a word of their name), what it shows."""

    name: str
    title: str
    build: Callable[[Model], object]
    apart: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)


def floor_on_walls(m: Model) -> None:
    """A slab on two walls, one of them with a door, on a raft."""
    m.footing(rectangle(-0.3, -0.3, 5.3, 4.5), 0.3, -0.3, name="Raft")
    front = m.wall((0, 0.1), (5, 0.1), 0.2, 2.5, name="Wall front")
    m.box_void(front, (1.5, -0.3, 0.0), (2.6, 0.3, 2.1))
    m.wall((0, 4.1), (5, 4.1), 0.2, 2.5, name="Wall back")
    m.slab(rectangle(0, 0, 5, 4.2), 0.2, 2.5, name="Slab")


def frame(m: Model) -> None:
    """Two columns on pads, a beam between them, a slab over it."""
    for n, x in enumerate((0.0, 5.0)):
        m.footing(rectangle(x - 0.6, -0.6, x + 0.6, 0.6), 0.4, -0.4, name=f"Pad {n + 1}")
        m.column((x, 0), 0.4, 0.4, 2.6, name=f"Column {n + 1}")
    m.beam((0.2, 0), (4.8, 0), 0.3, 0.5, 2.6, name="Beam")
    m.slab(rectangle(-0.2, -1.2, 5.2, 1.2), 0.2, 2.6, name="Slab")


def planks(m: Model) -> None:
    """Three precast planks with gaps under a topping cast on them."""
    for i in range(3):
        y = 1.35 * i
        m.slab(rectangle(0, y, 4.5, y + 1.2), 0.08, 2.7, name=f"Plank {i + 1}", made="Precast")
    m.slab(rectangle(0, 0, 4.5, 3.9), 0.2, 2.78, name="Topping")


def slopes(m: Model) -> None:
    """Roof slabs at 10, 20 and 50 degrees."""
    for n, tilt in enumerate((10.0, 20.0, 50.0)):
        body = m.extrusion(rectangle(0, 0, 2.6, 1.6), 0.25)
        m.member(
            "IfcSlab", body, at=(3.4 * n, 0, 2.0), tilt=-tilt, name=f"Roof {tilt:.0f}", PredefinedType="ROOF"
        )


def flight(m: Model) -> None:
    """A flight of stairs between a base and a landing."""
    going, rise, count, waist = 0.28, 0.17, 6, 0.2
    points = [(0.0, 0.0)]
    for i in range(count):
        points += [(going * i, rise * (i + 1)), (going * (i + 1), rise * (i + 1))]
    run, drop = count * going, count * rise - waist
    points += [(run, drop), (run - drop * going / rise, 0.0)]
    m.slab(rectangle(-0.6, -0.3, 2.6, 1.5), 0.2, -0.2, name="Base", PredefinedType="BASESLAB")
    body = m.extrusion(points, 1.2, (0, 1.2, 0), axes=((0, -1, 0), (1, 0, 0)))
    m.member("IfcStairFlight", body, name="Flight")
    m.slab(rectangle(run, 0, run + 1.2, 1.2), waist, drop, name="Landing", PredefinedType="FLOOR")


def round_column(m: Model) -> None:
    """A round column between a pad and a slab with a hole in it."""
    m.footing(rectangle(-0.7, -0.7, 0.7, 0.7), 0.4, -0.4, name="Pad")
    m.round_column((0, 0), 0.3, 2.4, name="Column")
    slab = m.slab(rectangle(-1.4, -1.4, 1.8, 1.4), 0.22, 2.4, name="Slab")
    m.box_void(slab, (0.7, -0.5, -0.1), (1.4, 0.4, 0.4))


DRAWINGS = (
    Drawing("floor-on-walls", "A slab on walls", floor_on_walls,
            {"Slab": (0, 0, 1.3), "Raft": (0, 0, -1.0)}),
    Drawing("frame", "Columns, beam and slab", frame,
            {"Slab": (0, 0, 1.6), "Beam": (0, 0, 0.7), "Pad": (0, 0, -0.7)}),
    Drawing("planks", "A topping on precast planks", planks, {"Topping": (0, 0, 1.5)}),
    Drawing("slopes", "Roof slabs at 10, 20 and 50 degrees", slopes),
    Drawing("stair", "A flight of stairs", flight, {"Base": (0, 0, -0.7), "Landing": (0.6, 0, 0)}),
    Drawing("round-column", "A round column under a slab with a hole", round_column,
            {"Slab": (0, 0, 0.9), "Pad": (0, 0, -0.7)}),
)  # fmt: skip


def draw(drawing: Drawing) -> str:
    """The drawing as SVG text: the case from above and from below, and the measured areas beneath."""
    m = Model("IFC4", "mm", name=drawing.name)
    drawing.build(m)
    with tempfile.TemporaryDirectory() as folder:
        run = pipeline.measure([m.save(Path(folder) / f"{drawing.name}.ifc")])
    measured = run.measured
    faces = make_faces(measured.surfaces, [body.mesh for body in measured.bodies], measured.formed)
    shifts = [
        next((shift for word, shift in drawing.apart.items() if word in body.element.facts.name), (0, 0, 0))
        for body in measured.bodies
    ]
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE} {{height}}" '
        f'font-family="sans-serif" font-size="13" fill="{INK}" role="img">',
        f"<title>{escape(drawing.title)}</title>",
        f'<rect width="{WIDE}" height="{{height}}" fill="#ffffff"/>',
        f'<text x="16" y="24" font-size="16" font-weight="bold">{escape(drawing.title)}</text>',
    ]
    for n, (words, rise) in enumerate((("seen from above", 24.0), ("seen from below", -24.0))):
        lines += _view(faces, shifts, rise, 16 + n * (WIDE // 2), WIDE // 2 - 32)
        lines.append(f'<text x="{16 + n * (WIDE // 2)}" y="44" fill="#55616c">{words}</text>')
    lines += _legend(faces)
    rows = _areas(run.measurement)
    for n, row in enumerate(rows):
        x, y = 16 + (n % 2) * (WIDE // 2), HIGH + 78 + 19 * (n // 2)
        lines.append(f'<text x="{x}" y="{y}">{escape(row)}</text>')
    height = HIGH + 78 + 19 * ((len(rows) + 1) // 2)
    return "\n".join([*lines, "</svg>", ""]).replace("{height}", str(height))


def _view(
    faces: Faces, shifts: list[tuple[float, float, float]], rise: float, left: float, wide: float
) -> list[str]:
    """Faces that look at the viewer, the furthest first."""
    turn, tilt = math.radians(35.0), math.radians(rise)
    right = np.array([math.cos(turn), math.sin(turn), 0.0])
    away = np.array([-math.sin(turn) * math.cos(tilt), math.cos(turn) * math.cos(tilt), -math.sin(tilt)])
    up = np.cross(right, away)
    shapes = []
    for number, state, rings in _polygons(faces, shifts):
        normal = _normal(rings[0])
        middle = np.concatenate(rings).mean(axis=0)
        if normal @ away < -1e-6:
            shade = 0.78 + 0.22 * max(0.0, float(normal @ SUN))
            shapes.append((float(middle @ away), number, state, rings, shade))
    flat = [np.column_stack([ring @ right, -ring @ up]) for _, _, _, rings, _ in shapes for ring in rings]
    low, high = np.concatenate(flat).min(axis=0), np.concatenate(flat).max(axis=0)
    scale = min(wide / (high[0] - low[0]), (HIGH - 70) / (high[1] - low[1]))
    start = np.array([left, 56.0]) + (np.array([wide, HIGH - 70]) - scale * (high - low)) / 2
    lines = []
    for _, number, state, rings, shade in sorted(shapes, key=lambda shape: -shape[0]):
        fill = _shaded(COLOURS[state], shade)
        line = (
            fill if faces.flags[number] & CURVED else INK
        )  # the strips of a curve have no edges between them
        path = ""
        for ring in rings:
            points = start + scale * (np.column_stack([ring @ right, -ring @ up]) - low)
            path += "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points) + "Z"
        lines.append(
            f'<path d="{path}" fill="{fill}" fill-rule="evenodd" '
            f'stroke="{line}" stroke-width="0.6" stroke-linejoin="round"/>'
        )
    return lines


def _polygons(faces: Faces, shifts: list[tuple[float, float, float]]):  # type: ignore[no-untyped-def]
    """(number, state, rings in space) of every filled face; the outer ring turns anticlockwise seen from outside."""
    ends = np.cumsum(faces.ring)
    ring_ends = np.cumsum(faces.rings)
    corners = faces.corners.astype(float) / STEPS
    for n in range(len(faces.body)):
        if not faces.flags[n] & FILLED:
            continue
        body = int(faces.body[n])
        rings = []
        for ring in range(ring_ends[n] - faces.rings[n], ring_ends[n]):
            own = corners[ends[ring] - faces.ring[ring] : ends[ring]]
            rings.append(faces.box[body, :3] + own * faces.box[body, 3:])
        yield n, STATES[faces.state[n]], [ring + np.array(shifts[body]) for ring in rings]


def _normal(ring: np.ndarray) -> np.ndarray:
    """Unit normal of a flat ring (Newell)."""
    vector = np.cross(ring, np.roll(ring, -1, axis=0)).sum(axis=0)
    return vector / max(float(np.linalg.norm(vector)), 1e-12)


def _shaded(colour: str, shade: float) -> str:
    return "#" + "".join(f"{round(int(colour[i : i + 2], 16) * shade):02x}" for i in (1, 3, 5))


def _legend(faces: Faces) -> list[str]:
    lines = []
    used = [
        state for n, state in enumerate(STATES) if ((faces.state == n) & (faces.flags & FILLED > 0)).any()
    ]
    x = 16
    for state in used:
        words = STATE_WORDS[state]
        lines.append(
            f'<rect x="{x}" y="{HIGH + 28}" width="13" height="13" fill="{COLOURS[state]}" '
            f'stroke="{INK}" stroke-width="0.6"/>'
        )
        lines.append(f'<text x="{x + 19}" y="{HIGH + 39}">{words}</text>')
        x += 42 + 7 * len(words)
    return lines


def _areas(measurement) -> list[str]:  # type: ignore[no-untyped-def]
    """What was measured, a line for each element and category."""
    names = {part.global_id: part.name for part in measurement.parts}
    sums: dict[tuple[str, str], float] = {}
    for row in measurement.formwork:
        place = f" in the {row.place}" if row.place else ""
        height = f", {row.height_to_soffit_m:.2f} m up" if row.height_to_soffit_m is not None else ""
        curved = ", curved" if row.shape == "curved" else ""
        key = (names[row.global_id], f"{row.category}{place}{height}{curved}")
        sums[key] = sums.get(key, 0.0) + row.area_m2
    for row in measurement.surfaces:
        other = f" with {names[row.other_id]}" if row.other_id in names else ""
        key = (names[row.global_id], f"{row.state}{other}")
        sums[key] = sums.get(key, 0.0) + row.area_m2
    return [f"{name}: {what} {area:.2f} m2" for (name, what), area in sorted(sums.items())]


def main() -> None:
    """Write all drawings."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    for drawing in DRAWINGS:
        (FOLDER / f"{drawing.name}.svg").write_text(draw(drawing), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
