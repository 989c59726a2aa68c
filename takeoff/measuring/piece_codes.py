"""Short codes for shapes, and numbers for pieces, that the model gives no mark: they stay in a revision.

A number by place in a list would move all later labels when a shape is added. A code of the shape's own
figures does not: the same shape has the same code in every revision and every model, its mirror image another.
In the same way the number of a piece is made of where it is in the building, not of its GlobalId, which an
export may renew.
"""

from collections.abc import Mapping, Sequence
from hashlib import blake2b

import numpy as np

from takeoff.geometry.mesh import Floats, Mesh
from takeoff.measuring.congruence import same_shape
from takeoff.measuring.rims import is_curved, rim_runs
from takeoff.measuring.shapes import Shape, moments

LETTERS = "23456789BCDFGHJKMNPQRSTVWXYZ"
"""Digits and letters that are not mistaken for one another on a drawing; no vowels, so that no words arise."""
CODE_LENGTH = 4
BIN_SHIFT = 0.37
"""Bins begin off the round figures, so that rounding noise does not move a usual size to the next bin."""
PLACE = 0.0501
"""Cell of a place, m, that gives a piece its number: no usual module is a multiple of it, so that of places at
usual distances hardly any lies where cells meet."""
ABSENT = 1e-10
"""Third moments and handedness below this share of what they could be are rounding."""

# Points (barycentric) and weights that integrate cubics over a tetrahedron exactly: the centre and four points
# between it and the corners (the fifth-point rule of degree 3).
_POINTS = np.vstack([np.full(4, 0.25), np.full((4, 4), 1.0 / 6.0) + np.eye(4) / 3.0])
_WEIGHTS = np.array([-0.8, 0.45, 0.45, 0.45, 0.45])


def shape_codes(
    meshes: Sequence[Mesh],
    shapes: Sequence[Shape],
    boxes: Sequence[tuple[float, float, float]],
    ups: Sequence[Floats | None],
) -> list[str]:
    """A code for each of different shapes, from overall sizes (m), volume, surface, moments and handedness, for
    those with curved faces from their rims.

    `shapes` are those of the meshes; `ups` as for grouping. Different shapes that fall on one code get a
    further sign in the order given: those of a group's leader, so that no GlobalId decides.
    """
    codes: list[str] = []
    taken: dict[str, int] = {}
    for mesh, shape, box, up in zip(meshes, shapes, boxes, ups, strict=True):
        code = _code(mesh, shape, box, up)
        number = taken[code] = taken.get(code, 0) + 1
        codes.append(code if number == 1 else f"{code}{number}")
    return codes


def piece_numbers(places: Floats) -> list[str]:
    """A number for each piece of one shape, made of its place (n, 3), m, so that others do not move when one is added.

    Places are told apart by cells of `PLACE`. Where two fall on one number the one that comes later by place takes
    the next free one; of two in one cell the one given later.
    """
    room = 1000
    while room < 2 * len(places):
        room *= 10
    cells = np.floor(np.reshape(places, (-1, 3)) / PLACE + BIN_SHIFT).astype(np.int64).tolist()
    numbers = [""] * len(cells)
    taken: set[int] = set()
    for index in sorted(range(len(cells)), key=lambda index: (cells[index][::-1], index)):
        number = int.from_bytes(blake2b(repr(cells[index]).encode(), digest_size=6).digest()) % room
        while number in taken:
            number = (number + 1) % room
        taken.add(number)
        numbers[index] = f"{number:0{len(str(room - 1))}d}"
    return numbers


def handedness(mesh: Mesh, shape: Shape, up: Floats | None) -> int:
    """1 or -1 for a solid that differs from its mirror image, opposite for the two; 0 where it does not, within
    the tolerance of grouping, or where third moments do not tell.

    The sign of V . (S V x S S V), S the second moments about the centre and V_i the sum over j of the third
    moments T_ijj: turning keeps it, a reflection turns its sign. With an upper side: up . (V x S V).
    """
    _, centre, second = moments(mesh.corners)
    rays = mesh.corners - centre
    solid = np.einsum("ij,ij->i", rays[:, 0], np.cross(rays[:, 1], rays[:, 2])) / 6.0
    corners = np.concatenate([rays, np.zeros((len(rays), 1, 3))], axis=1)
    points = np.einsum("pc,ncx->npx", _POINTS, corners)
    square = np.einsum("npx,npx->np", points, points)
    third = np.einsum("n,p,np,npx->x", solid, _WEIGHTS, square, points)
    size = float(np.trace(second)) ** 1.5 / max(float(solid.sum()), 1e-12) ** 0.5
    if np.linalg.norm(third) < ABSENT * size:
        return 0
    scaled = second / np.trace(second)
    first = third / np.linalg.norm(third)
    turned = scaled @ first
    last = up if up is not None else scaled @ turned
    sign = float(np.dot(np.cross(first, turned), last))
    if abs(sign) < ABSENT or same_shape(shape, shape, mirrored=True, ups=(up, up)):
        return 0
    return 1 if sign > 0 else -1


def _code(mesh: Mesh, shape: Shape, box: tuple[float, float, float], up: Floats | None) -> str:
    figures: list[object] = [handedness(mesh, shape, up)]
    if is_curved(mesh):
        figures += _rim_figures(shape)
    else:
        figures += [
            *(_bin(side, 1e-3) for side in box),
            _bin(shape.volume, 1e-4),
            _bin(shape.area, 1e-3),
            *(_bin(spread, 1e-3) for spread in shape.spreads.tolist()),
            len(shape.corners),
        ]
    number = int.from_bytes(blake2b(repr(figures).encode(), digest_size=8).digest())
    code = ""
    for _ in range(CODE_LENGTH):
        number, place = divmod(number, len(LETTERS))
        code += LETTERS[place]
    return code


def _rim_figures(shape: Shape) -> list[object]:
    """What tells a shape with curved faces however they were cut into flat ones: chords and rises of its rims, and
    how far their corners and circles lie from their common middle."""
    runs = rim_runs(shape)
    known = [*shape.corners, *(run.middle for run in runs if not run.chord and run.rise is not None)]
    points = np.array(known).reshape(-1, 3)
    reach = np.linalg.norm(points - points.mean(axis=0), axis=1) if len(points) else np.zeros(0)
    rims = [(_bin(run.chord, 1e-3), -1 if run.rise is None else _bin(run.rise, 1e-3)) for run in runs]
    return ["curved", sorted(rims), sorted(_bin(far, 1e-3) for far in reach.tolist())]


def _bin(value: float, width: float) -> int:
    return int(np.floor(value / width + BIN_SHIFT))


def mirror_labels(found: Mapping[int, int], labels: Mapping[int, str]) -> dict[int, str]:
    """Of two mirror images the one whose label comes later names the other, whatever the order of the model."""
    named: dict[int, str] = {}
    for one, other in found.items():
        if one in labels and other in labels:
            first, later = sorted((one, other), key=lambda number: labels[number])
            named[later] = labels[first]
    return named
