"""Contacts on curved faces that were cut into facets differently on the two sides.

Facets of one curve rarely lie in one plane with those of the other, and a circle on one side may be a polygon on the
other. Where the two curves lie on each other, every facet is covered by what is thrown upon it across the gap.
"""

import numpy as np
import shapely
from numpy.typing import NDArray

from takeoff.geometry import planar
from takeoff.geometry.mesh import Floats, Ints
from takeoff.geometry.surfaces import Surfaces

Polygons = NDArray[np.object_]
Found = tuple[Ints, Ints, Floats, Floats, Polygons, Polygons]
"""Surfaces on either side, area m2, gap m, and the contact in the coordinates of the first and of the second."""

FACING = -np.cos(np.radians(25.0))
"""Facets of curves that lie on each other face each other within the turn of one facet, and some."""
UPRIGHT = 1e-3
"""Normals that rise less than this are level."""
SHALLOW = 0.036
"""A facet that strays further than this part of the radius from a cylinder is no piece of it (12 sides: 0.0353)."""


def may_bend(surfaces: Surfaces, a: Ints, b: Ints) -> NDArray[np.bool_]:
    """Which pairs of surfaces (k,) may be facets of one curve, or a cylinder and a facet of it."""
    curved = surfaces.curved[a] & surfaces.curved[b]
    round_a, round_b = surfaces.frame[a] < 0, surfaces.frame[b] < 0
    facing = np.einsum("ij,ij->i", surfaces.normal[a], surfaces.normal[b]) < FACING
    twice: NDArray[np.bool_] = curved & ~round_a & ~round_b & facing
    return twice | (round_a ^ round_b)


def sag_of(surfaces: Surfaces) -> Floats:
    """How far, m, the middle of each facet of a curve lies from the curve; 0 for what is flat or a true cylinder.

    Two neighbours with centres c and normals n lie on a circle of radius r: (c1 - c2) = r cos(t / 2) (n1 - n2), with t
    the turn between them; the sag is r (1 - cos(t / 2)).
    """
    sag = np.zeros(len(surfaces))
    a, b = surfaces.edges[:, 0], surfaces.edges[:, 1]
    same = (surfaces.patch[a] >= 0) & (surfaces.patch[a] == surfaces.patch[b])
    same &= (surfaces.frame[a] >= 0) & (surfaces.frame[b] >= 0)
    a, b = a[same], b[same]
    turn = surfaces.normal[a] - surfaces.normal[b]
    squared = np.maximum((turn**2).sum(axis=1), 1e-12)
    inner = np.abs(((surfaces.centre[a] - surfaces.centre[b]) * turn).sum(axis=1)) / squared
    half = np.arcsin(np.minimum(np.sqrt(squared) / 2.0, 1.0))
    np.maximum.at(sag, a, inner * (1.0 / np.cos(half) - 1.0))
    return sag


def bent_contacts(surfaces: Surfaces, a: Ints, b: Ints, gap: float) -> Found:
    """Contacts of pairs of which `may_bend` said so, within `gap` m and what the facets sag."""
    round_a, round_b = surfaces.frame[a] < 0, surfaces.frame[b] < 0
    twice = ~round_a & ~round_b
    facet = np.where(round_b, a, b)[~twice]
    cylinder = np.where(round_b, b, a)[~twice]
    parts = (_two_facets(surfaces, a[twice], b[twice], gap), _on_cylinder(surfaces, facet, cylinder, gap))
    one, other, area, apart, polygon, opposite = (
        np.concatenate(column) for column in zip(*parts, strict=True)
    )
    return one, other, area, apart, polygon, opposite


def _two_facets(surfaces: Surfaces, a: Ints, b: Ints, gap: float) -> Found:
    """Facets of two curves: each thrown on the other's plane."""
    if not len(a):
        return _nothing()
    sag = sag_of(surfaces)
    on_a, apart = _thrown(surfaces, a, b)
    on_b, _ = _thrown(surfaces, b, a)
    near = np.abs(apart) <= gap + sag[a] + sag[b]
    a, b, on_a, on_b, apart = a[near], b[near], on_a[near], on_b[near], apart[near]
    area = (shapely.area(on_a) + shapely.area(on_b)) / 2.0
    return a, b, area, apart, on_a, on_b


def _thrown(surfaces: Surfaces, onto: Ints, what: Ints) -> tuple[Polygons, Floats]:
    """What of the facets `onto` is covered by the facets `what` thrown on their planes, and how far they are apart."""
    axes, offset = surfaces.axes[onto], _offsets(surfaces, onto)
    points, owner = shapely.get_coordinates(surfaces.polygon[what], return_index=True)
    space = _in_space(surfaces, what, points, owner)
    flat = np.einsum("ijk,ik->ij", axes[owner][:, :2], space)
    shared = planar.intersection(surfaces.polygon[onto], _moved(surfaces.polygon[what], flat))
    middle = shapely.get_coordinates(shapely.centroid(shared))
    empty = shapely.is_empty(shared)
    apart = np.full(len(onto), np.inf)
    rows = np.flatnonzero(~empty)
    if len(rows):
        foot = np.einsum("ij,ijk->ik", middle, axes[rows][:, :2]) + (offset[rows, None] * axes[rows][:, 2])
        normal = surfaces.normal[what[rows]]
        along = surfaces.normal[onto[rows]]
        to_plane = np.einsum("ij,ij->i", surfaces.centre[what[rows]] - foot, normal)
        apart[rows] = to_plane / np.einsum("ij,ij->i", along, normal)
    return shared, apart


