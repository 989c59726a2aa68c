"""Meshes as files give them made into closed, outward-turned shells, or told apart as not measurable.

Nothing is mended silently: whatever changes a volume is named in the remarks.
"""

from itertools import pairwise

import manifold3d
import numpy as np
from msgspec import Struct

from takeoff.geometry.edges import connected, edges_of, shells
from takeoff.geometry.mesh import Floats, Ints, Mesh, areas, crossed, is_closed, volume, welded
from takeoff.told import Quantity, told

WELDS = (1e-6, 1e-5, 1e-4, 5e-4)
"""Distances within which corners are one, metres, tried in this order until the mesh closes."""

REMARKED_WELD = 1e-4
"""Welding by this much or more is remarked."""

GAP_SHARE = 0.02
"""Share of the surface above which closed gaps are called large in the remark."""

_PROBES = 9
"""Places of a shell that are asked whether they lie within another."""

VOID_VOLUME = 1e-9
"""A body of less than this, m3, has no volume."""

_FEW_SHELLS = 40
"""Shells of one body up to which each is looked for within each other, whichever way it looks."""

NO_VOLUME = "no volume"
"""The condition of a body whose faces have nothing between them."""


class Mended(Struct, frozen=True):
    """A mesh after mending: usable where `condition` is empty. `remarks` are (kind, message) pairs."""

    mesh: Mesh
    condition: str = ""
    remarks: tuple[tuple[str, str], ...] = ()


def mend(mesh: Mesh) -> Mended:
    """Weld, orient and close a mesh; say what was done, or why it cannot be measured.

    A mesh of several shells keeps them all; a shell within another that turns the other way is its cavity.
    """
    if not np.isfinite(mesh.vertices).all():
        return Mended(mesh, "coordinates that are no numbers")
    if not len(mesh.faces):
        return Mended(mesh, "no faces")
    vertices, faces, remarks = _joined(mesh)
    if not len(faces):
        return Mended(mesh, "no surface: all corners lie in one place")
    turned = 0
    if not is_closed(faces):
        faces, turned = _oriented(_without_doubles(faces))
    if not is_closed(faces):
        faces, more = _oriented(_joints_split(vertices, faces))
        turned += more
    if turned:
        remarks.append(
            ("faces-turned", f"{turned} of {len(faces)} triangles looked the other way: turned alike")
        )
    if not is_closed(faces):
        faces, gap = _capped(vertices, faces)
        if gap and is_closed(faces):
            share = gap / float(areas(vertices[faces]).sum())
            size = "large: check the body" if share > GAP_SHARE else "small"
            said = told("missing faces of {} were closed flat ({})", Quantity(gap, "m2", ".4f"), size)
            remarks.append(("shell-closed", said))
    if not is_closed(faces):
        return Mended(Mesh.of(vertices, faces), "the surface is not closed")
    return _turned_out(Mesh.of(vertices, faces), remarks)


def _joined(mesh: Mesh) -> tuple[Floats, Ints, list[tuple[str, str]]]:
    """Corners welded by the smallest distance that closes the mesh, else by the smallest of all."""
    first: tuple[Floats, Ints] | None = None
    for tolerance in WELDS:
        vertices, faces, _ = welded(mesh.vertices, mesh.faces, tolerance)
        if first is None:
            first = vertices, faces
        if is_closed(faces):
            remarks = []
            if tolerance >= REMARKED_WELD:
                apart = Quantity(tolerance * 1000, "mm", "g", size=True)
                remarks.append(("corners-joined", told("corners up to {} apart were joined", apart)))
            return vertices, faces, remarks
        if _evenly_shared(faces):
            return vertices, faces, []
    assert first is not None
    return (*first, [])


def _evenly_shared(faces: Ints) -> bool:
    """Whether every edge is shared by an even number of faces, whichever way they turn."""
    if not len(faces):
        return False
    _, counts = np.unique(edges_of(faces), axis=0, return_counts=True)
    return bool((counts % 2 == 0).all())


def _without_doubles(faces: Ints) -> Ints:
    """Drop repetitions of a face, whichever way they turn.

    Of the same three corners one face stays where most of their edges need it: where the other faces share the edge
    an odd number of times. Else none does: a wall between two lumps is drawn once for each.
    """
    _, index, inverse, counts = np.unique(
        np.sort(faces, axis=1), axis=0, return_index=True, return_inverse=True, return_counts=True
    )
    if len(index) == len(faces):
        return faces
    inverse = inverse.reshape(-1)
    single = counts[inverse] == 1
    edges = edges_of(faces)
    _, place = np.unique(edges, axis=0, return_inverse=True)
    place = place.reshape(-1)
    others = np.bincount(place[np.repeat(single, 3)], minlength=int(place.max()) + 1)
    needed = (others[place].reshape(-1, 3) % 2 == 1).sum(axis=1) >= 2
    smallest = np.argmin(faces, axis=1)
    turned = np.take_along_axis(faces, (smallest[:, None] + np.arange(3)) % 3, axis=1)
    ahead = np.bincount(inverse, weights=turned[:, 1] < turned[:, 2], minlength=len(index))
    alike = (ahead == 0) | (ahead == counts)
    keep = (counts == 1) | needed[index] | (alike & (counts % 2 == 1))
    kept: Ints = faces[np.sort(index[keep])]
    return kept


