"""Another thickness, width or depth of a body, with one of its faces staying where it is."""

import numpy as np

from takeoff.findings import InputError
from takeoff.geometry.mesh import Floats, Mesh, volume
from takeoff.geometry.reshaping import extent, main_direction, stretched
from takeoff.geometry.solids import Slice
from takeoff.measuring.boxes import tightest_box
from takeoff.measuring.changes import Change

UP = np.array([0.0, 0.0, 1.0])


def thickness_of(mesh: Mesh, upright: bool) -> float:
    """Thickness of a plate across its main faces, m."""
    low, high = extent(mesh, main_direction(mesh, upright))
    return high - low


def resized(solid: Slice, change: Change, role: str) -> Slice:
    """The solid with the sizes of a change; unchanged where it gives none.

    Walls keep their middle plane, slabs, beams and stairs their top, foundations their underside and columns
    their axis, unless `keep` says otherwise (`low` and `high`: the face with the smaller or larger coordinate
    across a wall). Raises BooleanFailed where the body has no such extent, InputError where the size is
    not one of the role's.
    """
    mesh = solid.mesh
    if change.thickness_mm is not None:
        if role in ("column", "beam"):
            raise InputError(f"thickness_mm does not fit a {role}; give width_mm or depth_mm")
        upright = role == "wall"
        across = main_direction(mesh, upright)
        mesh = _stretched(mesh, across, change.thickness_mm / 1e3, change.keep or _kept(role))
    if change.width_mm is not None or change.depth_mm is not None:
        if role not in ("column", "beam", "foundation"):
            raise InputError(f"width_mm and depth_mm do not fit a {role}; give thickness_mm")
        mesh = _section(mesh, change, role)
    if mesh is solid.mesh:
        return solid
    net = volume(mesh)
    return Slice(solid.gross * net / solid.net if solid.net else net, net, mesh)


def _section(mesh: Mesh, change: Change, role: str) -> Mesh:
    """Width and depth of a beam or foundation (depth upright), or the two sides of a column (width the longer)."""
    axes = _level_axes(mesh)
    width, depth = change.width_mm, change.depth_mm
    if role == "column":
        for axis, size in zip(axes, (width, depth), strict=True):
            if size is not None:
                mesh = _stretched(mesh, axis, size / 1e3, "middle")
        return mesh
    if width is not None:
        mesh = _stretched(mesh, axes[1], width / 1e3, "middle")
    if depth is not None:
        mesh = _stretched(mesh, UP, depth / 1e3, change.keep or _kept(role))
    return mesh


def _kept(role: str) -> str:
    return {"wall": "middle", "foundation": "bottom"}.get(role, "top")


def _level_axes(mesh: Mesh) -> tuple[Floats, Floats]:
    """The longer and the shorter level direction of the body's box in plan."""
    axes, extents = tightest_box(mesh.vertices)
    level = [i for i in range(3) if abs(axes[i, 2]) < 0.5]
    longer, shorter = sorted(level, key=lambda i: -extents[i])[:2]
    return axes[longer], axes[shorter]


def _stretched(mesh: Mesh, direction: Floats, size: float, keep: str) -> Mesh:
    low, high = extent(mesh, direction)
    middle = (low + high) / 2.0
    if keep in ("top", "high"):
        target = (high - size, high)
    elif keep in ("bottom", "low"):
        target = (low, low + size)
    else:
        target = (middle - size / 2.0, middle + size / 2.0)
    return stretched(mesh, direction, target)
