"""Which measured parts are lifted together as one piece."""

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct

from takeoff.findings import Finding
from takeoff.geometry.mesh import Mesh, volume
from takeoff.measuring.boxes import tightest_box, to_triangles
from takeoff.measuring.handling import Unit as UnitRules
from takeoff.measuring.keys import ElementKey, PartKey, part_key
from takeoff.measuring.records import MeasuredPart
from takeoff.measuring.shapes import largest_plane
from takeoff.told import counted

LIFTED = ("precast", "tilt-up")
MOST_PROBES = 2000


class Unit(Struct, frozen=True):
    """Parts that are lifted together, those of the largest element first. `assembly` is the GlobalId of the
    assembly where the unit is all that is lifted of it."""

    parts: tuple[MeasuredPart, ...]
    assembly: str = ""

    @property
    def main(self) -> MeasuredPart:
        """The part that gives the piece its name, role and storey."""
        return self.parts[0]

    @property
    def elements(self) -> tuple[ElementKey, ...]:
        """The elements of the unit, the largest first."""
        return tuple(dict.fromkeys((part.model, part.global_id) for part in self.parts))


def find_units(
    parts: Sequence[MeasuredPart], meshes: Mapping[PartKey, Mesh], rules: UnitRules
) -> tuple[tuple[Unit, ...], tuple[Finding, ...]]:
    """Gather precast and tilt-up parts into units.

    All parts of an element are one unit (the leaves of a twin wall). Elements of one assembly are one unit
    where they touch and one of them is the main body, or where they are the two leaves of a panel; otherwise
    each is lifted by itself and a finding says so. Parts without a volume or a mesh are left out.
    """
    elements: dict[tuple[str, str, str], list[MeasuredPart]] = defaultdict(list)
    for part in parts:
        if part.method in LIFTED and part.net_volume_m3 and part_key(part) in meshes:
            elements[part.model, part.global_id, part.method].append(part)
    assemblies: dict[tuple[str, str, str], list[list[MeasuredPart]]] = defaultdict(list)
    units: list[Unit] = []
    findings: list[Finding] = []
    for (model, _, method), own in elements.items():
        if own[0].assembly:
            assemblies[model, own[0].assembly, method].append(own)
        else:
            units.append(Unit(tuple(own)))
    for (model, assembly, _), members in assemblies.items():
        groups = _lifted_together(members, meshes, rules)
        whole = len(groups) == 1
        for group in groups:
            group.sort(key=lambda own: (-_volume(own), own[0].global_id))
            units.append(Unit(tuple(part for own in group for part in own), assembly if whole else ""))
        if not whole:
            findings.append(
                Finding(
                    "note",
                    "assembly-of-several-pieces",
                    model,
                    assembly,
                    f"assembly of {len(members)} concrete bodies, none of them a main body "
                    "that the others touch: ask whether it is lifted as one",
                    counted(len(groups), "piece"),
                    float(len(groups)),
                    "pieces",
                )
            )
    return tuple(units), tuple(findings)


def _volume(parts: Sequence[MeasuredPart]) -> float:
    return sum(part.net_volume_m3 or 0.0 for part in parts)