def _on_cylinder(surfaces: Surfaces, facet: Ints, cylinder: Ints, gap: float) -> Found:
    """Upright facets on upright cylinders: both unrolled about the cylinder's axis."""
    axis, radius = surfaces.axis_point[cylinder], surfaces.radius[cylinder]
    away = surfaces.centre[facet, :2] - axis
    outward = np.einsum("ij,ij->i", surfaces.normal[facet, :2], away)
    near = (np.abs(surfaces.normal[facet, 2]) < UPRIGHT) & ((outward > 0) == surfaces.hollow[cylinder])
    near &= np.abs(np.abs(outward) - radius) <= gap + SHALLOW * radius
    facet, cylinder = facet[near], cylinder[near]
    if not len(facet):
        return _nothing()
    axis, radius, away = axis[near], radius[near], away[near]
    points, owner = shapely.get_coordinates(surfaces.polygon[facet], return_index=True)
    space = _in_space(surfaces, facet, points, owner)
    plan = space[:, :2] - axis[owner]
    farthest, nearest = np.zeros(len(facet)), np.abs(outward[near])
    np.maximum.at(farthest, owner, np.linalg.norm(plan, axis=1))
    # the corners or the middle of the facet touch, and all of it lies within a shallow segment of the circle
    reach = np.minimum(np.abs(farthest - radius), np.abs(nearest - radius))
    whole = (reach <= gap) & (farthest - nearest <= SHALLOW * radius)
    base = np.arctan2(away[:, 1], away[:, 0])
    angle = base[owner] + _wrapped(np.arctan2(plan[:, 1], plan[:, 0]) - base[owner])
    unrolled = _moved(surfaces.polygon[facet], np.column_stack([angle, space[:, 2]]))
    found = [_nothing()]
    for turn in (-2.0 * np.pi, 0.0, 2.0 * np.pi):
        low, high = shapely.bounds(unrolled)[:, [0, 2]].T + turn
        rows = np.flatnonzero(whole & (low < np.pi) & (high > -np.pi))
        if not len(rows):
            continue
        shifted_points = shapely.get_coordinates(unrolled[rows]) + np.array([turn, 0.0])
        shifted = _moved(unrolled[rows], shifted_points)
        shared = planar.intersection(shifted, surfaces.polygon[cylinder[rows]])
        solid = shapely.area(shared) > 0
        rows, shared = rows[solid], shared[solid]
        flat = _rolled_back(surfaces, facet[rows], axis[rows], shared)
        apart = np.where(surfaces.hollow[cylinder[rows]], 1.0, -1.0) * (radius[rows] - farthest[rows])
        area = (shapely.area(flat) + shapely.area(shared) * radius[rows]) / 2.0
        found.append((facet[rows], cylinder[rows], area, apart, flat, shared))
    one, other, area, apart, polygon, opposite = (
        np.concatenate(column) for column in zip(*found, strict=True)
    )
    return one, other, area, apart, polygon, opposite


def _rolled_back(surfaces: Surfaces, facet: Ints, axis: Floats, shared: Polygons) -> Polygons:
    """Polygons (angle, height) about an axis as they lie on upright facets, by rays from the axis."""
    points, owner = shapely.get_coordinates(shared, return_index=True)
    ray = np.column_stack([np.cos(points[:, 0]), np.sin(points[:, 0])])
    normal = surfaces.normal[facet, :2]
    ahead = np.einsum("ij,ij->i", surfaces.centre[facet, :2] - axis, normal)
    reach = ahead[owner] / np.einsum("ij,ij->i", ray, normal[owner])
    space = np.column_stack([axis[owner] + reach[:, None] * ray, points[:, 1]])
    return _moved(shared, np.einsum("ijk,ik->ij", surfaces.axes[facet][owner][:, :2], space))


def _in_space(surfaces: Surfaces, rows: Ints, points: Floats, owner: Ints) -> Floats:
    """Points (n, 2) in the planes of flat surfaces `rows`, of which `owner` (n,) says whose, in space (n, 3)."""
    axes, offset = surfaces.axes[rows][owner], _offsets(surfaces, rows)[owner]
    out: Floats = np.einsum("ij,ijk->ik", points, axes[:, :2]) + offset[:, None] * axes[:, 2]
    return out


def _offsets(surfaces: Surfaces, rows: Ints) -> Floats:
    """Distance of the planes of flat surfaces from the origin along their frame's normal, m."""
    out: Floats = np.einsum("ij,ij->i", surfaces.centre[rows], surfaces.axes[rows][:, 2])
    return out


def _moved(polygons: Polygons, points: Floats) -> Polygons:
    """Polygons with other coordinates (n, 2), in the order in which they are read."""
    out: Polygons = shapely.set_coordinates(polygons.copy(), points)
    return out


def _wrapped(angle: Floats) -> Floats:
    out: Floats = (angle + np.pi) % (2.0 * np.pi) - np.pi
    return out


def _nothing() -> Found:
    none, rows, shapes = np.empty(0), np.empty(0, dtype=np.int64), np.empty(0, dtype=object)
    return rows, rows, none, none, shapes, shapes
