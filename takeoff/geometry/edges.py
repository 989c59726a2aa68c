"""How the triangles of a mesh hang together: edges, connected shells, and shells that touch along an edge."""

import numpy as np

from takeoff.geometry.mesh import Floats, Ints, Mesh


def edges_of(faces: Ints) -> Ints:
    """Undirected edges (3m, 2) of (m, 3) faces; edge k of face i stands in row 3i + k."""
    pairs = np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2)
    return np.sort(pairs, axis=1)


def connected(pairs: Ints, count: int) -> Ints:
    """Number of the connected piece of each of `count` nodes that (k, 2) pairs join, (count,).

    Labels are lowered across pairs and along chains until they stand still; no graph library, for start-up.
    """
    labels = np.arange(count, dtype=np.int64)
    while True:
        low = np.minimum(labels[pairs[:, 0]], labels[pairs[:, 1]])
        new = labels.copy()
        np.minimum.at(new, labels[pairs[:, 0]], low)
        np.minimum.at(new, labels[pairs[:, 1]], low)
        new = new[new]
        new = new[new]
        if np.array_equal(new, labels):
            return labels
        labels = new


def shells(faces: Ints, count: int) -> Ints:
    """Number of the connected shell of each of (m, 3) faces over `count` vertices, (m,)."""
    pairs = np.concatenate([faces[:, :2], faces[:, 1:]])
    return connected(pairs, count)[faces[:, 0]]


_ROUNDS = 20
"""Rounds in which edges that still join more than two faces are cut."""


def parted(mesh: Mesh, rounds: int = _ROUNDS) -> Mesh:
    """The closed mesh with corners doubled where solids touch along an edge, so that every edge has two faces.

    At an edge with more faces, each is paired with the next one about the edge across the solid between them;
    corners stay together only through such pairs. Where the corners are joined another way (cavities that touch
    along an edge), each pair gets a corner of its own in the middle of the edge. Meshes without such edges come back
    as they are.
    """
    faces = mesh.faces
    start, end = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    size = np.int64(len(mesh.vertices))
    keys = np.minimum(start, end) * size + np.maximum(start, end)
    order = np.argsort(keys, kind="stable")
    ordered = keys[order]
    firsts = np.flatnonzero(np.concatenate([[True], ordered[1:] != ordered[:-1]]))
    counts = np.diff(np.concatenate([firsts, [len(ordered)]]))
    if (counts == 2).all():
        return mesh
    plain = firsts[counts == 2]
    pairs = [np.column_stack([order[plain], order[plain + 1]])]
    for first, count in zip(firsts[counts > 2].tolist(), counts[counts > 2].tolist(), strict=True):
        pairs.append(_paired(mesh.vertices, faces, start, end, order[first : first + count]))
    one, other = np.concatenate(pairs).T
    # Corner k of face i is number 3i + k; side k runs from corner k to the next one.
    one_end, other_end = one - one % 3 + (one + 1) % 3, other - other % 3 + (other + 1) % 3
    joints = np.concatenate([np.column_stack([one, other_end]), np.column_stack([one_end, other])])
    labels = connected(joints, len(start))
    _, index, inverse = np.unique(labels, return_index=True, return_inverse=True)
    out = Mesh(mesh.vertices[start[index]], inverse.reshape(-1, 3).astype(np.int64), mesh.labels)
    _, place, times = np.unique(edges_of(out.faces), axis=0, return_inverse=True, return_counts=True)
    crowded = times[place.reshape(-1)][one] > 2
    if not rounds or not crowded.any():
        return out
    return parted(_middles(out, one[crowded], other[crowded]), rounds - 1)


def _middles(mesh: Mesh, one: Ints, other: Ints) -> Mesh:
    """Cut faces at the middle of the sides that they share in pairs, each face once; each pair by its own corner."""
    faces, vertices, labels = mesh.faces.copy(), [mesh.vertices], [mesh.labels]
    added: list[list[int]] = []
    used: set[int] = set()
    fresh = len(mesh.vertices)
    for pair in zip(one.tolist(), other.tolist(), strict=True):
        rows = {side // 3 for side in pair}
        if rows & used or len(rows) < 2:
            continue
        used |= rows
        for side in pair:
            row, place = divmod(side, 3)
            a, b, c = (int(mesh.faces[row, (place + step) % 3]) for step in range(3))
            faces[row] = a, fresh, c
            added.append([fresh, b, c])
            labels.append(mesh.labels[row : row + 1])
        vertices.append(mesh.vertices[[a, b]].mean(axis=0)[None])
        fresh += 1
    return Mesh(np.concatenate(vertices), np.concatenate([faces, np.array(added)]), np.concatenate(labels))


def _paired(vertices: Floats, faces: Ints, start: Ints, end: Ints, sides: Ints) -> Ints:
    """Pairs (k, 2) of the sides that share one edge: each forward one with the next backward one inside."""
    low, high = min(start[sides[0]], end[sides[0]]), max(start[sides[0]], end[sides[0]])
    axis = vertices[high] - vertices[low]
    axis /= np.linalg.norm(axis) or 1.0
    wish = np.eye(3)[int(np.argmin(np.abs(axis)))]
    first = np.cross(axis, wish)
    first /= np.linalg.norm(first)
    second = np.cross(axis, first)
    across = vertices[faces.ravel()[sides - sides % 3 + (sides + 2) % 3]] - vertices[low]
    angles = np.arctan2(across @ second, across @ first)
    forward = start[sides] == low
    pairs = []
    free = set(np.flatnonzero(~forward).tolist())
    # A face whose side runs along the axis has its solid clockwise of it; a wedge of no angle is no solid.
    for number in np.flatnonzero(forward).tolist():
        best = min(free, key=lambda other: (angles[number] - angles[other] - 1e-7) % (2.0 * np.pi))
        free.discard(best)
        pairs.append((sides[number], sides[best]))
    return np.array(pairs, dtype=np.int64)
