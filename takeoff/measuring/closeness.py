"""Which bodies stand close to each other: what touches most, and the narrow gaps between them."""

from collections.abc import Mapping, Sequence

import numpy as np

from takeoff.geometry.booleans import manifold
from takeoff.geometry.bridging import fillers
from takeoff.geometry.contacts import find_contacts
from takeoff.geometry.facets import make_facets
from takeoff.geometry.mesh import Mesh
from takeoff.geometry.neighbours import near_pairs
from takeoff.geometry.surfaces import make_surfaces

TOUCH = 0.005
"""Bodies nearer than this, m, touch."""


def gap_fillers(
    meshes: Sequence[Mesh], owners: Sequence[int], reach: Mapping[int, float]
) -> dict[int, list[Mesh]]:
    """Solids that fill gaps between different owners, by the owner that grows: one in `reach` (m), the first."""
    widest = max(reach.values(), default=0.0)
    pairs = near_pairs(np.array([mesh.box() for mesh in meshes]).reshape(-1, 2, 3), widest)
    owner = np.array(owners)
    growing = np.array([reach.get(position, 0.0) > 0 for position in owners])
    if len(pairs):
        apart = owner[pairs[:, 0]] != owner[pairs[:, 1]]
        pairs = pairs[apart & growing[pairs].any(axis=1)]
    if not len(pairs):
        return {}
    surfaces = make_surfaces(make_facets(list(meshes)))
    contacts = find_contacts(surfaces, pairs, widest)
    result: dict[int, list[Mesh]] = {}
    for number, extra in fillers(surfaces, contacts).items():
        sides = [owners[int(surfaces.part[row])] for row in (contacts.first[number], contacts.second[number])]
        able = [side for side in sides if reach.get(side, 0.0) >= float(contacts.gap[number])]
        if able:
            result.setdefault(min(able), []).extend(extra)
    return result


def contact_areas(
    meshes: Sequence[Mesh], owners: Sequence[int], of: Sequence[int]
) -> dict[tuple[int, int], float]:
    """Contact area, m2, between the owners `of` and all others, by (one of `of`, other).

    Bodies that share space count as touching with an infinite area.
    """
    pairs = near_pairs(np.array([mesh.box() for mesh in meshes]).reshape(-1, 2, 3), TOUCH)
    owner = np.array(owners)
    if len(pairs):
        pairs = pairs[(owner[pairs[:, 0]] != owner[pairs[:, 1]]) & np.isin(owner[pairs], of).any(axis=1)]
    if not len(pairs):
        return {}
    near = np.unique(pairs)
    surfaces = make_surfaces(make_facets([meshes[i] for i in near.tolist()]))
    contacts = find_contacts(surfaces, np.searchsorted(near, pairs), TOUCH)
    wanted = set(of)
    areas: dict[tuple[int, int], float] = {}
    found = [
        (int(near[surfaces.part[a]]), int(near[surfaces.part[b]]), float(size))
        for a, b, size in zip(contacts.first, contacts.second, contacts.area, strict=True)
    ]
    found += [(i, j, np.inf) for i, j in pairs.tolist() if _shared_volume(meshes[i], meshes[j]) > 1e-6]
    for one, other, size in found:
        for key in ((owners[one], owners[other]), (owners[other], owners[one])):
            if key[0] in wanted:
                areas[key] = areas.get(key, 0.0) + size
    return areas


def touching(guests: Mapping[int, Mesh], hosts: Mapping[int, Mesh]) -> dict[int, int]:
    """For each guest the host that it shares most contact area with; without contact the most shared space."""
    own, others = list(guests), list(hosts)
    meshes = [*guests.values(), *hosts.values()]
    pairs = near_pairs(np.array([mesh.box() for mesh in meshes]).reshape(-1, 2, 3), TOUCH)
    pairs = pairs[(pairs < len(own)).sum(axis=1) == 1] if len(pairs) else pairs
    if not len(pairs):
        return {}
    area: dict[tuple[int, int], float] = {}
    surfaces = make_surfaces(make_facets(meshes))
    contacts = find_contacts(surfaces, pairs, TOUCH)
    for a, b, size in zip(contacts.first, contacts.second, contacts.area, strict=True):
        guest, host = sorted((int(surfaces.part[a]), int(surfaces.part[b])))
        area[guest, host] = area.get((guest, host), 0.0) + float(size)
    for guest, host in pairs.tolist():
        low, high = min(guest, host), max(guest, host)
        if (low, high) not in area:
            shared = _shared_volume(meshes[low], meshes[high])
            if shared > 1e-6:
                area[low, high] = 1e-6 * shared
    chosen: dict[int, int] = {}
    for (guest, host), size in sorted(area.items(), key=lambda entry: (-entry[1], entry[0])):
        chosen.setdefault(own[guest], others[host - len(own)])
        del size
    return chosen


def _shared_volume(one: Mesh, other: Mesh) -> float:
    return float((manifold(one) ^ manifold(other)).volume())
