"""Surfaces: flat facets and upright cylinders in one table, the unit in which formwork is measured."""

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from takeoff.geometry.cylinders import Curves, find_curves
from takeoff.geometry.facets import Facets
from takeoff.geometry.mesh import Floats, Ints


class Surfaces(Struct, frozen=True, eq=False):
    """All arrays have one entry a surface.

    `rise` is the angle of the outward normal above level, degrees: 90 looks up, 0 is a wall face, -90 a soffit.

    `polygon` lies in the plane frame `axes` (s, 3, 3; rows u, v, n), or is unrolled (angle, height) for a
    cylinder; polygon area times `scale` is the true `area`. `frame` (s,) is the number of the plane frame,
    -1 for a cylinder, `side` the sense of the outward normal in it. `curved` marks cylinders and the strips
    of other curved surfaces, `patch` joins such strips (-1: flat). `radius` and plan `axis_point` (s, 2) are
    nan for what is no cylinder. `label`, `rim`, `edges`, `edge_*` as in Facets, edges
    sorted by body (`edges_of`).
    """

    part: Ints
    normal: Floats
    rise: Floats
    centre: Floats
    area: Floats
    box: Floats
    label: Ints
    rim: NDArray[np.bool_]
    polygon: NDArray[np.object_]
    scale: Floats
    frame: Ints
    side: Ints
    axes: Floats
    curved: NDArray[np.bool_]
    patch: Ints
    radius: Floats
    axis_point: Floats
    hollow: NDArray[np.bool_]
    edges: Ints
    edge_length: Floats
    edge_height: Floats
    edge_convex: NDArray[np.bool_]
    edge_bound: Ints
    of_facet: Ints

    def __len__(self) -> int:
        return len(self.part)

    def edges_of(self, part: int) -> slice:
        """Where the edges of one body lie in `edges` and `edge_*`."""
        return slice(int(self.edge_bound[part]), int(self.edge_bound[part + 1]))


def make_surfaces(facets: Facets, curves: Curves | None = None) -> Surfaces:
    """Join the facets of each upright cylinder into one surface and keep all others."""
    curves = find_curves(facets) if curves is None else curves
    count = len(facets)
    rolled = np.full(count, -1, dtype=np.int64)
    for number, cylinder in enumerate(curves.cylinders):
        rolled[cylinder.facets] = number
    flat = np.flatnonzero(rolled < 0)
    of_facet = np.empty(count, dtype=np.int64)
    of_facet[flat] = np.arange(len(flat))
    of_facet[rolled >= 0] = len(flat) + rolled[rolled >= 0]
    rounds = curves.cylinders
    heads = np.array([c.facets[0] for c in rounds], dtype=np.int64)
    rows = np.concatenate([flat, heads])
    total = len(rows)

    polygon = facets.polygon[rows].copy()
    area = facets.area[rows].copy()
    scale = np.ones(total)
    radius = np.full(total, np.nan)
    axis_point = np.full((total, 2), np.nan)
    hollow = np.zeros(total, dtype=bool)
    frame = facets.frames.of_facet[rows].copy()
    box = facets.box[rows].copy()
    centre = facets.centre[rows].copy()
    rim = facets.rim[rows].copy()
    for number, cylinder in enumerate(rounds):
        row = len(flat) + number
        polygon[row] = cylinder.polygon
        area[row] = cylinder.polygon.area * cylinder.radius
        scale[row] = cylinder.radius
        radius[row] = cylinder.radius
        axis_point[row] = cylinder.centre
        hollow[row] = cylinder.hollow
        frame[row] = -1
        box[row, 0] = facets.box[cylinder.facets, 0].min(axis=0)
        box[row, 1] = facets.box[cylinder.facets, 1].max(axis=0)
        weight = facets.area[cylinder.facets]
        centre[row] = (facets.centre[cylinder.facets] * weight[:, None]).sum(axis=0) / weight.sum()
        rim[row] = facets.rim[cylinder.facets].mean() > 0.5
    edges = of_facet[facets.edges].reshape(-1, 2)
    part = facets.part[rows]
    owner = part[edges[:, 0]]
    between = np.argsort(owner, kind="stable")
    between = between[edges[between, 0] != edges[between, 1]]
    bodies = int(part.max()) + 1 if total else 0
    axes = np.zeros((total, 3, 3))
    axes[: len(flat)] = facets.frames.axes[facets.frames.of_facet[flat]]
    return Surfaces(
        part=part,
        normal=facets.normal[rows],
        rise=np.degrees(np.arcsin(np.clip(facets.normal[rows, 2], -1.0, 1.0))),
        centre=centre,
        area=area,
        box=box,
        label=facets.label[rows],
        rim=rim,
        polygon=polygon,
        scale=scale,
        frame=frame,
        side=facets.frames.side[rows],
        axes=axes,
        curved=curves.patch[rows] >= 0,
        patch=curves.patch[rows],
        radius=radius,
        axis_point=axis_point,
        hollow=hollow,
        edges=edges[between],
        edge_length=facets.edge_length[between],
        edge_height=facets.edge_height[between],
        edge_convex=facets.edge_convex[between],
        edge_bound=np.searchsorted(owner[between], np.arange(bodies + 1)),
        of_facet=of_facet,
    )