def _oriented(faces: Ints) -> tuple[Ints, int]:
    """Turn the faces of every connected piece alike, across edges that exactly two faces share.

    Every face stands twice in a graph, as it is and turned over; pieces of the graph are consistent choices.
    A piece in which a face meets its own reverse (a one-sided surface) stays as it is. Returns the faces and how
    many were turned.
    """
    count = len(faces)
    edges = edges_of(faces)
    ahead = np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2)[:, 0] == edges[:, 0]
    _, inverse, counts = np.unique(edges, axis=0, return_inverse=True, return_counts=True)
    inverse = inverse.reshape(-1)
    order = np.argsort(inverse, kind="stable")
    order = order[counts[inverse[order]] == 2].reshape(-1, 2)
    one, other = order[:, 0] // 3, order[:, 1] // 3
    clash = (ahead[order[:, 0]] == ahead[order[:, 1]]).astype(np.int64)
    alike = np.column_stack([one, other + clash * count])
    turned = np.column_stack([one + count, other + (1 - clash) * count])
    piece = connected(np.concatenate([alike, turned]), 2 * count)
    as_is, over = piece[:count], piece[count:]
    twins = np.minimum(as_is, over)
    flipped = over < as_is
    votes = np.bincount(twins, weights=np.where(flipped, -1.0, 1.0), minlength=2 * count)
    turn = (flipped ^ (votes[twins] < 0)) & (as_is != over)
    out = faces.copy()
    out[turn] = out[turn][:, ::-1]
    return out, int(np.count_nonzero(turn))