def _lifted_together(
    members: list[list[MeasuredPart]], meshes: Mapping[PartKey, Mesh], rules: UnitRules
) -> list[list[list[MeasuredPart]]]:
    """Members of an assembly (each the parts of one element) in the groups that are lifted together."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    if len(members) == 1:
        return [members]
    bodies = [[meshes[part_key(part)] for part in own] for own in members]
    size = len(members)
    pairs = _near_pairs(bodies, max(rules.touch, rules.leaf_gap))
    joints = [
        (i, j) for i, j in pairs if any(touching(a, b, rules.touch) for a in bodies[i] for b in bodies[j])
    ]
    apart = set(pairs) - set(joints)
    leaves = [
        (i, j)
        for i, j in sorted(apart)
        if len(bodies[i]) == len(bodies[j]) == 1 and are_leaves(bodies[i][0], bodies[j][0], rules)
    ]
    links = np.array(joints + leaves).reshape(-1, 2)
    graph = coo_array((np.ones(len(links)), (links[:, 0], links[:, 1])), shape=(size, size))
    label = connected_components(graph, directed=False)[1]
    groups: list[list[list[MeasuredPart]]] = []
    for number in dict.fromkeys(label.tolist()):
        inside = [i for i in range(size) if label[i] == number]
        volumes = [_volume(members[i]) for i in inside]
        paired = any(i in inside for i, _ in leaves)
        if len(inside) == 1 or paired or max(volumes) > rules.main_share * sum(volumes):
            groups.append([members[i] for i in inside])
        else:
            groups.extend([members[i]] for i in inside)
    return groups


def _near_pairs(bodies: Sequence[Sequence[Mesh]], gap: float) -> list[tuple[int, int]]:
    """Pairs (i < j) of members whose boxes come within `gap` metres."""
    boxes = [np.array([mesh.box() for mesh in own]) for own in bodies]
    low = np.array([box[:, 0].min(axis=0) for box in boxes])
    high = np.array([box[:, 1].max(axis=0) for box in boxes])
    pairs: list[tuple[int, int]] = []
    for i in range(len(bodies) - 1):
        near = np.all((low[i + 1 :] <= high[i] + gap) & (high[i + 1 :] >= low[i] - gap), axis=1)
        pairs += [(i, int(j)) for j in np.flatnonzero(near) + i + 1]
    return pairs


def touching(one: Mesh, other: Mesh, gap: float) -> bool:
    """Whether two bodies come within `gap` metres: corners, middles of edges and triangles are probed."""
    (low, high), (other_low, other_high) = one.box(), other.box()
    if np.any(low > other_high + gap) or np.any(other_low > high + gap):
        return False
    return _reaches(one, other, gap) or _reaches(other, one, gap)


def _reaches(one: Mesh, other: Mesh, gap: float) -> bool:
    corners = one.corners
    probes = np.concatenate(
        [one.vertices, ((corners + corners[:, [1, 2, 0]]) / 2.0).reshape(-1, 3), corners.mean(axis=1)]
    )
    low, high = other.box()
    probes = probes[np.all((probes >= low - gap) & (probes <= high + gap), axis=1)][:MOST_PROBES]
    triangles = other.corners
    near_low, near_high = one.box()
    triangles = triangles[
        np.all((triangles.max(axis=1) >= near_low - gap) & (triangles.min(axis=1) <= near_high + gap), axis=1)
    ]
    step = max(1, 2_000_000 // max(1, len(triangles)))
    return any(
        bool((to_triangles(probes[i : i + step], triangles) <= gap).any())
        for i in range(0, len(probes), step)
    )


def are_leaves(one: Mesh, other: Mesh, rules: UnitRules) -> bool:
    """Whether two bodies are parallel leaves that face each other across a space for a core or insulation."""
    (face, normal), (other_face, facing) = largest_plane(one), largest_plane(other)
    thinner = min(volume(one) / face, volume(other) / other_face)
    if abs(float(normal @ facing)) < 1.0 - 1e-4 or thinner > rules.leaf_thickness:
        return False
    (a_low, a_high), (b_low, b_high) = (
        (float((body.vertices @ normal).min()), float((body.vertices @ normal).max()))
        for body in (one, other)
    )
    gap = max(b_low - a_high, a_low - b_high)
    if not 0.0 < gap <= rules.leaf_gap:
        return False
    axes, _ = tightest_box(one.vertices)
    for axis in axes:
        if abs(float(axis @ normal)) > 0.5:
            continue
        spans = [
            (float((body.vertices @ axis).min()), float((body.vertices @ axis).max()))
            for body in (one, other)
        ]
        overlap = min(spans[0][1], spans[1][1]) - max(spans[0][0], spans[1][0])
        if overlap < 0.7 * min(high - low for low, high in spans):
            return False
    return True