def _open_edges(faces: Ints) -> tuple[Ints, Ints]:
    """Directed edges without an opposite: their places (face, side) as (k, 2), and their ends (k, 2)."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    size = int(faces.max()) + 1
    forward, backward = start * size + end, end * size + start
    keys, counts = np.unique(np.concatenate([forward, backward]), return_counts=True)
    net = dict.fromkeys(keys[counts % 2 == 1].tolist(), 0)
    rows = [row for row, key in enumerate(forward.tolist()) if key in net]
    if not rows:
        rows = np.flatnonzero(~np.isin(forward, backward)).tolist()
    index = np.array(rows, dtype=np.int64)
    return np.column_stack([index // 3, index % 3]), np.column_stack([start[index], end[index]])


def _joints_split(vertices: Floats, faces: Ints, tolerance: float = 1e-5) -> Ints:
    """Split faces at corners of others that lie on their open edges, until none does (at most ten rounds)."""
    for _ in range(10):
        places, ends = _open_edges(faces)
        if not len(ends):
            return faces
        loose = np.unique(ends)
        points = vertices[loose]
        extra: list[Ints] = []
        gone: set[int] = set()
        for (face, side), (start, end) in zip(places.tolist(), ends.tolist(), strict=True):
            if face in gone:
                continue
            along = vertices[end] - vertices[start]
            length = float(np.linalg.norm(along))
            if length <= 2 * tolerance:
                continue
            reach = (points - vertices[start]) @ along / length
            off = np.linalg.norm(points - vertices[start] - np.outer(reach / length, along), axis=1)
            on = (reach > tolerance) & (reach < length - tolerance) & (off < tolerance)
            if not on.any():
                continue
            between = loose[on][np.argsort(reach[on])].tolist()
            corner = int(faces[face][(side + 2) % 3])
            chain = [start, *between, end]
            gone.add(face)
            extra.append(np.array([[a, b, corner] for a, b in pairwise(chain)]))
        if not gone:
            return faces
        faces = np.concatenate([np.delete(faces, sorted(gone), axis=0), *extra])
        faces = faces[
            (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
        ]
    return faces


def _capped(vertices: Floats, faces: Ints) -> tuple[Ints, float]:
    """Close gaps whose rim is a flat ring; returns the faces and the area closed, m2."""
    _, ends = _open_edges(faces)
    after: dict[int, int] = {}
    for start, end in ends.tolist():
        if end in after:
            return faces, 0.0
        after[end] = start
    lids: list[Ints] = []
    gap = 0.0
    while after:
        first = next(iter(after))
        ring: list[int] = []
        current = first
        while current in after:
            ring.append(current)
            current = after.pop(current)
        if current != first or len(ring) < 3:
            return faces, 0.0
        lid = _lid(vertices, np.array(ring, dtype=np.int64))
        if lid is None:
            return faces, 0.0
        lids.append(lid)
        gap += float(areas(vertices[lid]).sum())
    return np.concatenate([faces, *lids]) if lids else faces, gap


def _lid(vertices: Floats, ring: Ints) -> Ints | None:
    """Triangles over a flat ring (within a millimetre), None where it is not flat."""
    corners = vertices[ring] - vertices[ring].mean(axis=0)
    _, spread, frame = np.linalg.svd(corners, full_matrices=False)
    if np.abs(corners @ frame[2]).max() > 1e-3 or spread[1] < 1e-6:
        return None
    flat = corners @ frame[:2].T
    x, y = flat.T
    turn = float(x @ np.roll(y, -1) - y @ np.roll(x, -1))
    if turn < 0.0:
        flat = flat * np.array([1.0, -1.0])
    faces = np.asarray(manifold3d.triangulate([np.ascontiguousarray(flat)]), dtype=np.int64).reshape(-1, 3)
    lid: Ints = ring[faces]
    return lid


def _turned_out(mesh: Mesh, remarks: list[tuple[str, str]]) -> Mended:
    """Turn shells that are inside out; one that lies within another and turns inward stays as its cavity."""
    total = volume(mesh)
    number = shells(mesh.faces, len(mesh.vertices))
    pieces = np.unique(number)
    if len(pieces) == 1:
        if abs(total) < VOID_VOLUME:
            return Mended(mesh, NO_VOLUME)
        if total < 0.0:
            if not any(kind == "faces-turned" for kind, _ in remarks):
                remarks.append(("inside-out", "the surface was inside out and was turned"))
            mesh = Mesh(mesh.vertices, np.ascontiguousarray(mesh.faces[:, ::-1]), mesh.labels)
        return Mended(mesh, "", tuple(remarks))
    faces = mesh.faces.copy()
    parts = {piece: Mesh.of(mesh.vertices, mesh.faces[number == piece]) for piece in pieces.tolist()}
    volumes = {piece: volume(part) for piece, part in parts.items()}
    for piece in [piece for piece, size in volumes.items() if abs(size) < VOID_VOLUME]:
        del parts[piece], volumes[piece]
    if not parts:
        return Mended(mesh, NO_VOLUME)
    # The largest shell has nothing about it: which way it turns tells which way the file's faces look.
    largest = max(volumes, key=lambda piece: abs(volumes[piece]))
    sense = 1.0 if volumes[largest] > 0.0 else -1.0
    turned = 0
    nested = 0.0
    keep = np.isin(number, list(parts))
    for piece, size in volumes.items():
        inward = size * sense < 0.0
        about = [
            other
            for other in (parts if inward or len(parts) <= _FEW_SHELLS else ())
            if abs(volumes[other]) > abs(size) and _within(parts[piece], parts[other])
        ]
        cavity = inward and bool(about)
        if about and not inward and not any(volumes[other] * sense < 0.0 for other in about):
            nested += abs(size)
        if (size > 0.0) == cavity:
            faces[number == piece] = faces[number == piece][:, ::-1]
            turned += 1
    if turned and not (sense < 0.0 and any(kind == "faces-turned" for kind, _ in remarks)):
        remarks.append(("inside-out", f"{turned} of {len(pieces)} shells were inside out and were turned"))
    if nested > VOID_VOLUME:
        text = "a shell within another looks outward as that one does: taken as full, as a cavity it would be {} less"
        remarks.append(("shell-within", told(text, Quantity(nested, "m3", ".4f"))))
    return Mended(Mesh.of(mesh.vertices, faces[keep]), "", tuple(remarks))


def _within(part: Mesh, other: Mesh) -> bool:
    """Whether a closed shell lies within another that it does not cross: most of some of its faces' middles do."""
    inner, outer = part.corners, other.corners
    low, high = outer.min(axis=(0, 1)), outer.max(axis=(0, 1))
    if (inner.min(axis=(0, 1)) < low - 1e-6).any() or (inner.max(axis=(0, 1)) > high + 1e-6).any():
        return False
    middles = inner[np.linspace(0, len(inner) - 1, _PROBES).astype(np.int64)].mean(axis=1)
    return int(sum(_winding(outer, point) > 0.5 for point in middles)) * 2 > len(middles)


def _winding(corners: Floats, point: Floats) -> float:
    """How often triangles (m, 3, 3) wind about a (3,) point, whichever way: 1 within a closed shell, 0 without.

    The solid angle of each by van Oosterom and Strackee (1983).
    """
    a, b, c = (corners[:, place] - point for place in range(3))
    la, lb, lc = (np.sqrt((side * side).sum(axis=1)) for side in (a, b, c))
    over = (a * crossed(b, c)).sum(axis=1)
    under = la * lb * lc + (a * b).sum(axis=1) * lc + (b * c).sum(axis=1) * la + (c * a).sum(axis=1) * lb
    return abs(float(np.arctan2(over, under).sum())) / (2.0 * np.pi)
